"""Write an empty season folder, and export results, without ever harming a file of the user's."""

import csv
import math
from io import BytesIO, StringIO
from numbers import Real
from pathlib import Path

from cropload import arguments
from cropload.errors import CroploadError
from cropload.records.reading.files import holds_records
from cropload.records.tables import TABLES
from cropload.records.writing.append import append_rows
from cropload.records.writing.explain import explain_tables, heading, unit_shown
from cropload.records.writing.safe_files import put_bytes
from cropload.units import unit_system

__all__ = ["append_rows", "escape_cell", "write_frame", "write_template"]

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
    from cropload.records.reading.cells import escape_text

    return escape_text(value) if isinstance(value, str) else value


@arguments.check_arguments(
    path=arguments.path,
    xlsx=arguments.flag,
    units=arguments.any_of(arguments.kind("UnitSystem"), arguments.label),
)
def write_template(path, xlsx=False, units="metric"):
    """Write an empty season: every table with its header, and an explanation of every column.

    Parameters
    ----------
    path : str or path
        The folder to make; with ``xlsx``, the workbook (or the folder to put ``records.xlsx`` in).
    xlsx : bool
        One workbook instead of a folder of CSV files.
    units : str or UnitSystem
        ``"metric"`` or ``"us"``: the units in the names of the columns.

    Returns
    -------
    pathlib.Path
        The folder or the workbook.

    Raises
    ------
    CroploadError
        When something is there already, or cannot be written; nothing is overwritten.
    """
    us = unit_system(units).name == "us"
    path = Path(path).expanduser()
    if xlsx:
        if path.suffix.lower() != ".xlsx":
            path = path / "records.xlsx"
            if not path.exists():
                _stop_at_records(path.parent)
        _make_folder(path.parent)
        put_bytes(path, _template_workbook(us))
        return path
    files = {f"{name}.csv": _header_line(table, us) for name, table in TABLES.items()}
    files["README.txt"] = explain_tables(us)
    _make_folder(path)
    there = [name for name in files if (path / name).exists()]
    if there:
        raise CroploadError(
            f"{path} holds {', '.join(there)} already, and nothing is overwritten. "
            "Choose an empty folder."
        )
    _stop_at_records(path)
    for name, text in files.items():
        put_bytes(path / name, text.encode("utf-8-sig"))
    return path


def _stop_at_records(folder):
    """Stop where empty tables would be read in the place of records that are there."""
    if holds_records(folder):
        raise CroploadError(
            f"{folder} holds records already, and empty tables beside them would be read in their "
            "place. Choose an empty folder."
        )


def _make_folder(path):
    try:
        path.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise CroploadError(f"The folder {path} cannot be made ({reason}).") from None


def _header_line(table, us):
    return ",".join(heading(column, us) for column in table.columns) + "\n"


def _template_workbook(us):
    import openpyxl
    from openpyxl.styles import Alignment, Font

    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in TABLES.items():
        sheet = book.create_sheet(name)
        sheet.append([heading(column, us) for column in table.columns])
        sheet.freeze_panes = "A2"
        for cell, column in zip(sheet[1], table.columns, strict=True):
            cell.font = Font(bold=column.required)
            sheet.column_dimensions[cell.column_letter].width = max(10, len(cell.value) + 2)
            if column.kind == "date":
                sheet.column_dimensions[cell.column_letter].number_format = "yyyy-mm-dd"
    notes = book.create_sheet("notes")
    notes.append(["table", "column", "unit", "required", "rule", "explanation"])
    for name, table in TABLES.items():
        for column in table.columns:
            required = "yes" if column.required else "no"
            unit = unit_shown(column, us)
            notes.append(
                [name, heading(column, us), unit, required, column.rule, column.explanation]
            )
    for cell in notes[1]:
        cell.font = Font(bold=True)
    notes.freeze_panes = "A2"
    for letter, width in zip("ABCDEF", (12, 24, 14, 10, 40, 80), strict=True):
        notes.column_dimensions[letter].width = width
    for row in notes.iter_rows(min_row=2, min_col=5):
        for cell in row:
            cell.alignment = Alignment(wrap_text=True, vertical="top")
    return _saved(book)


def _saved(book):
    stream = BytesIO()
    book.save(stream)
    return stream.getvalue()


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
        When the file exists and ``replace`` is not set, or when it cannot be written.

    Notes
    -----
    Numbers stay numbers: in full in a CSV file, with fifteen digits in a workbook.  Text can never
    become a formula: in a CSV file see :func:`escape_cell`; in a workbook it is stored as text.
    """
    path = Path(path).expanduser()
    kinds = {".csv": _csv_bytes, ".xlsx": _xlsx_bytes}
    if path.suffix.lower() not in kinds:
        raise CroploadError(f"'{path.name}' must end in .csv or .xlsx.")
    _spare_records(path)
    if any(name is not None for name in frame.index.names):
        frame = frame.reset_index()
    put_bytes(path, kinds[path.suffix.lower()](frame), replace)
    return path


def _spare_records(path):
    """Stop before a result takes the place or the name of a table of someone's records."""
    name = path.stem.strip().lower()
    in_folder = name in TABLES and holds_records(path.parent)
    if in_folder or (path.suffix.lower() == ".xlsx" and _holds_records(path)):
        raise CroploadError(
            f"'{path.name}' is, or would be read as, a table of records, and a result never takes "
            "its place. Choose another name."
        )


def _holds_records(path):
    """Say whether an existing workbook has a sheet of records."""
    import zipfile

    if not path.is_file():
        return False
    from openpyxl import load_workbook

    try:
        book = load_workbook(path, read_only=True)
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        return False
    try:
        return "blocks" in {sheet.strip().lower() for sheet in book.sheetnames}
    finally:
        book.close()


def _plain(value):
    """Return a cell as None, bool, int, float, date text or text."""
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
        return value.isoformat()[:10] if midnight else value.isoformat()
    return str(value)


def _rows(frame):
    columns = [frame.iloc[:, position].tolist() for position in range(frame.shape[1])]
    return ([_plain(value) for value in row] for row in zip(*columns, strict=True))


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
    rows = [[str(name) for name in frame.columns], *_rows(frame)]
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
    return _saved(book)
