"""Days and seasons: the day it is, told in one place, and how days and seasons are written."""

import datetime
import re

from cropload.errors import CroploadError, shown

#: Seasons and dates outside these years are taken for slips of the pen.
FIRST_YEAR, LAST_YEAR = 1900, 2100

#: The day the shipped sample was last written.  A clock that shows an earlier day is wrong, and
#: must not turn the sample's last harvest into one that is still to come.
MADE_ON = datetime.date(2026, 11, 25)


def today():
    """Return the day it is: by the machine's clock, yet not before this version was made.

    Returns
    -------
    datetime.date

    Notes
    -----
    Call it as ``clock.today()``, not by a name of your own, so that a test can set the day.
    """
    return max(datetime.date.today(), MADE_ON)


def now():
    """Return this moment by the machine's clock, to the second and in UTC, as a log keeps it."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")


def day(as_of):
    """Return a day as a Timestamp at midnight, or None for no limit.

    Raises
    ------
    CroploadError
        When the text is no date.
    """
    import numpy as np
    import pandas as pd

    if as_of is None:
        return None
    # A text in another order may be read as another day; only the one way of writing counts.
    written = not isinstance(as_of, str) or re.fullmatch(
        r"[0-9]{4}-[0-9]{2}-[0-9]{2}", as_of.strip()
    )
    try:
        found = pd.Timestamp(as_of) if written else pd.NaT
    except (ValueError, TypeError):
        found = pd.NaT
    dated = isinstance(as_of, (str, datetime.date, np.datetime64))
    if found is pd.NaT or not dated:
        raise CroploadError(f"{shown(as_of)} is not a date. Write it like 2026-07-15.")
    return found.tz_localize(None).normalize()


def season_ranges(seasons):
    """Return seasons in words, runs drawn together.

    Parameters
    ----------
    seasons : iterable of int
        Calendar years of harvest.

    Examples
    --------
    >>> season_ranges([2020, 2021, 2022, 2024])
    '2020-2022, 2024'
    """
    runs = []
    for year in sorted({int(year) for year in seasons}):
        if runs and year == runs[-1][-1] + 1:
            runs[-1].append(year)
        else:
            runs.append([year])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)
