"""Find the tables in a folder or workbook and read their cells as text, before any check."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.errors import ONE_NAME, near, nearest
from cropload.records.columns import Table
from cropload.records.reading.faults import Fault, RecordsError, some_faults
from cropload.records.tables import TABLES

#: More columns or rows than these are not a table of records, and are told before they are read.
MOST_COLUMNS, MOST_ROWS = 200, 500_000
#: Nor is a larger file [bytes].
_MOST_BYTES = 100_000_000
WORKBOOKS = (".xlsx", ".xlsm")
#: Workbooks that only an import reads.
OTHER_BOOKS = (".xls", ".ods")
#: A header stands among the first rows, even below a title and some remarks.
MOST_TITLES = 20
#: The rule of a row that is too long.
SPILT = "the row has more cells than the header has columns"
_BLANK = " \t\r\n\v\f\xa0\ufeff\u200b"


@dataclass
class RawTable:
    """The cells of one table as text.

    Attributes
    ----------
    table : Table
        What it should hold.
    file : str
        The file, or workbook and sheet, as shown in messages.
    header : list of str
        The header as written, stripped.
    frame : pandas.DataFrame
        Text cells; columns by position, index the row of the spreadsheet.
    header_row : int
        Row of the spreadsheet that holds the header.
    separator : str or None
        Of a CSV file; ``None`` for a sheet.
    faults, warnings : list of Fault
        What was met on the way.
    bad : set of (row, position)
        Cells that one of the faults tells of; what follows from their being blank is not told.
    titles : list of list of str
        Cells of the rows above the header, where such rows may stand.
    spilt : DataFrame or None
        All cells of the rows that have more of them than the header.
    coded : (DataFrame, dict)
        A frame, and the codes and texts of its columns by position.
    """

    table: Table
    file: str
    header: list
    frame: pd.DataFrame
    header_row: int = 1
    separator: str | None = None
    faults: list = field(default_factory=list)
    warnings: list = field(default_factory=list)
    bad: set = field(default_factory=set)
    titles: list = field(default_factory=list)
    spilt: pd.DataFrame | None = field(default=None, repr=False)
    coded: tuple = field(default=(None, {}), repr=False)

    def uniques(self, position):
        """Return the codes of a column and its different texts, tidied."""
        of, coded = self.coded
        return coded[position] if of is self.frame else uniques(self.frame[position])

    @property
    def header_bad(self):
        """Whether a fault tells of a cell of the header."""
        return any(row == self.header_row for row, _ in self.bad)


def tidy(text):
    """Return text without surrounding white space, byte order marks and zero-width spaces."""
    return text.strip() if text.isascii() else text.strip(_BLANK).strip()


def uniques(cells):
    """Return the codes of a column of text cells and its different texts, tidied."""
    codes, texts = pd.factorize(cells)
    return codes, [tidy(text) for text in texts]


def stop(file, rule, mend, value=None):
    """Raise a RecordsError with one fault about a whole file."""
    raise RecordsError([Fault(str(file), None, None, value, rule, mend)])


def read_raw(path):
    """Read every table of a folder or workbook as text.

    Parameters
    ----------
    path : str or path
        A folder of CSV files, a workbook, or a folder that holds one.

    Returns
    -------
    (dict, list of Fault, list of Fault)
        Name -> :class:`RawTable`, faults of files that cannot be read, and warnings.

    Raises
    ------
    RecordsError
        When nothing can be read at all.
    """
    given, path = path, checked_path(path)
    from cropload.records.reading.unread_files import other_books, unread_files

    if path.is_file():
        from cropload.records.reading.workbook import read_workbook

        raws, faults, warnings = read_workbook(path)
        # Who names the workbook itself has chosen it among others.
        if Path(given).expanduser().is_dir():
            warnings += other_books(path, workbooks_in(path.parent))
        return raws, faults, warnings
    from cropload.records.reading.csv_table import read_csv

    raws, faults, warnings = {}, [], []
    found, _ = csv_files(path, faults)
    for name, file in found.items():
        try:
            raws[name] = read_csv(TABLES[name], file.name, read_bytes(file))
        except RecordsError as error:
            faults += error.faults
    warnings += unread_files(path, found)
    if not found and not faults:
        mend = "Write an empty set of tables with `cropload new FOLDER`, and fill in blocks.csv."
        books = workbooks_in(path)
        if warnings:
            mend = " ".join(f"{fault.file}: {fault.mend}" for fault in warnings)
        if books:
            mend += f" Or give the path of the workbook itself: {books[0]}"
        if others := workbooks_in(path, OTHER_BOOKS):
            mend = import_it(others[0].name)
        stop(path.name or path, "holds no table of records", mend)
    return raws, faults, warnings


def checked_path(path):
    """Return the path when it is a folder or a workbook; stop with a clear message otherwise.

    A folder without a table as CSV file stands for the one workbook of records in it.
    """
    try:
        path = Path(path).expanduser()
        there, folder, file = path.exists(), path.is_dir(), path.is_file()
    except (OSError, ValueError, TypeError, RuntimeError):
        stop(
            arguments.shown(path), "is not a usable path", "Give the folder that holds the records."
        )
    if not there:
        parent = path.parent
        beside = [entry.name for entry in parent.iterdir()] if _listable(parent) else []
        hint = near(path.name, beside) or (
            "Check the spelling and the folder you are in; `cropload new NAME` makes one, with "
            "--example that of the sample."
        )
        stop(path, "does not exist", hint)
    if folder:
        if not _listable(path):
            stop(path, "cannot be opened", "Ask for the right to read this folder.")
        return _only_workbook(path) or path
    ending = path.suffix.lower()
    if not file or ending not in WORKBOOKS:
        mend = "Give a folder of CSV files, or a workbook that ends in .xlsx."
        if ending in (".csv", ".txt", ".tsv"):
            mend = "This is a single table: give the folder that holds it."
        elif ending in OTHER_BOOKS:
            mend = import_it(path.name)
        elif ending == ".numbers":
            mend = "Open it in your spreadsheet program and save it as .xlsx."
        stop(path.name, "is not a folder of CSV files nor an .xlsx workbook", mend)
    return path


def import_it(name):
    """Return how records in a workbook of another kind are brought in."""
    return f"Make a season folder of it: `cropload import {name} --into FOLDER`."


def workbooks_in(folder, endings=WORKBOOKS):
    """Return the workbooks of a folder, sorted; hidden files and locks left out."""
    return sorted(
        file
        for file in folder.iterdir()
        if file.suffix.lower() in endings and not file.name.startswith((".", "~$"))
    )


def _only_workbook(folder):
    """Return the one workbook that holds the records of a folder, or None where there is none."""
    tables, strangers = csv_files(folder)
    misspelt = any(nearest(file.stem, TABLES, alike=ONE_NAME) for file in strangers)
    books = [] if tables or misspelt else workbooks_in(folder)
    if len(books) > 1:
        from cropload.records.reading.workbook_looks import sheet_names

        # A result may lie beside the records.
        books = [book for book in books if "blocks" in sheet_names(book)] or books
    if len(books) > 1:
        names = ", ".join(book.name for book in books[:4]) + (", ..." if len(books) > 4 else "")
        mend = f"Give the path of the one you mean: {books[0]}"
        stop(folder, f"holds {len(books)} workbooks, and no CSV file of a table", mend, names)
    return books[0] if books else None


def holds_records(folder):
    """Whether a folder holds the table of blocks, as CSV file or in a workbook."""
    from cropload.records.reading.workbook_looks import sheet_names

    if not folder.is_dir() or not _listable(folder):
        return False
    return "blocks" in csv_files(folder)[0] or any(
        "blocks" in sheet_names(book) for book in workbooks_in(folder)
    )


def _listable(folder):
    try:
        next(iter(folder.iterdir()), None)
    except OSError:
        return False
    return True


def csv_files(folder, faults=None):
    """Return name -> CSV file of each table in a folder, and the CSV files that are none."""
    found, strangers = {}, []
    for file in sorted(folder.iterdir()):
        if file.suffix.lower() != ".csv" or file.name.startswith((".", "~$")):
            continue
        name = file.stem.strip().lower()
        if name not in TABLES:
            strangers.append(file)
        elif name in found and faults is not None:
            faults.append(
                Fault(
                    file.name,
                    None,
                    None,
                    None,
                    f"is the same table as {found[name].name}",
                    "Keep one of the two.",
                )
            )
        else:
            found[name] = file
    return found, strangers


def read_bytes(file):
    """Return the bytes of a file, or stop with a message the user can act on."""
    try:
        if not file.exists():
            beside = [each.name for each in file.parent.iterdir()] if _listable(file.parent) else []
            mend = near(file.name, beside) or "Check the spelling and the folder you are in."
            stop(file.name, "does not exist", mend)
        if not file.is_file():
            stop(file.name, "is no plain file", "Give a file, not a pipe or a device.")
        check_size(file.name, file.stat().st_size)
        return file.read_bytes()
    except OSError as error:
        mend = "Close it in other programs, and check that you may read it."
        stop(file.name, f"cannot be read ({error.strerror or 'no access'})", mend)


def bytes_to_read(path):
    """Return how large the tables of a folder or a workbook are [bytes]; 0 where none are."""
    try:
        path = checked_path(path)
        files = csv_files(path)[0].values() if path.is_dir() else [path]
        return sum(file.stat().st_size for file in files)
    except (RecordsError, OSError):
        # What is wrong with the path is told when it is read.
        return 0


def check_size(file, size):
    """Stop where a file is too large [bytes] to hold a table of records."""
    if size > _MOST_BYTES:
        rule = f"is {size / 1e6:,.0f} MB large; files of up to {_MOST_BYTES / 1e6:,.0f} MB are read"
        stop(file, rule, "Take out what is no record; keep old seasons in another folder.")


def too_wide(file, width):
    """Stop: the table has far too many columns."""
    stop(
        file,
        f"has {width:,} columns; a table of records has at most {MOST_COLUMNS}",
        "Keep one row for each thing measured, and one column for each measurement.",
    )


def shape(table, file, frame, separator=None, warnings=(), titled=False):
    """Split text cells into header and rows; drop blank rows; note rows that are too long.

    Parameters
    ----------
    table : Table
        What it should hold.
    file : str
        Name of the file, for messages.
    frame : pandas.DataFrame
        Text cells, header included; the index numbers the rows as the spreadsheet does.
    separator : str or None
        Separator of a CSV file.
    warnings : iterable of Fault
        What was met before.
    titled : bool
        Whether rows may stand above the header; else they are a fault.
    """
    coded = {position: uniques(frame[position]) for position in frame}
    filled = [np.array([bool(text) for text in texts])[codes] for codes, texts in coded.values()]
    filled = np.column_stack(filled)
    places = filled.any(axis=1).nonzero()[0]
    frame = frame if len(places) == len(frame) else frame.iloc[places]
    if frame.empty:
        stop(file, "is empty", "Write at least the header row, or delete the table.")
    top = _titles(table, frame)
    if top and not titled:
        _stop_at_title(file, frame, top)
    titles, frame = frame.iloc[:top].to_numpy().tolist(), frame.iloc[top:]
    header = [tidy(cell) for cell in frame.iloc[0]]
    while header and not header[-1]:
        header.pop()
    if len(header) > MOST_COLUMNS:
        too_wide(file, len(header))
    body, places = frame.iloc[1:], places[top + 1 :]
    records, remarks = _without_remarks(table, file, body, filled[places])
    if not records.all():
        body, places = body[records], places[records]
    spilt = body[filled[places, len(header) :].any(axis=1)]
    faults = [*remarks, *spilt_faults(file, len(header), spilt)]
    body = body.iloc[:, : len(header)]
    coded = {position: (coded[position][0][places], coded[position][1]) for position in body}
    header_row = int(frame.index[0])
    return RawTable(
        table,
        file,
        header,
        body,
        header_row,
        separator,
        faults,
        list(warnings),
        titles=titles,
        spilt=spilt,
        coded=(body, coded),
    )


def spilt_faults(file, width, rows):
    """Return the faults of rows with more filled cells than the header has columns."""

    def fault(row):
        extra = [tidy(cell) for cell in rows.loc[row].iloc[width:] if tidy(cell)]
        mend = "Put text that holds the separator in quotation marks, or name the column."
        return Fault(file, int(row), None, ", ".join(extra), f"{SPILT} ({width})", mend)

    return some_faults(rows.index, fault)


def _without_remarks(table, file, body, filled):
    """Return which rows can be records, and one fault for each that is a remark."""
    count = filled.sum(axis=1)
    alone = count == 1
    # The name of a block may begin like a remark, but then the row is filled.
    short = count < sum(column.required for column in table.columns)
    starts, found = body.iloc[:, 0].to_numpy(object), {}
    for place in (alone | short).nonzero()[0]:
        text = tidy(body.iloc[place, filled[place].argmax()])
        marked = short[place] and starts[place].lstrip(_BLANK + '"').startswith(_REMARKS)
        # An error of a formula and a lone number are told of in their own words.
        if (marked and " " in text) or (alone[place] and _has_words(text)):
            found[int(body.index[place])] = text
    rule = "is no record, but a remark"
    mend = "Take the row out, or keep remarks in a column of their own."
    faults = some_faults(list(found), lambda row: Fault(file, row, None, found[row], rule, mend))
    return ~body.index.isin(list(found)), faults


#: What a row of remarks begins with.
_REMARKS = ("#", "//", "%", "--")


def _has_words(text):
    return " " in text and any(sign.isalpha() for sign in text)


def known_cells(table, cells):
    """Return how many cells of a row are names of columns of a table [1]."""
    from cropload.records.reading.headers import normal

    known = {alias for column in table.columns for alias in column.aliases}
    return len({normal(tidy(cell)) for cell in cells} & known)


def _titles(table, frame):
    """Return how many rows stand above the header [1]."""
    first = known_cells(table, frame.iloc[0])
    if first > 1:
        return 0
    for place in range(1, min(len(frame), MOST_TITLES)):
        if known_cells(table, frame.iloc[place]) > first + 1:
            return place
    return 0


def _stop_at_title(file, frame, place):
    """Stop, as a title stands where the header should be."""
    title = next(tidy(cell) for cell in frame.iloc[0] if tidy(cell))
    rule = f"is not the header, which stands in row {frame.index[place]}"
    mend = "Take out the rows above it, so that the header comes first."
    raise RecordsError([Fault(file, int(frame.index[0]), None, title, rule, mend)])
