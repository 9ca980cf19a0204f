"""The days of a season on which a forecast is worth making: after each thing was measured."""

import pandas as pd

#: Key -> the words for it, in the order of the season.
MOMENTS = {
    "pruning": "after pruning",
    "shoots": "after shoots",
    "clusters": "after clusters",
    "lag": "after lag weights",
    "veraison": "after veraison weights",
    "picking": "before picking",
}


def _last_of_firsts(rows):
    """Return the day on which the last block was first measured, or NaT."""
    dated = rows[rows["date"].notna()]
    return dated.groupby("block")["date"].min().max() if len(dated) else pd.NaT


def stage_days(records, season):
    """Return the day on which each stage of a season was done, as far as it is on record.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.

    Returns
    -------
    dict
        {key of ``MOMENTS``: Timestamp}, in that order; what was not measured is left out.

    Notes
    -----
    A stage counts as done on the day the last block was first measured at it: a block measured
    again later does not move it.
    Pruning counts where a plan or a bud count is on record; an undated plan is known from
    1 January. "Before picking" is the day before the first load.
    """
    counts, weights, harvest, pruning = (
        table[table["season"] == season]
        for table in (records.counts, records.weights, records.harvest, records.pruning)
    )
    planned = pruning[pruning["plan"].fillna("").astype(str).str.strip() != ""]
    undated = pd.Timestamp(int(season), 1, 1)
    planned = planned[["block", "date"]].assign(date=planned["date"].fillna(undated))
    pruned = [_last_of_firsts(rows) for rows in (planned, counts[counts["buds"].notna()])]
    days = {
        "pruning": max((day for day in pruned if pd.notna(day)), default=pd.NaT),
        "shoots": _last_of_firsts(counts[counts["shoots"].notna()]),
        "clusters": _last_of_firsts(counts[counts["clusters"].notna()]),
        "lag": _last_of_firsts(weights[weights["stage"] == "lag"]),
        "veraison": _last_of_firsts(weights[weights["stage"] == "veraison"]),
        "picking": harvest["date"].min() - pd.Timedelta(days=1) if len(harvest) else pd.NaT,
    }
    return {key: pd.Timestamp(day).normalize() for key, day in days.items() if pd.notna(day)}


def forecast_days(records, season):
    """Return the days on which a season that was picked is looked at again.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.

    Returns
    -------
    dict
        {key of ``MOMENTS``: Timestamp}, in order; what was not measured is left out. ``pruning``
        is always there: 1 March where no plan and no bud is on record (1 September of the year
        before when the harvest falls in the first half of the year).

    Notes
    -----
    The days are those of ``stage_days``, without any that falls on or after the first load, so
    that no crop on the scale has a say.
    """
    season = int(season)
    days = stage_days(records, season)
    last = days.get("picking")
    if "pruning" not in days:
        southern = last is not None and last.month <= 6
        usual = pd.Timestamp(season - 1, 9, 1) if southern else pd.Timestamp(season, 3, 1)
        days = {"pruning": usual if last is None else min(usual, last), **days}
    return {key: day for key, day in days.items() if last is None or day <= last}
