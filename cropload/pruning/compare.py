"""Compare pruning levels: what each plan would give in a block, on the same draws."""

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.beliefs.guard import guard_crops
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block, check_draws, check_season
from cropload.beliefs.origins import HANDBOOK, component_origins
from cropload.beliefs.plan_draws import bud_chance, plan_draws
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.pruning.plan_difference import difference_columns
from cropload.records.known_varieties import components_by_variety, unknown_varieties
from cropload.vine import bands
from cropload.vine.plan import PruningPlan, parse_plans
from cropload.vine.wood import replacement_wood

#: Columns that carry a range, in the order of the chain.
RANGED = (
    "shoots_per_m",
    "clusters_per_vine",
    "cluster_weight_g",
    "kg_per_vine",
    "t_ha",
    "tonnes",
    "ravaz",
    "t_ha_settled",
    "tonnes_settled",
    "ravaz_settled",
)

#: Beyond this ratio of loads no trial behind the load response reaches.
WIDEST_CHANGE = 3.0


def estate_for(records, block, season, reference_plan=None):
    """Return the estate before a season, ready to compare plans in one block.

    ``reference_plan`` is the plan the block has carried, for a block without any on record.
    """
    given = {} if reference_plan is None else {block: PruningPlan.parse(reference_plan)}
    return estate_before_season(records, season, given)


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
    """Return what stands in for the load of blocks that have none on record, in sentences.

    Parameters
    ----------
    estate : Estate
        As from ``estate_before_season``.
    blocks : iterable of str
        Blocks at hand.

    Returns
    -------
    list of str
        Empty when every load is on record.
    """
    grown_on = estate.measured.loc[estate.measured["stage"] != "pruning_weight", "block"]
    cropped, notes = set(grown_on.astype(str)), []
    for block in blocks:
        at = estate.facts.place(block)
        if estate.load_known[at]:
            continue
        usual = f"{float(np.exp(estate.log_reference[at])):.0f} buds per vine"
        told = f"{block}: no plan is on record; {usual} are taken as its usual load."
        if block in cropped:
            told += (
                " Nobody knows on how many its crops grew, so the ranges are wider than they need "
                "be. Fill column plan of table pruning for those seasons."
            )
        notes.append(told)
    return notes


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
        Empty for a known variety, and where the estate's own records tell all that varies by it.
    """
    if not unknown_varieties([variety]):
        return []
    varies = components_by_variety()
    taken = [
        part["words"]
        for part in components
        if part["component"] in varies and part["came_from"] == HANDBOOK
    ]
    if not taken:
        return []
    return [
        f"The handbook has no entry for {variety}: general values, of any variety, are used for "
        f"{', '.join(taken)}. Counts and weights of your own narrow them."
    ]


def plan_ranges(draws):
    """Return the ranges of every plan in every block of the draws.

    Parameters
    ----------
    draws : PlanDraws

    Returns
    -------
    dict
        Name of ``RANGED`` -> array of shape (3, plans, blocks): low end, middle and high end, in
        the unit of the column.

    Notes
    -----
    Taken on the logs where the draws are kept as logs: between two draws that stand next to each
    other a range runs along the log, which no figure shows.
    """
    length = draws.canopy_length_m
    tonnes = draws.bearing / 1000.0
    first = draws.first
    found = {
        "shoots_per_m": ranges.quantiles(first.shoots + first.noncount_shoots) / length,
        "clusters_per_vine": np.exp(ranges.quantiles(first.log_clusters)),
        "cluster_weight_g": np.exp(ranges.quantiles(first.log_cluster_weight_g)),
    }
    for growth, ending in ((first, ""), (draws.settled, "_settled")):
        kg = np.exp(ranges.quantiles(growth.log_kg_picked))
        ratio = growth.log_kg_picked - growth.log_pruning_weight_kg_per_m
        if not ending:
            found["kg_per_vine"] = kg
        found[f"t_ha{ending}"] = kg * (tonnes / draws.area_ha)
        found[f"tonnes{ending}"] = kg * tonnes
        found[f"ravaz{ending}"] = np.exp(ranges.quantiles(ratio)) / length
    return found


def plan_columns(draws, at, canopy_length_m):
    """Return the ranged columns of every plan in one block of the draws, as a list of dicts."""
    rows = [
        {
            "plan": str(plan),
            "buds_per_vine": plan.buds,
            "buds_per_m": plan.buds / canopy_length_m,
            "canopy_length_m": canopy_length_m,
        }
        for plan in draws.plans
    ]
    found = plan_ranges(draws)
    for name in RANGED:
        for end, values in zip(ranges.ENDINGS, found[name][:, :, at], strict=True):
            for row, value in zip(rows, values, strict=True):
                row[f"{name}_{end}"] = float(value)
    return rows


def wood_columns(estate, draws, plan, at):
    """Return what a plan leaves to prune to next winter, as a dict of columns, and its notes.

    Lost is a place with no wood at all, short one that carries no cane (or spur).
    ``places_lost_per_vine`` and ``places_lost_block`` hold if nothing but the renewal spur is used;
    so do the columns named spur only. The others have the base of the old cane used too.
    """
    chance = bud_chance(estate, draws, plan, at)
    cut = draws.plans[plan]
    profile = estate.profiles[estate.facts.varieties[draws.blocks[at]]]
    wood = replacement_wood(
        cut.canes,
        cut.spurs,
        cut.buds_per_spur or 1,
        chance,
        bearing_vines=float(draws.bearing[at]),
        spur_profile=profile.spur_burst,
    )

    def mean(values):
        return float(np.mean(values))

    return {
        "wood_places": wood.places,
        "wood_both": mean(wood.both),
        "wood_one": mean(wood.one),
        "wood_none": mean(wood.none),
        "places_lost_per_vine": mean(wood.places_lost_per_vine),
        "places_lost_block": mean(wood.places_lost_block),
        "places_lost_base_used_per_vine": mean(wood.places_lost_base_used_per_vine),
        "places_lost_base_used_block": mean(wood.places_lost_base_used_block),
        "places_lost_5_winters": mean(wood.places_lost_by_winter[-1]),
        "places_short_5_winters": mean(wood.places_short_by_winter[-1]),
        "places_short_spur_only_5_winters": mean(wood.places_short_spur_only_by_winter[-1]),
    }, wood.notes


def _notes(estate, block, plans):
    at = estate.facts.place(block)
    usual = float(np.exp(estate.log_reference[at]))
    notes = [*estate.young.notes(estate.facts.names, [at]), *load_notes(estate, [block])]
    far = [str(p) for p in plans if not 1 / WIDEST_CHANGE <= p.buds / usual <= WIDEST_CHANGE]
    if far:
        notes.append(
            f"{', '.join(far)}: more than {WIDEST_CHANGE:g} times away from the {usual:.0f} buds "
            "per vine the block has carried; no trial behind the load response reaches that far."
        )
    return notes


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
    records : Records
        As read by ``read_records``.
    block : str
        Name of the block.
    plans : str or iterable of str or PruningPlan
        Plans like ``"3x6+3x2,3x8+3x2"``.
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.
    draws : int
        Draws [1]; 100 or more.
    seed : int
        Seed of the draws [1].
    density_band, ravaz_band : str or (low, high), optional
        Handbook key, or ends of a band of your own, for shoots per metre of canopy [1/m] and for
        yield to pruning weight [kg/kg].
    reference_plan : str or PruningPlan, optional
        The plan a block without any plan on record has carried.

    Returns
    -------
    DataFrame
        One row a plan: plan, buds_per_vine [1], buds_per_m [1/m], canopy_length_m [m/vine]; then
        as ``_p10 _p50 _p90`` shoots_per_m [1/m], clusters_per_vine [1], cluster_weight_g [g],
        kg_per_vine [kg/vine], t_ha [t/ha], tonnes [t], ravaz [kg/kg] in the coming season, and
        t_ha, tonnes and ravaz once settled (third season on); t_ha_change and tonnes_change, more
        or less than the first plan gives, now and settled, with chance_more of a larger crop [1];
        density_word and balance_word with their bands; and what the plan leaves as next winter's
        wood. ``attrs`` names the season, the range, where each component came from, and notes.

    Raises
    ------
    CroploadError
        For a block, plan, band or season that cannot be, with the way to mend it.

    Notes
    -----
    All plans share their draws, so differences between them are not noise.
    Ranges have equal tails, and ``attrs`` names their level. ``kg_per_vine`` and what follows from
    it is the crop that reaches the scale.
    Valid for loads within a third to three times what the block has carried.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = compare_plans(example_records(), "Long Acre", "3x6+3x2,3x8+3x2")
    >>> list(found["buds_per_vine"])
    [24, 30]
    """
    block = check_block(records, block)
    plans = parse_plans(plans)
    check_draws(draws, seed)
    season = check_season(records, season)
    estate = estate_for(records, block, season, reference_plan)
    check_bears(estate, block)
    at = estate.facts.place(block)
    canopies = int(estate.facts.canopies[at])
    density = bands.density_band(density_band, canopies)
    balance = bands.ravaz_band(ravaz_band, canopies)
    drawn = plan_draws(estate, [at], plans, draws=draws, seed=seed)
    rows = plan_columns(drawn, 0, float(estate.facts.canopy_length_m[at]))
    components = component_origins(estate, block)
    notes = [
        *_notes(estate, block, plans),
        *general_notes(estate.facts.varieties[at], components),
        *estate.accepted_notes,
    ]
    notes += guard_crops([row["plan"] for row in rows], [row["t_ha_p50"] for row in rows])
    for place, (row, change) in enumerate(zip(rows, difference_columns(drawn, 0), strict=True)):
        row.update(change)
        row["density_word"] = density.word(row["shoots_per_m_p50"])
        row["density_band"] = density.text()
        row["balance_word"] = balance.word(row["ravaz_p50"])
        row["balance_band"] = balance.text()
        wood, wood_notes = wood_columns(estate, drawn, place, 0)
        row.update(wood)
        notes += [note for note in wood_notes if note not in notes]
    found = pd.DataFrame(rows)
    found.attrs = {
        "block": block,
        "season": season,
        "interval": ranges.label(),
        "draws": int(draws),
        "seed": int(seed),
        "usual_buds": float(np.exp(estate.log_reference[at])),
        "carried_buds": float(np.exp(estate.log_carried[at])),
        "load_known": bool(estate.load_known[at]),
        "last_plan": str(estate.last_plan[at] or ""),
        "components": components,
        "notes": tuple(notes),
    }
    return found
