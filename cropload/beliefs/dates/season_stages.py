"""When each block reaches each stage of a season: dates on record, this season's heat, usual days."""

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.dates.stage_days import STAGES, believe_days, stage_dates
from cropload.errors import CroploadError
from cropload.records.hemisphere import hemisphere_of_dates, season_origin
from cropload.vine.weather.heat import season_days
from cropload.vine.weather.record import prepare_weather
from cropload.vine.weather.station_offset import station_of_block

#: Stages that heat alone can tell; ripeness for picking is a matter of taste as well.
_BY_HEAT = STAGES[:3]


def season_stages(records, season):
    """Return the day on which each block has reached, or will about reach, each stage.

    Parameters
    ----------
    records : Records
        As known on the day.
    season : int
        Year of harvest.

    Returns
    -------
    days : DataFrame
        A row a block, a column for each of ``STAGES``: Timestamps, none missing.
    notes : list of str
        Which days this season's weather told, and where nothing but the handbook did.

    Notes
    -----
    A date on record stands. Else a stage falls on the day by which the heat of this season so far,
    with that of the usual weather after it, makes the mean sum of three or more past seasons of
    the block. Else the block's days between stages tell it, from the stage before
    (``believe_days``), as they tell the pick.
    Valid for one harvest a year, from one station whose distance to the block does not change.
    """
    hemisphere = hemisphere_of_dates(records) or "north"
    names = [str(name) for name in records.blocks["block"]]
    past = stage_dates(records)
    told = past[past["season"] == season]
    heat = _by_heat(records, season, hemisphere, past)
    known = set(zip(told["block"], told["stage"], strict=True))
    heat = {key: date for key, date in heat.items() if key not in known}
    more = pd.DataFrame(
        [(season, block, stage, date) for (block, stage), date in heat.items()],
        columns=["season", "block", "stage", "date"],
    )
    laid = records
    if heat:
        from dataclasses import replace

        dates = pd.concat([records.dates, more], ignore_index=True)
        laid = replace(records, dates=dates)
    beliefs, _ = believe_days(laid, season, hemisphere, records)
    days = np.rint(np.cumsum(beliefs.centre, axis=1))
    origin = season_origin(season, hemisphere)
    found = pd.DataFrame(
        {s: origin + pd.to_timedelta(days[:, at], unit="D") for at, s in enumerate(STAGES)},
        index=names,
    )
    for row in told.itertuples():
        if row.block in found.index:
            found.loc[row.block, row.stage] = row.date
    notes = []
    if heat:
        stages = [stage for stage in _BY_HEAT if stage in set(more["stage"])]
        last = records.weather["date"].max()
        notes.append(
            f"Days of {', '.join(stages)} follow the heat on record up to {last:%Y-%m-%d}, and the "
            "usual weather after it."
        )
    if not (past["season"] <= season).any():
        notes.append(
            "No date of any stage is on record: the handbook's usual days stand in, and may be "
            "weeks off. Fill table dates."
        )
    return found, notes


def _by_heat(records, season, hemisphere, past):
    """Return {(block, stage): Timestamp} of what this season's heat tells."""
    found, seasons = {}, {}
    wanted = int(handbook.value("phenology.fit_seasons"))
    base = handbook.value("phenology.budburst_base_c")
    if not len(records.weather):
        return found

    def cut(station, year):
        if (station, year) not in seasons:
            try:
                prepared = weather(station)
                made = season_days(prepared, year, hemisphere)
            except CroploadError:  # What weather lacks the frost page tells; usual days stand in.
                made = None
            seasons[station, year] = made
        return seasons[station, year]

    frames = {}

    def weather(station):
        if station not in frames:
            frames[station] = prepare_weather(records.weather, station, hemisphere=hemisphere).frame
        return frames[station]

    past = past[past["season"] < season]
    for block in map(str, records.blocks["block"]):
        station, _ = station_of_block(records, block)
        now = cut(station, season)
        if now is None:
            continue
        so_far = now.sums(base)
        reached = int(np.isfinite(so_far).sum()) - 1
        rows = past[past["block"] == block]
        for stage in _BY_HEAT:
            years = []
            for row in rows[rows["stage"] == stage].itertuples():
                days = cut(station, int(row.season))
                if days is not None and days.complete(row.date):
                    years.append((days, float(days.heat_at(days.index(row.date) + 0.5, base))))
            if len(years) < wanted:
                continue
            mean = float(np.mean([total for _, total in years]))
            if so_far[reached] >= mean:
                found[block, stage] = now.date(float(now.day_of(mean, base)))
                continue
            # Each past season's weather goes on from where this one stands.
            left = mean - so_far[reached]
            on = [float(d.day_of(d.heat_at(reached, base) + left, base)) for d, _ in years]
            middle = float(np.median(on))
            if np.isfinite(middle):
                found[block, stage] = now.date(middle)
    return found
