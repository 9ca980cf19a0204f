"""Read the sheets of an .xlsx workbook as text cells."""

import gc
from contextlib import contextmanager
from itertools import islice

import pandas as pd

from cropload.errors import near
from cropload.records.reading.books import Book, check_workbook
from cropload.records.reading.faults import Fault, RecordsError, some_faults
from cropload.records.reading.files import (
    MOST_COLUMNS,
    MOST_TITLES,
    SPILT,
    known_cells,
    shape,
    stop,
    tidy,
    too_wide,
)
from cropload.records.reading.grids import shown_value
from cropload.records.tables import TABLES


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
    book, faults, warnings = Book(path), [], []
    found, strangers = sheets(book.sheets, shown, faults)
    raws = _read_tables(book, found, shown, TABLES, faults, warnings)
    for stranger in strangers:
        hint = near(stranger.strip(), [name for name in TABLES if name not in found])
        if hint:
            place = f"{shown} [{stranger}]"
            warnings.append(Fault(place, None, None, None, "is not a table and is not read", hint))
    if not found and not faults:
        mend = f"Bring it in as it is: `cropload import {shown} --into FOLDER`. Or name the sheets "
        mend += f"after the tables: {', '.join(TABLES)}."
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
    book, faults, warnings, found = Book(path), [], [], {}
    for sheet in book.sheets:
        name = sheet.strip().lower()
        if (name == table.name or name not in TABLES) and _has_header(book, sheet, table):
            found[name] = sheet
    if not found:
        columns = ", ".join(column.name for column in table.columns if column.required)
        mend = f"Its header row needs {columns}, and the columns of what was counted."
        stop(path.name, f"has no sheet with the header of {table.name}", mend)
    of = dict.fromkeys(found, table)
    raws = _read_tables(book, found, path.name, of, faults, warnings, titled=True)
    return {found[name]: raw for name, raw in raws.items()}, faults, warnings


def _has_header(book, sheet, table):
    if not book.holds_cells(sheet):
        return False
    try:
        rows, _ = book.rows(sheet)
    except RecordsError:
        # Whether it is a table shows when it can be read; its name may say so.
        return sheet.strip().lower() == table.name
    return any(known_cells(table, map(shown_value, cells)) > 1 for cells in rows[:MOST_TITLES])


def _read_tables(book, found, shown, tables, faults, warnings, titled=False):
    """Return name -> RawTable of sheets, each by its name in small letters."""
    raws = {}
    for name, sheet in found.items():
        place = f"{shown} [{sheet}]"
        if book.hidden(sheet):
            warnings.append(_hidden(place))
        try:
            if not book.holds_cells(sheet):
                mend = (
                    "Give the chart another name, and put the rows on a sheet of cells named "
                    f"{tables[name].name}."
                )
                stop(place, "is a chart, not a table", mend)
            with _no_collecting():
                rows, merged = book.rows(sheet)
                raw = _read_sheet(rows, tables[name], place, titled)
            text = book.text(sheet)
            _merged_cells(raw, merged)
            _without_values(raw, text.lost_results)
            warnings += _hidden_rows(raw, text.hidden)
        except RecordsError as error:
            faults += error.faults
        else:
            raws[name] = raw
    return raws


@contextmanager
def _no_collecting():
    """Spare the collector of garbage to go over all cells of a long sheet again and again."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


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


def _read_sheet(rows, table, place, titled=False):
    blank = [""] * len(rows[0]) if rows else []
    index = [number for number, cells in enumerate(rows, start=1) if cells != blank]
    if not index:
        stop(place, "is empty", "Write at least the header row, or delete the sheet.")
    width = len(blank) - rows[index[0] - 1].count("")
    if width > MOST_COLUMNS:
        too_wide(place, width)
    columns = zip(*(rows[number - 1] for number in index), strict=True)
    texts = {at: _texts(cells) for at, cells in enumerate(islice(columns, 2 * MOST_COLUMNS))}
    return shape(table, place, pd.DataFrame(texts, index=index, dtype=str), titled=titled)


def _texts(cells):
    """Return the cells of a column as texts."""
    kinds = set(map(type, cells))
    if kinds == {str}:
        return cells
    if bool in kinds:
        # A truth value is equal to a number, and reads otherwise.
        return list(map(shown_value, cells))
    # Few of the many cells of a long column differ.
    texts = {cell: shown_value(cell) for cell in set(cells)}
    return [texts[cell] for cell in cells]


def _without_values(raw, lost):
    """Add a fault for every formula whose result the workbook does not hold."""
    found = {}
    for (row, at), formula in lost.items():
        # A header cell without a name is not counted among the columns.
        if at <= len(raw.header) or row == raw.header_row:
            found.setdefault(at - 1, {})[row] = formula
    for position, formulas in found.items():
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
    for top, first, bottom, last in (tuple(at + 1 for at in span) for span in merged):
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
