"""What the text of a workbook tells beside its values: formulas, hidden rows, percent formats."""

import re
import zipfile
from functools import cached_property
from html import unescape
from xml.etree import ElementTree

from cropload.errors import CroploadError

_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_HIDDEN = re.compile(rb'<(?:\w+:)?row\b(?=[^>]*\bhidden="(?:1|true)")[^>]*\br="(\d+)"')
#: A formula, its cell and whatever result is stored with it.
_LOST = re.compile(
    rb"<(?:\w+:)?c\b([^>]*[^/>])>\s*<(?:\w+:)?f\b(?:[^>]*/>|[^>]*[^/>]>([^<]*)</(?:\w+:)?f>|>([^<]*)"
    rb"</(?:\w+:)?f>)\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v></(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
_CELL = re.compile(
    rb"<(?:\w+:)?c\b([^>]*[^/>])?>(?:<(?:\w+:)?f\b[^>]*(?:/>|>[^<]*</(?:\w+:)?f>))?"
    rb"<(?:\w+:)?v>([^<]*)</"
)
_PLACE, _KIND = re.compile(rb'\br="([A-Z]+)(\d+)"'), re.compile(rb'\bt="(\w+)"')
_NUMBER = re.compile(rb"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*")
_ERROR = re.compile(rb'(<(?:\w+:)?c\b[^>]*\bt=")e"')
#: Filled cells right of column Z.
_FAR = re.compile(rb'r="([A-Z]{2,3})\d+"(?:[^>]*[^/>])?>')
#: Numbers of the formats 0 % and 0.00 %, which every spreadsheet program knows.
_PERCENT = {"9", "10"}
#: Parts of a number format in which a sign stands for itself.
_LITERAL = re.compile(r'"[^"]*"|\\.|_.|\[[^\]]*\]')


class SheetText:
    """A sheet as it is stored.

    Parameters
    ----------
    text : bytes
        Its part of the workbook; empty where the workbook has none, as of another format.
    percents : frozenset of int
        Numbers of the cell styles that show a percentage.
    """

    def __init__(self, text=b"", percents=frozenset()):
        self.text, self.percents = text, percents

    @cached_property
    def hidden(self):
        """Rows that a filter or a hand hides, from 1."""
        # To look for the bare word first spares long sheets a slow search.
        return [int(row) for row in _HIDDEN.findall(self.text)] if b"hidden=" in self.text else []

    @cached_property
    def extent(self):
        """The last row and the last column that a filled cell stands in, from 1."""
        end = max(self.text.rfind(sign) for sign in (b"v>", b"t>"))
        rows = re.findall(rb'\br="[A-Z]+(\d+)"', self.text[max(end - 100_000, 0) : max(end, 0)])
        far = max((column(each) for each in set(_FAR.findall(self.text))), default=26)
        return int(rows[-1]) if rows else 0, far

    @property
    def percent_cells(self):
        """(row, column) of the cells shown as a percentage, from 0."""
        styles = [b"%d" % style for style in sorted(self.percents)]
        if not any(b's="%b"' % style in self.text for style in styles):
            return []
        shown = re.compile(
            rb'<(?:\w+:)?c\b(?=[^>]*\bs="(?:%b)")[^>]*\br="([A-Z]+)(\d+)"' % b"|".join(styles)
        )
        return [(int(row) - 1, column(name) - 1) for name, row in shown.findall(self.text)]

    @property
    def lost_results(self):
        """(row, column) from 1 -> each formula whose result the workbook does not hold.

        A formula that gives a blank text has a result.
        """
        found = {}
        if b"<f" in self.text or b":f" in self.text:
            for looks, one, other in _LOST.findall(self.text):
                kind, place = _KIND.search(looks), _PLACE.search(looks)
                if place and not (kind and kind[1] == b"str"):
                    formula = unescape((one or other).decode("utf-8", "replace"))
                    found[int(place[2]), column(place[1])] = f"={formula}"
        return found

    @property
    def errors_as_text(self):
        """The sheet with the errors of formulas as texts, or ``None`` where it holds none."""
        return _ERROR.sub(rb'\1str"', self.text) if b't="e"' in self.text else None

    @property
    def broken_numbers(self):
        """Cells stored as numbers that are none: ``[(cell, row, text)]``."""
        found = []
        for looks, value in _CELL.findall(self.text):
            kind, place = _KIND.search(looks), _PLACE.search(looks)
            if (kind is None or kind[1] == b"n") and place and not _NUMBER.fullmatch(value):
                cell, row = place[1].decode() + place[2].decode(), int(place[2])
                found.append((cell, row, value.decode("utf-8", "replace")))
        return found


def column(letters):
    """Return the number of a column, from 1, by its letters in bytes.

    Examples
    --------
    >>> column(b"A"), column(b"AB")
    (1, 28)
    """
    number = 0
    for sign in letters:
        number = 26 * number + sign - 64
    return number


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
    except Exception:  # damaged styles fail in many ways, and another format has none
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
