"""Days of weather that cannot be: left out of a read and told once a rule, so that all else holds.

A file of which most days cannot be is no weather, and stays a fault.
"""

import numpy as np
import pandas as pd

from cropload.records.reading.faults import Fault

#: The share of a station's days beyond which nothing is left out, and the faults are told [1].
MOST = 0.5
#: The hottest day on record is 134 F (from memory): up to there a number may be a Fahrenheit one in
#: a column of Celsius, and then more than this share of the days is beyond any record [1].
_HOTTEST_F, _MOST_HOT = 134.0, 0.05
_DAYS_NAMED = 3

#: What a row is told to be, and whether the day is left out for it.
NOTHING = "the day has neither temperature, and is left out"
HALF = "one temperature of the day is missing or cannot be read; the other one is used"
NO_DAY = "the date is no day, and the row is left out"
BEYOND = "no air is as hot or as cold as the day says, and it is left out"
CROSSED = "tmin may not be above tmax, and the day is left out"
TWICE = "the day stands twice with different values, and is left out"
AGAIN = "the day stands twice with the same values, and is used once"
_MENDS = {
    NOTHING: "A gap is known as one; the row may go.",
    HALF: "Fill it in where it was measured.",
    NO_DAY: "Correct the date.",
    BEYOND: "Correct the day, or take out the mark that stands for a missing value. Degrees "
    "Fahrenheit go into a column whose name ends in _f, such as tmax_f.",
    CROSSED: "Correct the temperatures of the day.",
    TWICE: "Keep one of the rows.",
    AGAIN: "One of the rows may go.",
}


def sift(table, frame, unread=frozenset()):
    """Tell the days of weather that cannot be.

    Parameters
    ----------
    table : Table
        The table weather, with the limits of its columns.
    frame : DataFrame
        station, date, tmin_c and tmax_c [C]; the index numbers rows as the spreadsheet does.
    unread : set of (row, column)
        Cells that could not be read, which are blank in the frame.

    Returns
    -------
    Series
        The rule by row: what is wrong with it, of this module's; rows that are sound are not in it.

    Notes
    -----
    Rows without a station, and days without a date, stay faults, and so does a station of which
    most days cannot be, as when two columns are exchanged or are in another unit.
    """
    low, high, station = frame["tmin_c"], frame["tmax_c"], frame["station"]
    undated = frame.index.isin([row for row, column in unread if column == "date"])
    usable = (station != "") & (frame["date"].notna() | undated)
    limits = table["tmin_c"]
    most, least = np.fmax(low, high), np.fmin(low, high)
    beyond = (most > limits.high) | (least < limits.low)
    told = pd.Series("", frame.index)
    for rule, broken in (
        (NO_DAY, undated),
        (NOTHING, low.isna() & high.isna()),
        (BEYOND, beyond),
        (CROSSED, low > high),
        (HALF, low.isna() | high.isna()),
    ):
        told[usable & broken & (told == "")] = rule
    sound = usable & told.isin(["", HALF])
    days = frame[sound]
    again = days.duplicated(["station", "date", "tmin_c", "tmax_c"])
    told[again.index[again]] = AGAIN
    days = days[~again]
    twice = days.duplicated(["station", "date"], keep=False)
    told[twice.index[twice]] = TWICE
    out = ~told.isin(["", HALF, AGAIN])
    hot = (told == BEYOND) & (most > limits.high) & (most <= _HOTTEST_F)
    counts = pd.DataFrame({"out": out, "hot": hot, "half": told == HALF}).groupby(station)
    share, number = counts.transform("mean"), counts.transform("sum")
    nonsense = (share["out"] > MOST) | (share["half"] > MOST)
    nonsense |= (share["hot"] > _MOST_HOT) & (number["hot"] > 1)
    return told[(told != "") & ~(nonsense & (told != AGAIN))]


def left_out(days):
    """Return which days, with the rule that each breaks, are left out."""
    return ~days["rule"].isin([HALF, AGAIN])


def notes_on(days, place):
    """Return one warning a rule on days that cannot be.

    Parameters
    ----------
    days : DataFrame
        The days, with the ``rule`` of each, as from `sift`.
    place : object
        With ``file`` and ``text(row, column)`` of the table as given.
    """
    notes = []
    for (rule, station), lot in days.groupby(["rule", "station"], sort=False):
        first, dates = int(lot.index[0]), lot["date"].dropna().unique()
        value = f"{place.text(first, 'date')}: {_written(place, first)}"
        for other in lot.index[1:][lot["date"].iloc[1:] == lot["date"].iloc[0]][:1]:
            value += f"; row {other}: {_written(place, other)}"
        words = f"at {station}, {rule}"
        if len(dates) > 1:
            words += f" ({len(dates):,} such days: {named(dates)})"
        number = len(dates) if rule == TWICE else len(lot)
        notes.append(Fault(place.file, first, None, value, words, _MENDS[rule], number - 1))
    return sorted(notes, key=lambda note: note.row)


def _written(place, row):
    return " / ".join(place.text(row, name) or "blank" for name in ("tmin_c", "tmax_c"))


def named(dates):
    """Name the first few of some dates."""
    text = ", ".join(f"{pd.Timestamp(day):%Y-%m-%d}" for day in list(dates)[:_DAYS_NAMED])
    more = len(dates) - _DAYS_NAMED
    return text + (f" and {more:,} more" if more > 0 else "")
