"""Which files are the user's own: records, logs, lessons and settings, known by name and content.

A result never takes the place of one of them, whatever was asked.
"""

import re
from itertools import islice

from cropload.records.reading.csv_table import cells_of
from cropload.records.reading.files import csv_files, holds_records, tidy, workbooks_in
from cropload.records.reading.headers import normal
from cropload.records.tables import TABLES

#: Names of the user's lessons and of the log of forecasts, beside the records.
LESSONS_FILE, LOG_FILE = "learned.toml", "forecasts.csv"
#: Columns that a log of forecasts has, and no result.
LOG_COLUMNS = {"logged_at", "version", "tonnes_centre", "picked_tonnes", "picked_share"}

TABLE = "is, or would be read as, a table of records"
LOG = "is, or would be read as, the log of your forecasts"
LESSONS = "holds what was learned on your estate"
SHEET = "is a count sheet with counts in it"
SCENARIOS = "holds scenarios that somebody wrote"
SHUT = "is a workbook that cannot be looked into (with a password, or of an old kind)"
_TABLE_ENDINGS = (".csv", ".xlsx", ".xlsm", ".xls", ".ods", ".numbers", ".txt", ".tsv")
_LEARNED = re.compile(r"learned(\.\d+)?\.toml")
#: What every file of scenarios has.
_SCENARIO = {column.name for column in TABLES["scenarios"].columns if column.required}
#: A header stands among the first lines, even below a title and some remarks.
_MOST_LINES = 20
#: So much of a file is looked at for a header [bytes].
_MOST_BYTES = 65_536
#: Where a count sheet says which vine, and who counted; all else is counted.
_PLACE = {"season", "date", "block", "row", "vine", "counter"}


def whose(target):
    """Return what of the user's a file is (or would be), in words.

    Parameters
    ----------
    target : pathlib.Path
        The file, there or not, links followed.

    Returns
    -------
    str or None
        Like ``"is, or would be read as, a table of records"``; None for anything else, such as a
        result of this program.

    Raises
    ------
    OSError
        When the file cannot be read.

    Notes
    -----
    By name in a season folder, there or not; by content anywhere. A table of records is known by
    a header that has every column it needs and few others; results have many of their own.
    """

    name = target.name.strip().lower()
    if _LEARNED.fullmatch(name):
        return LESSONS
    table = target.stem.strip().lower() in TABLES and target.suffix.lower() in _TABLE_ENDINGS
    if (table or name == LOG_FILE) and _is_season_folder(target):
        return TABLE if table else LOG
    if not target.is_file():
        return None
    with open(target, "rb") as file:
        start = file.read(_MOST_BYTES)
    if start.startswith(b"PK"):
        return _in_workbook(target)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        return SHUT
    return _in_text(target, start)


def _is_season_folder(target):
    """Whether a file lies among records, whatever it holds itself."""
    from cropload.records.reading.unread_files import record_sheets

    folder = target.parent
    if holds_records(folder) or (folder / LESSONS_FILE).exists():
        return True
    tables = (file for file in csv_files(folder)[0].values() if file != target)
    books = (book for book in workbooks_in(folder) if book != target)
    return any(_table_of(_lines(_start(file))) for file in tables) or any(map(record_sheets, books))


def _start(file):
    with open(file, "rb") as opened:
        return opened.read(_MOST_BYTES)


def _lines(start):
    """Return the cells of the first lines of a text."""
    marks = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}
    text = start.decode(marks.get(start[:2], "utf-8"), "ignore").removeprefix("\ufeff")
    lines = islice((line for line in text.splitlines() if line.strip()), _MOST_LINES)
    return [cells_of(line) for line in lines]


def _table_of(lines):
    """Return the table whose header stands among some lines, or None."""
    for cells in lines:
        found = {normal(tidy(str(cell))) for cell in cells if cell is not None} - {""}
        for name, table in TABLES.items():
            known = {column: bool(found & set(column.aliases)) for column in table.columns}
            whole = all(there for column, there in known.items() if column.required)
            if len(found) > 1 and whole and 2 * sum(known.values()) > len(found):
                return name
    return None


def _in_text(target, start):
    lines = _lines(start)
    heads = [{tidy(cell).lower() for cell in cells} for cells in lines[:1]]
    if start.removeprefix(b"\xef\xbb\xbf").startswith(b"# Learned on this estate"):
        return LESSONS
    if any(head >= LOG_COLUMNS for head in heads):
        return LOG
    if any(head >= _SCENARIO and len(head) < 6 for head in heads):
        return SCENARIOS
    table = _table_of(lines)
    if table != "counts":
        return TABLE if table else None
    return _counts(target)


def _counts(target):
    """Tell counts from a count sheet that nobody has filled in yet, which is no one's work."""
    from cropload.records.reading.csv_table import read_csv
    from cropload.records.reading.faults import RecordsError

    try:
        raw = read_csv(TABLES["counts"], target.name, target.read_bytes())
    except RecordsError:
        return TABLE
    places = [at for at, head in enumerate(raw.header) if normal(head) not in _PLACE]
    if raw.faults or not (set(map(normal, raw.header)) & _PLACE):
        return TABLE
    counted = raw.frame[places].apply(lambda column: column.map(tidy).ne(""))
    return SHEET if counted.to_numpy().any() else None


def _in_workbook(target):
    from cropload.records.reading.unread_files import is_own_book, record_sheets
    from cropload.records.reading.workbook_looks import sheet_names

    if record_sheets(target):
        return TABLE
    if not sheet_names(target) or is_own_book(target):
        return None
    from openpyxl import load_workbook

    try:
        book = load_workbook(target, read_only=True)
    except Exception:  # a damaged workbook fails in many ways, and holds nothing that can be read
        return None
    try:
        for sheet in book.worksheets:
            rows = list(sheet.iter_rows(max_row=_MOST_LINES, max_col=200, values_only=True))
            if _table_of(rows):
                return TABLE
    finally:
        book.close()
    return None
