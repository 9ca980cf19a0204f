"""Text for a terminal: its width, letters of any alphabet, paragraphs and tables that fit."""

import contextlib
import functools
import io
import shutil
import sys
import textwrap
import unicodedata
from dataclasses import dataclass

#: Width of text that does not go to a terminal, and the bounds of one that does [columns].
WIDTH = 80
NARROWEST, WIDEST = 40, 120
#: Joiners that some scripts need inside words; every other invisible sign is shown or dropped.
_JOINERS = "\u200c\u200d"
#: Stands for a space that no line is broken at; ``printable`` lets no such sign in.
_HELD = "\ue000"
_HIDDEN = ("Cc", "Cf", "Cs", "Co", "Zl", "Zp")


def screen_width(stream=None):
    """Return the columns to fill [1]: the terminal's within bounds, 80 for a file or a pipe."""
    stream = sys.stdout if stream is None else stream
    if not (hasattr(stream, "isatty") and stream.isatty()):
        return WIDTH
    return max(NARROWEST, min(WIDEST, shutil.get_terminal_size((WIDTH, 24)).columns))


@contextlib.contextmanager
def working(text, stream=None):
    """Show on the side that something long goes on, and for how long; nothing in a pipe.

    Yields what may be called as progress(done, total), or None where nothing is shown.
    """
    stream = sys.stderr if stream is None else stream
    if not (hasattr(stream, "isatty") and stream.isatty()):
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn()
    with Progress(*columns, console=Console(file=stream), transient=True) as shown:
        task = shown.add_task(printable(text, keep=""), total=None)
        yield lambda done, total: shown.update(task, completed=done, total=total)


def printable(text, keep="\n"):
    """Return text that cannot command a terminal: control characters made visible.

    Parameters
    ----------
    text : object
        Anything; its ``str`` is taken.
    keep : str
        Control characters that stay as they are.

    Examples
    --------
    >>> printable("Block \\x1b[31mred")
    'Block \\\\x1b[31mred'
    """
    text = str(text)
    if text.isascii() and text.replace("\n", "").isprintable() and "\n" in keep:
        return text
    return "".join(_visible(sign, keep) for sign in text)


def _visible(sign, keep):
    if sign in keep or sign in _JOINERS or unicodedata.category(sign) not in _HIDDEN:
        return sign
    return ascii(sign)[1:-1]


def text_width(text):
    """Return the columns a text takes on a terminal [1].

    Examples
    --------
    >>> text_width("Riesling"), text_width("葡萄"), text_width("e\\u0301")
    (8, 4, 1)
    """
    from rich.cells import cell_len

    return cell_len(text)


@functools.cache
def _console(width):
    """Return a console that only lays out: no colour, no look at the terminal."""
    from rich.console import Console

    return Console(
        width=width,
        file=io.StringIO(),
        color_system=None,
        # In a notebook it would put an empty line of its own under every answer.
        force_jupyter=False,
        legacy_windows=False,
        _environ={},
        markup=False,
        emoji=False,
        highlight=False,
    )


def wrap_text(text, width, whole_words=False):
    """Return the lines of a text, broken at spaces, and inside words that are longer than a line.

    Parameters
    ----------
    text : str
        The text; runs of white space count as one space, and a per cent sign stays with its
        number.
    width : int
        The longest line [columns].
    whole_words : bool
        Whether a word that is longer than a line stays whole, so that it can be copied.
    """
    from rich.text import Text

    plain = " ".join(str(text).split())
    if text_width(plain) <= width:
        return [plain]
    if whole_words and max(map(len, plain.split())) > width:
        return textwrap.wrap(plain, width, break_long_words=False, break_on_hyphens=False)
    held = Text(plain.replace(" %", f"{_HELD}%"))
    return [
        line.plain.rstrip().replace(_HELD, " ")
        for line in held.wrap(_console(width), max(1, width))
    ]


def paragraph(text, indent="", width=None):
    """Return one paragraph, its lines broken to fit, further lines under the first word."""
    width = screen_width() if width is None else width
    lines = wrap_text(printable(text, keep=""), width - len(indent))
    further = " " * len(indent)
    return "\n".join((indent if at == 0 else further) + line for at, line in enumerate(lines))


def points(texts, width=None):
    """Return sentences as a list, a dash before each."""
    return "\n".join(paragraph(text, "- ", width) for text in texts)


#: A text column is not squeezed below this [columns].
_LEAST_TEXT = 12
_GAP = "  "


@dataclass(frozen=True)
class Column:
    """A column of a text table: its title, the unit under it, and whether numbers stand in it."""

    title: str
    unit: str = ""
    right: bool = True


def words(title):
    """Return a column of words."""
    return Column(title, right=False)


def text_table(columns, rows, width=None, keep=1):
    """Return a table as text that is no wider than the screen.

    Parameters
    ----------
    columns : sequence of Column
        The columns; a plain text stands for a column of numbers.
    rows : iterable of sequence
        Cells; they are written as they are, and None as a dash.
    width : int, optional
        The longest line [columns]; that of the screen when not given.
    keep : int
        Columns at the left that are repeated when the table must be split [1].

    Notes
    -----
    A table that is too wide first breaks its words over several lines; when that is not enough
    it is split into tables one below the other.
    Valid for widths of 40 columns and more.

    Examples
    --------
    >>> print(text_table([words("plan"), Column("crop", "t/ha")], [["3x8+3x2", "8.0"]]))
    plan     crop
             t/ha
    -------------
    3x8+3x2   8.0
    """
    width = screen_width() if width is None else width
    columns = [column if isinstance(column, Column) else Column(column) for column in columns]
    cells = [["-" if cell is None else printable(cell, keep="") for cell in row] for row in rows]
    widest = [_widths(column, [row[at] for row in cells]) for at, column in enumerate(columns)]
    wanted = [most for _, most in widest]
    if _total(wanted) > width:
        wanted = _squeezed(wanted, [least for least, _ in widest], width)
    if _total(wanted) <= width:
        return _drawn(columns, cells, wanted)
    for at in range(keep):
        wanted[at] = min(wanted[at], max(_LEAST_TEXT, width // (2 + keep)))
    free = width - _total(wanted[:keep]) - len(_GAP)
    wanted[keep:] = [min(each, free) for each in wanted[keep:]]
    groups = _groups(wanted, keep, width)
    # As many tables as needed, and these about equally wide.
    for narrower in range(width - 1, 0, -1):
        evener = _groups(wanted, keep, narrower)
        if len(evener) > len(groups):
            break
        groups = evener
    return "\n\n".join(
        _drawn(
            [columns[at] for at in group],
            [[row[at] for at in group] for row in cells],
            [wanted[at] for at in group],
        )
        for group in groups
    )


def _groups(widths, keep, width):
    """Return the columns of each table when the first ones are repeated in all of them."""
    groups = [list(range(keep))]
    for at in range(keep, len(widths)):
        if len(groups[-1]) > keep and _total([widths[g] for g in (*groups[-1], at)]) > width:
            groups.append(list(range(keep)))
        groups[-1].append(at)
    return groups


def _total(widths):
    return sum(widths) + len(_GAP) * (len(widths) - 1)


def _widths(column, cells):
    """Return the least and the wanted width of a column [columns]."""
    body = max((text_width(cell) for cell in cells), default=0)
    head = max((text_width(word) for word in (*column.title.split(), column.unit)), default=0)
    if column.right:
        return max(body, head), max(body, head)
    wanted = max(body, text_width(column.title), text_width(column.unit))
    return max(head, min(body, _LEAST_TEXT)), wanted


def _squeezed(wanted, least, width):
    """Narrow the widest column of words again and again until the table fits, if it can."""
    wanted = list(wanted)
    while _total(wanted) > width:
        spare = [at for at in range(len(wanted)) if wanted[at] > least[at]]
        if not spare:
            break
        wanted[max(spare, key=lambda at: wanted[at])] -= 1
    return wanted


def _drawn(columns, cells, widths):
    """Return a table of columns whose widths fit, drawn line by line."""
    from rich.table import Table

    heads = [wrap_text(c.title, w) for c, w in zip(columns, widths, strict=True)]
    tallest = max(len(head) for head in heads)
    with_units = any(column.unit for column in columns)
    grid = Table.grid(padding=(0, len(_GAP), 0, 0))
    for column, width in zip(columns, widths, strict=True):
        grid.add_column(justify="right" if column.right else "left", width=width, overflow="fold")
    top = [
        "\n".join([*[""] * (tallest - len(head)), *head, *([column.unit] if with_units else [])])
        for head, column in zip(heads, columns, strict=True)
    ]
    for row in (top, *cells):
        grid.add_row(
            *(
                c if row is top else "\n".join(wrap_text(c, w))
                for c, w in zip(row, widths, strict=True)
            )
        )
    lines = _lines(grid, _total(widths) + len(_GAP))
    below = tallest + with_units
    return "\n".join([*lines[:below], "-" * _total(widths), *lines[below:]])


def _lines(drawn, width):
    console = _console(width)
    with console.capture() as caught:
        console.print(drawn)
    return [line.rstrip() for line in caught.get().rstrip("\n").split("\n")]
