"""Daily weather made fit for use: one station, one row a day, holes filled or named."""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.errors import CroploadError, near

_COLUMNS = ("date", "tmin_c", "tmax_c")
#: No place on earth averages as much over a year, and none has been hotter (records, from memory).
_HOTTEST_MEAN_C, _HOTTEST_DAY_C = 35.0, 57.0
#: A vineyard's coldest three months average less; 60 degrees Fahrenheit read as Celsius do not.
_WARMEST_WINTER_C = 25.0
_COLDEST_DAY_C = -60.0
_SHOWN = 3


class PreparedWeather(NamedTuple):
    """Weather of one station, one row a day, and what was done to it.

    Attributes
    ----------
    frame : DataFrame
        date, tmin_c [C], tmax_c [C], filled (bool); long holes keep missing temperatures.
    notes : tuple of str
        What was filled, dropped or doubted.
    """

    frame: pd.DataFrame
    notes: tuple


def _days(dates):
    """Name the first few of some dates."""
    text = ", ".join(f"{pd.Timestamp(day):%Y-%m-%d}" for day in list(dates)[:_SHOWN])
    more = len(dates) - _SHOWN
    return text + (f" and {more} more" if more > 0 else "")


def hemisphere_of(frame):
    """Return ``"north"`` or ``"south"`` by which half-year is colder, or None when it cannot tell.

    Parameters
    ----------
    frame : DataFrame
        Columns date, tmin_c, tmax_c [C].

    Notes
    -----
    Valid where December to February and June to August differ by 3 degrees or more, and both are
    held by 20 days or more.
    """
    mean = (frame["tmin_c"] + frame["tmax_c"]) / 2
    month = frame["date"].dt.month
    winter = mean[month.isin([12, 1, 2])].dropna()
    summer = mean[month.isin([6, 7, 8])].dropna()
    if min(len(winter), len(summer)) < 20 or abs(winter.mean() - summer.mean()) < 3.0:
        return None
    return "north" if winter.mean() < summer.mean() else "south"


def _table(records_or_frame):
    # A table of weather may itself have a column called weather, so the table is looked for first.
    frame = records_or_frame
    if not isinstance(frame, pd.DataFrame):
        frame = getattr(records_or_frame, "weather", None)
    if not isinstance(frame, pd.DataFrame):
        raise CroploadError("weather must be the records or a table with date, tmin_c and tmax_c.")
    missing = [name for name in _COLUMNS if name not in frame]
    if missing:
        raise CroploadError(
            "weather lacks the column "
            + ", ".join(missing)
            + ". "
            + near(missing[0], [str(name) for name in frame])
        )
    if frame.empty:
        raise CroploadError(
            "there is no weather: fill the table weather with a row a day "
            "(station, date, tmin_c, tmax_c)."
        )
    return frame


def _one_station(frame, station, notes):
    if "station" not in frame:
        return frame
    known = sorted(set(frame["station"].dropna().astype(str)) - {""})
    if station is None:
        if len(known) > 1:
            raise CroploadError(
                "weather holds several stations: name one of " + ", ".join(known) + "."
            )
        return frame
    if str(station) not in known:
        raise CroploadError(
            f"weather holds no station '{station}'; it holds "
            + (", ".join(known) or "none with a name")
            + ". "
            + near(station, known)
        )
    others = [name for name in known if name != str(station)]
    if others:
        notes.append(f"stations not used here: {', '.join(others)}")
    return frame[frame["station"].astype(str) == str(station)]


def _checked(frame, faults, notes):
    """Return clean columns; add what is wrong to the faults."""
    out = pd.DataFrame({"date": pd.to_datetime(frame["date"], errors="coerce")})
    for name in ("tmin_c", "tmax_c"):
        numbers = pd.to_numeric(frame[name], errors="coerce")
        text = frame[name].notna() & numbers.isna()
        text &= text.any() and frame[name].astype(str).str.strip() != ""
        if text.any():
            value = frame.loc[text, name].iloc[0]
            faults.append(f"{name} holds {value!r}, which is no number ({int(text.sum())} rows).")
        out[name] = numbers.astype(float).replace([np.inf, -np.inf], np.nan)
    undated = int(out["date"].isna().sum())
    if undated:
        faults.append(f"{undated} row(s) of weather have no readable date: write them 2024-04-23.")
        out = out.dropna(subset=["date"])
    out["date"] = out["date"].dt.tz_localize(None).dt.normalize().astype("datetime64[ns]")
    before = len(out)
    out = out.drop_duplicates().sort_values("date", ignore_index=True)
    if len(out) < before:
        notes.append(f"{before - len(out)} day(s) stood twice with the same values; kept once")
    twice = out.loc[out["date"].duplicated(), "date"].unique()
    if len(twice):
        faults.append(
            f"{len(twice)} day(s) stand twice with different values ({_days(twice)}): "
            "keep one row a day, and one station at a time."
        )
    crossed = out.loc[out["tmin_c"] > out["tmax_c"], "date"]
    if len(crossed):
        hint = (
            "the two columns look exchanged"
            if len(crossed) > len(out) / 2
            else "mend those days or leave them blank"
        )
        faults.append(
            f"tmin_c lies above tmax_c on {len(crossed)} day(s) ({_days(crossed)}): {hint}."
        )
    return out


def _fahrenheit(frame, hemisphere):
    """Return a warning when the numbers look like degrees Fahrenheit, else None."""
    mean = (frame["tmin_c"] + frame["tmax_c"]) / 2
    if not mean.notna().any():
        return None
    doubt = None
    if frame["tmax_c"].max() > _HOTTEST_DAY_C:
        doubt = f"a day of {frame['tmax_c'].max():g}"
    elif mean.mean() > _HOTTEST_MEAN_C:
        doubt = f"a mean of {mean.mean():.0f}"
    else:
        months = {"north": [12, 1, 2], "south": [6, 7, 8]}.get(hemisphere)
        winter = mean[frame["date"].dt.month.isin(months)] if months else mean[:0]
        if winter.notna().any() and winter.mean() > _WARMEST_WINTER_C:
            doubt = f"a winter of {winter.mean():.0f}"
    return doubt and (
        f"{doubt} degrees Celsius is doubtful: if these are degrees Fahrenheit, name "
        "the columns tmin_f and tmax_f and read them again"
    )


def prepare_weather(records_or_frame, station=None, *, hemisphere=None, max_fill_days=None):
    """Return one station's weather, one row a day, checked, short holes filled.

    Parameters
    ----------
    records_or_frame : Records or DataFrame
        The records, or a table with date, tmin_c, tmax_c [C] and maybe station.
    station : str, optional
        Needed when the table holds several.
    hemisphere : {"north", "south"}, optional
        Where the vines stand; checked against the temperatures when given.
    max_fill_days : int, optional
        The longest hole filled by a straight line [d]; the handbook's 3 when not given.

    Returns
    -------
    PreparedWeather
        ``frame`` and ``notes``; longer holes stay missing, and the notes name them.

    Raises
    ------
    CroploadError
        With every fault at once: columns, station, dates, days twice, tmin above tmax, text,
        impossible cold, and a hemisphere that the temperatures contradict.

    Notes
    -----
    Valid for daily lows and highs; a frost on a filled night cannot be seen.
    Degrees Fahrenheit by mistake are warned of, not converted: the limits are the hottest day and
    the hottest yearly mean on record, and a vineyard winter (from memory).
    """
    if hemisphere not in (None, "north", "south"):
        raise CroploadError(f"hemisphere {hemisphere!r} is not known: use 'north' or 'south'.")
    fill = handbook.value("phenology.weather_fill_days") if max_fill_days is None else max_fill_days
    if fill != int(fill) or fill < 0:
        raise CroploadError(f"max_fill_days is a whole number of days, 0 or more; got {fill}.")
    made = _prepared(_Days(_table(records_or_frame)), station, hemisphere, int(fill))
    return PreparedWeather(made.frame.copy(), made.notes)


class _Days:
    """A table of weather, equal to any other of the same content."""

    def __init__(self, frame):
        self.frame = frame
        kept = frame[[name for name in (*_COLUMNS, "station") if name in frame]]
        self.content = pd.util.hash_pandas_object(kept, index=False).to_numpy().tobytes()

    def __eq__(self, other):
        return self.content == other.content

    def __hash__(self):
        return hash(self.content)


# Every block of a station, and every question about it, asks for the same days.
@lru_cache(maxsize=8)
def _prepared(days, station, hemisphere, fill):
    """Return the prepared weather of a table."""
    notes, faults = [], []
    frame = _checked(_one_station(days.frame, station, notes), faults, notes)
    if frame[["tmin_c", "tmax_c"]].min().min() < _COLDEST_DAY_C:
        faults.append(
            f"a temperature of {frame[['tmin_c', 'tmax_c']].min().min():g} C is no "
            "weather: blank the mark that stands for a missing value."
        )
    seen = hemisphere_of(frame) if len(frame) else None
    if hemisphere and seen and hemisphere != seen:
        faults.append(
            f"the vines are said to stand in the {hemisphere}, but the cold months of "
            f"this weather are those of the {seen}: mend the one or the other."
        )
    if faults:
        raise CroploadError("the weather cannot be used:" + "".join(f"\n  {one}" for one in faults))
    if not len(frame) or not (frame["tmin_c"] + frame["tmax_c"]).notna().any():
        raise CroploadError("the weather holds no day with both a low and a high.")
    doubt = _fahrenheit(frame, hemisphere or seen)
    if doubt:
        notes.append(doubt)
    frame = _filled(frame, fill, notes)
    years = frame["date"].dt.year.nunique()
    if (frame["date"].iloc[-1] - frame["date"].iloc[0]).days < 400:
        notes.append("one season of weather only: it shows what one spring did, not how often")
    else:
        notes.append(
            f"weather of {years} calendar years, {frame['date'].iloc[0]:%Y-%m-%d} to "
            f"{frame['date'].iloc[-1]:%Y-%m-%d}"
        )
    return PreparedWeather(frame, tuple(notes))


def _filled(frame, fill, notes):
    """Give every day a row, fill short holes and say so, name the long ones."""
    every = pd.date_range(frame["date"].iloc[0], frame["date"].iloc[-1], freq="D")
    held = frame.set_index("date").reindex(every)
    hole = held.isna().any(axis=1)
    run = (hole != hole.shift()).cumsum()
    length = hole.groupby(run).transform("sum")
    short = hole & (length <= fill)
    # Ends of the record are never holes between two days, so a line is always well held.
    line = held.interpolate(method="linear", limit_area="inside")
    out = held.where(~short, held.fillna(line)).rename_axis("date").reset_index()
    # A line for one column alone must not cross the measured other one, which stays as it is.
    low, high = out["tmin_c"].copy(), out["tmax_c"].copy()
    out["tmin_c"] = low.where(held["tmin_c"].notna().to_numpy(), np.fmin(low, high))
    out["tmax_c"] = high.where(held["tmax_c"].notna().to_numpy(), np.fmax(low, high))
    still = out["tmin_c"].isna() | out["tmax_c"].isna() | (hole & ~short).to_numpy()
    out.loc[still, ["tmin_c", "tmax_c"]] = np.nan
    out["filled"] = short.to_numpy() & ~still.to_numpy()
    count = int(out["filled"].sum())
    if count:
        notes.append(
            f"{count} missing day(s) filled by a straight line "
            f"({_days(out.loc[out['filled'], 'date'])}); a frost there cannot be seen"
        )
    if still.any():
        notes.append(
            f"{int(still.sum())} day(s) in holes longer than {fill} days stay missing "
            f"({_days(out.loc[still, 'date'])}); a season that needs them is left out"
        )
    return out
