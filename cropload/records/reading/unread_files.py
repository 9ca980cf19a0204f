"""Files beside the records that look like tables of them, and are not read."""

import re

from cropload.errors import ONE_NAME, near, nearest
from cropload.records.reading.csv_table import cells_of
from cropload.records.reading.faults import Fault
from cropload.records.reading.files import OTHER_BOOKS, import_it, known_cells
from cropload.records.reading.workbook_looks import sheet_names
from cropload.records.tables import TABLES

#: Endings of tables of other programs, and of CSV files.
_SHEETS = (".xlsx", ".xlsm", ".xls", ".ods", ".numbers", ".csv", ".txt", ".tsv")
_BOOKS = (".xlsx", ".xlsm")
_TEXTS = (".csv", ".txt", ".tsv")
_LONGEST_HEADER = 4096
#: Sheets by which a report of this program is known.
_REPORT = {"components", "handbook"}
#: What copies add to a name, in front or behind: "counts (1)", "Copy of counts", "counts - Copy",
#: "counts.1" (as the versions are called that stay beside a result).
_COPY = re.compile(
    r"^(copy of |kopie von )|(\s*[-_ ]\s*(copy|kopie|old|new|backup|bak|final|v?[0-9]+)"
    r"|\s*\([0-9]+\)|\.[0-9]+)+$"
)
_RULE = "looks like a table of records, and is not read"


def unread_files(folder, names):
    """Return a doubt for each file in a folder that looks like a table, and is not read.

    Parameters
    ----------
    folder : pathlib.Path
        Folder whose CSV files are the records.
    names : iterable of str
        The tables that are read.

    Notes
    -----
    Only names are looked at, and the sheets of workbooks.  Results of this program have names and
    headers of their own, and are not named.
    """
    found = []
    for file in sorted(folder.iterdir()):
        ending = file.suffix.lower()
        if ending not in _SHEETS or file.name.startswith((".", "~$")) or not file.is_file():
            continue
        stem = file.stem.strip().lower()
        if ending == ".csv" and stem in TABLES:
            continue
        table = stem if stem in TABLES else _COPY.sub("", stem).strip()
        if table in TABLES and _holds(file, table):
            found.append(_fault(file, _mend(file, table, names)))
        elif ending in _BOOKS:
            sheets = record_sheets(file)
            if sheets:
                mend = (
                    f"It has the sheet{'s' if len(sheets) > 1 else ''} {', '.join(sheets)}. "
                    "Records are read from the CSV files of the folder, or from one workbook, not "
                    "from both: bring its rows into one of the two, or move the file away."
                )
                found.append(_fault(file, mend))
        elif ending == ".csv":
            likely = [
                table
                for table in TABLES
                if table not in names
                # Scenarios may lie in files of any name, each read when it is asked for.
                and not TABLES[table].made
                and (_holds(file, table) or nearest(stem, [table], alike=ONE_NAME))
            ]
            hint = near(stem, likely)
            if hint:
                found.append(
                    Fault(file.name, None, None, None, "is not a table and is not read", hint)
                )
    return found


def other_books(path, books):
    """Return a doubt for each other workbook in a folder that has sheets named like tables.

    Parameters
    ----------
    path : pathlib.Path
        The workbook that is read.
    books : iterable of pathlib.Path
        The workbooks of its folder.
    """
    found = []
    for book in books:
        sheets = [] if book == path else record_sheets(book)
        if sheets:
            mend = (
                f"It has the sheet{'s' if len(sheets) > 1 else ''} {', '.join(sheets)}; only "
                f"{path.name} is read. Keep all tables in one workbook, or move the other away."
            )
            found.append(_fault(book, mend))
    return found


def _holds(file, table):
    """Whether a file can hold the rows of a table: by the columns of its first line or its sheets.

    A result of this program has other columns, or its one sheet ``result``.
    """
    ending = file.suffix.lower()
    if ending in _BOOKS:
        return not is_own_book(file)
    if ending not in _TEXTS:
        return True
    try:
        with file.open("rb") as opened:
            line = opened.read(_LONGEST_HEADER).decode("utf-8", "ignore").split("\n", 1)[0]
    except OSError:
        return False
    needed = sum(column.required for column in TABLES[table].columns)
    return known_cells(TABLES[table], cells_of(line)) >= min(needed, 3)


def _fault(file, mend):
    return Fault(file.name, None, None, None, _RULE, mend)


def _mend(file, table, names):
    if table in names:
        return (
            f"The table {table} is read from {table}.csv. Bring the rows together there, or move "
            "this file away."
        )
    if file.suffix.lower() == ".csv":
        return f"Rename it to {table}.csv if it is that table, or move it away."
    if file.suffix.lower() in OTHER_BOOKS:
        return f"{import_it(file.name)} Or move it away."
    return f"Save it as CSV under the name {table}.csv, or move it away."


def record_sheets(book):
    """Return the sheets of a workbook that are named like tables; none of a result's."""
    return [] if is_own_book(book) else sorted(sheet_names(book) & set(TABLES))


def is_own_book(book):
    """Whether a workbook is a result of this program, by its sheets."""
    found = sheet_names(book)
    # A report has a sheet of prices too, and one of the handbook.
    return found == {"result"} or found >= _REPORT
