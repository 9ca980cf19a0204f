"""Read any workbook or text table as grids of cells, whatever stands in them."""

import csv
import io
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import pairwise

from cropload.records.reading.books import Book
from cropload.records.reading.csv_table import open_text
from cropload.records.reading.files import read_bytes, stop

#: Endings of the workbooks that are read, and of text tables.
WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
TEXTS = (".csv", ".txt", ".tsv", ".tab")


#: A longer text is a remark, and is cut [letters].
_LONGEST = 400


@dataclass
class Grid:
    """The cells of one sheet, or of one text table.

    Attributes
    ----------
    file, sheet : str
        Names as shown; the sheet of a text table is ``""``.
    rows : list of list
        Cells from the first row and column of the sheet on: ``None`` where blank, else a text, a
        number, a truth value or a date; a number shown as a percentage is a text like ``35%``.
    merged : list of (int, int, int, int)
        First row, first column, last row and last column of merged cells, from 0.
    hidden : bool
        Whether the sheet is hidden.
    text : bool
        Whether all cells are texts, as in a text table.
    """

    file: str
    sheet: str
    rows: list
    merged: list = field(default_factory=list)
    hidden: bool = False
    text: bool = False

    @property
    def shown(self):
        """The file, and the sheet where there is one, as messages show them."""
        return f"{self.file} [{self.sheet}]" if self.sheet else self.file


def read_grids(path):
    """Read every sheet of a workbook, or a text table.

    Parameters
    ----------
    path : pathlib.Path
        An .xlsx, .xlsm, .xls or .ods workbook, or a text table.

    Returns
    -------
    list of Grid
        Sheets of cells, blank ones left out.

    Raises
    ------
    RecordsError
        When the file cannot be read.
    """
    ending = path.suffix.lower()
    if path.is_dir():
        stop(path.name or path, "is a folder", "Give the workbooks or tables in it, one by one.")
    data = read_bytes(path)
    if not data:
        stop(path.name, "is empty", "Give a workbook or a table with rows in it.")
    if ending in WORKBOOKS or data[:2] == b"PK" or data[:4] == b"\xd0\xcf\x11\xe0":
        return _book(path)
    if ending not in TEXTS:
        mend = f"Give a workbook ({', '.join(WORKBOOKS)}) or a text table ({', '.join(TEXTS)})."
        stop(path.name, "is neither a workbook nor a text table", mend)
    return [grid for grid in [text_grid(path.name, data)] if grid.rows]


def _book(path):
    book, grids = Book(path), []
    for sheet in filter(book.holds_cells, book.sheets):
        rows, merged = book.rows(sheet)
        rows = _trimmed([[_value(cell) for cell in row] for row in rows])
        grids.append(Grid(path.name, sheet, rows, merged, book.hidden(sheet)))
    return [grid for grid in grids if grid.rows]


def _value(cell):
    if isinstance(cell, str):
        return _text(cell)
    if isinstance(cell, datetime):
        return cell.date() if cell.time() == time(0) else cell
    if isinstance(cell, timedelta):
        return cell.total_seconds() / 86_400
    return cell


def _text(cell):
    """Return a text, cut where it is longer than anything that is read, or None where blank."""
    if not cell or cell.isspace():
        return None
    return cell if len(cell) <= _LONGEST else f"{cell[:_LONGEST]}..."


def _trimmed(rows):
    while rows and all(cell is None for cell in rows[-1]):
        rows.pop()
    return rows


def text_grid(file, data):
    """Return the grid of a text table.

    Parameters
    ----------
    file : str
        Its name.
    data : bytes
        Its content.
    """
    opened = open_text(file, data)
    sign = opened.separator or separator_of_lines(opened.text.split("\n", 200)[:200])
    rows = [[None]] * opened.skipped + [
        list(map(_text, cells)) for cells in _cells_of(file, opened.text, sign)
    ]
    rows = _trimmed(rows)
    if sign == ",":
        _stop_at_decimal_commas(file, rows)
    return Grid(file, "", rows, text=True)


def _cells_of(file, text, sign):
    try:
        yield from csv.reader(io.StringIO(text), delimiter=sign)
    except csv.Error as error:
        mend = 'Look for a " that opens and never closes.'
        stop(file, f"cannot be read as a table ({error})", mend)


def _stop_at_decimal_commas(file, rows):
    """Stop where the commas that part the cells of a table also stand in its numbers."""
    heads = [len(row) for row in rows[:20] if sum(_wordy(cell) for cell in row) >= 2]
    width = max(heads, default=0)
    longer = [row for row in rows if width and len(row) > width]
    split = [
        row
        for row in longer
        if sum(_digits(a) and _digits(b) for a, b in pairwise(row)) >= len(row) - width
    ]
    if len(split) > 1 and 2 * len(split) > len([row for row in rows if any(row)]) - 2:
        number = sum(len(row) - width for row in split)
        rule = f"decimal commas in a comma-separated file: {number:,} values"
        mend = "Save it again from where it comes, with semicolons between the cells."
        stop(file, rule, mend, ",".join(cell or "" for cell in split[0]))


def _wordy(cell):
    return bool(cell) and any(sign.isalpha() for sign in cell)


def _digits(cell):
    return bool(cell) and cell.strip().lstrip("+-").isdecimal()


def separator_of_lines(lines):
    """Return the sign that most evenly splits lines into cells.

    Examples
    --------
    >>> separator_of_lines(["Parcelle;t", "Haut;3,5", "Bas;4,25"])
    ';'
    """
    lines = [line for line in lines if line.strip()]

    def even(sign):
        counts = Counter(
            len(next(csv.reader([line], delimiter=sign), ())) for line in lines if sign in line
        )
        if not counts:
            return 0, 0
        width, times = counts.most_common(1)[0]
        return times * (width > 1), width

    return max("\t;|,", key=even)


def shown_value(value):
    """Return a cell as a text: numbers without a needless ``.0``, dates with the year first."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e16 else repr(value)
    if isinstance(value, datetime):
        return value.isoformat(" ", "seconds")
    return value.isoformat() if isinstance(value, date) else str(value)
