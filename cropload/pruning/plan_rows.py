"""What plans give in blocks, as columns: ranges, differences on common draws, verdicts, wood."""

import numpy as np

from cropload.beliefs import ranges
from cropload.beliefs.plan_draws import bud_chance
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

#: Ending of the columns -> whether they are of the settled crop.
WHEN = {"": False, "_settled": True}


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
            "buds_per_m": plan.buds_per_metre(canopy_length_m),
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


def verdict_columns(row, density, balance):
    """Return the verdicts on a row of ranges, with the bands they were held against, as a dict.

    ``balance_word`` judges the first season's yield to pruning weight, ``balance_settled_word``
    the settled one.
    """
    return {
        "density_word": density.word(row["shoots_per_m_p50"]),
        "density_band": density.text(),
        "balance_word": balance.word(row["ravaz_p50"]),
        "balance_settled_word": balance.word(row["ravaz_settled_p50"]),
        "balance_band": balance.text(),
    }


def wood_columns(estate, draws, plan, at):
    """Return what a plan leaves to prune to next winter, as a dict of columns, and its notes.

    Lost is a place with no wood at all, short one that carries no cane (or spur).
    ``places_lost_per_vine`` and ``places_lost_block`` hold if nothing but the renewal spur is used;
    so do the columns named spur only. The others have the base of the old cane used too.
    """
    chance, shares = bud_chance(estate, draws, plan, at), draws.plans[plan].shares
    found, notes = zip(*(_wood(estate, draws, cut, at, chance) for _, cut in shares), strict=True)
    if len(found) == 1:
        return found[0], notes[0]
    columns = {
        name: sum(share * part[name] for (share, _), part in zip(shares, found, strict=True))
        for name in found[0]
    }
    return columns, tuple(dict.fromkeys(note for told in notes for note in told))


def _wood(estate, draws, cut, at, chance):
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


def difference_columns(draws, at):
    """Return what each plan bears beyond the first one in one block of the draws.

    Parameters
    ----------
    draws : PlanDraws
        Of two plans or more; of one, its difference to itself is nothing.
    at : int
        Place of the block in the draws.

    Returns
    -------
    list of dict
        One a plan: ``t_ha_change`` [t/ha] and ``tonnes_change`` [t] as ``_p10 _p50 _p90``, and
        ``chance_more``, the chance of bearing more than the first plan [1]; the same of the
        settled crop with ``_settled`` before ``_change`` or at the end.

    Notes
    -----
    Both plans are drawn in the same seasons on the same vines, so what they share falls out: the
    range of the difference is that of the difference, and cannot be read off the ranges of the
    two plans, which is far wider. The middle of the difference is not quite the difference of the
    middles.
    """
    rows = [{} for _ in draws.plans]
    tonnes_per_kg = draws.bearing[at] / 1000.0
    for ending, settled in WHEN.items():
        growth = draws.settled if settled else draws.first
        kg = np.exp(growth.log_kg_picked[:, at])
        change = kg - kg[:1]
        ends = ranges.quantiles(change)
        chance = (change > 0).mean(-1)
        for place, row in enumerate(rows):
            for name, scale in (
                ("t_ha", tonnes_per_kg / draws.area_ha[at]),
                ("tonnes", tonnes_per_kg),
            ):
                for end, values in zip(ranges.ENDINGS, ends, strict=True):
                    row[f"{name}{ending}_change_{end}"] = float(values[place] * scale)
            row[f"chance_more{ending}"] = float(chance[place]) if place else float("nan")
    return rows
