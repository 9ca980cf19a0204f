"""Plain-text tables that fit a terminal, and numbers as a table shows them."""

import math
import textwrap
from dataclasses import dataclass

from cropload.show.terminal_text import (
    printable,
    screen_width,
    text_width,
    wrap_text,
)

#: A text column is not squeezed below this [columns].
_LEAST_TEXT = 12
_GAP = "  "


@dataclass(frozen=True)
class Column:
    """A column of a text table.

    Attributes
    ----------
    title : str
        What is in it.
    unit : str
        Its unit, written under the title.
    right : bool
        Numbers stand at the right, words at the left.
    """

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
    heads = [wrap_text(c.title, w) for c, w in zip(columns, widths, strict=True)]
    tallest = max(len(head) for head in heads)
    heads = [[""] * (tallest - len(head)) + head for head in heads]
    if any(column.unit for column in columns):
        heads = [[*head, column.unit] for head, column in zip(heads, columns, strict=True)]
    lines = _line_up(heads, columns, widths)
    lines.append("-" * _total(widths))
    for row in cells:
        broken = [wrap_text(cell, w) for cell, w in zip(row, widths, strict=True)]
        lines += _line_up(broken, columns, widths)
    return "\n".join(lines)


def _line_up(parts, columns, widths):
    lines = []
    for place in range(max(len(part) for part in parts)):
        line = []
        for part, column, width in zip(parts, columns, widths, strict=True):
            text = part[place] if place < len(part) else ""
            gap = " " * (width - text_width(text))
            line.append(gap + text if column.right else text + gap)
        lines.append(_GAP.join(line).rstrip())
    return lines


def figure(value, digits=3):
    """Return a number to so many significant figures, thousands set apart.

    Examples
    --------
    >>> figure(0.08379), figure(5902.4), figure(12.0), figure(float("nan"))
    ('0.0838', '5,900', '12.0', '-')
    """
    if value is None or not math.isfinite(value):
        return "-"
    if value == 0:
        return "0"
    return _to_step(value, math.floor(math.log10(abs(value))) + 1 - digits)


def _to_step(value, power):
    """Return a value rounded to ten to a power."""
    value = round(value, -power)
    return f"{value + 0.0:,.{max(0, -power)}f}"


def range_texts(triples):
    """Return ranges as text, like ``6.8 (4.6-9.9)``: middle, low end and high end.

    Parameters
    ----------
    triples : iterable of (low, middle, high)
        Ranges of one quantity, one a row.

    Notes
    -----
    The last figure shown is worth at most a tenth of the range's width, and the middle has at
    least two figures, so that two or three remain and no more is claimed than the range supports;
    all rows share the finest step that any of them needs.

    Examples
    --------
    >>> range_texts([(4.559, 6.768, 9.939), (84.1, 110.4, 144.2)])
    ['6.8 (4.6-9.9)', '110.4 (84.1-144.2)']
    """
    triples = [tuple(float(end) for end in triple) for triple in triples]
    powers = []
    for low, middle, high in triples:
        size = (high - low) / 10 if high > low else abs(middle) / 100
        if math.isfinite(size) and size > 0:
            least = math.floor(math.log10(abs(middle))) - 1 if middle else math.inf
            powers.append(min(math.floor(math.log10(size)), least))
    power = min(powers, default=0)
    return [_range_text(*triple, power) for triple in triples]


def _range_text(low, middle, high, power):
    if not all(math.isfinite(end) for end in (low, middle, high)):
        return "-"
    low, middle, high = (_to_step(end, power) for end in (low, middle, high))
    return f"{middle} ({low}-{high})"


def percent(share):
    """Return a share as whole per cent, and small ones as ``under 1 %``.

    Examples
    --------
    >>> percent(0.7195), percent(0.005), percent(0.0)
    ('72 %', 'under 1 %', '0 %')
    """
    if share is None or not math.isfinite(share):
        return "-"
    return "under 1 %" if 0 < share <= 0.005 else f"{100 * share:.0f} %"


def indented(text, by="  "):
    """Return text with every line moved to the right."""
    return textwrap.indent(text, by)
