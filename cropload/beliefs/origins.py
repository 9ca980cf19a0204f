"""Where each component of a block came from: its own records, its variety here, or the handbook."""

from functools import lru_cache

import numpy as np

from cropload import handbook
from cropload.records.known_varieties import blank_cells, components_by_variety
from cropload.vine.growth import COMPONENTS

UNITS = {
    "buds_left": "1",
    "shoots_per_bud": "1",
    "clusters_per_shoot": "1",
    "cluster_weight_g": "g",
    "recovery": "1",
    "noncount_shoots": "1/vine",
    "pruning_weight_kg_per_m": "kg/m",
    "counting_bias": "1",
    "increase_factor": "1",
    "ripening_factor": "1",
}

WORDS = {
    "buds_left": "buds left / buds planned",
    "shoots_per_bud": "shoots per bud",
    "clusters_per_shoot": "clusters per shoot",
    "cluster_weight_g": "cluster weight at harvest",
    "recovery": "share of the fruit that reaches the scale",
    "noncount_shoots": "non-count shoots per vine",
    "pruning_weight_kg_per_m": "pruning weight per metre of canopy",
    "counting_bias": "clusters counted / clusters there",
    "increase_factor": "cluster weight at harvest / at lag phase",
    "ripening_factor": "cluster weight at harvest / at veraison",
}

#: Stages that must all be measured in a season for the component to be seen there directly.
_NEEDS = {
    "buds_left": ("buds",),
    "shoots_per_bud": ("shoots",),
    "clusters_per_shoot": ("shoots", "clusters"),
    "cluster_weight_g": ("weight_harvest",),
    "recovery": ("clusters", "weight_harvest", "harvest"),
    "noncount_shoots": ("noncount_shoots",),
    "pruning_weight_kg_per_m": ("pruning_weight",),
    "counting_bias": None,
    "increase_factor": ("weight_lag", "weight_harvest"),
    "ripening_factor": ("weight_veraison", "weight_harvest"),
}

OWN = "this block's own records"
VARIETY = "the same variety on this estate"
HANDBOOK = "the handbook"
LEARNED = "learned on this estate"

#: Component -> most that is shown of it [1]: no more than all of the fruit reaches the scale.
MOST_SHOWN = {"recovery": 1.0}


def _plural(number, word):
    return f"{number} {word}{'' if number == 1 else 's'}"


@lru_cache(maxsize=8)
def seasons_seen(estate):
    """Return {component: {block: number of seasons in which it was measured directly}}."""
    stages = estate.measured.groupby(["block", "season"])["stage"].agg(set)
    seasons = {}
    for name, needs in _NEEDS.items():
        seasons[name] = {}
        if needs is None:
            continue
        for (block, _), seen in stages.items():
            if seen.issuperset(needs):
                seasons[name][block] = seasons[name].get(block, 0) + 1
    return seasons


def component_origins(estate, block, seen=None):
    """Return where each component of a block came from.

    Parameters
    ----------
    estate : Estate
        What was learnt from the records.
    block : str
        Name of the block.
    seen : dict, optional
        As from ``seasons_seen``, where it is at hand; asking for many blocks is then quick.

    Returns
    -------
    list of dict
        One a component: component, words, centre [unit], unit, spread (standard deviation on the
        log scale [1]), came_from, detail, key (of the handbook).
    """
    facts = estate.facts
    at = facts.place(block)
    variety = facts.varieties[at]
    sisters = [n for n, v in zip(facts.names, facts.varieties, strict=True) if v == variety]
    seen = seasons_seen(estate) if seen is None else seen
    measured = estate.measured[estate.measured["block"] == block]
    harvests = int((measured["stage"] == "harvest").sum())
    centre = np.exp(estate.centre()[at])
    spread = estate.spread([at])[0]
    rows = []
    for place, name in enumerate(COMPONENTS):
        key = estate.prior_keys[variety][place]
        own = seen[name].get(block, 0)
        others = {b: seen[name][b] for b in sisters if b != block and b in seen[name]}
        entry = handbook.entry(key)
        learned = estate.accepted.component(name, variety)
        if learned is not None:
            came_from, detail = LEARNED, learned.span_words
        elif own:
            came_from, detail = OWN, _plural(own, "season")
        elif others:
            came_from = VARIETY
            detail = (
                f"{_plural(sum(others.values()), 'season')} in "
                f"{_plural(len(others), 'other block')} of {variety}"
            )
        else:
            came_from, detail = HANDBOOK, f"{key} (grade: {handbook.GRADES[entry.grade]})"
            if name in components_by_variety() and not handbook.variety(variety):
                detail += f", general: the handbook has no entry for {variety}"
            elif name in blank_cells(variety):
                detail += f", general: the handbook has none for {variety}"
            if harvests and name not in ("noncount_shoots", "pruning_weight_kg_per_m"):
                detail += f", held to {_plural(harvests, 'harvest')} of this block"
        rows.append(
            {
                "component": name,
                "words": WORDS[name],
                "centre": float(centre[place]),
                "unit": UNITS[name],
                "spread": float(spread[place]),
                "came_from": came_from,
                "detail": detail,
                "key": key,
            }
        )
    return rows
