"""Frozen grapes: picked in the first weeks of the year after their season."""

import pandas as pd

from cropload.handbook import entry

_AUTUMN = 7


def picked_in_winter(usable):
    """Return (season, date) of rows of ripe fruit that belong to the season before their year.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there.

    Returns
    -------
    set of (float, Timestamp)
        Empty where no other pick is of the second half of its season's year, as then a vineyard
        of the southern hemisphere, or a slip of the year, is as likely.

    Notes
    -----
    Valid for tables harvest, weights and dates; a count of January is not among them.
    """
    parts = []
    for name in ("harvest", "weights", "dates"):
        if name in usable:
            frame = usable[name].frame
            frame = frame[frame["stage"] == "harvest"] if "stage" in frame else frame
            parts.append(frame[["season", "date"]].dropna())
    days = pd.concat(parts).drop_duplicates() if parts else pd.DataFrame()
    if days.empty:
        return set()
    year = days["date"].dt.year
    own = days[year == days["season"]]
    late = days["date"].dt.day_of_year <= entry("plausible.winter_pick_days").value
    late &= year == days["season"] + 1
    if not late.any() or not len(own) or not (own["date"].dt.month >= _AUTUMN).all():
        return set()
    return set(days[late].itertuples(index=False, name=None))
