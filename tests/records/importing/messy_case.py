"""What a messy workbook of the tests is, and the few strokes by which its sheets are drawn.

All growers, blocks and numbers are invented. The workbooks were written before any reader of them,
from what growers' own files look like (common practice, no source).
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from itertools import zip_longest
from pathlib import Path

import xlwt
from odf import opendocument, table, text
from openpyxl import Workbook


@dataclass(frozen=True)
class Case:
    """A grower's own file, and what a careful person would have typed from it.

    Attributes
    ----------
    name, about : str
        A short name, and who keeps their records so.
    write : callable
        Takes a folder, writes the file or files there and returns their paths.
    clean : dict
        Name of a table -> its CSV: only the columns and rows that the file tells, in US units
        where the file is. The order of rows is free. A block is spelt as where its spacing
        stands; a variety has the handbook's name if the handbook knows it, else the grower's in
        full. A plan told in several columns reads canes x buds + spurs x buds.
    left_out : tuple of str
        Cells, names of columns or of sheets that must be told as left out.
    asked : tuple of (str, str)
        What a careful person would have to ask, and the right answer.
    """

    name: str
    about: str
    write: Callable
    clean: dict
    left_out: tuple = ()
    asked: tuple = ()


@dataclass(frozen=True)
class Cell:
    """A cell with a number format of its own, or merged over others, whose places hold None."""

    value: object
    looks: str = "General"
    down: int = 1
    across: int = 1


def csv(columns, rows):
    """Return rows as CSV; None is blank, and numbers keep ten digits."""

    def shown(value):
        if isinstance(value, float):
            return f"{value:.10g}"
        return "" if value is None else str(value)

    return "".join(",".join(map(shown, row)) + "\n" for row in [columns.split(","), *rows])


def header(text):
    """Return a header row."""
    return text.split(" | ")


def beside(left, right, gap=1):
    """Return two ranges of cells as one, side by side with blank columns between."""
    width = max(map(len, left)) + gap
    pairs = zip_longest(left, right, fillvalue=())
    return [[*one, *[None] * (width - len(one)), *other] for one, other in pairs]


def _placed(rows):
    """Yield row, column and Cell of what is not blank, from 0."""
    for row, cells in enumerate(rows):
        for column, cell in enumerate(cells):
            if cell is not None:
                yield row, column, cell if isinstance(cell, Cell) else Cell(cell)


def write_xlsx(path, sheets, hidden=()):
    """Write sheets as an .xlsx: {name: rows of values or Cells}."""
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        sheet.sheet_state = "hidden" if name in hidden else "visible"
        for row, column, cell in _placed(rows):
            target = sheet.cell(row + 1, column + 1, cell.value)
            if cell.looks != "General":
                target.number_format = cell.looks
            if cell.down * cell.across > 1:
                last = {"end_row": row + cell.down, "end_column": column + cell.across}
                sheet.merge_cells(start_row=row + 1, start_column=column + 1, **last)
    book.save(path)
    return Path(path)


def write_xls(path, sheets):
    """Write sheets in the old binary format."""
    book = xlwt.Workbook()
    for name, rows in sheets.items():
        sheet = book.add_sheet(name)
        for row, column, cell in _placed(rows):
            looks = "M/D/YY" if isinstance(cell.value, date) else cell.looks
            ends = row + cell.down - 1, column + cell.across - 1
            style = xlwt.easyxf(num_format_str=looks)
            sheet.write_merge(row, ends[0], column, ends[1], cell.value, style)
    book.save(str(path))
    return Path(path)


def write_ods(path, sheets):
    """Write sheets as OpenDocument; cells merged to the right only."""
    book = opendocument.OpenDocumentSpreadsheet()
    for name, rows in sheets.items():
        sheet = table.Table(name=name)
        for cells in rows:
            line = table.TableRow()
            covered = 0
            for cell in cells:
                cell = cell if isinstance(cell, Cell) else Cell(cell)
                line.addElement(table.CoveredTableCell() if covered else _of_ods(cell))
                covered = (covered or cell.across) - 1
            sheet.addElement(line)
        book.spreadsheet.addElement(sheet)
    book.save(str(path))
    return Path(path)


def _of_ods(cell):
    value, looks = cell.value, {}
    if isinstance(value, date):
        looks = {"valuetype": "date", "datevalue": value.isoformat()}
    elif isinstance(value, int | float):
        looks = {"valuetype": "float", "value": value}
    elif value is not None:
        looks = {"valuetype": "string"}
    if cell.across > 1:
        looks["numbercolumnsspanned"] = cell.across
    made = table.TableCell(**looks)
    if value is not None:
        made.addElement(text.P(text=str(value)))
    return made
