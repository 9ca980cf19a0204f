"""Dates as people write them: the year first, or last where the records show the order."""

import re
from dataclasses import dataclass
from datetime import date

import numpy as np

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.records.reading.faults import Fault
from cropload.records.reading.files import tidy

_YEAR_FIRST = re.compile(
    r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})"
    # A day may end at 24:00; there is no 25th hour, and no 61st minute.
    r"(?:[T ](?:[01]?[0-9]:[0-5]|2[0-3]:[0-5]|24:0)[0-9](?::[0-5]?[0-9](?:\.[0-9]*)?)?)?"
)
_YEAR_LAST = re.compile(r"([0-9]{1,2})[-/.]([0-9]{1,2})[-/.]([0-9]{4})")
_PLAIN = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NOT_A_DATE = "must be a date written YYYY-MM-DD"
_NO_DAY = "is not a day of the calendar"
_MEND = "Write it like 2026-03-14."

DAY, MONTH = "day/month", "month/day"


@dataclass(frozen=True)
class Shown:
    """A date that shows in which order day and month are written, and where it stands."""

    file: str
    row: int
    text: str

    def __str__(self):
        return f"'{self.text}' in {self.file}, row {self.row}"


@dataclass(frozen=True)
class DateOrder:
    """The order of day and month in all tables of a read.

    Attributes
    ----------
    shown : tuple of (str, Shown)
        Each order that a date shows, with the first such date; none, one or both.
    """

    shown: tuple = ()

    @property
    def order(self):
        """``DAY``, ``MONTH``, or ``""`` where no date tells, or dates tell both."""
        return self.shown[0][0] if len(self.shown) == 1 else ""


#: Where nothing has been read yet.
NO_ORDER = DateOrder()


def order_of(text):
    """Return the order that one date shows by itself, or ``""``.

    Examples
    --------
    >>> order_of("25/09/2026"), order_of("09/25/2026"), order_of("03/04/2026")
    ('day/month', 'month/day', '')
    """
    found = _YEAR_LAST.fullmatch(text)
    if not found:
        return ""
    first, second = int(found[1]), int(found[2])
    if first > 12 >= second:
        return DAY
    return MONTH if second > 12 >= first else ""


def orderless(text):
    """Whether a date can be read as two different days."""
    found = _YEAR_LAST.fullmatch(text)
    return (
        bool(found) and max(int(found[1]), int(found[2])) <= 12 and int(found[1]) != int(found[2])
    )


def _dotted(text):
    """Whether a date is written with dots, as where people write the day first (from memory)."""
    return text.count(".") == 2


def date_order(columns):
    """Return the order of day and month that dates show.

    Parameters
    ----------
    columns : iterable of (file, cells)
        The date columns of all tables, as text, indexed by the row of the spreadsheet.
    """
    shown = {}
    for file, cells in columns:
        for text in cells.unique():
            # Most dates begin with the year, and show nothing.
            order = "" if text[:4].isdigit() else order_of(tidy(text))
            if order and order not in shown:
                row = int(cells.index[(cells == text).to_numpy()][0])
                shown[order] = Shown(file, row, tidy(text))
        if len(shown) > 1:
            break
    return DateOrder(tuple(shown.items()))


def read_dates(texts, order, bad):
    """Return dates as datetime64.

    Parameters
    ----------
    texts : list of str
        The different texts of a column.
    order : DateOrder
        The order of day and month in all tables.
    bad : dict
        Code -> (rule, mend) of bad texts; added to.  Codes in it are not read.
    """
    values = np.full(len(texts), np.datetime64("NaT"), dtype="datetime64[ns]")
    plain = [at for at, text in enumerate(texts) if _PLAIN.fullmatch(text) and at not in bad]
    days = _plain_days([texts[at] for at in plain])
    if days is not None:
        values[plain] = days
    read = set() if days is None else set(plain)
    for code, text in enumerate(texts):
        if not text or code in bad or code in read:
            continue
        found = _YEAR_FIRST.fullmatch(text)
        if found:
            _put(values, code, bad, *map(int, found.groups()))
            continue
        found = _YEAR_LAST.fullmatch(text)
        if not found:
            mend = _MEND
            if re.fullmatch(r"[0-9]{5}(?:\.0)?", text):
                mend = "Format the cell as a date in your spreadsheet program."
            bad[code] = (_NOT_A_DATE, mend)
            continue
        first, second, year = map(int, found.groups())
        if min(first, second) > 12:
            bad[code] = (_NO_DAY, _MEND)
        elif len(order.shown) > 1:
            (_, one), (_, other) = order.shown
            bad[code] = (
                f"day and month are written in both orders: {one}, and {other}",
                "Write the dates of all tables with the year first, like 2026-03-14.",
            )
        elif order.order == DAY or (not order.order and _dotted(text)):
            _put(values, code, bad, year, second, first)
        elif order.order == MONTH or first == second:
            _put(values, code, bad, year, first, second)
        else:
            bad[code] = (
                "may be day/month or month/day, and no date of any table tells which",
                f"Write {year}-{second:02}-{first:02} or {year}-{first:02}-{second:02}, with the "
                "year first, and all other dates alike.",
            )
    return values


def _plain_days(texts):
    """Return dates written YYYY-MM-DD, or None where one of them is no day that can be."""
    try:
        days = np.array(texts, dtype="datetime64[D]")
    except ValueError:
        return None
    first, end = np.datetime64(f"{FIRST_YEAR}"), np.datetime64(f"{LAST_YEAR + 1}")
    return days if ((days >= first) & (days < end)).all() else None


def of_the_order(rule):
    """Whether a rule is about the order of day and month, which is told once a file."""
    return rule.startswith(("may be day/month", "day and month are written in both orders"))


def told_once(file, written, dates, rule, mend):
    """Return one fault for all dates of a file whose order is not known.

    Parameters
    ----------
    file, written : str
        The file, and the first column.
    dates : list of (row, text)
        The dates.
    rule, mend : str
        Of the first one.
    """
    row, text = dates[0]
    if len(dates) > 1:
        rule = f"{rule} ({len(dates):,} dates of this table)"
    return Fault(file, row, written, text, rule, mend)


def borrowed(file, written, cells, order):
    """Return a doubt when only dots, or dates elsewhere, show a column's order, or ``None``."""
    texts = [text for text in cells.unique() if not text[:4].isdigit()]
    if not texts or len(order.shown) > 1 or any(order_of(tidy(text)) for text in texts):
        return None
    unclear = [text for text in texts if orderless(tidy(text)) and (order.order or _dotted(text))]
    unclear = cells[cells.isin(unclear)]
    if unclear.empty:
        return None
    rule = "is read as day.month.year, as dates with dots are written"
    if order.order:
        rule = f"is read as {order.order}/year, as {order.shown[0][1]} shows"
    if len(unclear) > 1:
        rest = len(unclear) - 1
        rule += f"; so {'is' if rest == 1 else 'are'} {rest:,} more"
    mend = "Write dates with the year first, like 2026-03-14, and nobody has to guess."
    return Fault(file, int(unclear.index[0]), written, tidy(unclear.iloc[0]), rule, mend)


def _put(values, code, bad, year, month, day):
    try:
        found = date(year, month, day)
    except ValueError:
        bad[code] = (_NO_DAY, "Check the day and the month.")
        return
    if not FIRST_YEAR <= year <= LAST_YEAR:
        bad[code] = (f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}", "Check the year.")
        return
    values[code] = np.datetime64(found, "ns")
