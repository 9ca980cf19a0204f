"""The invented weather station of Quillfoot and the stages of its vines that follow from it.

A cool-climate year (sinus of the day) with day-to-day memory, a wide day-night range on clear
days, and now and then a frost in spring.  Budburst comes at a sum of degree days above 5 C from
1 January; the later stages follow at intervals of days.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from quillfoot_estate import BEARING_BLOCKS, SEASONS, stream

FIRST_DAY, LAST_DAY = "2007-01-01", "2026-11-20"
STATION = "Quillfoot station"
LOGGER = "low block logger"
LOW_BLOCK = "Mill Meadow"

MEAN_C, SWING_C, COLDEST_DAY = 10.1, 8.8, 20  # mean of the year, half of summer minus winter
MEMORY, DAILY_SD_C = 0.68, 2.7
RANGE_WINTER_C, RANGE_SUMMER_C = 6.5, 11.5  # typical tmax - tmin

BASE_C = 5.0
BURST_SUM_CD = {  # degree days above 5 C from 1 January to budburst
    "Chardonnay": 130.0,
    "Pinot noir": 140.0,
    "Sauvignon blanc": 155.0,
    "Riesling": 162.0,
}
DAYS = {  # budburst to flowering, flowering to veraison, veraison to harvest
    "Chardonnay": (56, 60, 43),
    "Pinot noir": (56, 59, 42),
    "Sauvignon blanc": (57, 61, 45),
    "Riesling": (57, 62, 51),
}
DAYS_SEASON_SD, DAYS_BLOCK_SD, BURST_BLOCK_SD = 3.0, 1.2, 1.5

FROST_NIGHT_C = -0.3  # station minimum of the frost night of 2021; the low block is colder
FROST_DAYS_AFTER_BURST = 12  # about two leaves out
MILD_NIGHT_C = 1.5  # no night after budburst is colder in the other seasons of the records
LOGGER_NIGHT_SD_C = 0.5


def _base_weather() -> pd.DataFrame:
    days = pd.date_range(FIRST_DAY, LAST_DAY, freq="D")
    rng = stream("weather")
    day = days.day_of_year.to_numpy()
    warmth = -np.cos(2 * np.pi * (day - COLDEST_DAY) / 365.25)  # -1 in winter, 1 in summer
    noise = np.empty(len(days))
    shocks = rng.normal(0, DAILY_SD_C * np.sqrt(1 - MEMORY**2), len(days))
    noise[0] = shocks[0]
    for i in range(1, len(days)):
        noise[i] = MEMORY * noise[i - 1] + shocks[i]
    mean = MEAN_C + SWING_C * warmth + noise
    middle = (RANGE_WINTER_C + RANGE_SUMMER_C) / 2
    spread = (middle + (RANGE_SUMMER_C - RANGE_WINTER_C) / 2 * warmth) * np.exp(
        rng.normal(0, 0.34, len(days)) - 0.058
    )
    return pd.DataFrame({"date": days, "tmin_c": mean - spread / 2, "tmax_c": mean + spread / 2})


def _stages(weather: pd.DataFrame) -> dict[tuple[str, int, str], pd.Timestamp]:
    stages = {}
    mean = (weather["tmin_c"].round(1) + weather["tmax_c"].round(1)) / 2
    heat = (mean - BASE_C).clip(lower=0)
    for season in SEASONS:
        this = weather["date"].dt.year == season
        days, heat_sum = weather.loc[this, "date"].to_numpy(), heat[this].cumsum().to_numpy()
        shared = stream("stages", season).normal(0, DAYS_SEASON_SD, 3)
        for block in BEARING_BLOCKS:
            own = stream("stages", season, block.name).normal(0, 1, 4)
            reached = days[np.searchsorted(heat_sum, BURST_SUM_CD[block.variety])]
            date = pd.Timestamp(reached) + pd.Timedelta(days=round(own[0] * BURST_BLOCK_SD))
            stages[block.name, season, "budburst"] = date
            names = ("flowering", "veraison", "harvest")
            for i, (name, days_on) in enumerate(zip(names, DAYS[block.variety], strict=True)):
                step = round(days_on + shared[i] + own[i + 1] * DAYS_BLOCK_SD)
                date = date + pd.Timedelta(days=step)
                stages[block.name, season, name] = date
    return stages


def frost_night(stages: dict) -> pd.Timestamp:
    """Return the night of the frost of 2021, when the low block had about two leaves."""
    return stages[LOW_BLOCK, 2021, "budburst"] + pd.Timedelta(days=FROST_DAYS_AFTER_BURST)


def _mend_seasons(weather: pd.DataFrame, stages: dict) -> pd.DataFrame:
    """Make the weather of the recorded seasons fit their named events, and no other damage."""
    weather = weather.copy()
    date, rng = weather["date"], stream("mild nights")
    for season in SEASONS:
        first = min(stages[b.name, season, "budburst"] for b in BEARING_BLOCKS)
        soon = pd.Timedelta(days=5)
        guards = (
            (first - 3 * soon, first - soon, -1.0),
            (first - soon, pd.Timestamp(season, 6, 15), MILD_NIGHT_C),
        )
        for start, end, floor in guards:
            cold = (date >= start) & (date < end) & (weather["tmin_c"] < floor)
            lift = floor + rng.uniform(0, 0.8, int(cold.sum())) - weather.loc[cold, "tmin_c"]
            weather.loc[cold, ["tmin_c", "tmax_c"]] += lift.to_numpy()[:, None]
    night = date == frost_night(stages)
    weather.loc[night, "tmin_c"] = FROST_NIGHT_C
    weather.loc[night, "tmax_c"] = 11.8  # a clear day before
    flowering = stages["Quarry Bank", 2024, "flowering"]
    wet = (date - flowering).dt.days.between(-5, 9)
    weather.loc[wet, "tmin_c"] -= 2.0
    weather.loc[wet, "tmax_c"] -= 6.0
    weather["tmax_c"] = weather["tmax_c"].clip(lower=weather["tmin_c"] + 1.0)
    return weather


def draw_weather() -> tuple[pd.DataFrame, dict[tuple[str, int, str], pd.Timestamp]]:
    """Return the weather table (two stations) and the date of every (block, season, stage)."""
    base = _base_weather()
    stages = _stages(base)
    station = _mend_seasons(base, stages)
    spring = station["date"].between("2026-04-01", "2026-05-31")
    logger = station[spring].copy()
    offset = next(b.frost_offset_c for b in BEARING_BLOCKS if b.name == LOW_BLOCK)
    rng = stream("logger")
    logger["tmin_c"] += rng.normal(offset, LOGGER_NIGHT_SD_C, len(logger))
    logger["tmax_c"] += rng.normal(0.3, 0.4, len(logger))
    logger["tmax_c"] = logger["tmax_c"].clip(lower=logger["tmin_c"] + 0.5)
    station.insert(0, "station", STATION)
    logger.insert(0, "station", LOGGER)
    both = pd.concat([station, logger], ignore_index=True)
    both[["tmin_c", "tmax_c"]] = both[["tmin_c", "tmax_c"]].round(1)
    return both, stages
