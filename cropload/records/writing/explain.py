"""Explain the tables and their columns in words."""

import textwrap

from cropload.records.tables import TABLES, table


def explain_tables(us=False, width=80):
    """Return the explanation of every table and column as plain text.

    Parameters
    ----------
    us : bool
        Name the columns by their US units.
    width : int
        The longest line [1].
    """

    def wrapped(text, indent):
        return textwrap.fill(
            text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
        )

    parts = [wrapped(" ".join(_HOW_TO), "")]
    for described in TABLES.values():
        lines = [f"{described.name.upper()}: one row is {described.row}."]
        for column in described.columns:
            lines.append(f"  {heading(column, us)} ({_status(column, us)})")
            lines.append(wrapped(f"{column.explanation} Rule: {column.rule}.", "      "))
        if described.one_of:
            lines.append(wrapped(f"Each row fills either {' or '.join(described.one_of)}.", "  "))
        if described.key:
            lines.append(wrapped(f"{' + '.join(described.key)} may not repeat.", "  "))
        if described.later:
            lines.append(wrapped("(Of two that differ, the later holds.)", "  "))
        if described.completes:
            lines.append(wrapped("(A later row may fill what an earlier one left blank.)", "  "))
        parts.append("\n".join(lines))
    return "\n\n".join(parts) + "\n"


def heading(column, us=False):
    """Return the name of a column in a header, metric or US."""
    return column.us_name if us and column.us_name else column.name


def unit_shown(column, us=False):
    """Return the unit of a column as a user reads it, or ``""``."""
    unit = "" if column.unit == "1" else column.unit
    if not us or not unit:
        return unit
    if column.follows:
        return unit_shown(table("prices")[column.follows], us)
    return _US_UNITS.get(column.suffix, unit)


def _status(column, us):
    unit = unit_shown(column, us)
    needed = "required" if column.required else "optional"
    return f"{unit}, {needed}" if unit else needed


_US_UNITS = {
    "_m": "ft",
    "_m2": "ft2",
    "_ha": "ac",
    "_g": "lb",
    "_kg": "lb",
    "tonnes": "short tons of 2,000 lb",
    "_t": "short tons of 2,000 lb",
    "_t_ha": "short tons/ac",
    "_per_t": "currency/short ton",
    "_c": "°F",
}

_HOW_TO = (
    "These are the records of a vineyard: one file, or one sheet, for each table.",
    "Only blocks must be filled in; fill in what you have of the others, and leave a cell blank",
    "where nothing was measured.",
    "Do not rename the columns.",
    "Write dates like 2026-03-14.",
    "Use metric or US columns (row_spacing_m or row_spacing_ft), not both for one quantity in",
    "one table.",
    "Files may be separated by commas, or by semicolons with decimal commas.",
)
