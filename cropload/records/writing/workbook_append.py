"""Add rows to a sheet of a workbook by touching nothing but the end of that sheet.

A workbook that is loaded and saved again by a library loses what the library does not know:
charts, pictures, the stored results of formulas.  So the new rows are put into the sheet's own
text, and every other part of the workbook is copied as it is.
"""

import re
import warnings
import zipfile
from contextlib import closing
from datetime import date
from io import BytesIO
from xml.sax.saxutils import escape

from cropload.errors import CroploadError
from cropload.records.reading.faults import RecordsError
from cropload.records.reading.workbook import read_workbook, sheets
from cropload.records.reading.workbook_looks import percent_styles, sheet_part
from cropload.records.records import ParsedTable
from cropload.records.writing.append import cell_value, match_rows
from cropload.records.writing.gate import private_folder

_ROW = re.compile(r"<((?:\w+:)?)row\b([^>]*?)(?:/>|>(.*?)</\1row>)", re.DOTALL)
_NUMBER = re.compile(r'\br="(\d+)"')
_STYLE = r'<(?:\w+:)?c\b(?=[^>]*\br="{cell}")[^>]*\bs="(\d+)"'
_DIMENSION = re.compile(r'(<(?:\w+:)?dimension\b[^>]*\bref="[A-Z]+\d+:[A-Z]+)(\d+)"')


def append_to_workbook(path, spec, rows):
    """Return the bytes of a workbook with new rows, and its tables before and after.

    Parameters
    ----------
    path : pathlib.Path
        The workbook.
    spec : Table
        The table to add to.
    rows : list of dict
        New rows by canonical name, in metric units.

    Returns
    -------
    (bytes, RawTable, dict)
        The new workbook, the table before, and all tables after.

    Raises
    ------
    CroploadError
        When the workbook has no such sheet, or its sheet cannot be added to.
    """
    raws, faults, _ = read_workbook(path)
    if spec.name not in raws:
        if spec.made and not faults:
            with private_folder({path.name: _with_sheet(path, spec)}) as folder:
                return append_to_workbook(folder / path.name, spec, rows)
        if faults:
            raise RecordsError(faults, opening="Nothing was added")
        raise CroploadError(
            f"{path.name} has no sheet {spec.name}, so nothing was added. "
            "Add the sheet with its header row first."
        )
    raw = raws[spec.name]
    parsed = ParsedTable(raw)
    if not parsed.complete:
        raise RecordsError(parsed.faults, opening="Nothing was added")
    match_rows(spec, parsed.matches, rows, raw.file)
    last = int(max([raw.header_row, *raw.frame.index]))
    dated, epoch = _date_cells(path, spec.name, last)
    with zipfile.ZipFile(path) as archive:
        part = sheet_part(archive, spec.name, path.name)
        text = archive.read(part).decode("utf-8")
        kinds = (dated, epoch, percent_styles(archive))
        new = _with_rows(text, spec, parsed, rows, last, kinds, raw.file)
        data = _copy(archive, {part: new.encode("utf-8")})
    with private_folder({"copy.xlsx": data}) as folder:
        after, faults, _ = read_workbook(folder / "copy.xlsx", path.name)
    mine = [fault for fault in faults if fault.file == raw.file and (fault.row or last + 1) > last]
    if mine or spec.name not in after:
        raise RecordsError(mine, opening="Nothing was added")
    return data, raw, after


def _with_sheet(path, spec):
    """Return the bytes of a workbook with one sheet more, which holds the header of a table."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    kinds = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    sheet = "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
        part = f"xl/worksheets/{spec.name}.xml"
        book, links = parts["xl/workbook.xml"].decode(), "xl/_rels/workbook.xml.rels"
        number = max(map(int, re.findall(r'\bsheetId="(\d+)"', book)), default=0) + 1
        prefix = re.search(r"</((?:\w+:)?)sheets>", book)
        if prefix is None or part in parts:
            raise CroploadError(
                f"{path.name} cannot be added to safely. Add a sheet {spec.name} by hand."
            )
        entry = (
            f'<{prefix[1]}sheet xmlns:made="{kinds}" name="{spec.name}" sheetId="{number}" '
            f'made:id="made{number}"/>'
        )
        link = f'Id="made{number}" Type="{kinds}/worksheet" Target="/{part}"'
        kind = f'PartName="/{part}" ContentType="{sheet}"'
        changes = {
            "xl/workbook.xml": book.replace(prefix[0], entry + prefix[0]),
            links: _inside(parts[links].decode(), "Relationship", link),
            "[Content_Types].xml": _inside(parts["[Content_Types].xml"].decode(), "Override", kind),
        }
        cells = "".join(
            f'<c r="{chr(65 + at)}1" t="inlineStr"><is><t>{column}</t></is></c>'
            for at, column in enumerate(spec.names)
        )
        changes[part] = (
            f'<worksheet xmlns="{main}"><sheetData><row r="1">{cells}</row></sheetData></worksheet>'
        )
        return _copy(archive, {name: text.encode("utf-8") for name, text in changes.items()})


def _inside(text, element, attributes):
    """Return the text of a part with one more element at the end of its list."""
    end = re.search(r"</((?:\w+:)?)(?:Relationships|Types)>\s*$", text)
    return f"{text[: end.start()]}<{end[1]}{element} {attributes}/>{end[0]}"


def _date_cells(path, name, last):
    """Return the columns whose last filled row holds a real date, and the workbook's day zero."""
    import openpyxl

    with warnings.catch_warnings():
        # It warns of looks that it does not know.
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(BytesIO(path.read_bytes()), read_only=True, keep_links=False)
    with closing(book):
        sheet = book[sheets(book.sheetnames, path.name)[0][name]]
        sheet.reset_dimensions()
        rows = list(sheet.iter_rows(min_row=last, max_row=last))
        cells = rows[0] if rows else ()
        return {number for number, cell in enumerate(cells) if cell.is_date}, book.epoch


def _with_rows(text, spec, parsed, rows, last, kinds, place):
    found = list(_ROW.finditer(text))
    numbers = [_NUMBER.search(match[2]) for match in found]
    if not found or not all(numbers):
        raise CroploadError(f"{place} cannot be added to safely. Add the rows by hand.")
    numbers = [int(number[1]) for number in numbers]
    prefix = found[0][1]
    above = next((m[0] for m, number in zip(found, numbers, strict=True) if number == last), "")
    added = [
        _row(spec, parsed, row, last + 1 + offset, prefix, above, kinds)
        for offset, row in enumerate(rows)
    ]
    taken = range(last + 1, last + 1 + len(rows))
    end = max(m.end() for m, number in zip(found, numbers, strict=True) if number <= last)
    # Rows below the last filled one hold nothing but looks: where they stand in the way, they go.
    tail, position = [], end
    for match, number in zip(found, numbers, strict=True):
        if number in taken:
            tail.append(text[position : match.start()])
            position = match.end()
    new = text[:end] + "".join(added) + "".join(tail) + text[position:]
    lowest = last + len(rows)
    return _DIMENSION.sub(lambda m: f'{m[1]}{max(int(m[2]), lowest)}"', new, count=1)


def _row(spec, parsed, row, number, prefix, above, kinds):
    from openpyxl.utils import get_column_letter
    from openpyxl.utils.datetime import to_excel

    dated, epoch, percents = kinds
    cells = {}
    for name, value in row.items():
        column, position = spec[name], parsed.matches[name].position
        suffix = spec[column.follows].suffix if column.follows else column.suffix
        cell = cell_value(value, column, parsed.us(column), suffix)
        letter = get_column_letter(position + 1)
        style = re.search(_STYLE.format(cell=f"{letter}{number - 1}"), above)
        if style is None:
            last_cell = re.search(rf'\br="{letter}(\d+)"', above)
            if last_cell:
                style = re.search(_STYLE.format(cell=f"{letter}{last_cell[1]}"), above)
        if style and int(style[1]) in percents and isinstance(cell, (int, float)):
            # A cell with the looks of the one above would show, and be read as, a hundredfold.
            cell, style = (float(f"{cell / 100:.12g}"), style) if column.unit == "%" else (cell, "")
        looks = f' s="{style[1]}"' if style else ""
        if isinstance(cell, date) and position in dated:
            cell = to_excel(cell, epoch)
        if isinstance(cell, (int, float)):
            inner = f"<{prefix}v>{cell!r}</{prefix}v>"
            kind = ""
        else:
            words = escape(cell.isoformat() if isinstance(cell, date) else cell)
            inner = f'<{prefix}is><{prefix}t xml:space="preserve">{words}</{prefix}t></{prefix}is>'
            kind = ' t="inlineStr"'
        cells[position] = f'<{prefix}c r="{letter}{number}"{looks}{kind}>{inner}</{prefix}c>'
    inner = "".join(cells[position] for position in sorted(cells))
    return f'<{prefix}row r="{number}">{inner}</{prefix}row>'


def _copy(archive, changes):
    """Return the archive with some parts replaced or added, and all others as they are."""
    stream = BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as copy:
        for member in archive.infolist():
            data = changes.get(member.filename)
            data = archive.read(member) if data is None else data
            copy.writestr(member, data, member.compress_type)
        for name in changes.keys() - set(archive.namelist()):
            copy.writestr(name, changes[name], zipfile.ZIP_DEFLATED)
    return stream.getvalue()
