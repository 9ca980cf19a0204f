"""The days of a season on which a forecast is worth making: after each thing was measured."""

import pandas as pd

#: Key -> the words for it, in the order of the season.
MOMENTS = {
    "pruning": "after pruning",
    "shoots": "after shoots",
    "clusters": "after clusters",
    "lag": "after lag phase",
    "veraison": "after veraison weights",
    "picking": "before picking",
}


def forecast_days(records, season):
    """Return the days on which a season's forecast had something new to say.

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
        is always there: the last pruning day, or 1 March where none is dated (1 September of the
        year before when the harvest falls in the first half of the year).

    Notes
    -----
    "Before picking" is the day before the first load, so that no crop on the scale has a say.
    A moment that falls on or after the first load is left out.
    Shoots counted again on the day of the clusters do not move the day of the shoots.
    """
    harvest = records.harvest[records.harvest["season"] == season]
    first_load = harvest["date"].min() if len(harvest) else pd.NaT

    def last(table, rows):
        days = table.loc[rows & (table["season"] == season), "date"]
        return days.max() if len(days) else pd.NaT

    counts, weights = records.counts, records.weights
    pruned = records.pruning.loc[records.pruning["season"] == season, "date"].max()
    if pd.isna(pruned):
        southern = pd.notna(first_load) and first_load.month <= 6
        pruned = pd.Timestamp(int(season) - 1, 9, 1) if southern else pd.Timestamp(int(season), 3, 1)
    days = {
        "pruning": pruned,
        "shoots": last(counts, counts["shoots"].notna() & counts["clusters"].isna()),
        "clusters": last(counts, counts["clusters"].notna()),
        "lag": last(weights, weights["stage"] == "lag"),
        "veraison": last(weights, weights["stage"] == "veraison"),
        "picking": first_load - pd.Timedelta(days=1) if pd.notna(first_load) else pd.NaT,
    }
    found = {}
    for key, day in days.items():
        late = pd.notna(first_load) and key not in ("pruning", "picking") and day >= first_load
        if pd.notna(day) and not late:
            found[key] = pd.Timestamp(day).normalize()
    return found
