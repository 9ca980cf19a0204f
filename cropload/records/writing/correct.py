"""Correct a value in the user's records by a row of table ``corrections``; nothing is rewritten."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from cropload import arguments, clock
from cropload.records.corrections import Refused, Rows, join_key, mend
from cropload.records.example import own_folder
from cropload.records.former_names import COPY, under_present_names
from cropload.records.reading.cells import ERRORS
from cropload.records.reading.files import read_raw
from cropload.records.reading.headers import normal
from cropload.records.records import parser
from cropload.records.tables import WHOLE_ROW
from cropload.records.writing.append import append_rows


def _cell(name, given):
    """Return the text of a cell, for a text, a number or a day; blank for None."""
    if given is None or (isinstance(given, str) and "\0" not in given):
        return given or ""
    number = arguments.plain_number(given)
    if np.isfinite(number):
        # A number of Python's has a decimal point; that of the file is put in later.
        return int(number) if number.is_integer() and abs(number) < 1e15 else number
    if isinstance(given, date) and given == given:
        return f"{given:%Y-%m-%d}"
    raise arguments.fault(name, given, "a text, a number or a day")


def _key(name, given):
    """Return the text of a key, for that or its parts."""
    if isinstance(given, (list, tuple)):
        given = join_key(str(_cell(name, part)) for part in given)
    return arguments.text(name, given)


@arguments.check_arguments(
    path=arguments.path,
    table=arguments.text,
    key=_key,
    column=arguments.text,
    new=_cell,
    old=_cell,
    why=_cell,
    day=arguments.optional(arguments.day),
)
def correct(path, table, key, column, new, *, old="", why="", day=None):
    """Correct a value that was saved wrong, in a row of table ``corrections``.

    Parameters
    ----------
    path : str or path
        Folder or workbook of the records, as for ``read_records``; it need not be readable, since
        a wrong value may be what stops it.
    table : str
        Table of the wrong value.
    key : str or sequence
        What names the row in that table, in the order of its columns: ``"2027; 2027-06-12; Long
        Acre; 4; 17"`` or those parts. The last parts may be left out where the row is plain
        without them; of rows alike a number after the whole key tells which.
    column : str
        Column of the value, as the file names it; ``all`` takes the whole row out.
    new : str or number
        The value that holds [in the unit of the column as the file names it]; blank takes it out.
    old : str
        The value as it was written, to be checked; looked up when left out.
    why : str
        The reason.
    day : date, optional
        Day of the correction; today when left out.

    Returns
    -------
    str
        What was done, in words.

    Raises
    ------
    CroploadError
        When no row or more than one bears the key, the old value is another, the new one breaks a
        rule, or for the shipped sample; nothing is written then.

    Notes
    -----
    The wrong row stays as it was written; the table is made at its first use.
    Valid for every table but ``corrections`` itself, where a later row holds.
    """
    own_folder(path, "correct a value")
    raws = read_raw(path)[0]
    row = {"table": table, "key": key, "column": column, "old": str(old), "new": str(new)}
    row |= {"date": clock.today() if day is None else day, "why": str(why)}
    rows, at, name = _place(raws, row)
    if rows and name != WHOLE_ROW:
        there = rows.texts(name)[at]
        # An error of a formula is no text that a cell may hold.
        row["old"] = row["old"] or ("" if there in ERRORS else there)
        if isinstance(new, float):
            row["new"] = row["new"].replace(".", rows.decimal)
    file = append_rows(path, "corrections", [row])
    after = read_raw(path)[0]
    told = [
        each.words()
        for each in mend(after, parser(after)).told
        if rows and (each.table, each.row) == (rows.table.name, at)
        and each.column in (WHOLE_ROW, rows.parsed.written(name))
    ]  # fmt: skip
    done = "; ".join(told) or "what is written there holds"
    return f"{done}. It is in {file}; the row itself stays as it is."


def _place(raws, record):
    """Return the rows, the row and the column that a correction speaks of; Nones for none."""
    name = normal(record["table"])
    if name not in raws:
        return None, None, None
    rows = Rows(parser(raws)(name))
    try:
        return rows, *rows.of(record)
    except Refused:
        return None, None, None


@dataclass(frozen=True)
class RowOnFile:
    """A row that can be corrected.

    Attributes
    ----------
    key : str
        What names it.
    cells : dict
        {column as its header has it: text that holds}.
    """

    key: str
    cells: dict


def rows_on_file(path, table, season, block):
    """Return the rows of a block and season in a table of the user's, as they hold now.

    Parameters
    ----------
    path : str or path
        Folder or workbook of the records.
    table, block : str
        Names of both.
    season : int
        Year of harvest; tables without it are asked by the year of their date.

    Returns
    -------
    list of RowOnFile
    """
    raws = read_raw(path)[0]
    if table not in raws:
        return []
    written = Rows(parser(raws)(table))
    parse = parser(mend(raws, parser(raws)).raws)
    held = Rows(parse(table))
    under_present_names(
        {name: parse(name) for name in ("blocks",) if name in raws} | {table: held.parsed}
    )
    frame = held.parsed.frame
    years = frame["season"] if "season" in frame else frame["date"].dt.year
    places = frame.index[(years == season) & (frame["block"] == block)] % COPY
    columns = {match.written: name for name, match in held.parsed.matches.items()}
    return [
        RowOnFile(written.key(at), {shown: held.texts(name)[at] for shown, name in columns.items()})
        for at in places
    ]
