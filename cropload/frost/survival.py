"""Spring frost: which share of a plan's crop is left after the cold nights of a season."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.vine.plan import PruningPlan
from cropload.vine.plan_shape import NodeProfile
from cropload.vine.weather.heat import SeasonDays, season_days, season_of
from cropload.vine.weather.nights import NodeSurvival, node_survival
from cropload.vine.weather.phenology import BudburstSum
from cropload.vine.weather.record import hemisphere_of, prepare_weather
from cropload.vine.weather.settings import CASES, FrostDraws, FrostSettings
from cropload.vine.weather.station_offset import StationOffset


def as_plans(plans):
    """Return a list of PruningPlan from one plan or several, each a plan or its text."""
    if isinstance(plans, (str, PruningPlan)) or not hasattr(plans, "__iter__"):
        plans = plans.split(",") if isinstance(plans, str) else [plans]
    found = [PruningPlan.parse(plan) for plan in plans]
    if not found:
        raise CroploadError("no plan was given: name at least one, such as 3x8+3x2.")
    return found


def as_cases(cases, count):
    """Return one case a plan, from a single case for all or a sequence of them."""
    checked = arguments.each(arguments.one_of(*CASES))("cases", cases)
    cases = checked * count if isinstance(cases, str) else checked
    if len(cases) != count:
        raise CroploadError(f"{len(cases)} cases for {count} plans: give one for all, or one each.")
    return cases


def rung_weights(plans, cases, settings, profile=None):
    """Return how a plan's crop is spread over the rungs, and over the two cases.

    Parameters
    ----------
    plans : sequence of PruningPlan
        The plans.
    cases : sequence of str
        One of `CASES` a plan.
    settings : FrostSettings
        Delay gradient.
    profile : NodeProfile, optional
        Burst and fertility by node; the handbook's when not given.

    Returns
    -------
    ndarray
        Shares of the frost-free crop of the count buds [1], shape (plans, cases, rungs); each
        plan sums to 1.
    """
    profile = profile or NodeProfile.from_handbook()
    rungs = settings.gradient_nodes + 1
    weights = np.zeros((len(plans), len(CASES), rungs))
    for row, (plan, case) in enumerate(zip(plans, cases, strict=True)):
        for pieces, buds, burst, fertility in (
            (share * count, *each)
            for share, part in plan.shares
            for count, *each in (
                (part.canes, part.buds_per_cane, profile.cane_burst, profile.cane_fertility),
                (part.spurs, part.buds_per_spur, profile.spur_burst, profile.spur_fertility),
            )
        ):
            if not pieces or not buds:
                settings.delay(case)
                continue
            at = np.arange(buds)
            crop = (
                pieces
                * burst[np.minimum(at, len(burst) - 1)]
                * fertility[np.minimum(at, len(fertility) - 1)]
            )
            place = settings.delay_shares(buds, case) * (rungs - 1)
            low = np.minimum(place.astype(int), rungs - 2)
            held = weights[row, CASES.index(case)]
            np.add.at(held, low, crop * (1 - (place - low)))
            np.add.at(held, low + 1, crop * (place - low))
    return weights / weights.sum(axis=(1, 2), keepdims=True)


@dataclass(frozen=True)
class FrostSurvival:
    """Share of the crop left per plan after one season's nights; arrays (plans, draws).

    Attributes
    ----------
    plans, cases : tuple of str
        The plans and how their wood stands.
    crop_left : ndarray
        Share of the count buds' frost-free crop that is left, frost alone [1].
    primary, secondary : ndarray
        Living primary and secondary shoots as shares of the frost-free shoots, by crop [1].
    late_cut_cost : ndarray
        Share of a frost-free crop that the late cut costs [1]; 0 where wood is laid down.
    weights : ndarray
        How each plan's crop is spread over cases and rungs [1], shape (plans, cases, rungs).
    nodes : NodeSurvival
        What lives on each rung, and the nights.
    """

    plans: tuple
    cases: tuple
    crop_left: np.ndarray
    primary: np.ndarray
    secondary: np.ndarray
    late_cut_cost: np.ndarray
    weights: np.ndarray
    nodes: NodeSurvival

    def nights(self):
        """Return the nights that hurt, one row a plan and night, as `NodeSurvival.nights_of`."""
        found = [
            self.nodes.nights_of(row).assign(plan=plan, case=case)
            for plan, case, row in zip(self.plans, self.cases, self.weights, strict=True)
        ]
        return pd.concat(found, ignore_index=True)

    def table(self):
        """Return one row a plan: crop left and living shoots [1] with the named range.

        ``crop_left`` is frost alone; ``crop_after_cost`` also bears what a late cut costs.
        """
        rows = pd.DataFrame({"plan": self.plans, "case": self.cases})
        for name, draws in (
            ("crop_left", self.crop_left),
            ("primary", self.primary),
            ("secondary", self.secondary),
            ("crop_after_cost", self.crop_left * (1 - self.late_cut_cost)),
        ):
            for word, column in zip(ranges.ENDINGS, ranges.quantiles(draws), strict=True):
                rows[f"{name}_{word}"] = column
        return rows


def _season(weather, burst, season, hemisphere):
    """Return the SeasonDays meant by a table of weather and a budburst."""
    if isinstance(weather, SeasonDays):
        return weather
    frame = prepare_weather(weather, hemisphere=hemisphere).frame
    hemisphere = hemisphere or hemisphere_of(frame)
    if hemisphere is None:
        raise CroploadError(
            "the temperatures do not tell which hemisphere this is: say 'north' or 'south'."
        )
    if season is None:
        if isinstance(burst, BudburstSum):
            raise CroploadError("with a heat sum the season must be named: season=2024.")
        season = int(season_of([pd.Timestamp(burst)], hemisphere)[0])
    return season_days(frame, season, hemisphere)


@arguments.check_arguments(
    burst=arguments.any_of(arguments.kind("BudburstSum"), arguments.day),
    settings=arguments.optional(arguments.kind("FrostSettings")),
    variety=arguments.optional(arguments.label),
    profile=arguments.optional(arguments.kind("NodeProfile")),
    season=arguments.optional(arguments.season),
    hemisphere=arguments.optional(arguments.hemisphere),
    draws=arguments.whole(1, 1_000_000),
    seed=arguments.seed,
    block=arguments.label,
)
def frost_survival(
    plans,
    weather,
    burst,
    *,
    cases="laid_down",
    settings=None,
    variety=None,
    offset=None,
    profile=None,
    season=None,
    hemisphere=None,
    draws=DEFAULT_DRAWS,
    seed=0,
    block="",
):
    """Return the share of each plan's crop that a season's frost nights leave.

    Parameters
    ----------
    plans : sequence of PruningPlan or str
        Plans, such as ``["3x8+3x2", "3x10+3x2"]``.
    weather : DataFrame or SeasonDays
        Daily date, tmin_c, tmax_c [C] of one station, or one season of it already cut out.
    burst : date or BudburstSum
        Budburst of the first buds: recorded, or the sum that predicts it.
    cases : str or sequence of str
        ``laid_down`` or ``upright_until_final_cut``, one for all plans or one each.
    settings : FrostSettings, optional
        The handbook's for the variety when not given.
    variety : str, optional
        For the share of a secondary shoot.
    offset : StationOffset or float, optional
        Block less station at night [C].
    profile : NodeProfile, optional
        Burst and fertility by node.
    season : int, optional
        Year of harvest [1]; needed with a heat sum, else read off the budburst date.
    hemisphere : {"north", "south"}, optional
        Read off the temperatures when not given.
    draws : int
        Number of draws [1].
    seed : int
        Seed of the draws [1]; with the same block it gives the same draws for every plan and
        season.
    block : str
        Marks the stream of draws.

    Returns
    -------
    FrostSurvival

    Raises
    ------
    CroploadError
        When the weather has a hole in the window, or the sum is never reached.

    Notes
    -----
    Valid for radiation and advective frost from three weeks before budburst to eleven weeks after
    or the end of June (December in the south);
    winter damage and a third bud are left out, and so is any making up by what survives.
    The two cases are never blended, and neither stands for the other.
    Nothing dies twice: over several nights the living share is followed, primaries and the
    secondaries that took their place apart.
    LT50 by stage after Hellman (2018), secondary shoots after Friend et al. (2011).
    """
    plans = as_plans(plans)
    cases = as_cases(cases, len(plans))
    settings = settings or FrostSettings.from_handbook(variety)
    weights = rung_weights(plans, cases, settings, profile)
    drawn = FrostDraws.make(settings, draws, seed, block)
    nodes = node_survival(
        _season(weather, burst, season, hemisphere),
        burst,
        settings=settings,
        draws=drawn,
        offset=StationOffset.of(offset),
        cases=sorted(set(cases)),
        seed=seed,
        block=block,
    )
    late = np.array([case != "laid_down" for case in cases])[:, None]
    return FrostSurvival(
        tuple(map(str, plans)),
        tuple(cases),
        nodes.crop_left(weights),
        *nodes.shoots(weights),
        late * drawn.late_cut_cost,
        weights,
        nodes,
    )


def survival_map(
    plans,
    days_after_burst: Sequence,
    temperatures_c: Sequence,
    *,
    cases="laid_down",
    mean_c=12.0,
    swing_c=12.0,
    **options,
):
    """Return the crop left by one night, over its date and its temperature.

    Parameters
    ----------
    plans : sequence of PruningPlan or str
        Plans to lay side by side.
    days_after_burst : sequence of int
        Nights, counted from the budburst of the first buds [d]; negative is before.
    temperatures_c : sequence of float
        Lowest temperature of the one night in the block [C].
    cases : str or sequence of str
        As in `frost_survival`.
    mean_c, swing_c : float
        Mean temperature of the other days, and high less low [C]; they set how fast leaves come.
    **options
        settings, variety, profile, draws, seed, block, as in `frost_survival`.

    Returns
    -------
    ndarray
        Middle share of the crop left [1], shape (plans, nights, temperatures).

    Notes
    -----
    Valid for a single frost night in steady weather: a picture of the model, no forecast.
    """
    options.setdefault("draws", 400)
    given = as_plans(plans)
    map_ = np.empty((len(given), len(days_after_burst), len(temperatures_c)))
    settings = options.get("settings") or FrostSettings.from_handbook(options.get("variety"))
    first = max(60, settings.days_before + 1)
    length = first + settings.days_after + 2
    dates = np.datetime64("2001-01-01") + np.arange(length)
    season = SeasonDays(
        2001, dates, np.full(length, mean_c - swing_c / 2), np.full(length, mean_c + swing_c / 2)
    )
    # Only the one night freezes, whatever the mean of the other days.
    season = replace(season, night_c=np.full(length, 10.0))
    for row, after in enumerate(days_after_burst):
        for column, cold in enumerate(temperatures_c):
            night = season.with_night(dates[first + int(after)], cold)
            found = frost_survival(given, night, dates[first], cases=cases, **options)
            map_[:, row, column] = np.median(found.crop_left, axis=1)
    return map_
