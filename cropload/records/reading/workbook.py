"""Read the sheets of an .xlsx workbook as text cells."""

import warnings as python_warnings
import zipfile
from datetime import date, datetime, time

import pandas as pd

from cropload.errors import near
from cropload.records.reading.faults import Fault, RecordsError, some_faults
from cropload.records.reading.files import (
    MOST_COLUMNS,
    MOST_TITLES,
    SPILT,
    known_cells,
    read_bytes,
    shape,
    stop,
    tidy,
    too_wide,
)
from cropload.records.reading.workbook_looks import Looks, broken_numbers, is_percent, sheet_looks
from cropload.records.tables import TABLES

#: A workbook that unpacks to more than this is not a season's records [bytes].
_MOST_BYTES = 1_000_000_000
_OLD_OFFICE = b"\xd0\xcf\x11\xe0"


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
    check_workbook(path)
    faults, warnings = [], []
    with open_workbook(path) as book:
        found, strangers = sheets(book.sheetnames, shown, faults)
        raws = _read_tables(path, book, found, shown, TABLES, faults, warnings)
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
    return raws, faults, warnings


def read_like(path, table):
    """Read every sheet of a workbook that has a header like that of one table.

    Parameters
    ----------
    path : pathlib.Path
        The workbook.
    table : Table
        What the sheets should hold; rows may stand above the header.

    Returns
    -------
    (dict, list of Fault, list of Fault)
        Name of the sheet -> RawTable, faults and warnings.

    Raises
    ------
    RecordsError
        When the file is no workbook, or no sheet has such a header.
    """
    check_workbook(path)
    faults, warnings = [], []
    with open_workbook(path) as book:
        found = {}
        for sheet in book.sheetnames:
            name = sheet.strip().lower()
            if (name == table.name or name not in TABLES) and _has_header(book[sheet], table):
                found[name] = sheet
        if not found:
            columns = ", ".join(column.name for column in table.columns if column.required)
            mend = f"Its header row needs {columns}, and the columns of what was counted."
            stop(path.name, f"has no sheet with the header of {table.name}", mend)
        of = dict.fromkeys(found, table)
        raws = _read_tables(path, book, found, path.name, of, faults, warnings, titled=True)
    return {found[name]: raw for name, raw in raws.items()}, faults, warnings


def _has_header(sheet, table):
    if not hasattr(sheet, "iter_rows"):
        return False
    rows = sheet.iter_rows(max_row=MOST_TITLES, values_only=True)
    return any(known_cells(table, map(cell_text, cells)) > 1 for cells in rows)


def _read_tables(path, book, found, shown, tables, faults, warnings, titled=False):
    """Return name -> RawTable of sheets, each by its name in small letters."""
    raws, looks = {}, sheet_looks(path, found)
    for name, sheet in found.items():
        place = f"{shown} [{sheet}]"
        if getattr(book[sheet], "sheet_state", "visible") != "visible":
            warnings.append(_hidden(place))
        try:
            look = looks.get(name, Looks())
            raws[name] = _read_sheet(book[sheet], tables[name], place, look.percents, titled)
            _merged_cells(raws[name], look.merged)
            warnings += _hidden_rows(raws[name], look.hidden)
        except RecordsError as error:
            raws.pop(name, None)
            faults += error.faults
        except Exception as error:  # a damaged sheet can fail anywhere inside openpyxl
            faults += _not_numbers(path, name, place) or [_damaged(place, error)]
    if any(look.formulas for look in looks.values()):
        _without_values(path, found, raws, looks)
    return raws


def check_workbook(path):
    """Check that a file is a readable workbook."""
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
    except RecordsError:
        raise
    except Exception as error:  # zipfile, zlib and struct each fail in their own way
        raise RecordsError([_damaged(path.name, error)]) from None


def _damaged(place, error):
    what = "is damaged or is not an .xlsx workbook"
    mend = "Open it in your spreadsheet program and save it again as .xlsx."
    return Fault(place, None, None, None, what, mend)


def _hidden(place):
    mend = "Show the sheet to see what is read; rename it if it is not meant to be read."
    return Fault(place, None, None, None, "the sheet is hidden, and is read like the others", mend)


def _hidden_rows(raw, hidden):
    """Return one doubt for the rows of a table that a filter hides, if any."""
    rows = [row for row in hidden if row in raw.frame.index]
    if not rows:
        return []
    mend = "Clear the filter to see what is read; take out rows that are not meant to be read."
    what = "the row is hidden, and is read like the others"
    return [Fault(raw.file, rows[0], None, None, what, mend, len(rows) - 1)]


def _not_numbers(path, name, place):
    """Return a fault for each cell stored as a number that is none, such as NaN."""
    cells = {row: (cell, text) for cell, row, text in broken_numbers(path, name)}
    what = "is stored as a number, and is none"
    mend = "Correct its formula, or clear the cell where nothing was measured."
    return some_faults(
        cells,
        lambda row: Fault(f"{place}, cell {cells[row][0]}", None, None, cells[row][1], what, mend),
    )


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
        # The file is ours to close: openpyxl leaves one that it cannot read open.
        self.file = open(self.path, "rb")
        try:
            self.book = openpyxl.load_workbook(
                self.file, read_only=True, data_only=not self.formulas, keep_links=False
            )
        except Exception as error:  # openpyxl fails in many ways on a damaged workbook
            self.file.close()
            self.quiet.__exit__(None, None, None)
            raise RecordsError([_damaged(self.path.name, error)]) from None
        return self.book

    def __exit__(self, *error):
        self.book.close()
        self.file.close()
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


def _read_sheet(sheet, table, place, percents=False, titled=False):
    if not hasattr(sheet, "iter_rows"):
        mend = (
            f"Give the chart another name, and put the rows on a sheet of cells named {table.name}."
        )
        stop(place, "is a chart, not a table", mend)
    sheet.reset_dimensions()
    rows, index = [], []
    # The formats of cells take time, and matter only where some are shown as percentages.
    found = _with_percents(sheet) if percents else sheet.iter_rows(values_only=True)
    for number, cells in enumerate(found, start=1):
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
    return shape(table, place, frame, titled=titled)


def _with_percents(sheet):
    """Yield the values of each row; a number shown as a percentage becomes a text like 35%."""
    known = {}
    for row in sheet.iter_rows():
        values = []
        for cell in row:
            value = cell.value
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                shown = cell.number_format
                if shown not in known:
                    known[shown] = is_percent(shown)
                if known[shown]:
                    value = f"{value * 100:.12g}%"
            values.append(value)
        yield values


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


def _without_values(path, found, raws, looks):
    """Add to each table a fault for every formula whose result the workbook does not hold."""
    from openpyxl.utils import get_column_letter

    with open_workbook(path, formulas=True) as book:
        for name, sheet in found.items():
            raw = raws.get(name)
            if raw is None or name not in looks or not looks[name].formulas:
                continue
            blanks = looks[name].blank_results
            cells = book[sheet]
            cells.reset_dimensions()
            lost = {}
            for number, row in enumerate(cells.iter_rows(values_only=True), start=1):
                # A header cell without a name is not counted among the columns.
                width = len(row) if number == raw.header_row else len(raw.header)
                for position, cell in enumerate(row[:width]):
                    formula = getattr(cell, "text", cell)
                    if not (isinstance(formula, str) and formula.startswith("=")):
                        continue
                    if f"{get_column_letter(position + 1)}{number}" in blanks:
                        continue
                    if number in raw.frame.index and tidy(raw.frame.loc[number, position]):
                        continue
                    if number == raw.header_row and "".join(raw.header[position : position + 1]):
                        continue
                    lost.setdefault(position, {})[number] = formula
            for position, formulas in lost.items():
                raw.bad |= {(row, position) for row in formulas}
                raw.faults += _formula_faults(raw, position, formulas)
            if raw.header_bad:
                raw.faults = [fault for fault in raw.faults if SPILT not in fault.rule]


def _formula_faults(raw, position, formulas):
    from openpyxl.utils import get_column_letter

    column = raw.header[position] if position < len(raw.header) else ""
    return some_faults(
        list(formulas),
        lambda row: Fault(
            raw.file,
            row,
            column or get_column_letter(position + 1),
            formulas[row],
            "the workbook does not hold the result of this formula",
            "Open it in your spreadsheet program, save it, and read it again; or replace "
            "formulas by their values.",
        ),
    )


def _merged_cells(raw, merged):
    """Add a fault for each run of merged cells that leaves cells of the table without a value."""
    from openpyxl.utils import get_column_letter

    header = []
    for first, top, last, bottom in merged:
        place = f"{get_column_letter(first)}{top}:{get_column_letter(last)}{bottom}"
        if top <= raw.header_row <= bottom:
            mend = "Unmerge them, and give each column its own name in the header row."
            header.append(_merged_fault(raw, raw.header_row, None, place, mend))
            continue
        if top not in raw.frame.index or first > len(raw.header):
            continue
        if not tidy(raw.frame.loc[top, first - 1]):
            continue
        rows = [row for row in range(top, bottom + 1) if row in raw.frame.index]
        under = {
            (row, position)
            for row in rows
            for position in range(first - 1, min(last, len(raw.header)))
        } - {(top, first - 1)}
        if under:
            raw.bad |= under
            mend = "Unmerge them, and write the value into every row it holds for."
            raw.faults.append(_merged_fault(raw, top, raw.header[first - 1], place, mend))
    if header:
        raise RecordsError(header)


def _merged_fault(raw, row, column, place, mend):
    what = "cells are merged, so that only the first of them holds a value"
    return Fault(raw.file, row, column, place, what, mend)
