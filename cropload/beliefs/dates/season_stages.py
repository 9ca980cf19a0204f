"""When each block reaches each stage of a season: dates on record, its heat, usual days."""

from dataclasses import replace

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.dates.heat_days import (
    STEPS,
    SeasonsOfStations,
    day_reached,
    heat_sums,
    with_usual_weather,
)
from cropload.beliefs.dates.stage_days import STAGES, believe_days, stage_dates
from cropload.records.content import Lately, fingerprint
from cropload.records.hemisphere import hemisphere_of_dates, season_origin
from cropload.vine.weather.station_offset import station_of_block

#: Stages that heat alone can tell; ripeness for picking is a matter of taste as well.
_BY_HEAT = STAGES[:3]

#: What was made lately, by what the records said.
_MADE = Lately(8)


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
    the block; without as many, flowering and veraison fall where the published heat sums of the
    variety have them, from this season's budburst on. Else the block's days between stages tell
    it, from the stage before (``believe_days``), as they tell the pick.
    Valid for one harvest a year, from one station whose distance to the block does not change.
    """
    # A count says nothing of days.
    content = (fingerprint(records, ("blocks", "dates", "harvest", "weather")), season)
    days, notes = _MADE.get(content, lambda: _season_stages(records, season))
    return days.copy(), list(notes)


def _season_stages(records, season):
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
        laid = replace(records, dates=pd.concat([records.dates, more], ignore_index=True))
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
    weather, found = records.weather, {}
    if not len(weather) or weather["date"].max() <= season_origin(season, hemisphere):
        return found
    wanted = int(handbook.value("phenology.fit_seasons"))
    base = handbook.value("phenology.budburst_base_c")
    seasons = SeasonsOfStations(weather, hemisphere)
    varieties = map(str, records.blocks["variety"])
    for block, variety in zip(map(str, records.blocks["block"]), varieties, strict=True):
        station, _ = station_of_block(records, block)
        now = seasons.days(station, season)
        if now is None:
            continue
        reached = int(np.isfinite(now.sums(base)).sum()) - 1
        so_far = now.sums(base)[reached]
        mine = past[past["block"] == block].set_index("season")
        told = mine.loc[mine.index == season].set_index("stage")["date"].to_dict()
        rows = mine[mine.index < season]
        for at, stage in enumerate(_BY_HEAT):
            pairs = [
                (seasons.days(station, int(year)), date)
                for year, date in rows.loc[rows["stage"] == stage, "date"].items()
            ]
            pairs = [(days, date) for days, date in pairs if days and days.complete(date)]
            if len(pairs) < wanted:
                before = _BY_HEAT[at - 1] if at else ""
                begin = told.get(before, found.get((block, before)))
                on = _by_heat_sum(seasons, station, now, variety, at, begin)
                if np.isfinite(on):
                    found[block, stage] = now.date(on)
                continue
            # A stage is taken at the middle of its day, as in `fit_budburst_sum`.
            mean = np.mean([days.heat_at(days.index(date) + 0.5, base) for days, date in pairs])
            if so_far >= mean:
                on = float(now.day_of(mean, base))
            else:
                # Each past season's weather goes on from where this one stands.
                left = mean - so_far
                on = np.median(
                    [days.day_of(days.heat_at(reached, base) + left, base) for days, _ in pairs]
                )
            if np.isfinite(on):
                found[block, stage] = now.date(on)
    return found


def _by_heat_sum(seasons, station, now, variety, at, begin):
    """Return the day of flowering (1) or veraison (2) by the variety's published heat, or inf."""
    usual = seasons.before(station, now.season)
    if begin is None or not usual or heat_sums(variety) is None:
        return np.inf
    days = with_usual_weather(now, usual)
    return day_reached(days, now.index(begin) + 0.5, variety, STEPS[at - 1 : at])[0]
