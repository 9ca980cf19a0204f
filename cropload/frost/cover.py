"""Longer wood or a late cut against spring frost in one block, with the crop it costs elsewhere."""

from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.beliefs.meant import check_block, check_draws, check_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.plans_by_part import carried_plans
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.frost.harvest_doubts import spring_doubts
from cropload.frost.replay import FrostReplay, replay_frost
from cropload.frost.years import block_frost_years, block_weather
from cropload.pruning.compare import Comparison, check_bears, estate_for
from cropload.units import METRIC
from cropload.vine.plan import parse_plans
from cropload.vine.weather.settings import CASES


@arguments.check_arguments(
    records=arguments.records,
    case=arguments.each(arguments.one_of(*CASES)),
    settled=arguments.flag,
    heavy_loss=arguments.optional(arguments.part),
    years=arguments.optional(arguments.kind("FrostYears")),
)
def frost_cover(
    records,
    block,
    plans,
    season=None,
    *,
    case="laid_down",
    settled=True,
    heavy_loss=None,
    reference_plan=None,
    years=None,
    draws=DEFAULT_DRAWS,
    seed=0,
    **weather,
):
    """Say what past springs would have left of each plan's crop in a block.

    Parameters
    ----------
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    plans : str or iterable of str or PruningPlan
        Plans like ``"3x8+3x2,3x12+3x2"``; the first one is the plan to beat.
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.
    case : str or sequence of str
        ``laid_down``, ``upright_until_final_cut`` or both; each plan gets a row in each case, and
        the cases are never blended.
    settled : bool
        Weigh the settled crop (third season on), which lasts as the weather record does; else the
        first season's.
    heavy_loss : float, optional
        Loss above which a year counts as a frost year [1]; the handbook's when left out.
    reference_plan : str or PruningPlan, optional
        The plan a block without any plan on record has carried.
    years : FrostYears, optional
        As from `block_frost_years`, when the nights are worked out already.
    draws : int
        Draws [1]; those of ``years`` when that is given.
    seed : int
        Seed of the draws [1].
    **weather
        station, offset, offset_spread, logger, budburst_sum, hemisphere as in `block_weather`, and
        seasons and settings as in `block_frost_years`.

    Returns
    -------
    FrostReplay
        Crop in t/ha with the load response in it, so that longer wood is charged for what it
        costs in a year without frost; ``.frame_by("season")``, ``.break_even()``.

    Raises
    ------
    CroploadError
        For a block, plan, weather, station or budburst that cannot be used, with the mend.

    Notes
    -----
    The crop without frost comes from the same draws as ``compare_plans``. The share that frost
    leaves is worked out for the count buds and taken for the whole crop.
    Valid for the climate of the weather record, and as ``frost_survival``.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = frost_cover(example_records(), "Mill Meadow", "2x10+2x2,2x14+2x2", draws=400)
    >>> len(found.seasons), found.unit
    (20, 't/ha')
    """
    block = check_block(records, block)
    season = check_season(records, season)
    plans = parse_plans(plans, carried_plans(records, season).get(block))
    cases = [case] if isinstance(case, str) else list(case)
    estate = estate_for(records, block, season, reference_plan)
    check_bears(estate, block)
    notes = []
    if years is None:
        check_draws(draws, seed)
        how = {name: weather.pop(name) for name in ("seasons", "settings") if name in weather}
        held = block_weather(records, block, **weather)
        years = block_frost_years(held, case=cases, draws=draws, seed=seed, **how)
        notes += held.notes
    elif weather:
        raise CroploadError(
            f"The nights are worked out already: give {', '.join(weather)} to block_weather."
        )
    draws = years.seasons[0].secondary_share.size
    check_draws(draws, seed)
    at = estate.facts.place(block)
    crop = plan_draws(estate, [at], plans, draws=draws, seed=seed).t_ha(settled)[:, 0]
    found = replay_frost(
        years,
        plans * len(cases),
        crop=np.tile(crop, (len(cases), 1)),
        cases=np.repeat(cases, len(plans)).tolist(),
        heavy_loss=heavy_loss,
        profile=estate.profiles[estate.facts.varieties[at]],
    )
    when = "settled crop (third season on)" if settled else f"crop of the first season, {season}"
    notes += [*found.notes, f"the crop without frost is the {when} of each plan"]
    doubts = spring_doubts(found, records)
    notes += [*estate.young.notes(estate.facts.names, [at]), *estate.accepted_notes]
    notes += [doubt.words() for doubt in doubts]
    notes = tuple(dict.fromkeys(note for note in notes if note))
    return replace(found, notes=notes, doubts=doubts)


def one_case(replay, case):
    """Return the rows of one case of a replay, which holds the plans of that case only.

    Parameters
    ----------
    replay : FrostReplay
        As from `frost_cover`.
    case : str
        ``laid_down`` or ``upright_until_final_cut``.

    Raises
    ------
    CroploadError
        When no plan of the replay stands that way.
    """
    rows = [at for at, name in enumerate(replay.cases) if name == case]
    if not rows:
        raise CroploadError(f"No plan was replayed in the case {case}.")
    arrays = ("crop_left", "crop", "frost_free", "weights")
    return replace(
        replay,
        plans=tuple(replay.plans[at] for at in rows),
        cases=(case,) * len(rows),
        **{name: getattr(replay, name)[rows] for name in arrays},
    )


def shelter(replay, reference=0):
    """Return what each plan keeps beyond a reference plan over the years, frost alone.

    Parameters
    ----------
    replay : FrostReplay
        As from `frost_cover`.
    reference : int
        Place of the plan to measure from.

    Returns
    -------
    DataFrame
        plan, case, and the difference of the mean shares left as ``gain_p10 _p50 _p90`` [1]; the
        load and the cost of a late cut are left out of it.
    """
    mean = replay.crop_left.mean(axis=1)
    out = pd.DataFrame({"plan": replay.plans, "case": replay.cases})
    return out.assign(**ranges.columns("gain", mean - mean[reference]))


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class FrostComparison(Comparison):
    """A comparison of plans with what past springs would have left of each.

    ``replay`` holds the springs; all else is as in ``Comparison``.
    """

    replay: FrostReplay

    def tables(self, units=METRIC):
        """Return the tables of the comparison, and the springs' last."""
        from cropload.frost.tables import years_table

        return [*super().tables(units), years_table(self.replay)]


@arguments.check_arguments(records=arguments.records)
def with_frost(comparison, records, block, *, case="laid_down", **options):
    """Add to a comparison of plans what past springs would have left of each.

    Parameters
    ----------
    comparison : Comparison
        As from ``compare_plans``.
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    case : str
        ``laid_down`` or ``upright_until_final_cut``, one for all plans.
    **options
        As in `frost_cover`: station, offset, logger, budburst_sum, hemisphere, heavy_loss, draws,
        seed and so on.

    Returns
    -------
    FrostComparison
        A comparison whose frame also has frost_case, frost_seasons (seasons replayed [1]),
        frost_mean_share and frost_worst_in_ten as ``_p10 _p50 _p90`` (share of a frost-free crop
        left [1]), frost_loss_chance_low and _high (yearly chance of losing more than
        ``replay.heavy_loss`` [1]), and t_ha_settled_with_frost as ``_p10 _p50 _p90``, the mean
        crop over the years [t/ha]. Its notes also say what was filled, left out or doubted, and
        ``replay.worst`` what worst in ten stands for when the years are few.

    Raises
    ------
    CroploadError
        As `frost_cover`.

    Notes
    -----
    Valid as `frost_cover`.
    """
    if not isinstance(case, str):
        raise CroploadError("A comparison takes one case; the two are never blended.")
    if not isinstance(comparison, Comparison):
        raise CroploadError(
            f"comparison is {arguments.shown(comparison)}; it must be what compare_plans returned."
        )
    options = {"draws": comparison.draws, "seed": comparison.seed} | options
    plans = comparison["plan"].tolist()
    read = {str(plan): plan for plan in comparison.plans}
    read = [read.get(plan, plan) for plan in plans]
    cover = frost_cover(records, block, read, comparison.season, case=case, **options)
    # The same plan may stand twice in a comparison, and only once in the replay.
    rows = [cover.plans.index(plan) for plan in plans]
    frost = cover.columns().iloc[rows].set_axis(comparison.frame.index)
    frost.insert(0, "frost_case", case)
    frost.insert(1, "frost_seasons", len(cover.seasons))
    held = {each.name: getattr(comparison, each.name) for each in fields(Comparison)}
    held["frame"] = pd.concat([comparison.frame, frost], axis=1)
    held["notes"] = tuple(dict.fromkeys((*comparison.notes, *cover.notes)))
    return FrostComparison(**held, replay=cover)
