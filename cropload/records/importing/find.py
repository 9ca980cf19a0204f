"""Find the tables of a sheet, wherever they stand: rows, totals, remarks, titles."""

import math
import re
from dataclasses import dataclass, field

from cropload.records.importing.headers import (
    SENTENCE,
    Sheet,
    headers_of,
    is_season,
    segments,
)
from cropload.records.importing.values import number_of
from cropload.records.reading.grids import Grid, shown_value
from cropload.records.reading.trade_words import is_blank, is_total, only_total

#: Why a row is left out that sums up others.
TOTAL = "a total or a mean"


@dataclass
class Region:
    """A table found in a sheet.

    Attributes
    ----------
    grid : Grid
        The sheet.
    top, bottom : int
        First and last row of its header, from 0.
    columns : list of int
        Its columns, from 0.
    headers : dict
        Column -> :class:`Header`.
    rows : list of int
        Rows that hold values.
    group : dict
        Row -> text of the sub-heading above it.
    titles : list of str
        Texts above the header.
    left_out : list of (int, str, str)
        Row, its text and why it was left out.
    """

    grid: object
    top: int
    bottom: int
    columns: list
    headers: dict
    rows: list = field(default_factory=list)
    group: dict = field(default_factory=dict)
    titles: list = field(default_factory=list)
    left_out: list = field(default_factory=list)
    filled: dict = field(default_factory=dict)

    def cell(self, row, column):
        """Return the value of a cell; cells merged with it hold it too."""
        cells = self.grid.rows[row] if row < len(self.grid.rows) else ()
        value = cells[column] if column < len(cells) else None
        return self.filled.get((row, column)) if value is None else value

    def cells(self, rows, column):
        """Return the values of a column's cells, one for each of some rows."""
        grid, filled = self.grid.rows, self.filled
        found = [grid[row][column] if column < len(grid[row]) else None for row in rows]
        if filled:
            found = [
                filled.get((row, column)) if value is None else value
                for row, value in zip(rows, found, strict=True)
            ]
        return found

    @property
    def shown(self):
        """The file, sheet and range, as told to the user."""
        last = max(self.rows, default=self.top)
        first = f"{letters(self.columns[0])}{self.top + 1}"
        return f"{self.grid.shown} {first}:{letters(self.columns[-1])}{last + 1}"


def letters(column):
    """Return the letters of a column counted from 0.

    Examples
    --------
    >>> letters(0), letters(26)
    ('A', 'AA')
    """
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def regions(grid):
    """Return the tables of a sheet, and the rows that belong to none.

    Parameters
    ----------
    grid : Grid
        The sheet.

    Returns
    -------
    (list of Region, list of (int, str, str))
        The tables from the top, and (row, text, why) of what stands outside them.
    """
    if not grid.rows:
        return [], []
    found = []
    for sheet in _beside(Sheet(grid)):
        stacks = sheet.stacks()
        for place, stack in enumerate(stacks):
            end = stacks[place + 1][0] if place + 1 < len(stacks) else len(grid.rows)
            for columns in segments(sheet, stack, end):
                headers = headers_of(sheet, stack, columns)
                found.append(Region(grid, *stack, columns, headers, filled=sheet.filled))
    for region in found:
        below = [
            other.top
            for other in found
            if other.top > region.bottom and set(other.columns) & set(region.columns)
        ]
        _read_rows(region, min(below, default=len(grid.rows)))
    _give_titles(grid, found)
    inside = {row for r in found for row in range(r.top, max(r.rows, default=r.bottom) + 1)}
    titles = {row for region in found for row, _ in region.titles}
    for region in found:
        region.titles = [text for _, text in region.titles]
    told = {row for region in found for row, _, _ in region.left_out} | inside | titles
    told |= {row for r in found for row in (*range(r.top, r.bottom + 1), *r.rows)}
    outside = [
        (row, _row_text(cells), "belongs to no table that is known")
        for row, cells in enumerate(grid.rows)
        if row not in told and any(cell is not None for cell in cells)
    ]
    return found, outside


def _beside(sheet):
    """Return the sheet, or a sheet for each of the tables that stand beside each other in it.

    They are apart where a blank column parts them and their headers stand in other rows.
    """
    grid = sheet.grid
    width = max(map(len, grid.rows))
    used = {c for cells in grid.rows for c, cell in enumerate(cells) if cell is not None}
    used |= {column for _, column in sheet.filled}
    runs, last = [], -2
    for column in range(width):
        if column in used:
            runs = runs if column == last + 1 else [*runs, []]
            runs[-1].append(column)
            last = column
    if len(runs) < 2:
        return [sheet]
    parts = []
    for run in runs:
        rows = [[*[None] * run[0], *cells[run[0] : run[-1] + 1]] for cells in grid.rows]
        merged = [each for each in grid.merged if run[0] <= each[1] <= run[-1]]
        parts.append(Sheet(Grid(grid.file, grid.sheet, rows, merged, text=grid.text)))
    tops = [part.tops for part in parts]
    return parts if all(tops) and len({top[0] for top in tops}) > 1 else [sheet]


def _row_text(cells):
    return " | ".join(shown_value(cell) for cell in cells if cell is not None)[:120]


def _read_rows(region, end):
    """Sort the rows below a header into values, totals, sub-headings and remarks."""
    header = [shown_value(region.cell(region.bottom, c)) for c in region.columns]
    width = sum(1 for h in region.headers.values() if h.text)
    group = ""
    pending = []
    first, last = region.columns[0], region.columns[-1] + 1
    apart = len(region.columns) < last - first
    for row in range(region.bottom + 1, end):
        told = region.grid.rows[row][first:last]
        if apart:
            told = [_own(region, row, c) for c in region.columns]
        told = [cell for cell in told if cell is not None]
        if not told:
            continue
        texts = [cell for cell in told if isinstance(cell, str)]
        if len(texts) > 1 and _says_again(region, row, header):
            region.left_out.append((row, _row_text(told), "the header again"))
        elif texts and _totals(region, row, texts[0], told):
            region.left_out.append((row, _row_text(told), TOTAL))
        elif len(told) == 1 and width > 2 and isinstance(told[0], (str, int, float)):
            pending.append((row, told[0]))
            continue
        elif len(told) == 1 and isinstance(told[0], str) and len(told[0].split()) >= SENTENCE:
            region.left_out.append((row, told[0], "a remark"))
        else:
            for where, value in pending:
                if _is_remark(value):
                    region.left_out.append((where, shown_value(value), "a remark"))
                elif where == pending[-1][0]:
                    group = shown_value(value)
                else:
                    region.left_out.append((where, shown_value(value), "a remark"))
            pending = []
            region.rows.append(row)
            if group:
                region.group[row] = group
    region.after = [(row, shown_value(value)) for row, value in pending]


def _says_again(region, row, header):
    """Whether a row is the header again, as on a new page."""
    cells = (region.cell(row, column) for column in region.columns)
    return all(shown_value(cell) == text for cell, text in zip(cells, header, strict=True))


def _own(region, row, column):
    cells = region.grid.rows[row] if row < len(region.grid.rows) else ()
    return cells[column] if column < len(cells) else None


def _totals(region, row, text, told):
    """Whether a row is one of totals or means, and not of a block called Total Loss Corner."""
    if not is_total(text):
        return False
    if not any(not isinstance(cell, str) or re.search(r"\d", cell) for cell in told[1:]):
        return False
    if not only_total(text) and any(_is_word(cell) for cell in told[1:]):
        return False
    return only_total(text) or len(told) < _usual_width(region) or _adds_up(region, row)


def _is_word(cell):
    return isinstance(cell, str) and not is_blank(cell) and number_of(cell, ".") is None


def _usual_width(region):
    widths = [
        sum(_own(region, row, c) is not None for c in region.columns) for row in region.rows[-20:]
    ]
    return sorted(widths)[len(widths) // 2] if widths else 0


def _adds_up(region, row):
    """Whether the numbers of a row are the sums or means of those above it."""
    fits = seen = 0
    for column in region.columns:
        mine = _numbers_of(region.cell(row, column))
        above = [_numbers_of(region.cell(r, column)) for r in region.rows]
        if not mine or is_season(region.cell(row, column)):
            continue
        seen += 1
        sums = []
        for place in range(2):
            told = [each[min(place, len(each) - 1)] for each in above if each]
            if len(told) > 1:
                sums += [(mine[-place], sum(told)), (mine[-place], sum(told) / len(told))]
        fits += any(abs(number - each) <= 0.006 * abs(each) for number, each in sums)
    return bool(seen) and fits == seen


def _numbers_of(cell):
    """Return a cell as a number with either decimal sign, or nothing."""
    found = [number_of(cell, sign) for sign in ".,"]
    return [number.value for number in found if number is not None]


def _is_remark(value):
    if not isinstance(value, str):
        return False
    return len(value.split()) >= SENTENCE or value.lstrip()[:1] in "*#(" or value.endswith(".")


def _give_titles(grid, found):
    """Give each table the lone texts above it; those below the last one are remarks."""
    for region in found:
        left, right = region.columns[0], region.columns[-1]
        earlier = [r for r in found if r.top < region.top]
        # What stands beside a table, and begins above it, does not end its titles.
        aside = [r for r in earlier if r.columns[0] > right or r.columns[-1] < left]
        if any(max(r.rows, default=r.bottom) >= region.top for r in aside):
            earlier = [r for r in earlier if r not in aside]
        else:
            left, right = 0, math.inf
        ends = [max(r.rows, default=r.bottom) for r in earlier]
        ends += [row for r in earlier for row, _, _ in r.left_out]
        first = max(ends, default=-1) + 1
        region.titles = []
        for row in range(first, region.top):
            cells = grid.rows[row]
            beside = [r for r in found if r.top == region.top]
            for c, cell in enumerate(cells):
                if cell is not None and left <= c <= right and _belongs(c, region, beside):
                    region.titles.append((row, shown_value(cell)))
    taken = {row for region in found for row, _ in region.titles}
    for region in found:
        for row, text in getattr(region, "after", ()):
            if row not in taken:
                why = TOTAL if is_total(text) else "a remark"
                region.left_out.append((row, text, why))


def _belongs(column, region, beside):
    """Whether a title in a column is that of a region, and not of one beside it."""
    if len(beside) == 1:
        return True
    starts = sorted(r.columns[0] for r in beside)
    owner = max((s for s in starts if s <= column), default=starts[0])
    return owner == region.columns[0]
