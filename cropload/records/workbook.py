"""Read the sheets of an .xlsx workbook as text cells."""

import re
import warnings as python_warnings
import zipfile
from datetime import date, datetime, time
from xml.etree import ElementTree

import pandas as pd

from cropload.errors import CroploadError, near
from cropload.records.messages import Fault, RecordsError
from cropload.records.sources import MOST_COLUMNS, RawTable, read_bytes, shape, stop, tidy, too_wide
from cropload.records.tables import TABLES

#: A workbook that unpacks to more than this is not a season's records [bytes].
_MOST_BYTES = 1_000_000_000
_OLD_OFFICE = b"\xd0\xcf\x11\xe0"
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
#: A formula whose stored result is a blank text.
_BLANK_RESULT = re.compile(
    r'<(?:\w+:)?c\b(?=[^>]*\bt="str")[^>]*\br="([A-Z]+[0-9]+)"[^>]*>\s*<(?:\w+:)?f\b'
)
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")


def read_workbook(path, shown=None):
    """Read the sheets of a workbook that are tables of records.

    Parameters
    ----------
    path : pathlib.Path
        The workbook.
    shown : str, optional
        Its name in messages.

    Returns
    -------
    (dict, list of Fault, list of Fault)
        Name -> RawTable, faults of sheets that cannot be read, and warnings.

    Raises
    ------
    RecordsError
        When the file is no workbook, is protected, or holds no table.
    """
    shown = shown or path.name
    formulas = check_workbook(path)
    raws, faults, warnings = {}, [], []
    with open_workbook(path) as book:
        found, strangers = sheets(book.sheetnames, shown, faults)
        for name, sheet in found.items():
            try:
                raws[name] = _read_sheet(book[sheet], name, f"{shown} [{sheet}]")
            except RecordsError as error:
                faults += error.faults
            except Exception as error:  # a damaged sheet can fail anywhere inside openpyxl
                faults.append(_damaged(f"{shown} [{sheet}]", error))
    for stranger in strangers:
        hint = near(stranger.strip(), [name for name in TABLES if name not in found])
        if hint:
            place = f"{shown} [{stranger}]"
            warnings.append(Fault(place, None, None, None, "is not a table and is not read", hint))
    if not found and not faults:
        mend = "Name the sheets after the tables: " + ", ".join(TABLES) + "."
        if warnings:
            mend = " ".join(f"{fault.file}: {fault.mend}" for fault in warnings)
        stop(shown, "has no sheet that is a table of records", mend)
    if formulas:
        faults += _without_values(path, found, raws)
    return raws, faults, warnings


def check_workbook(path):
    """Check that a file is a readable workbook; return whether a sheet holds formulas."""
    start = read_bytes(path)[:4]
    if not start:
        stop(path.name, "is empty", "Give a workbook with a sheet for each table.")
    if start == _OLD_OFFICE:
        mend = "Open it in your spreadsheet program and save it as .xlsx without a password."
        stop(path.name, "is protected by a password, or is an old .xls workbook", mend)
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            if sum(member.file_size for member in members) > _MOST_BYTES:
                stop(path.name, "is far too large", "Keep only the tables of records in it.")
            sheet_members = [m for m in members if m.filename.startswith("xl/worksheets/")]
            return any(_FORMULA.search(archive.read(member)) for member in sheet_members)
    except RecordsError:
        raise
    except Exception as error:  # zipfile, zlib and struct each fail in their own way
        raise RecordsError([_damaged(path.name, error)]) from None


def _damaged(place, error):
    what = "is damaged or is not an .xlsx workbook"
    mend = "Open it in your spreadsheet program and save it again as .xlsx."
    return Fault(place, None, None, None, what, mend)


class open_workbook:
    """Open a workbook for reading without the warnings that openpyxl gives about its looks."""

    def __init__(self, path, formulas=False):
        self.path, self.formulas = path, formulas

    def __enter__(self):
        import openpyxl

        self.quiet = python_warnings.catch_warnings()
        self.quiet.__enter__()
        python_warnings.simplefilter("ignore")
        self.book = None
        try:
            self.book = openpyxl.load_workbook(
                self.path, read_only=True, data_only=not self.formulas, keep_links=False
            )
        except Exception as error:  # openpyxl fails in many ways on a damaged workbook
            self.quiet.__exit__(None, None, None)
            raise RecordsError([_damaged(self.path.name, error)]) from None
        return self.book

    def __exit__(self, *error):
        self.book.close()
        self.quiet.__exit__(None, None, None)


def sheets(names, file, faults=None):
    """Return table name -> sheet name, and the names of the other sheets."""
    found, strangers = {}, []
    for sheet in names:
        name = sheet.strip().lower()
        if name not in TABLES:
            strangers.append(sheet)
        elif name in found and faults is not None:
            what = f"is the same table as sheet {found[name]}"
            mend = "Keep one of the two."
            faults.append(Fault(f"{file} [{sheet}]", None, None, None, what, mend))
        else:
            found[name] = sheet
    return found, strangers


def _read_sheet(sheet, name, place):
    if not hasattr(sheet, "iter_rows"):
        stop(place, "is a chart, not a table", "Put the rows on a sheet of cells.")
    sheet.reset_dimensions()
    rows, index = [], []
    for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
        if all(cell is None for cell in cells):
            continue
        if not rows and len(cells) > MOST_COLUMNS:
            width = sum(cell is not None for cell in cells)
            if width > MOST_COLUMNS:
                too_wide(place, width)
        rows.append([cell_text(cell) for cell in cells])
        index.append(number)
    if not rows:
        stop(place, "is empty", "Write at least the header row, or delete the sheet.")
    width = min(max(len(row) for row in rows), 2 * MOST_COLUMNS)
    rows = [row[:width] + [""] * (width - len(row)) for row in rows]
    frame = pd.DataFrame(rows, index=index, columns=range(width), dtype=str)
    return shape(name, place, frame)


def cell_text(cell):
    """Return a cell of a workbook as the text a CSV file would hold."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        midnight = cell.time() == time(0)
        return cell.date().isoformat() if midnight else cell.isoformat(" ", "seconds")
    if isinstance(cell, date):
        return cell.isoformat()
    return str(cell)


def sheet_part(archive, name, file):
    """Return the name of the part of the archive that holds a sheet."""
    try:
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        links = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        places = {link.get("Id"): link.get("Target") for link in links}
        for sheet in book.iter(f"{_MAIN}sheet"):
            if sheet.get("name", "").strip().lower() == name:
                target = places[sheet.get(_LINK)]
                part = target[1:] if target.startswith("/") else f"xl/{target}"
                archive.getinfo(part)
                return part
    except (KeyError, ElementTree.ParseError):
        pass
    raise CroploadError(f"{file} cannot be added to safely. Add the rows by hand.")


def _without_values(path, found, raws):
    """Return a fault for every formula whose result is not stored in the workbook."""
    from openpyxl.utils import get_column_letter

    faults = []
    with open_workbook(path, formulas=True) as book:
        for name, sheet in found.items():
            raw = raws.get(name)
            if not isinstance(raw, RawTable):
                continue
            with zipfile.ZipFile(path) as archive:
                part = archive.read(sheet_part(archive, name, path.name)).decode("utf-8", "replace")
            blanks = set(_BLANK_RESULT.findall(part))
            cells = book[sheet]
            cells.reset_dimensions()
            for number, row in enumerate(cells.iter_rows(values_only=True), start=1):
                for position, cell in enumerate(row[: len(raw.header)]):
                    formula = getattr(cell, "text", cell)
                    if not (isinstance(formula, str) and formula.startswith("=")):
                        continue
                    if f"{get_column_letter(position + 1)}{number}" in blanks:
                        continue
                    if number in raw.frame.index and tidy(raw.frame.loc[number, position]):
                        continue
                    faults.append(
                        Fault(
                            raw.file,
                            number,
                            raw.header[position],
                            formula,
                            "the workbook does not hold the result of this formula",
                            "Open it in your spreadsheet program, save it, and read it again; "
                            "or replace formulas by their values.",
                        )
                    )
    return faults
