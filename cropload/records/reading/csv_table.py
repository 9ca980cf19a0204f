"""Read one CSV file, in the dialect it is written in, as text cells."""

import re
from dataclasses import dataclass
from io import StringIO
from itertools import islice, repeat

import pandas as pd

from cropload.records.reading.faults import Fault, RecordsError
from cropload.records.reading.files import (
    MOST_COLUMNS,
    MOST_ROWS,
    MOST_TITLES,
    check_size,
    known_cells,
    shape,
    stop,
    tidy,
    too_wide,
)

#: The signs that part cells, and their names.
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}
_ANY = re.compile(r"[,;\t|]")
#: Other signs that are met between cells, and are told.
_STRANGE = {r"\t| +": "blanks", ":": "colons", "~": "tildes", r"\^": "carets", "/": "slashes"}
#: A longer line is none of a table [bytes].
_LONGEST_LINE = 1_000_000


@dataclass(frozen=True)
class Text:
    """The text of a table.

    Attributes
    ----------
    text : str
        Its lines, each ended by a line feed, without the line that names the separator.
    separator : str
        The sign that its first line names, or ``""``.
    encoding : str
        Name of its encoding.
    warning : Fault or None
        What is doubtful about it.
    """

    text: str
    separator: str
    encoding: str
    warning: Fault | None

    @property
    def skipped(self):
        """Lines above the text that name the separator [1]."""
        return int(bool(self.separator))


def cells_of(line):
    """Return the cells of a line in whatever way they are parted, as a header is looked for."""
    return _ANY.split(line.replace('"', ""))


def decode(file, data, most_rows=MOST_ROWS):
    """Return the text of a CSV file, the name of its encoding, and a warning or ``None``.

    A file with too many lines, or too long ones, is refused before it is decoded.
    """
    check_size(file, len(data))
    lines = max(data.count(b"\n"), data.count(b"\r"))
    if lines > most_rows:
        mend = "Take out blank lines and rows that are no records; keep old seasons elsewhere."
        stop(file, f"holds {lines:,} lines; a table has at most {most_rows:,}", mend)
    if len(data) > _LONGEST_LINE and max(map(len, data.splitlines())) > _LONGEST_LINE:
        mend = "Look for line ends that are missing, or give another file."
        stop(file, f"holds a line of over {_LONGEST_LINE:,} bytes, so it is no table", mend)
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


def open_text(file, data):
    """Return the :class:`Text` of a table.

    Parameters
    ----------
    file : str
        Its name, for messages.
    data : bytes
        Its content.
    """
    text, encoding, warning = decode(file, data)
    return Text(*plain(text), encoding, warning)


def plain(text):
    """Return text with line feeds as line ends, and the separator that its first line names.

    Examples
    --------
    >>> plain("sep=;\\r\\na;b")
    ('a;b', ';')
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    # Spreadsheet programs write, and honour, a first line that names the separator.
    told = re.match(r'[\ufeff ]*"?sep=(.)"? *(?:\n|$)', text)
    return (text[told.end() :], told[1]) if told else (text, "")


def separator_of(header, known):
    """Return the separator of a header line: the one that yields most of the known columns.

    Parameters
    ----------
    header : str
        The line.
    known : collection of str
        Names of columns in small letters.
    """

    def score(sign):
        cells = [tidy(cell.strip().strip('"')).lower() for cell in header.split(sign)]
        return sum(cell in known for cell in cells), len(cells)

    return max(SEPARATORS, key=score)


def _header_at(lines, table):
    """Return which line is the header: the first, or one below it when the first is a title."""
    first = next((at for at, line in enumerate(lines) if line), 0)
    found = lines[first : first + MOST_TITLES]
    if known_cells(table, cells_of(found[0])) > 1:
        return first
    known = [known_cells(table, cells_of(line)) for line in found]
    return first + known.index(max(known))


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
    opened = open_text(file, data)
    lines = opened.text.split("\n")
    at = _header_at(lines, table)
    header = lines[at]
    known = {alias for column in table.columns for alias in column.aliases}
    separator = opened.separator
    if separator not in SEPARATORS:
        separator = separator_of(header, known)
    if header.count(separator) >= MOST_COLUMNS:
        too_wide(file, header.count(separator) + 1)
    _check_separator(table, file, lines, at, separator, opened.skipped)
    width = max(map(str.count, lines, repeat(separator))) + 1
    if width > 50 * MOST_COLUMNS:
        too_wide(file, width)
    width = min(width, header.count(separator) + 1 + MOST_COLUMNS)
    try:
        frame = pd.read_csv(
            StringIO(opened.text),
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
        stop(file, f"is not a {SEPARATORS[separator]}-separated table", mend)
    frame.index = frame.index + 1 + opened.skipped
    warnings = [opened.warning] if opened.warning else []
    raw = shape(table, file, frame, separator, warnings, titled)
    from cropload.records.reading.whole_file import cut_short, rejoin

    rejoin(raw)
    if lines[-1]:
        raw.warnings += cut_short(raw, lines[-1].count(separator) + 1)
    return raw


def _check_separator(table, file, lines, at, separator, skipped):
    """Stop where no known sign parts the cells, or another one in the rows than in the header."""
    header, width = lines[at], lines[at].count(separator)
    if not width:
        for sign, name in _STRANGE.items():
            if known_cells(table, re.split(sign, header.replace('"', ""))) > 1:
                mend = "Save it as CSV, with a comma, semicolon, tab or pipe between cells."
                stop(file, f"has its cells parted by {name}", mend)
        return
    rows = ((number, line) for number, line in enumerate(lines[at + 1 :], at + 2) if line.strip())
    # Looking at the first rows is enough to tell that a file is sound.
    first = list(islice(rows, 10))
    for other in SEPARATORS:

        def strange(line, other=other):
            return line.count(other) == width and line.count(separator) < width

        if other == separator or 2 * sum(strange(line) for _, line in first) <= len(first):
            continue
        of = [number for number, line in (*first, *rows) if strange(line)]
        rule = (
            f"the rows are parted by {SEPARATORS[other]}s and the header by "
            f"{SEPARATORS[separator]}s: {len(of):,} row{'' if len(of) == 1 else 's'}"
        )
        mend = f"Part the header by {SEPARATORS[other]}s too."
        fault = Fault(file, of[0] + skipped, None, lines[of[0] - 1], rule, mend)
        raise RecordsError([fault])
