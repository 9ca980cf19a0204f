"""What an owner's tables are made of: columns, their kinds, and how a cell is shown."""

from dataclasses import dataclass

import numpy as np

from cropload.show import wording
from cropload.show.wording import percent

WORDS, PLAN, KEY, WHOLE, NUMBER, RANGE, SHARE, SHARES, MONEY, MONEYS = (
    "words",
    "plan",
    "key",
    "whole",
    "number",
    "range",
    "share",
    "shares",
    "money",
    "moneys",
)

#: Kinds whose cells are text.
TEXTS = (WORDS, PLAN, KEY)

#: Kinds whose cells are (low end, middle, high end); ``shares`` may lack a middle.
THREEFOLD = (RANGE, MONEYS, SHARES)


@dataclass(frozen=True)
class Column:
    """A column: its title, unit and kind, and the decimals of its numbers."""

    title: str
    unit: str = ""
    kind: str = WORDS
    places: int = 1

    @property
    def head(self):
        """Title with the unit behind it."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title


@dataclass(frozen=True)
class ReportTable:
    """A table: cells are text, numbers in the unit shown, triples of a range, or None.

    ``heads`` columns at the left name the row.
    """

    key: str
    caption: str
    columns: tuple
    rows: tuple
    heads: int = 1


def money_step(frames):
    """Return the power of ten that money is rounded to, by the narrowest of the ranges shown.

    Notes
    -----
    The last figure shown is worth at most a hundredth of the range, so that no more is claimed than
    the draws support; at least whole units of the currency.
    """
    widths = [
        float(value)
        for frame in frames
        for value in frame["margin_p90"] - frame["margin_p10"]
        if value > 0
    ]
    return max(0, int(np.floor(np.log10(min(widths) / 100)))) if widths else 0


def money_text(value, step=0, currency=""):
    """Return an amount as text, rounded to a power of ten.

    Examples
    --------
    >>> money_text(48231.0, 2, "EUR")
    'EUR 48,200'
    """
    shown = wording.figure(None if value is None else round(value, -step), 0)
    return f"{currency} {shown}".strip()


def chance_text(chance):
    """Return a chance in whole per cent; draws cannot tell never from hardly ever.

    Examples
    --------
    >>> chance_text(0.0), chance_text(0.127), chance_text(0.9998)
    ('under 1 %', '13 %', 'over 99 %')
    """
    if chance is None or not np.isfinite(chance):
        return "–"
    if chance < 0.005:
        return "under 1 %"
    return "over 99 %" if chance >= 0.995 else percent(chance)


def cell_text(column, value, step=0):
    """Return a cell as the page shows it."""
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return "–"
    if column.kind in THREEFOLD:
        low, middle, high = value
        if any(each is not None and np.isnan(each) for each in value):
            return "–"
        if column.kind == SHARES:
            text = f"{percent(low)} to {percent(high)}"
            return text if middle is None else f"{percent(middle)} ({text})"

        def show(each):
            if column.kind == MONEYS:
                return money_text(each, step)
            return wording.figure(each, column.places)

        return f"{show(middle)} ({show(low)} to {show(high)})"
    if column.kind == WHOLE:
        return f"{int(value):,}"
    if column.kind == NUMBER:
        return wording.figure(value, column.places)
    if column.kind == SHARE:
        return chance_text(value)
    if column.kind == MONEY:
        return money_text(value, step)
    return str(value)
