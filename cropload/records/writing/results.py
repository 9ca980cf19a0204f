"""Write a result as a table: a CSV file or a workbook, in which no text becomes a formula."""

import csv
import math
from io import StringIO
from numbers import Real
from pathlib import Path

from cropload.records.reading.cells import escape_text
from cropload.records.writing.gate import Result, workbook_bytes, write_results

_MOST_CELL_TEXT = 32_767


def escape_cell(value):
    """Return a value that no spreadsheet takes for a formula.

    Parameters
    ----------
    value : object
        A cell; only text is ever changed, so that numbers stay numbers.

    Returns
    -------
    object
        Text that begins like a formula gets a leading apostrophe, the mark of spreadsheets for
        text; everything else stays as it is.

    Examples
    --------
    >>> escape_cell("=1+1"), escape_cell("North"), escape_cell(-3.5)
    ("'=1+1", 'North', -3.5)
    """
    return escape_text(value) if isinstance(value, str) else value


def write_frame(path, frame, replace=False):
    """Write a result as a CSV file or a workbook.

    Parameters
    ----------
    path : str or path
        The file; its ending, .csv or .xlsx, tells the kind.
    frame : pandas.DataFrame
        The result; a named index becomes the first columns.
    replace : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    pathlib.Path
        The file.

    Raises
    ------
    CroploadError
        When the file exists and ``replace`` is not set, when it is one of the user's own, or when
        it cannot be written.

    Notes
    -----
    Numbers stay numbers: in full in a CSV file, with fifteen digits in a workbook, where a day is
    a date.  Text can never
    become a formula: in a CSV file see :func:`escape_cell`; in a workbook it is stored as text.
    A file that is replaced stays beside it under a number.
    """
    [(file, _)] = write_results([frame_result(path, frame)], replace)
    return file


def frame_result(path, frame=None):
    """Return a table as a file to be written; without a frame, to ask whether it can be.

    Parameters
    ----------
    path : str or path
        The file; its ending, .csv or .xlsx, tells the kind.
    frame : pandas.DataFrame, optional
        The table; a named index becomes the first columns.

    Returns
    -------
    Result
    """
    kinds = {".csv": _csv_bytes, ".xlsx": _xlsx_bytes}
    made = kinds.get(Path(path).suffix.lower())
    if frame is None or made is None:
        return Result(path, tuple(kinds))
    if any(name is not None for name in frame.index.names):
        frame = frame.reset_index()
    return Result(path, tuple(kinds), made(frame))


def _plain(value, dates=False):
    """Return a cell as None, bool, int, float, text, and a day as text or, with ``dates``, date."""
    import pandas as pd

    if isinstance(value, str):
        return value
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, bool) or type(value).__name__ == "bool_":
        return bool(value)
    if isinstance(value, Real):
        number = float(value)
        if math.isnan(number):
            return None
        return int(value) if number.is_integer() and not isinstance(value, float) else number
    if hasattr(value, "isoformat"):
        midnight = getattr(value, "hour", 0) == getattr(value, "minute", 0) == 0
        if dates and midnight:
            return value.date() if hasattr(value, "date") else value
        return value.isoformat()[:10] if midnight else value.isoformat()
    return str(value)


def _rows(frame, dates=False):
    columns = [frame.iloc[:, position].tolist() for position in range(frame.shape[1])]
    return ([_plain(value, dates) for value in row] for row in zip(*columns, strict=True))


def _csv_bytes(frame):
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([escape_cell(str(name)) for name in frame.columns])
    for row in _rows(frame):
        writer.writerow(["" if value is None else escape_cell(value) for value in row])
    # The byte order mark lets spreadsheet programs read names in any alphabet.
    return text.getvalue().encode("utf-8-sig", "replace")


def _xlsx_bytes(frame):
    import openpyxl
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "result"
    rows = [[str(name) for name in frame.columns], *_rows(frame, dates=True)]
    for number, row in enumerate(rows, start=1):
        for position, value in enumerate(row, start=1):
            if value is None:
                continue
            cell = sheet.cell(number, position)
            if isinstance(value, float) and math.isinf(value):
                value = str(value)
            if isinstance(value, str):
                value = ILLEGAL_CHARACTERS_RE.sub("", value)[:_MOST_CELL_TEXT]
                cell.value = value
                cell.data_type = "s"
                cell.quotePrefix = escape_cell(value) != value
            else:
                cell.value = value
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    sheet.freeze_panes = "A2"
    return workbook_bytes(book)
