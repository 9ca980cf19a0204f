"""Heat of a season: degree days, the days of a season, and when a sum is reached.

Season means the calendar year of harvest: the spring of season 2024 falls in 2024 in the northern
hemisphere and in 2023 in the southern one.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload.clock import season_ranges
from cropload.errors import CroploadError, near

METHODS = ("single_sine", "mean")
HEMISPHERES = ("north", "south")
#: First day on which heat is summed, by hemisphere.
_START = {"north": (1, 1), "south": (7, 1)}


def one_of(word, known, what):
    """Return ``word`` when it is one of those known, else raise with the near names."""
    if word not in known:
        raise CroploadError(
            f"{what} {word!r} is not known: use one of {', '.join(known)}. " + near(word, known)
        )
    return word


def degree_days(tmin_c, tmax_c, base_c=5.0, method="single_sine"):
    """Return the degree days of each day above a base.

    Parameters
    ----------
    tmin_c, tmax_c : array_like
        Daily lowest and highest air temperature [C], any one shape.
    base_c : float
        Temperature below which nothing is counted [C].
    method : {"single_sine", "mean"}
        ``mean`` is ``max(0, (tmin + tmax) / 2 - base)``.
        ``single_sine`` lets the day follow one sine wave between both, and counts only the part
        above the base, so a warm afternoon after a cold night counts too.

    Returns
    -------
    ndarray
        Degree days [C d], same shape; missing where a temperature is missing.

    Raises
    ------
    CroploadError
        When the method is unknown, or a day's tmin lies above its tmax.

    Notes
    -----
    Valid for daily pairs without an upper limit of growth; the single sine is the textbook closed
    form (Baskerville and Emin 1969, from memory).
    Both agree on days that stay above the base.
    """
    one_of(method, METHODS, "degree-day method")
    low, high = np.broadcast_arrays(np.asarray(tmin_c, float), np.asarray(tmax_c, float))
    if np.any(low > high):
        raise CroploadError("tmin_c lies above tmax_c on at least one day: swap or mend that day.")
    middle, half = (high + low) / 2, (high - low) / 2
    if method == "mean":
        return np.maximum(middle - base_c, 0.0)
    crossing = np.clip(
        np.divide(base_c - middle, half, out=np.zeros_like(half), where=half > 1e-9), -1.0, 1.0
    )
    angle = np.arcsin(crossing)
    part = ((middle - base_c) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
    # np.maximum keeps the missing days missing.
    return np.where(
        low >= base_c,
        middle - base_c,
        np.where(high <= base_c, 0.0 * middle, np.maximum(part, 0.0)),
    )


def season_of(dates, hemisphere="north"):
    """Return the season (year of harvest) that each date belongs to.

    Parameters
    ----------
    dates : array_like of datetime64
        Any dates.
    hemisphere : {"north", "south"}
        In the south a date from July on belongs to next year's harvest.

    Returns
    -------
    ndarray of int
        Season of each date [1].
    """
    one_of(hemisphere, HEMISPHERES, "hemisphere")
    index = pd.DatetimeIndex(np.atleast_1d(np.asarray(dates, dtype="datetime64[ns]")))
    year = index.year.to_numpy()
    return year + (index.month.to_numpy() >= 7) if hemisphere == "south" else year


@dataclass(frozen=True)
class SeasonDays:
    """The days of one season from the start of summing on, with their heat.

    Attributes
    ----------
    season : int
        Year of harvest [1].
    dates : ndarray of datetime64[D]
        Each day, none left out.
    tmin_c, tmax_c : ndarray
        Daily temperatures [C]; missing where the record has a hole.
    method : str
        Degree-day method.
    night_c : ndarray, optional
        Lows to freeze by where they differ from ``tmin_c`` [C], as on a what-if night.
    """

    season: int
    dates: np.ndarray
    tmin_c: np.ndarray
    tmax_c: np.ndarray
    method: str = "single_sine"
    night_c: np.ndarray | None = None
    _sums: dict = field(default_factory=dict, repr=False, compare=False)

    @property
    def lows(self):
        """The lowest temperature of each night [C]."""
        return self.tmin_c if self.night_c is None else self.night_c

    def with_night(self, date, temperature_c):
        """Return the season with another low on one night; its heat, so its stages, stay.

        Parameters
        ----------
        date : date
            The morning after the night.
        temperature_c : float
            Its low [C].

        Raises
        ------
        CroploadError
            When the date lies outside the season.
        """
        day = self.index(date)
        if not 0 <= day < self.dates.size:
            raise CroploadError(
                f"{pd.Timestamp(date):%Y-%m-%d} lies outside the weather of season {self.season}."
            )
        if not np.isfinite(temperature_c):
            raise CroploadError(f"a low of {temperature_c} C is no temperature.")
        night = self.lows.copy()
        night[day] = temperature_c
        return replace(self, night_c=night)

    def sums(self, base_c):
        """Return the heat summed before each day, and after the last one [C d], (days + 1,)."""
        if base_c not in self._sums:
            heat = degree_days(self.tmin_c, self.tmax_c, base_c, self.method)
            self._sums[base_c] = np.concatenate([[0.0], np.cumsum(heat)])
        return self._sums[base_c]

    def heat_at(self, day, base_c):
        """Return the heat summed up to a day counted from the start, parts of days included.

        Parameters
        ----------
        day : array_like
            Days since the start of summing [d].
        base_c : float
            Base temperature [C].
        """
        sums = self.sums(base_c)
        return np.interp(day, np.arange(sums.size), sums)

    def day_of(self, total, base_c):
        """Return the day, counted from the start, on which a sum is reached (inf when never)."""
        sums = self.sums(base_c)
        # Past a hole in the record nothing is known, so the sum is not reached there.
        sums = sums[: np.isfinite(sums).sum()]
        # A sum stands still on cold days; the tiny ramp makes it invertible and moves no day.
        ramp = sums + 1e-9 * np.arange(sums.size)
        day = np.interp(total, ramp, np.arange(sums.size))
        return np.where(np.asarray(total) > ramp[-1], np.inf, day)

    def index(self, date):
        """Return the number of days from the start to a date [d]; it may lie outside."""
        return int((np.datetime64(pd.Timestamp(date).date(), "D") - self.dates[0]).astype(int))

    def date(self, day):
        """Return the date of a day counted from the start."""
        return pd.Timestamp(self.dates[0]) + pd.Timedelta(days=int(np.floor(day)))

    def complete(self, as_of):
        """Return whether no temperature is missing up to a date and the record reaches it."""
        last = self.index(as_of)
        if last >= self.dates.size:
            return False
        held = self.tmin_c[: last + 1] + self.tmax_c[: last + 1]
        return bool(np.isfinite(held).all())


def season_days(weather, season, hemisphere="north", method="single_sine", start=None):
    """Cut one season out of daily weather, from the start of summing to half a year later or more.

    Parameters
    ----------
    weather : DataFrame
        Columns date, tmin_c, tmax_c [C], one station, one row a day.
    season : int
        Year of harvest [1].
    hemisphere : {"north", "south"}
        Where the vines stand.
    method : {"single_sine", "mean"}
        Degree-day method.
    start : tuple of int, optional
        Month and day on which summing starts; 1 January in the north, 1 July in the south.

    Returns
    -------
    SeasonDays

    Raises
    ------
    CroploadError
        When the record does not hold the start of that season.
    """
    one_of(hemisphere, HEMISPHERES, "hemisphere")
    month, day = start or _START[hemisphere]
    year = season - 1 if hemisphere == "south" and month >= 7 else season
    first = pd.Timestamp(year, month, day)
    dates = weather["date"].to_numpy().astype("datetime64[D]")
    at = (dates - np.datetime64(first.date())).astype(int)
    last = min(at.max(), 300) if len(at) else -1
    if last < 0 or at.min() > 0:
        raise CroploadError(
            f"the weather does not reach back to {first:%Y-%m-%d}, where the heat "
            f"sum of season {season} starts: add those days, or leave the season "
            "out."
        )
    here = (at >= 0) & (at <= last)
    if len(np.unique(at[here])) < here.sum():
        raise CroploadError(
            f"the weather of season {season} has two rows for one day: keep one row a day, and one "
            "station at a time."
        )
    held = np.full((2, last + 1), np.nan)
    for row, name in enumerate(("tmin_c", "tmax_c")):
        held[row, at[here]] = weather[name].to_numpy(float)[here]
    days = np.datetime64(first.date()) + np.arange(last + 1)
    return SeasonDays(int(season), days, *held, method)


def seasons_left_out(reasons):
    """Return a note for each reason, with all the seasons it holds for.

    Parameters
    ----------
    reasons : mapping
        Year of harvest -> why it cannot be used; a leading "season 2021: " is taken off.

    Examples
    --------
    >>> seasons_left_out({2020: "season 2020: no weather", 2021: "season 2021: no weather"})
    ['seasons 2020-2021 left out: no weather']
    """
    grouped = {}
    for season, reason in reasons.items():
        grouped.setdefault(str(reason).removeprefix(f"season {season}: "), []).append(season)
    return [
        f"season{'s' if len(seasons) > 1 else ''} {season_ranges(seasons)} left out: {reason}"
        for reason, seasons in grouped.items()
    ]
