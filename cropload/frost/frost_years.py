"""What the nights of past seasons would have left on every rung, worked out once for all plans."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.vine.weather.heat import season_days, season_of, seasons_left_out
from cropload.vine.weather.nights import NodeSurvival, last_night, node_survival
from cropload.vine.weather.phenology import BudburstSum, fit_budburst_sum, recorded_budburst
from cropload.vine.weather.record import hemisphere_of, prepare_weather
from cropload.vine.weather.settings import CASES, FrostDraws, FrostSettings
from cropload.vine.weather.station_offset import StationOffset


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
