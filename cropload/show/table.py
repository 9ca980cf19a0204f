"""One table of an answer: typed cells, rendered to a terminal, a page, a spreadsheet or a file.

A question builds a :class:`Table` once, in metric units; how a cell is rounded and written is
decided here, so that every face of an answer says the same.
"""

import math
from dataclasses import dataclass, replace

from cropload.show import wording
from cropload.units import METRIC, unit_system

WORDS, PLAN, DATE = "words", "plan", "date"
WHOLE, NUMBER, FIGURE, RANGE, CHANGE = "whole", "number", "figure", "range", "change"
SIGNED = "signed"
SHARE, SHARES, CHANCE, CHANCES = "share", "shares", "chance", "chances"
MONEY, MONEYS, MONEY_CHANGE = "money", "moneys", "money change"

#: Kinds whose cells are text, set to the left.
TEXTS = (WORDS, PLAN, DATE)
#: Kinds whose cells are (low end, middle, high end); a middle that is None is left out.
THREEFOLD = (RANGE, CHANGE, SHARES, CHANCES, MONEYS, MONEY_CHANGE)
#: What a cell without a value shows.
EMPTY = "-"
#: What the three columns of a range are called where each has its own.
ENDS = ("low end (p10)", "middle (p50)", "high end (p90)")


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    title : str
        What is in it.
    kind : str
        ``words``, ``plan``, ``date`` (a Timestamp), ``whole``, ``number``, ``figure`` (so many
        significant figures), ``signed`` (a change), ``range``, ``change`` (a signed range),
        ``share`` and ``shares`` (of what was seen), ``chance`` and ``chances`` (told from draws),
        ``money``, ``moneys`` and ``money change`` (signed).
    quantity : str
        Quantity of the unit system its metric values are of; empty for a bare number.
    unit : str
        Unit of a bare number, or the currency.
    places : int, optional
        Decimals [1]; those of the quantity when left out.
    """

    title: str
    kind: str = WORDS
    quantity: str = ""
    unit: str = ""
    places: int | None = None

    def label(self, units=METRIC):
        """Return the unit as written under the title."""
        return units.label(self.quantity) if self.quantity else self.unit

    def head(self, units=METRIC):
        """Return the title with its unit behind it."""
        label = self.label(units)
        return f"{self.title} [{label}]" if label else self.title

    def value(self, cell, units=METRIC):
        """Return a cell in a unit system: a number, a triple of numbers, text, or None."""
        if self.kind in THREEFOLD and cell is not None:
            ends = tuple(self._number(end, units) for end in cell)
            return ends if any(end is not None for end in ends) else None
        if self.kind in TEXTS:
            return None if cell is None or cell != cell else cell
        return self._number(cell, units)

    def _number(self, value, units):
        if value is None or not math.isfinite(value):
            return None
        return float(units.convert(self.quantity, value) if self.quantity else value)

    def text(self, cell, units=METRIC, step=0):
        """Return a cell as every face shows it; ``step`` is the power of ten of money."""
        value = self.value(cell, units)
        if value is None or value == "":
            return EMPTY
        if self.kind == DATE:
            return f"{value:%Y-%m-%d}"
        if self.kind in TEXTS:
            return str(value)
        if self.kind in THREEFOLD:
            size = value[2] if value[1] is None else value[1]
            return wording.ranged(value, self._writer(units, step, size))
        return self._writer(units, step, value)(value)

    def _writer(self, units, step, size):
        if self.kind in (SHARE, SHARES):
            return wording.percent
        if self.kind in (CHANCE, CHANCES):
            return wording.chance
        if self.kind in (MONEY, MONEYS, MONEY_CHANGE):
            return lambda value: wording.money(value, step, signed=self.kind == MONEY_CHANGE)
        if self.kind == WHOLE:
            return lambda value: wording.number(int(value), 0)
        if self.kind == FIGURE:
            return lambda value: wording.significant(value, self.places or 3)
        places = self.places
        if places is None:
            places = wording.decimals(self.quantity, units, size)
        return lambda value: wording.number(value, places, signed=self.kind in (CHANGE, SIGNED))

    def number_format(self, units=METRIC):
        """Return the format of its numbers in a spreadsheet; empty for words."""
        if self.kind in TEXTS:
            return "yyyy-mm-dd" if self.kind == DATE else ""
        if self.kind in (SHARE, SHARES, CHANCE, CHANCES):
            return "0%"
        if self.kind in (MONEY, MONEYS, MONEY_CHANGE, WHOLE):
            return "#,##0"
        places = wording.decimals(self.quantity, units) if self.places is None else self.places
        return "#,##0" + ("." + "0" * places if places else "")


@dataclass(frozen=True)
class Table:
    """A table: what it shows, its columns, and rows of metric values.

    Attributes
    ----------
    key : str
        Short name, for a sheet or a place on a page.
    caption : str
        What it shows, in words.
    columns : tuple of Column
    rows : tuple of tuple
        Cells as their column says; None where there is nothing.
    heads : int
        Columns at the left that name the row [1].
    step : int
        Power of ten that money is rounded to [1].
    """

    key: str
    caption: str
    columns: tuple
    rows: tuple
    heads: int = 1
    step: int = 0

    @classmethod
    def of(cls, key, caption, rows, columns, heads=1, step=0):
        """Return a table from rows (dicts or records of a frame) and (column, cell) pairs.

        Parameters
        ----------
        rows : iterable of dict
            A row each; ``DataFrame.to_dict("records")`` gives such.
        columns : iterable of (Column, str or callable)
            A column, and the name its cells have in a row: of a threefold kind the name before
            ``_p10``, ``_p50``, ``_p90``; or a function of the row.
        """
        columns = [pair for pair in columns if pair]
        takes = [_taker(column, take) for column, take in columns]
        filled = tuple(tuple(take(row) for take in takes) for row in rows)
        return cls(key, caption, tuple(column for column, _ in columns), filled, heads, step)

    def __bool__(self):
        return bool(self.rows)

    def cells(self, units=METRIC):
        """Return heads, unit labels and rows as text, in a unit system."""
        units = unit_system(units)
        heads = [column.title for column in self.columns]
        labels = [column.label(units) for column in self.columns]
        rows = [
            [
                column.text(cell, units, self.step)
                for column, cell in zip(self.columns, row, strict=True)
            ]
            for row in self.rows
        ]
        return heads, labels, rows

    def text(self, units=METRIC, width=None):
        """Return the table as text that is no wider than the screen, its caption above it."""
        from cropload.show import terminal

        heads, labels, rows = self.cells(units)
        columns = [
            terminal.Column(head, label, column.kind not in TEXTS)
            for head, label, column in zip(heads, labels, self.columns, strict=True)
        ]
        drawn = terminal.text_table(columns, rows, width, self.heads)
        return (
            f"{terminal.paragraph(self.caption, width=width)}\n{drawn}" if self.caption else drawn
        )

    def html(self, units=METRIC):
        """Return the table as HTML, text escaped."""
        from cropload.show import html

        heads, labels, rows = self.cells(units)
        heads = [
            f"{head} [{label}]" if label else head
            for head, label in zip(heads, labels, strict=True)
        ]
        words = {at for at, column in enumerate(self.columns) if column.kind in TEXTS}
        return html.table(heads, rows, self.caption, words)

    def spread_out(self, units=METRIC):
        """Return heads, number formats and rows with a column for each end of a range.

        A range whose middles are all missing keeps its two ends.
        """
        units = unit_system(units)
        heads, formats, takes = [], [], []
        values = [
            [column.value(cell, units) for column, cell in zip(self.columns, row, strict=True)]
            for row in self.rows
        ]
        for at, column in enumerate(self.columns):
            form, label = column.number_format(units), column.label(units)
            if column.kind not in THREEFOLD:
                heads.append(column.head(units))
                formats.append(form)
                takes.append((at, None))
                continue
            for end, words in enumerate(ENDS):
                if any(row[at] is not None and row[at][end] is not None for row in values):
                    heads.append(f"{column.title}, {words}" + (f" [{label}]" if label else ""))
                    formats.append(form)
                    takes.append((at, end))
        rows = [
            [row[at] if end is None or row[at] is None else row[at][end] for at, end in takes]
            for row in values
        ]
        return heads, formats, rows

    def frame(self, units=METRIC):
        """Return the table as a DataFrame of plain values, a column for each end of a range."""
        import pandas as pd

        heads, _, rows = self.spread_out(units)
        return pd.DataFrame(rows, columns=heads)

    def only(self, *titles):
        """Return the table with some of its columns, by title."""
        return self._taken([c.title in titles for c in self.columns])

    def without(self, *titles):
        """Return the table without some of its columns, by title."""
        return self._taken([c.title not in titles for c in self.columns])

    def _taken(self, kept):
        at = [place for place, keep in enumerate(kept) if keep]
        rows = tuple(tuple(row[place] for place in at) for row in self.rows)
        return replace(self, columns=tuple(self.columns[place] for place in at), rows=rows)


def _taker(column, take):
    """Return the function that takes the cell of a column from a row."""
    if callable(take):
        return take
    if column.kind in THREEFOLD:
        names = [f"{take}_{end}" for end in wording.ENDINGS]
        return lambda row: tuple(row[name] for name in names)
    return lambda row: row[take]
