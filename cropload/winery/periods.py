"""Periods of intake: days, weeks, or the user's own, with their overlaps and holes."""

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.errors import CroploadError, near

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
#: 1970-01-01 was a Thursday.
_EPOCH_WEEKDAY = 3


def _date(day):
    return pd.Timestamp(0) + pd.Timedelta(days=int(day))


def span_words(start, end):
    """Return the name of a period, such as ``2027-09-06 to 2027-09-12``."""
    first, last = f"{start:%Y-%m-%d}", f"{end:%Y-%m-%d}"
    return first if first == last else f"{first} to {last}"


def _frame(starts, ends):
    frame = pd.DataFrame(
        {
            "period_start": pd.to_datetime(list(starts)).astype("datetime64[ns]"),
            "period_end": pd.to_datetime(list(ends)).astype("datetime64[ns]"),
        }
    )
    check(frame)
    words = [span_words(s, e) for s, e in zip(frame.iloc[:, 0], frame.iloc[:, 1], strict=True)]
    frame.insert(0, "period", pd.Series(words, dtype=object))
    return frame


def days(periods):
    """Return the first and last days of periods as whole days since 1970-01-01."""
    epoch = pd.Timestamp(0)
    return tuple(
        (pd.DatetimeIndex(periods[name]) - epoch).days.to_numpy(int)
        for name in ("period_start", "period_end")
    )


def make(period, span, week_starts="Monday"):
    """Return periods as a table: period (its name), period_start, period_end.

    Parameters
    ----------
    period : str, DataFrame or list of pairs
        ``"week"``, ``"day"``, or the user's own.
    span : (int, int)
        First and last day that must be held by weeks or days [d since 1970-01-01].
    week_starts : str
        Day on which a week begins.

    Raises
    ------
    CroploadError
        For another word, or periods without dates or that end before they start.

    Notes
    -----
    Valid for spans of up to some years.

    Examples
    --------
    >>> make("week", (20710, 20716))["period"].tolist()
    ['2026-09-14 to 2026-09-20']
    """
    first, last = span
    arguments.text("week_starts", week_starts)
    if isinstance(period, str):
        if period not in ("week", "day"):
            raise CroploadError(
                f"A period is 'week' or 'day', or a table of periods, not '{period}'. "
                f"{near(period, ('week', 'day'))}".strip()
            )
        starts = {name.casefold(): at for at, name in enumerate(_WEEKDAYS)}
        wanted = starts.get(str(week_starts).casefold())
        if wanted is None:
            raise CroploadError(
                f"A week starts on one of {', '.join(_WEEKDAYS)}, not on '{week_starts}'."
            )
        if last < first:
            return _frame([], [])
        if period == "day":
            every = [_date(day) for day in range(first, last + 1)]
            return _frame(every, every)
        begin = first - (first + _EPOCH_WEEKDAY - wanted) % 7
        begins = range(begin, last + 1, 7)
        return _frame([_date(day) for day in begins], [_date(day + 6) for day in begins])
    if isinstance(period, pd.DataFrame):
        missing = [name for name in ("period_start", "period_end") if name not in period]
        if missing:
            raise CroploadError(f"The table of periods has no column {' and '.join(missing)}.")
        pairs = list(zip(period["period_start"], period["period_end"], strict=True))
    else:
        try:
            pairs = [(start, end) for start, end in period]
        except (TypeError, ValueError):
            raise CroploadError(
                "Periods are 'week', 'day', a table, or pairs of a first and a last day."
            ) from None
    pairs = list(dict.fromkeys(pairs))
    if not pairs:
        return _frame([], [])
    try:
        return _frame(*zip(*pairs, strict=True))
    except CroploadError:
        raise
    except (ValueError, TypeError, OverflowError) as fault:
        raise CroploadError(f"A period has no date that can be read ({fault}).") from None


def check(periods):
    """Raise CroploadError when a period lacks a date or ends before it starts."""
    for start, end in zip(periods["period_start"], periods["period_end"], strict=True):
        if pd.isna(start) or pd.isna(end):
            raise CroploadError("A period has no first or no last day. Fill both in.")
        if end < start:
            raise CroploadError(
                f"The period from {start:%Y-%m-%d} ends before it starts, on {end:%Y-%m-%d}. "
                "Correct its days."
            )


def overlaps_and_holes(starts, ends):
    """Return the days that several periods hold, and those between them that none holds.

    Parameters
    ----------
    starts, ends : ndarray of int
        First and last days [d since 1970-01-01].

    Returns
    -------
    overlaps, holes : list of (int, int)
        First and last day of each stretch, in order.

    Examples
    --------
    >>> import numpy as np
    >>> overlaps_and_holes(np.array([0, 5, 14]), np.array([6, 11, 20]))
    ([(5, 6)], [(12, 13)])
    """
    if not len(starts):
        return [], []
    first, last = int(np.min(starts)), int(np.max(ends))
    held = np.zeros(last - first + 2, int)
    np.add.at(held, np.asarray(starts) - first, 1)
    np.add.at(held, np.asarray(ends) - first + 1, -1)
    held = np.cumsum(held)[:-1]
    return _stretches(held > 1, first), _stretches(held == 0, first)


def _stretches(yes, first):
    edges = np.flatnonzero(np.diff(np.concatenate([[0], yes.astype(int), [0]])))
    pairs = edges.reshape(-1, 2)
    return [(first + int(a), first + int(b) - 1) for a, b in pairs]


def stretch_words(stretches):
    """Return stretches of days as text, such as ``2027-09-06 to 2027-09-12``."""
    return ", ".join(span_words(_date(a), _date(b)) for a, b in stretches)
