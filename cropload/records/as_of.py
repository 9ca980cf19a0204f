"""Records as they stood on a day: what was not yet measured then is left out."""

from dataclasses import replace

import pandas as pd

from cropload.clock import day

#: Tables of which later rows are left out.
_DATED = (
    *("pruning", "counts", "weights", "harvest", "events", "dates", "weather", "fertility"),
    *("estimates", "strips"),
)

#: Month and day from which an undated row of a table counts as known, and the years to add to
#: its season: a pruning is known at the turn of the year, a harvest at the end of its own.
_UNDATED = {
    "pruning": ("01-01", 0),
    "harvest": ("12-31", 0),
    "fertility": ("12-31", 0),
    "strips": ("12-31", 0),
}


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
    An undated pruning row counts as known from 1 January of its season, an undated row of harvest,
    fertility or strips from 31 December. The tables of blocks, contracts, cellar and weather stay
    whole, except that weather of later days is left out.
    """
    limit = day(as_of)
    if limit is None:
        return records
    kept = {}
    for name in _DATED:
        table = getattr(records, name)
        if table.empty:
            continue
        keep = (_known(name, table) <= limit).to_numpy(bool)
        if not keep.all():
            kept[name] = table[keep].reset_index(drop=True)
    if "harvest" in kept:
        # What was learned through a season is no less learned on an earlier day of the look back.
        kept["last_harvest"] = max(records.last_harvest, int(records.harvest["season"].max()))
    if "pruning" in kept and records.earlier_plans is not None:
        kept["pruning"] = _with_earlier(records, kept["pruning"], limit)
    if "pruning" in kept and len(records.parts):
        # Parts go with a block's last plan: a day before that one knows neither.
        last = _last_planned(records.pruning)
        known = last == _last_planned(kept["pruning"]).reindex(last.index)
        stale = records.parts["block"].isin(last.index[~known])
        kept["parts"] = records.parts[~stale].reset_index(drop=True)
    return replace(records, **kept) if kept else records


def _known(name, table):
    """Return the day from which each row of a table counts as known."""
    if name not in _UNDATED:
        return table["date"]
    ending, years = _UNDATED[name]
    if "date" in table and table["date"].notna().all():
        return table["date"]
    undated = pd.to_datetime((table["season"] + years).astype(str) + "-" + ending, errors="coerce")
    return table["date"].fillna(undated) if "date" in table else undated


def _last_planned(pruning):
    """Return the last season of which each block has a plan."""
    return pruning[pruning["plan"] != ""].groupby("block")["season"].max()


def _with_earlier(records, kept, limit):
    """Return plans known on a day, those among them that a later plan has replaced since."""
    keys, earlier = ["season", "block"], records.earlier_plans
    told = pd.MultiIndex.from_frame(kept[keys])
    asked = pd.MultiIndex.from_frame(records.pruning[keys])
    mine = pd.MultiIndex.from_frame(earlier[keys])
    earlier = earlier[(_known("pruning", earlier) <= limit) & mine.isin(asked) & ~mine.isin(told)]
    if earlier.empty:
        return kept
    return pd.concat([kept, earlier.drop_duplicates(keys, keep="last")], ignore_index=True)
