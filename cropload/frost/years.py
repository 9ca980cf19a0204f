"""What the nights of past seasons would have left on every rung in a block, for all plans.

A block's weather first: station, offset to it, budburst; then the springs, worked out once.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs.meant import check_block
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.records.reading.left_out import named
from cropload.vine.weather.heat import season_days, season_of, seasons_left_out
from cropload.vine.weather.nights import NodeSurvival, last_night, node_survival
from cropload.vine.weather.phenology import BudburstSum, fit_budburst_sum, recorded_budburst
from cropload.vine.weather.record import hemisphere_of, prepare_weather
from cropload.vine.weather.settings import CASES, FrostDraws, FrostSettings
from cropload.vine.weather.station_offset import StationOffset, estimate_offset, station_of_block


@dataclass(frozen=True)
class BlockWeather:
    """What the frost model needs to know of a block, before any plan is chosen.

    Attributes
    ----------
    block, variety : str
        The block.
    station : str or None
        Weather station used; None when the weather names none.
    frame : DataFrame
        Its weather: date, tmin_c, tmax_c [C], filled.
    offset : StationOffset
        Block less station at night [C].
    budburst : BudburstSum or dict
        The sum entered, or the block's own dates by season.
    hemisphere : {"north", "south"}
        Where the vines stand.
    notes : tuple of str
        What was filled, chosen or doubted.
    left_out : DataFrame or None
        Days of the station that cannot be and were left out of the read: date, tmin_c, tmax_c [C].
    """

    block: str
    variety: str
    station: str | None
    frame: pd.DataFrame
    offset: StationOffset
    budburst: object
    hemisphere: str
    notes: tuple
    left_out: pd.DataFrame | None = None


def _station(records, block, station):
    """Return the station to use, the block's own offset to it, and what to say about it."""
    named, offset = station_of_block(records, block)
    known = sorted(set(records.weather["station"].dropna().astype(str)) - {""})
    if station is not None and station != named:
        return str(station), StationOffset.none(), [f"station {station} chosen for {block}"]
    if named is not None or len(known) < 2:
        notes = []
        if named is None:
            notes = [f"{block} names no station; " + (known[0] if known else "the one there is")]
            notes[0] += " is taken"
        return named, offset, notes
    raise CroploadError(
        f"Block '{block}' names no weather station, and the weather holds several: "
        f"{', '.join(known)}. Fill column 'station' of table blocks, or name one."
    )


@arguments.check_arguments(
    records=arguments.records,
    station=arguments.optional(arguments.text),
    offset_spread=arguments.optional(arguments.number(0, unit="C")),
    logger=arguments.optional(arguments.text),
    hemisphere=arguments.optional(arguments.hemisphere),
)
def block_weather(
    records,
    block,
    *,
    station=None,
    offset=None,
    offset_spread=None,
    logger=None,
    budburst_sum=None,
    hemisphere=None,
):
    """Gather a block's weather, its offset to the station, and its budburst.

    Parameters
    ----------
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    station : str, optional
        Weather station; the one the block names when left out.
    offset : float or StationOffset, optional
        Night minimum of the block less that of the station [C]; below 0 in a frost hollow. The
        block's own from table blocks when left out.
    offset_spread : float, optional
        Spread of an entered offset from night to night [C]; the handbook's when left out.
    logger : str, optional
        Name in table weather of a logger that hung in the block: the offset is estimated from the
        nights it shares with the station.
    budburst_sum : float or BudburstSum, optional
        Heat sum until budburst [C d]; when left out the block's own dates are used, which also
        fit a sum when there are three seasons or more.
    hemisphere : {"north", "south"}, optional
        Read off the temperatures when not given.

    Returns
    -------
    BlockWeather

    Raises
    ------
    CroploadError
        For weather, station, offset, logger, dates or sum that cannot be used, with the mend.
    """
    block = check_block(records, block)
    row = records.blocks[records.blocks["block"] == block].iloc[0]
    if len(records.weather) == 0:
        raise CroploadError(
            "There is no weather on record: fill table weather with a row a day (station, date, "
            "tmin_c, tmax_c)."
        )
    station, own, notes = _station(records, block, station)
    prepared = prepare_weather(records.weather, station, hemisphere=hemisphere)
    frame = prepared.frame
    hemisphere = hemisphere or hemisphere_of(frame)
    if hemisphere is None:
        raise CroploadError(
            "The temperatures do not tell which hemisphere this is: say 'north' or 'south'."
        )
    if logger is not None:
        if offset is not None:
            raise CroploadError("Give an offset or a logger to estimate it from, not both.")
        if str(logger) == str(station):
            raise CroploadError(f"'{logger}' is the station itself: name the block's own logger.")
        hung = prepare_weather(records.weather, str(logger)).frame
        measured = [each[~each["filled"]] for each in (hung, frame)]
        offset = estimate_offset(*measured)
    elif offset is not None and not isinstance(offset, StationOffset):
        offset = StationOffset.entered(offset, offset_spread)
    lost = records.left_out
    if lost is not None and station is not None:
        lost = lost[lost["station"] == station]
    return BlockWeather(
        block,
        str(row["variety"]),
        station,
        frame,
        own if offset is None else offset,
        _budburst(records, block, budburst_sum, hemisphere),
        hemisphere,
        (*notes, *prepared.notes),
        lost,
    )


def _budburst(records, block, total, hemisphere):
    """Return the sum entered, or the block's own dates, or say that there is neither."""
    if isinstance(total, BudburstSum):
        return total
    if total is not None:
        return BudburstSum.entered(total)
    dates = recorded_budburst(records.dates, hemisphere, block)
    if not dates:
        raise CroploadError(
            f"Block '{block}' has no budburst date on record, and no heat sum was given. Record "
            "stage budburst in table dates (three seasons or more fit a sum), or enter a heat sum "
            "[C d above 5 C from 1 January, or from 1 July in the south]."
        )
    return dates


@dataclass(frozen=True)
class FrostYears:
    """What the nights of each past season leave on every rung; no plan in it yet.

    Attributes
    ----------
    seasons : tuple of NodeSurvival
        One a season that could be used, in order.
    settings : FrostSettings
        Settings behind them.
    notes : tuple of str
        What was left out or filled, and where budburst came from.
    seed : int
        Seed of the draws.
    block : str
        Mark of the draws.
    """

    seasons: tuple[NodeSurvival, ...]
    settings: FrostSettings
    notes: tuple
    seed: int
    block: str


def _burst_source(budburst, weather, hemisphere, block, method, notes):
    """Return recorded dates by season, and the sum that stands in where there is none."""
    if budburst is None:
        raise CroploadError(
            "there is neither a budburst date nor a heat sum: give the dates of "
            "past seasons (three or more fit a sum), one date a season, or a sum."
        )
    if isinstance(budburst, BudburstSum):
        notes.extend(budburst.notes)
        return {}, budburst
    if not isinstance(budburst, (Mapping, pd.DataFrame)):
        if not np.isscalar(budburst) or isinstance(budburst, str):
            raise CroploadError("budburst is a table or mapping of dates by season, or a heat sum.")
        budburst = BudburstSum.entered(budburst, method=method)
        notes.extend(budburst.notes)
        return {}, budburst
    dates = recorded_budburst(budburst, hemisphere, block)
    if not dates:
        raise CroploadError(
            "there is no budburst date of this block: record stage budburst in the "
            "table dates, or give a heat sum."
        )
    try:
        fitted = fit_budburst_sum(weather, dates, hemisphere=hemisphere, method=method)
    except CroploadError as fault:
        notes.append(f"only seasons with a recorded budburst date are replayed: {fault}")
        return dates, None
    notes.extend(fitted.notes)
    notes.append(
        f"its date misses a recorded one by {fitted.error_days:.0f} days or so; recorded "
        "dates are used where there are any"
    )
    return dates, fitted


@arguments.check_arguments(
    hemisphere=arguments.optional(arguments.hemisphere),
    settings=arguments.optional(arguments.kind("FrostSettings")),
    variety=arguments.optional(arguments.label),
    seasons=arguments.optional(arguments.each(arguments.season)),
    draws=arguments.whole(1, 1_000_000),
    seed=arguments.seed,
    block=arguments.label,
)
def frost_years(
    weather,
    budburst,
    *,
    hemisphere=None,
    settings=None,
    variety=None,
    offset=None,
    cases=CASES,
    seasons=None,
    draws=DEFAULT_DRAWS,
    seed=0,
    block="",
    method="single_sine",
):
    """Work out what each past season's nights leave, once, for any number of plans.

    Parameters
    ----------
    weather : DataFrame
        date, tmin_c, tmax_c [C] of one station; checked and filled by `prepare_weather`.
    budburst : mapping, DataFrame, BudburstSum or float
        Dates by season (season -> date, or a ``dates`` table), or the heat sum [C d].
        Three dates or more also fit the sum for the seasons without one.
    hemisphere : {"north", "south"}, optional
        Read off the temperatures when not given.
    settings : FrostSettings, optional
        The handbook's for the variety when not given.
    variety : str, optional
        For the share of a secondary shoot.
    offset : StationOffset or float, optional
        Block less station at night [C].
    cases : sequence of str
        Which cases to work out.
    seasons : sequence of int, optional
        These seasons only.
    draws, seed, block
        Number and stream of the draws.
    method : {"single_sine", "mean"}
        Degree-day method.

    Returns
    -------
    FrostYears

    Raises
    ------
    CroploadError
        When no season can be used, with the reason for each.
    """
    prepared = prepare_weather(weather, hemisphere=hemisphere)
    frame, notes = prepared.frame, list(prepared.notes)
    hemisphere = hemisphere or hemisphere_of(frame)
    if hemisphere is None:
        raise CroploadError(
            "the temperatures do not tell which hemisphere this is: say 'north' or 'south'."
        )
    settings = settings or FrostSettings.from_handbook(variety)
    offset = StationOffset.of(offset)
    if offset.note:
        notes.append(offset.note)
    dates, total = _burst_source(budburst, frame, hemisphere, block or None, method, notes)
    drawn = FrostDraws.make(settings, draws, seed, block)
    wanted = (
        np.unique(season_of(frame["date"], hemisphere))
        if seasons is None
        else np.unique(np.asarray(seasons, int))
    )
    found, lost = [], {}
    for season in wanted.tolist():
        burst = dates.get(season, total)
        if burst is None:
            lost[season] = "no budburst date and no heat sum"
            continue
        try:
            days = season_days(
                frame,
                season,
                hemisphere,
                burst.method if isinstance(burst, BudburstSum) else method,
            )
            nodes = node_survival(
                days,
                burst,
                settings=settings,
                draws=drawn,
                offset=offset,
                cases=sorted(set(cases)),
                seed=seed,
                block=block,
            )
            last = last_night(nodes.burst, settings)
            if last > frame["date"].iloc[-1]:
                raise CroploadError(f"the weather ends before its last frost nights ({last:%d %B})")
            found.append(nodes)
        except CroploadError as fault:
            lost[season] = fault
    notes += seasons_left_out(lost)
    if not found:
        raise CroploadError(
            "no season of this weather can be replayed:" + "".join(f"\n  {note}" for note in notes)
        )
    return FrostYears(tuple(found), settings, tuple(notes), seed, block)


def block_frost_years(
    weather, *, case=CASES, seasons=None, settings=None, draws=DEFAULT_DRAWS, seed=0
):
    """Work out what the nights of each past season leave in a block, for any number of plans.

    Parameters
    ----------
    weather : BlockWeather
        As from `block_weather`.
    case : str or sequence of str
        Which of the two cases to work out.
    seasons : sequence of int, optional
        These seasons only.
    settings : FrostSettings, optional
        The handbook's for the block's variety when left out.
    draws, seed : int
        Draws and their seed [1].

    Returns
    -------
    FrostYears
    """
    years = frost_years(
        weather.frame,
        weather.budburst,
        hemisphere=weather.hemisphere,
        settings=settings,
        variety=weather.variety,
        offset=weather.offset,
        cases=[case] if isinstance(case, str) else list(case),
        seasons=seasons,
        draws=draws,
        seed=seed,
        block=weather.block,
    )
    return replace(years, notes=(*years.notes, *_nights_left_out(years, weather.left_out)))


def _nights_left_out(years, days):
    """Say which frost nights of the springs were left out of the weather, as they cannot be."""
    if days is None:
        return []
    notes = []
    for nodes in years.seasons:
        first = nodes.burst - pd.Timedelta(days=years.settings.days_before)
        lot = days[days["date"].between(first, last_night(nodes.burst, years.settings))]
        if len(lot):
            notes.append(
                f"spring {nodes.season} lacks {named(lot['date'].unique())}, left out of the "
                "weather as no such day can be: a frost then cannot be seen; `check` lists the rows"
            )
    return notes
