"""Read one CSV file, in the dialect it is written in, as text cells."""

import re
from io import StringIO

import pandas as pd

from cropload.records.reading.faults import Fault
from cropload.records.reading.files import (
    MOST_COLUMNS,
    MOST_TITLES,
    known_cells,
    shape,
    stop,
    tidy,
    too_wide,
)

_SEPARATORS = (",", ";", "\t")
_SEPARATOR_NAMES = {",": "comma", ";": "semicolon", "\t": "tab"}


def decode(file, data):
    """Return the text of a CSV file, the name of its encoding, and a warning or ``None``."""
    if not data.strip():
        stop(file, "is empty", "Write at least the header row, or delete the file.")
    marks = {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}
    encoding = marks.get(data[:2], "utf-8")
    try:
        text = data.decode(encoding).removeprefix("\ufeff")
    except UnicodeDecodeError:
        if encoding != "utf-8":
            stop(file, "is damaged: its text cannot be decoded", "Save it again as CSV UTF-8.")
        data = data.removeprefix(b"\xef\xbb\xbf")
        try:
            text, encoding = data.decode("cp1252"), "cp1252"
        except UnicodeDecodeError:
            text, encoding = data.decode("latin-1"), "latin-1"
    if "\0" in text:
        stop(file, "holds NUL bytes, so it is not a text file", "Save it again as CSV UTF-8.")
    warning = None
    if encoding in ("cp1252", "latin-1"):
        warning = Fault(
            file,
            None,
            None,
            None,
            f"is not UTF-8; it was read as Western European text ({encoding})",
            "Check the names with accents, and save the file as CSV UTF-8.",
        )
    return text, encoding, warning


def separator_of(header, table):
    """Return the separator of a header line: the one that yields most of the table's columns."""
    known = {alias for column in table.columns for alias in column.aliases}

    def score(sign):
        cells = [tidy(cell.strip().strip('"')).lower() for cell in header.split(sign)]
        return sum(cell in known for cell in cells), len(cells)

    return max(_SEPARATORS, key=score)


def _header_line(text, table):
    """Return the first line, or the header below it when the first one is a title."""
    lines = text.split("\n", MOST_TITLES)[:MOST_TITLES]
    if known_cells(table, re.split("[,;\t]", lines[0].replace('"', ""))) > 1:
        return lines[0]
    if re.fullmatch(r'"?sep=(.)"?', lines[0].strip("\ufeff ")):
        return lines[0]
    return max(lines, key=lambda line: known_cells(table, re.split("[,;\t]", line)))


def read_csv(table, file, data, titled=False):
    """Read one CSV file as text cells.

    Parameters
    ----------
    table : Table
        What it should hold.
    file : str
        Name of the file, for messages.
    data : bytes
        Its content.
    titled : bool
        Whether rows may stand above the header; else they are a fault.
    """
    text, _, warning = decode(file, data)
    text = re.sub(r"\r\n?", "\n", text)
    header = _header_line(text.lstrip("\n"), table)
    # Excel writes, and honours, a first line that names the separator.
    told = re.fullmatch(r'"?sep=(.)"?', header.strip("\ufeff "))
    skipped = 1 if told else 0
    if told:
        text = text.lstrip("\n").split("\n", 1)[1] if "\n" in text.lstrip("\n") else ""
        header = text.split("\n", 1)[0]
    separator = told[1] if told and told[1] in _SEPARATORS else separator_of(header, table)
    if header.count(separator) >= MOST_COLUMNS:
        too_wide(file, header.count(separator) + 1)
    width = max(line.count(separator) for line in text.split("\n")) + 1
    if width > 50 * MOST_COLUMNS:
        too_wide(file, width)
    width = min(width, header.count(separator) + 1 + MOST_COLUMNS)
    try:
        frame = pd.read_csv(
            StringIO(text),
            sep=separator,
            header=None,
            names=range(width),
            index_col=False,
            dtype=str,
            na_filter=False,
            skip_blank_lines=False,
            engine="c",
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError, OverflowError) as error:
        mend = 'Look for a " that opens and never closes, or a row with far too many cells.'
        if "EOF inside string" in str(error):
            mend = 'A quotation mark " opens and never closes. Close it, or take it away.'
        stop(file, f"is not a {_SEPARATOR_NAMES[separator]}-separated table", mend)
    frame.index = frame.index + 1 + skipped
    warnings = [warning] if warning else []
    return shape(table, file, frame, separator, warnings, titled)
