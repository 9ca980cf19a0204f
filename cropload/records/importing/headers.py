"""Find the headers of a sheet, of one row or several, and the columns under each."""

import re
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from itertools import pairwise

from cropload.records.importing.values import day_of
from cropload.records.reading.dates import DAY
from cropload.records.reading.grids import shown_value
from cropload.records.reading.trade_words import (
    is_blank,
    named,
    phrase,
    seasons_in,
    split_unit,
    unit_named,
)

#: A header that numbers vines: vine 1, V2, cep 3, 4.
NUMBERED = re.compile(r"(?:[a-z]{1,6}\.?\s*)?#?\s*(\d{1,3})")
#: A text of so many words is a remark.
SENTENCE = 6
_DECIMAL = re.compile(r"[-+]?\d+[.,]\d+\s*\S{0,3}")


@dataclass
class Header:
    """One column's header: its cells joined, its name without unit, and what stands in it.

    Attributes
    ----------
    text : str
        As written; two rows are joined with a space.
    name : str
        Without the unit.
    unit : Unit or None
        The unit that it names.
    seasons : list
        Years that it names.
    above : str
        What stands above it in a header of two rows, as over several columns.
    lent : bool
        Whether the unit is that of what stands above.
    """

    text: str
    name: str = ""
    unit: object = None
    seasons: list = field(default_factory=list)
    above: str = ""
    lent: bool = False


@cache
def is_known(text):
    """Whether a text stands over a column of some table, with or without a unit or a year."""
    name, unit = split_unit(text)
    if named(name) or (unit and (named(text) or unit.kind == "money" or "/" in unit.kind)):
        return True
    rest = without_seasons(name)
    return bool(rest) and rest != name and named(rest)


def without_seasons(text):
    """Return text without years."""
    return " ".join(re.sub(r"(?:19|20)\d\d(?:\s*[/-]\s*(?:19|20)?\d\d)?", " ", text).split())


def is_season(cell):
    """Whether a cell is a year and hardly more: 2024, "2023/24", "Vintage 2024", "2024 t"."""
    if isinstance(cell, (int, float)) and not isinstance(cell, bool):
        return float(cell).is_integer() and 1980 <= cell <= 2060
    return isinstance(cell, str) and _names_season(cell)


@cache
def _names_season(cell):
    if not seasons_in(cell) or re.search(r"\d[./]\d+[./]\d", cell):
        return False
    return len(phrase(split_unit(without_seasons(cell))[0]).split()) <= 2


def _number(cell):
    return isinstance(cell, (int, float)) and not isinstance(cell, bool)


def _plain_number(cell):
    return cell.strip().isdecimal() if isinstance(cell, str) else _number(cell)


@cache
def _is_value(text):
    """Whether a text is a remark, a number with decimals or a day: it stands below headers."""
    if len(text.split()) > 12 or _DECIMAL.fullmatch(text.strip()):
        return True
    return text.strip()[:1].isdigit() and day_of(text, DAY) is not None


class Sheet:
    """A sheet with merged cells filled, and which of its rows are headers."""

    def __init__(self, grid):
        self.grid, self.filled = grid, _merged_values(grid)
        self.wide = {(top, left) for top, left, _, right in grid.merged if right > left}
        self.tops = [row for row in range(len(grid.rows)) if self._names_columns(row)]

    def own(self, row, column):
        """Return what stands in a cell itself."""
        cells = self.grid.rows[row] if 0 <= row < len(self.grid.rows) else ()
        return cells[column] if column < len(cells) else None

    def cell(self, row, column):
        """Return what stands in a cell, or in those merged with it."""
        value = self.own(row, column)
        return self.filled.get((row, column)) if value is None else value

    def _names_columns(self, row):
        """Whether a row by itself names columns."""
        cells = self.grid.rows[row]
        texts = {c: v for c, v in enumerate(cells) if isinstance(v, str) and not is_blank(v)}
        if not texts or any(isinstance(v, date) for v in cells):
            return False
        years = [c for c, cell in enumerate(cells) if cell is not None and is_season(cell)]
        numbers = [c for c, cell in enumerate(cells) if _plain_number(cell) and c not in years]
        count_on = _count_on([float(cells[c]) for c in numbers])
        vines = _vines_named(texts)
        if numbers and not count_on and not vines:
            return False
        if any(map(_is_value, texts.values())):
            return False
        known = [c for c, text in texts.items() if c not in years and is_known(text)]
        names = {phrase(split_unit(texts[c])[0]) for c in known}
        if len(names) >= 2 and (not numbers or count_on):
            strange = len(texts) - len([c for c in texts if c in known or c in years])
            return len(known) + len(years) >= 0.5 * strange
        # A column a season, or a vine, beside the name of a block or row.
        if len(names) == 1 and len(years) >= 2 and not numbers:
            return True
        return len(names) >= 1 and len(vines) + (len(numbers) if count_on else 0) >= 3

    def stacks(self):
        """Return (first row, last row) of each header; some have two or three rows."""
        found = []
        for row in self.tops:
            if found and row <= found[-1][1]:
                continue
            first = last = row
            while self._goes_over(first - 1, first) and first - 1 > (found[-1][1] if found else -1):
                first -= 1
            while self._goes_under(last + 1, last):
                last += 1
            found.append((first, last))
        return found

    def _goes_over(self, row, below):
        """Whether a row is the upper part of the header below it."""
        if row < 0:
            return False
        told = {c: v for c, v in enumerate(self.grid.rows[row]) if v is not None}
        if len(told) < 2 and not any((row, c) in self.wide for c in told):
            return False
        if any(isinstance(v, date) or (_number(v) and not is_season(v)) for v in told.values()):
            return False
        if any(isinstance(v, str) and len(v.split()) > SENTENCE for v in told.values()):
            return False
        wide = sum((row, c) in self.wide for c in told)
        years = sum(map(is_season, told.values()))
        alone = [c for c in told if self.own(below, c) is None]
        return (wide >= 1 and len(told) >= 2) or years >= 2 or len(alone) >= 2

    def _goes_under(self, row, above):
        """Whether a row is the lower part of the header above it: units, years, vines or names."""
        if row >= len(self.grid.rows):
            return False
        told = {c: v for c, v in enumerate(self.grid.rows[row]) if v is not None}
        if len(told) < 2:
            return False
        values = list(told.values())
        if all(isinstance(v, str) and unit_named(v) for v in values):
            return True
        over = [c for c in told if self.cell(above, c) is not None]
        merged = [c for c in told if (above, c) in self.filled]
        blank_first = (
            self.own(row, min(c for c, v in enumerate(self.grid.rows[above]) if v is not None))
            is None
        )
        if row in self.tops:
            return bool(merged) or blank_first or len(over) < len(told)
        if not blank_first:
            return False
        if all(_number(v) for v in values):
            return bool(merged) and (_count_up(values) or all(map(is_season, values)))
        return bool(merged) and all(map(is_season, values))


def _merged_values(grid):
    filled = {}
    for top, left, bottom, right in grid.merged:
        value = (
            grid.rows[top][left] if top < len(grid.rows) and left < len(grid.rows[top]) else None
        )
        if value is None:
            continue
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                filled[row, column] = value
    return filled


def _vines_named(texts):
    """Return the numbers of the vines that texts name in a row, as V1, V2 and V3 do, or nothing."""
    found = [text.strip().lower() for text in texts.values() if len(text) < 12]
    found = [text for text in found if text[-1].isdigit() and not text.isdigit()]
    found = [NUMBERED.fullmatch(text) for text in found]
    found = [int(vine[1]) for vine in found if vine]
    return found if _count_up(found) else []


def _count_on(values):
    """Whether numbers count on by one, as those of vines across a header do."""
    return len(values) >= 3 and all(b - a == 1 for a, b in pairwise(values))


def _count_up(values):
    return len(values) >= 3 and all(b > a and float(b).is_integer() for a, b in pairwise(values))


def _joined(sheet, stack, column):
    """Return the name of a column and what stands over it, from a header of several rows."""
    first, last = stack
    parts = []
    for row in range(first, last + 1):
        value = sheet.cell(row, column)
        under = any(sheet.cell(r, column) is not None for r in range(row + 1, last + 1))
        if sheet.own(row, column) is None and row < last and not under:
            # A title merged over named columns is no name of one without.
            value = None if sheet.cell(last, column) is None else value
        if value is None and row < last and not parts:
            value = _to_the_left(sheet, stack, row, column)
        text = " ".join(shown_value(value).split())
        if text and (not parts or parts[-1] != text):
            parts.append(text)
    own = any(sheet.own(row, column) is not None for row in range(first, last))
    if len(parts) > 1 and own and unit_named(parts[-1]):
        unit = parts.pop()
        parts[-1] = f"{parts[-1]} ({unit})" if not split_unit(parts[-1])[1] else parts[-1]
    return (parts[-1] if parts else ""), " ".join(parts[:-1])


def _to_the_left(sheet, stack, row, column):
    """Return what an upper row says once for several columns, where the lower names this one."""
    if all(sheet.cell(below, column) is None for below in range(row + 1, stack[1] + 1)):
        return None
    for left in range(column - 1, -1, -1):
        value = sheet.cell(row, left)
        if value is not None:
            named_below = any(
                sheet.cell(below, left) is not None for below in range(row + 1, stack[1] + 1)
            )
            return value if named_below and (row, left) not in sheet.wide else None
        if all(sheet.cell(below, left) is None for below in range(row + 1, stack[1] + 1)):
            return None
    return None


def segments(sheet, stack, end):
    """Return runs of columns of a header, as tables may stand side by side."""
    body = range(stack[1] + 1, min(end, stack[1] + 200))
    width = max((len(cells) for cells in sheet.grid.rows[stack[0] : end]), default=0)
    names = [_joined(sheet, stack, c)[0] for c in range(width)]
    used = [bool(names[c]) or any(sheet.own(r, c) is not None for r in body) for c in range(width)]
    runs, run, seen = [], [], None
    for c in range(width):
        name = phrase(split_unit(names[c])[0]) if names[c] else None
        again = name is not None and name == seen and is_known(names[c])
        if not used[c] or again:
            runs.append(run)
            run, seen = [], None
            if not used[c]:
                continue
        run.append(c)
        seen = seen or name
    runs.append(run)
    kept = []
    for run in runs:
        while run and not names[run[0]]:
            run = run[1:]
        texts = [names[c] for c in run if names[c]]
        known = sum(is_known(text) or is_season(text) for text in texts)
        if known >= 2 or (known and len(texts) >= 4):
            kept.append(run)
        elif kept and known:
            kept[-1] = kept[-1] + run
    return kept


def headers_of(sheet, stack, columns):
    """Return the header of each column: column -> Header."""
    headers = {}
    for column in columns:
        text, over = _joined(sheet, stack, column)
        name, unit = split_unit(text)
        seasons = seasons_in(name) or seasons_in(over)
        above = without_seasons(over)
        lent = None if unit or not above else split_unit(above)[1]
        name = without_seasons(name) or name
        headers[column] = Header(text, name, unit or lent, seasons, above, lent is not None)
    return headers
