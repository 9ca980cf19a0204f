"""The tables of an owner's report as an Excel workbook, where text can never become a formula."""

import math

from cropload.records.writing.gate import workbook_bytes
from cropload.records.writing.results import escape_cell
from cropload.show import report_cells as cells

#: A sheet for each table, and its name.
SHEETS = {
    "totals": "crop in total",
    "crop": "crop by block",
    "balance": "balance",
    "wood": "wood",
    "frost": "frost",
    "money": "money",
    "contracts": "prices",
    "costs": "costs",
    "components": "components",
    "handbook": "handbook",
}

#: What the three columns of a range are called.
ENDS = ("low end (p10)", "middle (p50)", "high end (p90)")

_MOST_TEXT = 32_767
_WIDEST = 60


def number_format(column):
    """Return the spreadsheet's format for the numbers of a column."""
    if column.kind in (cells.SHARE, cells.SHARES):
        return "0%"
    if column.kind in (cells.MONEY, cells.MONEYS, cells.WHOLE):
        return "#,##0"
    return "#,##0" + ("." + "0" * column.places if column.places else "")


def spread_out(table):
    """Return a table with a column for each end of its ranges.

    Parameters
    ----------
    table : ReportTable
        Any.

    Returns
    -------
    heads : list of str
    formats : list of str
        A number format a column, empty for words.
    rows : list of list
        Text, numbers or None.
    """
    heads, formats, takes = [], [], []
    for at, column in enumerate(table.columns):
        if column.kind not in cells.THREEFOLD:
            heads.append(column.head)
            formats.append("" if column.kind in cells.TEXTS else number_format(column))
            takes.append((at, None))
            continue
        for end, words in enumerate(ENDS):
            # A chance may come as low and high end alone.
            if all(row[at] is None or row[at][end] is None for row in table.rows):
                continue
            unit = f" [{column.unit}]" if column.unit else ""
            heads.append(f"{column.title}, {words}{unit}")
            formats.append(number_format(column))
            takes.append((at, end))

    def cell(row, at, end):
        value = row[at] if end is None or row[at] is None else row[at][end]
        return None if isinstance(value, float) and not math.isfinite(value) else value

    return heads, formats, [[cell(row, *take) for take in takes] for row in table.rows]


def _put(sheet, row, column, value, form=""):
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


def _fill(sheet, table):
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    heads, formats, rows = spread_out(table)
    for at, head in enumerate(heads, start=1):
        cell = _put(sheet, 1, at, head)
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        body = max((len(str(row[at - 1])) for row in rows if formats[at - 1] == ""), default=8)
        width = min(_WIDEST, max(11, body + 2, len(head) / 3))
        sheet.column_dimensions[get_column_letter(at)].width = width
    for number, row in enumerate(rows, start=2):
        for at, (value, form) in enumerate(zip(row, formats, strict=True), start=1):
            cell = _put(sheet, number, at, value, form)
            if cell is not None and not form and len(str(value)) > _WIDEST:
                cell.alignment = Alignment(wrap_text=True, vertical="top")
    longest = max((len(head) for head in heads), default=10)
    sheet.row_dimensions[1].height = 15 * min(6, 1 + longest // 14)
    sheet.freeze_panes = sheet.cell(2, table.heads + 1)
    sheet.auto_filter.ref = sheet.dimensions


def _notes(sheet, report):
    from openpyxl.styles import Alignment, Font

    from cropload.owner import words as report_words
    from cropload.show import wording

    lines = [("Pruning scenarios: notes to these tables", "")]
    lines += report.settings()
    lines += [("", ""), ("recommendation", "")]
    lines += [("", sentence) for sentence in report.sentences()]
    lines += [("", ""), ("sheets", "")]
    held = report.tables()
    lines += [(name, held[key].caption) for key, name in SHEETS.items() if key in held]
    found = report.found
    lines += [("", ""), ("notes", "")]
    lines += [("", note) for note in found.notes]
    if found.money_missing:
        lines.append(("", found.money_missing))
    lines += [("", f"Frost, {block}: {why}") for block, why in found.frost_missing.items()]
    lines += [("", ""), ("cautions", "")]
    lines += [(word, text) for word, text in wording.CAUTIONS]
    lines += [("", report_words.MONEY_CAUTION), ("", wording.SUPPORT)]
    for number, (name, text) in enumerate(lines, start=1):
        first = _put(sheet, number, 1, name or None)
        second = _put(sheet, number, 2, text or None)
        if second is not None:
            second.alignment = Alignment(wrap_text=True, vertical="top")
        if first is not None:
            first.font = Font(bold=True)
            first.alignment = Alignment(vertical="top")
    sheet.column_dimensions["A"].width = 26
    sheet.column_dimensions["B"].width = 100
    sheet.freeze_panes = "A2"


def report_workbook(report):
    """Return a report's tables as the bytes of an .xlsx workbook.

    Parameters
    ----------
    report : OwnerReport
        As from ``owner_report``.

    Returns
    -------
    bytes

    Notes
    -----
    Numbers are stored in full in the units shown; a share is stored as a fraction of one.
    """
    import openpyxl

    book = openpyxl.Workbook()
    notes = book.active
    notes.title = "notes"
    _notes(notes, report)
    for key, table in report.tables().items():
        if key in SHEETS:
            _fill(book.create_sheet(SHEETS[key]), table)
    return workbook_bytes(book)
