"""Flowering and veraison by a variety's published heat sums, for vines without dates of their own.

A day counts as the share of a day at the optimum that a curve gives its mean temperature
(``heat_curve``); the sum of shares makes the stage (``heat_sum``, Morales-Castilla and others
2020).
"""

from dataclasses import replace

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError
from cropload.vine.weather.heat import season_days
from cropload.vine.weather.record import prepare_weather

#: The steps told by heat, in the order of ``heat_sum``.
STEPS = ("budburst_to_flowering", "flowering_to_veraison")

#: Past seasons of weather whose mean is taken as usual [1].
_USUAL = 10


class SeasonsOfStations:
    """The days of a station's seasons, each prepared once.

    What the weather lacks is told where frost is asked about; here ``None`` stands for it.
    """

    def __init__(self, weather, hemisphere):
        self.weather, self.hemisphere, self._kept = weather, hemisphere, {}

    def _frame(self, station):
        if station not in self._kept:
            try:
                held = prepare_weather(self.weather, station, hemisphere=self.hemisphere).frame
            except CroploadError:
                held = None
            self._kept[station] = held
        return self._kept[station]

    def days(self, station, season):
        """Return the days of a season, as from ``season_days``, or None."""
        key = (station, season)
        if key not in self._kept:
            frame = self._frame(station)
            try:
                held = None if frame is None else season_days(frame, season, self.hemisphere)
            except CroploadError:
                held = None
            self._kept[key] = held
        return self._kept[key]

    def before(self, station, season):
        """Return the days of the seasons before one that are on record, the latest first."""
        if not len(self.weather):
            return []
        first = self.weather["date"].min().year
        past = (self.days(station, year) for year in range(season - 1, first - 1, -1))
        return [days for days in past if days is not None][:_USUAL]


def heat_sums(variety):
    """Return the heat from budburst to flowering and on to veraison, or None [d at the optimum]."""
    for key in handbook.keys("heat_sum."):
        if handbook.same_variety(key.removeprefix("heat_sum."), variety):
            return dict(zip(STEPS, handbook.value(key), strict=True))
    return None


def response(mean_c, step):
    """Return how fast vines go forward on days of a mean temperature, relative to the optimum.

    Parameters
    ----------
    mean_c : array_like
        Daily mean temperature [C].
    step : str
        One of ``STEPS``.

    Notes
    -----
    The curve of Wang and Engel (1998, Agricultural Systems 58:1), its form from memory: 0 at and
    below the low end, 1 at the optimum, 0 at and above the high end.
    """
    curve = handbook.entry(f"heat_curve.{step}")
    power = np.log(2) / np.log((curve.high - curve.low) / (curve.value - curve.low))
    inside = (np.clip(mean_c, curve.low, curve.high) - curve.low) / (curve.value - curve.low)
    return 2 * inside**power - inside ** (2 * power)


def day_reached(days, begin, variety, steps=STEPS):
    """Return the days on which a season's vines have had the heat of one step after another.

    Parameters
    ----------
    days : SeasonDays
        The season's weather.
    begin : float
        Day from which the first step is summed, counted from the start of the season's days [d].
    variety : str
        One with heat sums.
    steps : tuple of str
        Steps that follow one another.

    Returns
    -------
    list of float
        One day a step [d]; inf from where the weather ends or has a hole.
    """
    wanted, reached = heat_sums(variety), []
    mean = (days.tmin_c + days.tmax_c) / 2
    for step in steps:
        sums = np.concatenate([[0.0], np.cumsum(response(mean, step))])
        sums = sums[: np.isfinite(sums).sum()]
        if not begin < sums.size - 1:
            begin = np.inf
        else:
            at = np.arange(sums.size)
            goal = np.interp(begin, at, sums) + wanted[step]
            begin = np.inf if goal > sums[-1] else float(np.interp(goal, sums + 1e-9 * at, at))
        reached.append(begin)
    return reached


def usual_days(seasons, begin, variety):
    """Return the mean days from budburst to flowering and on to veraison over past seasons.

    Parameters
    ----------
    seasons : list of SeasonDays
        Weather of past seasons.
    begin : float
        Usual day of budburst, counted from the start of each season's days [d].
    variety : str
        One with heat sums.

    Returns
    -------
    dict
        {step: days [d]}; empty where no season's weather reaches veraison.
    """
    found = [day_reached(days, begin, variety) for days in seasons]
    found = np.array([days for days in found if np.isfinite(days).all()])
    if not len(found):
        return {}
    return dict(zip(STEPS, np.diff(found, prepend=begin, axis=1).mean(0).tolist(), strict=True))


def with_usual_weather(now, past):
    """Return a season whose days after the last on record have the mean weather of past ones."""
    size = min(days.dates.size for days in past)
    have = int(np.isfinite(now.tmin_c + now.tmax_c).cumprod().sum())
    ends = [
        np.concatenate(
            [
                getattr(now, name)[:have],
                np.mean([getattr(days, name)[have:size] for days in past], axis=0),
            ]
        )
        for name in ("tmin_c", "tmax_c")
    ]
    dates = now.dates[0] + np.arange(ends[0].size)
    return replace(now, dates=dates, tmin_c=ends[0], tmax_c=ends[1], night_c=None, _sums={})
