"""Tables as sheets of an Excel workbook, where text can never become a formula."""

import datetime

from cropload.records.writing.results import escape_cell
from cropload.units import METRIC

_MOST_TEXT = 32_767
_WIDEST = 60


def new_book():
    """Return an empty workbook."""
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.active)
    return book


def put(sheet, row, column, value, form=""):
    """Write a cell, a text as a text whatever it begins with, and return it; None for none."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    if value is None:
        return None
    cell = sheet.cell(row, column)
    if isinstance(value, str):
        cell.value = ILLEGAL_CHARACTERS_RE.sub("", value)[:_MOST_TEXT]
        # Set after the value: a text that begins with = would else be stored as a formula.
        cell.data_type = "s"
        cell.quotePrefix = escape_cell(value) != value
    else:
        cell.value = value
        if form:
            cell.number_format = form
    return cell


def add_table(book, name, table, units=METRIC):
    """Add a :class:`~cropload.show.table.Table` as a sheet.

    Notes
    -----
    Numbers are stored in full in the units shown, a share as a fraction of one, a date as a date.
    """
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(name)
    heads, formats, rows = table.spread_out(units)
    for at, head in enumerate(heads, start=1):
        cell = put(sheet, 1, at, head)
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        body = max((len(str(row[at - 1])) for row in rows if formats[at - 1] == ""), default=8)
        width = min(_WIDEST, max(11, body + 2, len(head) / 3))
        sheet.column_dimensions[get_column_letter(at)].width = width
    for number, row in enumerate(rows, start=2):
        for at, (value, form) in enumerate(zip(row, formats, strict=True), start=1):
            if isinstance(value, datetime.datetime):
                value = value.date()
            cell = put(sheet, number, at, value, form)
            if cell is not None and not form and len(str(value)) > _WIDEST:
                cell.alignment = Alignment(wrap_text=True, vertical="top")
    longest = max((len(head) for head in heads), default=10)
    sheet.row_dimensions[1].height = 15 * min(6, 1 + longest // 14)
    sheet.freeze_panes = sheet.cell(2, table.heads + 1)
    sheet.auto_filter.ref = sheet.dimensions
    sheet.print_title_rows = "1:1"
    _on_paper(sheet)


def _on_paper(sheet):
    """Have a sheet printed across, as wide as the paper, with its name and page below."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = "&A", "&P / &N"


def add_lines(book, name, lines):
    """Add a sheet of two columns: a word in bold, and a text or a day; empty ones are left out."""
    from openpyxl.styles import Alignment, Font

    sheet = book.create_sheet(name)
    for number, (word, text) in enumerate(lines, start=1):
        first = put(sheet, number, 1, word or None)
        second = put(sheet, number, 2, text or None, "yyyy-mm-dd" if text != str(text) else "")
        if second is not None:
            second.alignment = Alignment(wrap_text=True, vertical="top")
        if first is not None:
            first.font = Font(bold=True)
            first.alignment = Alignment(vertical="top")
    sheet.column_dimensions["A"].width = 26
    sheet.column_dimensions["B"].width = 100
    sheet.freeze_panes = "A2"
    _on_paper(sheet)
