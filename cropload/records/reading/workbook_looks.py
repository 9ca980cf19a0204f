"""What the text of a workbook tells beside its values: formulas, merged cells, percent formats."""

import re
import zipfile
from dataclasses import dataclass, field
from xml.etree import ElementTree

from cropload.errors import CroploadError

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")
_MERGED = re.compile(rb'<(?:\w+:)?mergeCell\b[^>]*\bref="\$?([A-Z]+)\$?(\d+):\$?([A-Z]+)\$?(\d+)"')
_HIDDEN = re.compile(rb'<(?:\w+:)?row\b(?=[^>]*\bhidden="(?:1|true)")[^>]*\br="(\d+)"')
#: A formula whose stored result is a blank text.
_BLANK_RESULT = re.compile(
    rb'<(?:\w+:)?c\b(?=[^>]*\bt="str")[^>]*\br="([A-Z]+[0-9]+)"[^>]*>\s*<(?:\w+:)?f\b'
)
_CELL = re.compile(
    rb"<(?:\w+:)?c\b([^>]*[^/>])?>(?:<(?:\w+:)?f\b[^>]*(?:/>|>[^<]*</(?:\w+:)?f>))?"
    rb"<(?:\w+:)?v>([^<]*)</"
)
_PLACE, _KIND = re.compile(rb'\br="([A-Z]+)(\d+)"'), re.compile(rb'\bt="(\w+)"')
_NUMBER = re.compile(rb"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*")
#: Numbers of the formats 0 % and 0.00 %, which every spreadsheet program knows.
_PERCENT = {"9", "10"}
#: Parts of a number format in which a sign stands for itself.
_LITERAL = re.compile(r'"[^"]*"|\\.|_.|\[[^\]]*\]')


@dataclass(frozen=True)
class Looks:
    """What stands in a sheet beside its values.

    Attributes
    ----------
    formulas, percents : bool
        Whether any cell holds a formula; whether any is shown as a percentage.
    merged : tuple
        (column, row, last column, last row) of merged cells, counted from 1.
    hidden : tuple of int
        Rows that a filter or a hand hides.
    text : bytes
        The sheet as stored, where it holds formulas; else empty.
    """

    formulas: bool = False
    percents: bool = False
    merged: tuple = ()
    hidden: tuple = ()
    text: bytes = field(default=b"", repr=False)

    @property
    def blank_results(self):
        """Names of the cells whose formula gives a blank text."""
        return {name.decode() for name in _BLANK_RESULT.findall(self.text)}


def is_percent(number_format):
    """Whether a number format shows a hundredfold and the percent sign.

    Examples
    --------
    >>> is_percent("0.0%"), is_percent('0" %"'), is_percent("General")
    (True, False, False)
    """
    return "%" in _LITERAL.sub("", number_format or "")


def percent_styles(archive):
    """Return the numbers of the cell styles that show a percentage.

    Parameters
    ----------
    archive : zipfile.ZipFile
        The workbook.
    """
    try:
        styles = ElementTree.fromstring(archive.read("xl/styles.xml"))
    except (KeyError, ElementTree.ParseError):
        return frozenset()
    formats = {own.get("numFmtId"): own.get("formatCode") for own in styles.iter(f"{_MAIN}numFmt")}
    shown = (_PERCENT - set(formats)) | {n for n, text in formats.items() if is_percent(text)}
    cells = styles.find(f"{_MAIN}cellXfs")
    cells = [] if cells is None else cells
    return frozenset(n for n, style in enumerate(cells) if style.get("numFmtId") in shown)


def sheet_names(path):
    """Return the names of the sheets of a workbook in small letters; none where it is damaged."""
    try:
        with zipfile.ZipFile(path) as archive:
            book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
    except Exception:  # a damaged workbook fails in many ways, and its reader tells of it
        return set()
    return {sheet.get("name", "").strip().lower() for sheet in book.iter(f"{_MAIN}sheet")}


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


def sheet_looks(path, names):
    """Look into the sheets of a workbook that are tables.

    Parameters
    ----------
    path : pathlib.Path
        The workbook.
    names : iterable of str
        Tables it holds.

    Returns
    -------
    dict
        Name of the table -> :class:`Looks`; a sheet that cannot be found is left out.
    """
    found = {}
    with zipfile.ZipFile(path) as archive:
        try:
            styles = "|".join(map(str, sorted(percent_styles(archive))))
        except Exception:  # damaged styles fail in many ways
            styles = ""
        percent = re.compile(rf'<(?:\w+:)?c\b[^>]*\bs="(?:{styles})"'.encode()) if styles else None
        for name in names:
            try:
                text = archive.read(sheet_part(archive, name, path.name))
            except Exception:  # a damaged part fails in many ways, and is told when it is read
                continue
            formulas = _FORMULA.search(text) is not None
            found[name] = Looks(
                formulas,
                bool(percent and percent.search(text)),
                tuple(_span(match) for match in _MERGED.findall(text)),
                tuple(map(int, _HIDDEN.findall(text))),
                text if formulas else b"",
            )
    return found


def percent_cells(path):
    """Return name of a sheet -> (row, column) of its cells shown as a percentage, from 0.

    Parameters
    ----------
    path : pathlib.Path
        The workbook; none of another format than .xlsx tells.
    """
    from openpyxl.utils import column_index_from_string

    found = {}
    with zipfile.ZipFile(path) as archive:
        try:
            styles = "|".join(map(str, sorted(percent_styles(archive))))
            book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        except Exception:  # damaged styles fail in many ways, and another format has none
            return found
        if not styles:
            return found
        shown = re.compile(
            rf'<(?:\w+:)?c\b(?=[^>]*\bs="(?:{styles})")[^>]*\br="([A-Z]+)(\d+)"'.encode()
        )
        for name in [sheet.get("name", "") for sheet in book.iter(f"{_MAIN}sheet")]:
            try:
                text = archive.read(sheet_part(archive, name.strip().lower(), path.name))
            except Exception:  # a sheet without its part is told when it is read
                continue
            found[name] = [
                (int(row) - 1, column_index_from_string(letters.decode()) - 1)
                for letters, row in shown.findall(text)
            ]
    return found


def _span(match):
    from openpyxl.utils import column_index_from_string

    first, row, last, last_row = (each.decode() for each in match)
    return column_index_from_string(first), int(row), column_index_from_string(last), int(last_row)


def broken_numbers(path, name):
    """Return the cells of a sheet stored as numbers that are none: ``[(cell, row, text)]``.

    Parameters
    ----------
    path : pathlib.Path
        The workbook.
    name : str
        Name of the table.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            text = archive.read(sheet_part(archive, name, path.name))
    except Exception:  # a damaged part fails in many ways, and its reader tells of it
        return []
    found = []
    for looks, value in _CELL.findall(text):
        kind, place = _KIND.search(looks), _PLACE.search(looks)
        if (kind is None or kind[1] == b"n") and place and not _NUMBER.fullmatch(value):
            cell, row = place[1].decode() + place[2].decode(), int(place[2])
            found.append((cell, row, value.decode("utf-8", "replace")))
    return found
