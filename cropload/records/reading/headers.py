"""Match the header of a table with its columns, in metric or US units."""

from dataclasses import dataclass

from cropload.errors import SUSPECT, near, nearest
from cropload.records.columns import Column
from cropload.records.reading.faults import Fault
from cropload.records.reading.header_words import CROP_UNITS, in_other_unit, meant

#: Suffixes that measure the same quantity; a table keeps to one system for each.
_QUANTITY = {
    "_m": "length",
    "_m2": "leaf area",
    "_ha": "area",
    "_g": "weight",
    "_kg": "weight",
    "tonnes": "crop",
    "_t": "crop",
    "_t_ha": "crop per area",
    "_per_t": "price",
    "_c": "temperature",
}

#: Words of a header that make it a crop per area, which no division by a weight turns into tonnes.
_AREAS = {"ha", "hectare", "ac", "acre", "vine", "m", "m2", "ft", "per"}
#: Words of a header that name the unit of a crop -> how to bring it into a column that is read.
_CROP_MENDS = (
    (
        [{"lb"}, {"lbs"}, {"pound"}, {"pounds"}],
        "'{name}' is in pounds: divide its values by 2,000 and name the column tons (short tons of "
        "2,000 lb).",
    ),
    (
        [{"kg"}, {"kgs"}, {"kilo"}, {"kilos"}, {"kilogram"}, {"kilograms"}, {"kilogrammes"}],
        "'{name}' is in kilograms: divide its values by 1,000 and name the column tonnes (metric "
        "tonnes of 1,000 kg).",
    ),
    (
        [{"long", "tons"}, {"long", "ton"}],
        "'{name}' is in long tons of 2,240 lb: multiply its values by 1.12 and name the column "
        "tons (short tons of 2,000 lb).",
    ),
    (
        [{"short", "tons"}, {"short", "ton"}, {"us", "tons"}, {"us", "ton"}],
        "'{name}' is in short tons of 2,000 lb: rename the column to tons.",
    ),
    (
        [{"metric", "tons"}, {"metric", "ton"}, {"metric", "tonnes"}],
        "'{name}' is in metric tonnes of 1,000 kg: rename the column to tonnes.",
    ),
)


#: A cell that holds a number and nothing else.
_A_NUMBER = r"^\s*[-+]?[\d.,]+\s*%?\s*$"


@dataclass(frozen=True)
class Match:
    """A column of the file that is a column of the table."""

    position: int
    written: str
    column: Column
    us: bool


def normal(written):
    """Return a header cell in the form of the canonical names.

    Examples
    --------
    >>> normal(" Row Spacing (m) ")
    'row_spacing_m'
    """
    for sign in "()[]":
        written = written.replace(sign, " ")
    return "_".join(written.lower().replace("-", " ").split())


def columns_of(table, header):
    """Return the column of a table that each cell of a header names, or None."""
    aliases = {alias: column for column in table.columns for alias in column.aliases}
    return [aliases.get(normal(written)) for written in header]


def match_header(raw):
    """Match the header cells of a table.

    Parameters
    ----------
    raw : RawTable
        The table as text.

    Returns
    -------
    (dict, list of Fault, list of Fault)
        Canonical name -> :class:`Match`, faults, and warnings about columns that are not read.
    """
    table = raw.table
    aliases = {alias: column for column in table.columns for alias in column.aliases}
    matches, unknown, faults, warnings = {}, {}, [], []
    for position, (written, column) in enumerate(
        zip(raw.header, columns_of(table, raw.header), strict=True)
    ):
        name = normal(written)
        if column is None:
            if written:
                unknown[position] = written
            elif (raw.header_row, position) not in raw.bad and (
                raw.frame.iloc[:, position].str.strip() != ""
            ).any():
                faults.append(
                    _fault(raw, "a column with values has no name", "Name it in the header row.")
                )
        elif column.name in matches:
            first = matches[column.name].written
            if normal(first) == name:
                what, mend = "the column stands in the header twice", "Keep one of the two."
            else:
                what = f"the same quantity is also given as {first}"
                mend = "Keep one of the two: metric or US units, not both."
            faults.append(_fault(raw, what, mend, written))
        else:
            us = name != column.name
            matches[column.name] = Match(position, written, column, us)
    faults += _mixed_units(raw, matches)
    # Where a cell of the header could not be read, a column is hardly missing.
    lost = set() if raw.header_bad else _missing(raw, table, matches, unknown, faults)
    for position, written in unknown.items():
        if position not in lost:
            rule = "the column is not known and is not read"
            hint = _hint(table, matches, aliases, written)
            if table.terms and raw.frame.iloc[:, position].str.contains(_A_NUMBER).any():
                rule = "the column is not known, and its numbers may be terms that count"
                mend = hint or f"Columns are {', '.join(table.names)}: rename it, or take it out."
                faults.append(_fault(raw, rule, mend, written))
                continue
            warnings.append(Fault(raw.file, 1, written, None, rule, hint))
    return matches, faults, warnings


def _hint(table, matches, aliases, written):
    """Return which column of the table a header may be meant for, and what to do, or nothing."""
    name = normal(written)
    free = [column for column in table.columns if column.name not in matches]
    _, mend = in_other_unit(free, name, written)
    if mend is None and any(column.suffix == "tonnes" for column in free):
        other, _ = _crop_in_other_units([name])
        mend = other and other.format(name=written)
    if mend:
        return mend
    column = meant(table.name, name, [column.name for column in free])
    if column:
        return f"Did you mean '{column}'? Rename the column, so that it is read."
    return near(name, [alias for alias, column in aliases.items() if column.name not in matches])


def _fault(raw, rule, mend, column=None):
    return Fault(raw.file, 1, column, None, rule, mend)


def _mixed_units(raw, matches):
    faults, seen = [], {}
    for match in matches.values():
        if match.column.suffix is None:
            continue
        quantity = _QUANTITY[match.column.suffix]
        first = seen.setdefault(quantity, match)
        if first.us != match.us:
            rule = f"{quantity} is given in metric and in US units ({first.written})"
            mend = "Keep to one system for a quantity within a table."
            faults.append(_fault(raw, rule, mend, match.written))
    return faults


def _missing(raw, table, matches, unknown, faults):
    """Add a fault for each required column that is not there; return the headers suspected."""
    lost = set()
    missing = [c for c in table.columns if c.required and c.name not in matches]
    if table.one_of and not any(name in matches for name in table.one_of):
        missing.append(table[table.one_of[0]])
    for column in missing:
        suspects = {normal(written): position for position, written in unknown.items()}
        wanted = " or ".join(column.aliases)
        if column.name in table.one_of and not column.required:
            wanted = " or ".join(table.one_of)
        free = [name for name in suspects if suspects[name] not in lost]
        crop = column.suffix == "tonnes"
        other, suspect = _crop_in_other_units(free) if crop else (None, None)
        if other is None:
            other, suspect = _in_other_unit(column, free, suspects, raw.header)
        if suspect is None:
            known = [name for name in free if meant(table.name, name, [column.name])]
            suspect = (known or [None])[0]
        suspect = _nearest(column, free) if suspect is None else suspect
        mend = f"Add it to the header row. The header has: {_listed(raw.header)}"
        if crop:
            mend = f"{CROP_UNITS} {mend}"
        if other is not None:
            position = suspects[suspect]
            lost.add(position)
            mend = other.format(name=raw.header[position])
        elif suspect is not None:
            position = suspects[suspect]
            lost.add(position)
            mend = f"Did you mean it by '{raw.header[position]}'? Rename that column."
            if crop:
                mend = f"{mend[:-1]} to its unit: {CROP_UNITS}"
        faults.append(_fault(raw, f"the column {wanted} is missing", mend))
    return lost


def _in_other_unit(column, free, suspects, header):
    """Return the mend for a column in another unit, and its header; None, None if none is."""
    for name in free:
        _, mend = in_other_unit([column], name, header[suspects[name]])
        if mend:
            return mend, name
    return None, None


def _crop_in_other_units(names):
    """Return the mend for a crop in a unit that is not read, and its header; None, None if none.

    Only to rename such a column would make pounds of it tonnes.
    """
    for name in names:
        words = set(name.split("_"))
        if words & _AREAS:
            continue
        for units, mend in _CROP_MENDS:
            if any(unit <= words for unit in units):
                return mend, name
    return None, None


def _nearest(column, names):
    stems = [column.name, *column.aliases]
    if column.suffix:
        stems.append(column.name.removesuffix(column.suffix))
    for stem in stems:
        hits = nearest(stem, names, alike=SUSPECT)
        if hits:
            return hits[0]
    return None


def _listed(header):
    text = ", ".join(header)
    return text if len(text) <= 120 else text[:117] + "..."
