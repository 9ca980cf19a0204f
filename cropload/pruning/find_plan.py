"""The reverse question: which pruning plan gives the crop that is wanted?"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.guard import guard_crops
from cropload.beliefs.meant import check_block, check_draws, check_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.pruning import words
from cropload.pruning.compare import check_bears, estate_for, load_notes
from cropload.pruning.plan_layouts import (
    MOST_CANES,
    MOST_SPURS,
    apart,
    layouts,
    same_layout,
    span,
    suitable_cane_limit,
    usual_layout,
)
from cropload.pruning.plan_limits import cost_of_limits, limits_on, misses, nearest, what_binds
from cropload.pruning.plan_rows import plan_columns, verdict_columns, wood_columns
from cropload.show import wording
from cropload.units import METRIC, unit_system
from cropload.vine import bands
from cropload.vine.bands import UNKNOWN, Band, Verdict
from cropload.vine.plan import MOST_BUDS, SPUR_MOST_BUDS
from cropload.vine.training import longest_cane

#: A crop to aim at: what a hectare can bear [t/ha].
TARGET = arguments.number(
    0,
    200,
    unit="t/ha",
    above=True,
    below=True,
    mend="The target crop is that at the scale, above 0.",
)
#: Units of words.
UNITS = arguments.any_of(arguments.kind("UnitSystem"), arguments.label)
#: Share of buds that winter has killed.
DEAD = arguments.number(0, 1, below=True, mend="For dead buds write 35 % as 0.35.")

#: Layouts shown when nothing fits.
NEAREST = 5
#: Plans of the block's own layout that stand before all others.
OWN_FIRST = 3
#: Share of the target within which two settled crops are alike [1].
_ALIKE = 0.05
#: How much less than the best chance is as good as it [1].
_FLAT = 0.1


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class PlanSearch(Answer):
    """The plans that land on a target crop; its frame has a row a plan.

    Up to three of the block's own layout stand first (the canes and spurs that it carries, with
    other buds per cane), then all others, best first.

    Attributes
    ----------
    block : str
        The block.
    season : int
        Year of the harvest the pruning is for.
    interval : str
        The range's name.
    target_t_ha : float
        Wanted crop at the scale [t/ha].
    settled : bool
        Whether the settled crop was judged, not the first season's.
    considered, kept : int
        Layouts looked at, and those within all limits [1].
    dropped : dict
        Limit -> layouts that break it [1].
    message : str
        What was found, or which limit binds.
    nearest : list of dict
        When nothing fits: the layouts that come nearest, with ``outside`` in words.
    draws, seed : int
        Draws and their seed [1].
    suitable_canes : int or None
        Most canes a vine offers [1].
    density, balance : Band
        What shoots per metre of canopy [1/m] and yield to pruning weight [kg/kg] are held against.
    """

    block: str
    season: int
    interval: str
    target_t_ha: float
    settled: bool
    considered: int
    kept: int
    dropped: dict
    message: str
    nearest: list
    draws: int
    seed: int
    suitable_canes: int | None
    density: Band
    balance: Band

    def heading(self, units=METRIC):
        """Return what was looked for and found."""
        return f"{words.search_heading(self, units)} {self.message}"

    def tables(self, units=METRIC):
        """Return one table: the plans that fit, or those that come nearest."""
        from cropload.pruning import tables

        return [tables.search_table(self, units)]

    def plot(self, ax=None, units=METRIC):
        """Draw the crop of each plan on axes, new ones when none are given, and return them."""
        from cropload.pruning.charts import crop_rows

        rows = self.frame if len(self) else pd.DataFrame(self.nearest)
        return crop_rows(rows, units).plot(ax)


@dataclass(frozen=True)
class _Goal:
    """The crop aimed at [t/ha], and the words for how near layouts come."""

    target: float
    low: float
    high: float
    tolerance: float
    season: int
    settled: bool
    units: object

    def reason(self, row, last_plan):
        """Return what speaks for and against one row of the result, in words."""
        middle = row["t_ha_p50"] - self.target
        text = (
            "on target in the middle"
            if abs(middle) < 0.05 * self.target
            else f"middle {wording.amount('t_ha', abs(middle), self.units)} "
            f"{'above' if middle > 0 else 'below'} the target"
        )
        ratio = Verdict(row["balance_word"], self.season)
        if self.settled:
            ratio = Verdict(row["balance_settled_word"], "settled")
        reasons = [
            text,
            f"settled crop {wording.amount('t_ha', row['t_ha_settled_p50'], self.units)}",
            self._shoots(Verdict(row["density_word"], self.season)),
            f"yield to pruning weight {wording.verdict(ratio)}",
        ]
        if last_plan is not None and row["plan"] == str(last_plan):
            reasons.append("the plan the block carries now")
        return "; ".join(reasons)

    def _shoots(self, judged):
        label = self.units.label("per_m")
        told = wording.verdict(judged)
        return f"{told} for shoots {label}" if judged.word == UNKNOWN else f"shoots {label} {told}"

    def message(self, best, middle, chance, fit, considered):
        """Return what was found: the best layout, its middle [t/ha] and its chance [1]."""
        label, factor = self.units.show("t_ha")
        said = (
            f"{fit} of {considered} layouts fit; {best} lands within "
            f"{100 * self.tolerance:.3g} % of {self.target * factor:.3g} {label} with a chance of "
            f"{wording.chance(chance)}."
        )
        if self.low <= middle <= self.high:
            return said
        way = "more" if middle < self.low else "fewer"
        said += (
            f" None comes close: the best gives about "
            f"{wording.amount('t_ha', middle, self.units)}. It would take {way} buds than these "
            "limits allow."
        )
        reach = handbook.entry("find.target_reach")
        if not reach.low < self.target / middle < reach.high:
            said += (
                " No pruning reaches such a crop from here: check the target and its unit"
                f" ({label})."
            )
        return said


@arguments.check_arguments(
    records=arguments.records,
    buds_per_spur=arguments.optional(arguments.whole(1, SPUR_MOST_BUDS)),
    target_t_ha=TARGET,
    renewal_spur=arguments.flag,
    dead_buds=DEAD,
    tolerance=arguments.optional(arguments.part),
    settled=arguments.flag,
    keep=arguments.whole(1),
    units=UNITS,
)
def find_plans(
    records,
    block,
    *,
    target_t_ha,
    season=None,
    shoots_per_m=None,
    ravaz=None,
    canes=None,
    buds_per_cane=None,
    spurs=None,
    buds_per_spur=None,
    renewal_spur=True,
    suitable_canes="counts",
    dead_buds=0.0,
    tolerance=None,
    settled=False,
    draws=DEFAULT_DRAWS,
    seed=0,
    keep=10,
    reference_plan=None,
    units="metric",
):
    """Rank all layouts within limits by their chance of landing on a target crop.

    Parameters
    ----------
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    target_t_ha : float
        Wanted crop at the scale [t/ha].
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.
    shoots_per_m : (low, high), str or None
        Limits on shoots per metre of canopy [1/m], or a handbook band; None for no limit.
    ravaz : (low, high), str or None
        Limits on yield to pruning weight [kg/kg], or a handbook band; None for no limit.
    canes, buds_per_cane, spurs : (least, most), optional
        Spans to search per vine [1]; when left out around the block's own way of pruning, by its
        training and its plan, and without a cane longer than its vines have room for.
    buds_per_spur : int, optional
        Buds on every spur [1].
    renewal_spur : bool
        Ask for a renewal spur for each cane.
    suitable_canes : "counts", int or None
        Most canes a vine offers [1]: from this season's counts when there are any, a number, or
        no such limit.
    dead_buds : float
        Share of buds killed by winter [1], 0 to below 1; layouts are judged by their live buds.
    tolerance : float, optional
        Half-width of "on target" relative to the target [1]; the handbook's 0.10 by default.
    settled : bool
        Judge the settled crop (third season on) instead of the first season's.
    draws, seed : int
        As in ``compare_plans`` [1].
    keep : int
        The most layouts returned [1].
    reference_plan : str or PruningPlan, optional
        As in ``compare_plans``.
    units : str or UnitSystem
        ``"metric"`` or ``"us"``: units of the words in ``reasons``, ``dropped``, ``nearest`` and
        ``message``; every column stays metric.

    Returns
    -------
    PlanSearch
        Its frame, the block's own layout first and then by rank, has the columns of
        ``compare_plans`` with ``chance_in_target`` [1], ``t_ha_target_low`` and
        ``t_ha_target_high`` [t/ha] and ``reasons``. It is empty when
        nothing fits; ``message`` then names the limit that binds, and ``nearest`` is a list with
        one dict a layout that comes nearest to fitting: the same columns, with ``outside``, which
        limits it breaks and by how much.

    Raises
    ------
    CroploadError
        For a target, a span or a share that cannot be.

    Notes
    -----
    The middle (median) of shoots per metre and of yield to pruning weight is held against their
    limits, because their ranges are wider than any band.
    Layouts whose chances are within a tenth of the best are ranked by how near both their first
    and their settled crop are to the target, in steps of 5 % of it, so that a first-year gain is
    not bought with a later miss; and among those, by how few canes and spurs differ from what the
    block carries.
    Valid as ``compare_plans``.
    """
    block = check_block(records, block)
    check_draws(draws, seed)
    units = unit_system(units)
    target = target_t_ha
    tolerance = handbook.value("target.tolerance") if tolerance is None else tolerance
    season = check_season(records, season)
    estate = estate_for(records, block, season, reference_plan)
    check_bears(estate, block)
    at = estate.facts.place(block)
    last_plan = estate.last_plan[at]
    longest = longest_cane(estate.facts.vine_spacing_m(at))
    kind = estate.facts.kind(at)
    usual = usual_layout(
        last_plan, kind["training"], longest, float(np.exp(estate.log_reference[at]))
    )
    pieces = usual["buds_per_spur"] if buds_per_spur is None else buds_per_spur
    plans = layouts(
        span("canes", usual["canes"] if canes is None else canes, 0, MOST_CANES),
        span(
            "buds_per_cane",
            usual["buds_per_cane"] if buds_per_cane is None else buds_per_cane,
            4,
            60,
        ),
        span("spurs", usual["spurs"] if spurs is None else spurs, 0, MOST_SPURS),
        pieces,
    )
    most_canes, sampled = None, 0
    if isinstance(suitable_canes, str) and suitable_canes == "counts":
        most_canes, sampled = suitable_cane_limit(records, block, season)
    elif suitable_canes is not None:
        most_canes = arguments.whole(
            0, MOST_BUDS, mend="Or write 'counts', or None for no such limit."
        )("suitable_canes", suitable_canes)
    density = bands.density_band(shoots_per_m, **kind)
    balance = bands.ravaz_band(ravaz, **kind)
    if not plans:
        raise CroploadError("No plan with a bud on it lies within these canes and spurs.")

    drawn = plan_draws(estate, [at], plans, draws=draws, seed=seed, dead_buds=dead_buds)
    crop = drawn.t_ha(settled)[:, 0]
    notes = guard_crops(plans, np.median(crop, axis=-1))
    if shoots_per_m is not None and not density.known:
        notes = [f"Shoot density sets no limit: {density.name}.", *notes]
    low, high = target * (1 - tolerance), target * (1 + tolerance)
    chance = ((crop >= low) & (crop <= high)).mean(-1)
    limits = limits_on(
        plans,
        shoots=np.median(drawn.shoots_per_m()[:, 0], axis=-1),
        ravaz=np.median(drawn.ravaz(settled)[:, 0], axis=-1),
        shoots_band=density if shoots_per_m is not None and density.known else None,
        ravaz_band=balance if ravaz is not None else None,
        renewal_spur=renewal_spur,
        most_canes=most_canes,
        sampled=sampled,
        settled=settled,
        units=units,
    )
    fits = np.ones(len(plans), bool)
    for limit in limits:
        fits &= limit.keeps
    later = np.median(drawn.t_ha(True)[:, 0], axis=-1)

    middle = np.median(crop, axis=-1)
    off = np.maximum(abs(later - target), abs(middle - target)) / (_ALIKE * target)

    def ranked(places):
        """Return the places of layouts in the order in which they are put forward."""
        places = np.flatnonzero(places)
        # Wide ranges make chances flat: those near the best are alike.
        least = (1 - _FLAT) * chance[places].max(initial=0.0)
        return sorted(
            places,
            key=lambda p: (
                -1.0 if chance[p] >= least else -round(float(chance[p]), 2),
                # Crops as near as one can tell; then the one that changes the vine least.
                round(off[p]),
                apart(plans[p], last_plan),
                abs(later[p] - target),
                plans[p].buds,
                plans[p],
            ),
        )

    best = ranked(fits)
    kept = np.array([same_layout(plan, last_plan) for plan in plans])
    own = ranked(fits & kept)
    order = [*own[:OWN_FIRST], *(p for p in best if p not in own[:OWN_FIRST])][:keep]
    goal = _Goal(target, low, high, tolerance, season, settled, units)

    def rows_of(places):
        """Return the rows of some layouts, each with its wood and its reasons."""
        best = [plans[p] for p in places]
        drawn = plan_draws(estate, [at], best, draws=draws, seed=seed, dead_buds=dead_buds)
        rows = plan_columns(drawn, 0, float(estate.facts.canopy_length_m[at]))
        for place, row in enumerate(rows):
            row["chance_in_target"] = float(chance[places[place]])
            row["t_ha_target_low"], row["t_ha_target_high"] = low, high
            row |= verdict_columns(row, density, balance)
            row |= wood_columns(estate, drawn, place, 0)[0]
            row["reasons"] = goal.reason(row, last_plan)
        return rows

    found, near = pd.DataFrame(), []
    if order:
        found = pd.DataFrame(rows_of(order))
        message = " ".join(
            [
                *words.own_layout(plans, own, middle, chance, last_plan, goal),
                goal.message(
                    plans[best[0]], middle[best[0]], chance[best[0]], int(fits.sum()), len(plans)
                ),
                *words.limit_costs(cost_of_limits(limits, ranked, middle, target), plans, goal),
            ]
        )
    else:
        message = what_binds(limits, plans)
        places = nearest(limits, chance, plans, min(keep, NEAREST))
        near = [
            {**row, "outside": misses(limits, p)}
            for row, p in zip(rows_of(places), places, strict=True)
        ]
    return PlanSearch(
        found,
        (
            *load_notes(estate, [block]),
            *estate.young.notes(estate.facts.names, [at]),
            *notes,
            *estate.accepted_notes,
        ),
        block=block,
        season=season,
        interval=ranges.label(),
        target_t_ha=target,
        settled=settled,
        considered=len(plans),
        kept=int(fits.sum()),
        dropped={limit.words: int((~limit.keeps).sum()) for limit in limits},
        message=message,
        nearest=near,
        seed=int(seed),
        draws=int(draws),
        suitable_canes=most_canes,
        density=density,
        balance=balance,
    )
