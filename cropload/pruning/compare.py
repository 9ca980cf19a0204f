"""Compare pruning levels: what each plan would give in a block, on the same draws."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.guard import guard_crops
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.loss import loss_notes
from cropload.beliefs.meant import check_block, check_draws, check_season, load_unknown
from cropload.beliefs.origins import HANDBOOK, component_origins
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.plans_by_part import carried_plans
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.pruning.plan_rows import (
    difference_columns,
    plan_columns,
    verdict_columns,
    wood_columns,
)
from cropload.records.known_varieties import (
    blank_cells,
    components_by_variety,
    unknown_varieties,
)
from cropload.units import METRIC
from cropload.vine import bands
from cropload.vine.bands import Band
from cropload.vine.plan import PruningPlan, parse_plans
from cropload.vine.training import cane_length_m, first_levels, longest_cane

#: Beyond this ratio of loads no trial behind the load response reaches.
WIDEST_CHANGE = 3.0


def estate_for(records, block, season, reference_plan=None):
    """Return the estate before a season, ready to compare plans in one block.

    ``reference_plan`` is the plan the block has carried, for a block without any on record.
    """
    given = {} if reference_plan is None else {block: PruningPlan.parse(reference_plan)}
    return estate_before_season(records, season, given)


def levels_of(estate, block, levels=first_levels):
    """Return the plans that a block opens with, and their names.

    Parameters
    ----------
    estate : object
        As from ``estate_for``.
    block : str
        A block of it.
    levels : callable
        As ``first_levels``.
    """
    at = estate.facts.place(block)
    return levels(
        estate.last_plan[at] or None,
        float(np.exp(estate.log_reference[at])),
        estate.facts.training[at],
        longest_cane(estate.facts.vine_spacing_m(at)),
    )


def check_bears(estate, block):
    """Raise CroploadError, with the mend, when a block's vines are too young for any crop."""
    young, at = estate.young, estate.facts.place(block)
    if not young.barren[at]:
        return
    planted, first = int(estate.facts.year_planted[at]), young.first_crop(at)
    raise CroploadError(
        f"{block}, planted {planted}: {young.words(at)} in {young.year}, so no crop is expected "
        f"and there is nothing to compare. Ask for season {first}, the first with a crop, or "
        "correct year_planted in table blocks."
    )


def load_notes(estate, blocks):
    """Return a line on those of the blocks whose load is not on record, as a list; or none.

    Where only the season's own plan is on record, a second line says so.

    Parameters
    ----------
    estate : Estate
        As from ``estate_before_season``.
    blocks : iterable of str
        Blocks at hand.
    """
    season = estate.young.year
    unknown = [block for block in blocks if not estate.load_known[estate.facts.place(block)]]
    new = [block for block in unknown if (block, season) in estate.plans]
    return [
        *load_unknown([block for block in unknown if block not in new]),
        *load_unknown(new, season),
    ]


def cane_notes(plans, vine_spacing_m):
    """Return a sentence that asks about plans whose canes are longer than their place, or none.

    Parameters
    ----------
    plans : sequence of PruningPlan
        As given or on record.
    vine_spacing_m : float
        Distance between vines in a row [m].
    """
    longest = longest_cane(vine_spacing_m)
    pieces = [part for plan in dict.fromkeys(plans) for _, part in plan.shares]
    long = [plan for plan in pieces if plan.canes and plan.buds_per_cane > longest]
    if not long:
        return []
    worst = max(long, key=lambda plan: plan.buds_per_cane)
    low, middle, high = cane_length_m(worst.buds_per_cane)
    return [
        f"{', '.join(map(str, long))}: a cane of {worst.buds_per_cane} buds is about {middle:.1f} "
        f"m long ({low:.1f} to {high:.1f}), and the vine has {vine_spacing_m:.3g} m "
        f"({longest} buds). Is the number right?"
    ]


def spur_notes(plans, variety):
    """Return a sentence on plans of spurs alone for a variety whose lowest buds bear little.

    Parameters
    ----------
    plans : sequence of PruningPlan
        As given or on record.
    variety : str
        As the records write it.
    """
    own = handbook.variety(variety)
    told = [
        own[name]
        for name, field, poor in (
            ("wood", "suits", "long wood only"),
            ("basal_buds", "bear", "poor"),
        )
        if name in own and own[name].extra[field] == poor
    ]
    pieces = dict.fromkeys(part for plan in plans for _, part in plan.shares)
    short = [str(plan) for plan in pieces if not plan.canes and plan.buds]
    if not told or not short:
        return []
    return [
        f"{', '.join(short)}: {variety} bears little on its lowest buds, so spurs alone may crop "
        f"far below the range (`{told[0].key}` of the handbook). A fertility table of your own "
        "tells."
    ]


def _own_crops(estate, at):
    mean, seasons = (part[at] for part in estate.own_crops)
    return float(mean * estate.facts.bearing[at] / 1000 / estate.facts.area_ha[at]), int(seasons)


def general_notes(variety, components):
    """Return a sentence where general values stand in for a variety the handbook does not know.

    Parameters
    ----------
    variety : str
        As the records write it.
    components : list of dict
        As from ``component_origins``.

    Returns
    -------
    list of str
        Empty for a variety with figures of its own, and where the estate's records tell all that
        varies by it.
    """
    unknown = bool(unknown_varieties([variety]))
    varies = components_by_variety() if unknown else blank_cells(variety)
    taken = [
        part["words"]
        for part in components
        if part["component"] in varies and part["came_from"] == HANDBOOK
    ]
    if not taken:
        return []
    return [
        f"The handbook has no {'entry' if unknown else 'figure'} for {variety}: general values, of "
        f"any variety, are used for {', '.join(taken)}. Counts and weights of your own narrow them."
    ]


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Comparison(Answer):
    """What each pruning plan would give in a block; its frame has a row a plan.

    Attributes
    ----------
    block : str
        The block.
    season : int
        Year of the harvest the pruning is for.
    interval : str
        The range's name.
    draws, seed : int
        Draws and their seed [1].
    usual_buds, carried_buds : float
        Load taken as the block's usual one, and what it carries now [1/vine].
    own_crops : tuple
        Mean of the block's own crops on record [t/ha], lost ones apart, and how many they are [1].
    load_known : bool
        Whether a load is on record; if not, ``usual_buds`` is a guess.
    last_plan : str
        The plan it carries; empty when none is on record.
    components : list of dict
        Where each component came from.
    density, balance : Band
        What shoots per metre of canopy [1/m] and yield to pruning weight [kg/kg] are held against.
    plans : tuple of PruningPlan or DividedPlan
        As compared, each once.
    """

    block: str
    season: int
    interval: str
    draws: int
    seed: int
    usual_buds: float
    carried_buds: float
    load_known: bool
    last_plan: str
    own_crops: tuple
    components: list = field(default_factory=list)
    density: Band
    balance: Band
    plans: tuple = ()

    def heading(self, units=METRIC):
        """Return what is compared, in one or two sentences."""
        from cropload.pruning import words

        return words.comparison_heading(self, units)

    def tables(self, units=METRIC):
        """Return the tables: crop, difference, shoots and clusters, balance, next winter's wood."""
        from cropload.pruning import tables

        return tables.comparison_tables(self, units)

    def plot(self, ax=None, units=METRIC):
        """Draw the crop of each plan on axes, new ones when none are given, and return them."""
        from cropload.pruning.charts import crop_rows

        return crop_rows(self.frame, units).plot(ax)


def far_notes(plans, usual):
    """Return a sentence on plans far from the usual load [1/vine], or none."""
    far = [str(p) for p in plans if not 1 / WIDEST_CHANGE <= p.buds / usual <= WIDEST_CHANGE]
    if not far:
        return []
    return [
        f"{', '.join(far)}: more than {WIDEST_CHANGE:g} times away from the {usual:.0f} buds "
        "per vine the block has carried; no trial behind the load response reaches that far."
    ]


@arguments.check_arguments(records=arguments.records)
def compare_plans(
    records,
    block,
    plans,
    season=None,
    *,
    draws=DEFAULT_DRAWS,
    seed=0,
    density_band=None,
    ravaz_band=None,
    reference_plan=None,
):
    """Say what each pruning plan would give in a block.

    Parameters
    ----------
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    plans : str or iterable of str or PruningPlan
        Plans like ``"3x6+3x2,3x8+3x2"``; ``"last"`` is what is on record, that of each part in a
        block in parts.
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.
    draws, seed : int
        Draws, 100 or more, and their seed [1].
    density_band, ravaz_band : str or (low, high), optional
        Handbook key, or ends of a band of your own, for shoots per metre of canopy [1/m] and for
        yield to pruning weight [kg/kg].
    reference_plan : str or PruningPlan, optional
        The plan a block without any plan on record has carried.

    Returns
    -------
    Comparison
        Its frame has one row a plan: plan, buds_per_vine [1], buds_per_m [1/m],
        canopy_length_m [m/vine]; then as ``_p10 _p50 _p90`` shoots_per_m [1/m],
        clusters_per_vine [1], cluster_weight_g [g], kg_per_vine [kg/vine], t_ha [t/ha],
        tonnes [t], ravaz [kg/kg] in the coming season, and t_ha, tonnes and ravaz once settled
        (third season on); t_ha_change and tonnes_change, more or less than the first plan gives,
        now and settled, with chance_more of a larger crop [1]; density_word and balance_word of
        the first season and balance_settled_word, with their bands; and what the plan leaves as
        next winter's wood.

    Raises
    ------
    CroploadError
        For a block, plan, band or season that cannot be, with the way to mend it.

    Notes
    -----
    All plans share their draws, so differences between them are not noise.
    Ranges have equal tails, and ``interval`` names their level. ``kg_per_vine`` and what follows
    from it is the crop that reaches the scale.
    Valid for loads within a third to three times what the block has carried.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = compare_plans(example_records(), "Long Acre", "3x6+3x2,3x8+3x2")
    >>> list(found["buds_per_vine"])
    [24, 30]
    """
    block = check_block(records, block)
    season = check_season(records, season)
    plans = parse_plans(plans, carried_plans(records, season).get(block))
    check_draws(draws, seed)
    estate = estate_for(records, block, season, reference_plan)
    check_bears(estate, block)
    at = estate.facts.place(block)
    kind = estate.facts.kind(at)
    density = bands.density_band(density_band, **kind)
    balance = bands.ravaz_band(ravaz_band, **kind)
    drawn = plan_draws(estate, [at], plans, draws=draws, seed=seed)
    rows = plan_columns(drawn, 0, float(estate.facts.canopy_length_m[at]))
    components = component_origins(estate, block)
    usual = float(np.exp(estate.log_reference[at]))
    notes = [
        *load_notes(estate, [block]),
        *cane_notes(plans, estate.facts.vine_spacing_m(at)),
        *spur_notes(plans, estate.facts.varieties[at]),
        *estate.young.notes(estate.facts.names, [at]),
        *loss_notes(estate, [at], conditional=True),
        *far_notes(plans, usual),
        *general_notes(estate.facts.varieties[at], components),
        *estate.accepted_notes,
    ]
    notes += guard_crops([row["plan"] for row in rows], [row["t_ha_p50"] for row in rows])
    for place, (row, change) in enumerate(zip(rows, difference_columns(drawn, 0), strict=True)):
        row |= change | verdict_columns(row, density, balance)
        wood, wood_notes = wood_columns(estate, drawn, place, 0)
        row |= wood
        notes += [note for note in wood_notes if note not in notes]
    return Comparison(
        pd.DataFrame(rows),
        tuple(notes),
        sources=tuple(dict.fromkeys(part["key"] for part in components)),
        block=block,
        season=season,
        interval=ranges.label(),
        draws=int(draws),
        seed=int(seed),
        usual_buds=usual,
        carried_buds=float(np.exp(estate.log_carried[at])),
        load_known=bool(estate.load_known[at]),
        own_crops=_own_crops(estate, at),
        last_plan=str(estate.last_plan[at] or ""),
        components=components,
        density=density,
        balance=balance,
        plans=tuple(plans),
    )
