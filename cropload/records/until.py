"""Records as they stood on a day: what was not yet measured then is left out."""

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.errors import CroploadError

#: Month and day from which an undated row of a table counts as known, and the years to add to
#: its season: a pruning is known at the turn of the year, a harvest at the end of its own.
_UNDATED = {"pruning": ("01-01", 0), "harvest": ("12-31", 0), "fertility": ("12-31", 0)}


def day(as_of):
    """Return a day as a Timestamp at midnight, or None for no limit.

    Raises
    ------
    CroploadError
        When the text is no date.
    """
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
    dated = isinstance(as_of, (str, date, np.datetime64))
    if found is pd.NaT or not dated:
        raise CroploadError(f"{arguments.shown(as_of)} is not a date. Write it like 2026-07-15.")
    return found.tz_localize(None).normalize()


def records_until(records, as_of):
    """Return the records as known at the end of a day.

    Parameters
    ----------
    records : Records
        Everything on record.
    as_of : str, date or None
        The day; None keeps everything.

    Returns
    -------
    Records
        With later rows left out. The same object when nothing is left out.

    Notes
    -----
    An undated pruning row counts as known from 1 January of its season, an undated harvest or
    fertility row from 31 December. The blocks, prices, capacity and weather tables stay whole,
    except that weather of later days is left out.
    """
    limit = day(as_of)
    if limit is None:
        return records
    kept = {}
    for name in ("pruning", "counts", "weights", "harvest", "dates", "weather", "fertility"):
        table = getattr(records, name)
        if table.empty:
            continue
        if name in _UNDATED:
            ending, years = _UNDATED[name]
            undated = pd.to_datetime(
                (table["season"] + years).astype(str) + "-" + ending, errors="coerce"
            )
            known = table["date"].fillna(undated) if "date" in table else undated
        else:
            known = table["date"]
        keep = (known <= limit).to_numpy(bool)
        if not keep.all():
            kept[name] = table[keep].reset_index(drop=True)
    if "harvest" in kept:
        # What was learned through a season is no less learned on an earlier day of the look back.
        kept["last_harvest"] = max(records.last_harvest, int(records.harvest["season"].max()))
    return replace(records, **kept) if kept else records
