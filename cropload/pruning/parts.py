"""Blocks in parts of different vigour, each with its plan: what the whole block gives."""

from dataclasses import replace

import numpy as np

from cropload.beliefs.plan_draws import plan_draws
from cropload.vine.growth import Growth
from cropload.vine.plan import PruningPlan


def parts_of(records, block, plan):
    """Return the parts of a block.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    block : str
        Name of a block.
    plan : PruningPlan or None
        Plan of the block, taken where a part has none of its own.

    Returns
    -------
    list of (str, PruningPlan or None, float)
        Name, plan and vines [1] of each; empty for a block without parts.
    """
    rows = records.parts[records.parts["block"] == block]
    return [
        (part, PruningPlan.parse(own) if own else plan, float(vines))
        for part, own, vines in zip(rows["part"], rows["plan"], rows["vines"], strict=True)
    ]


def whole_draws(estate, at, parts, *, draws, seed):
    """Draw what a block gives whose parts carry different plans.

    Parameters
    ----------
    estate : Estate
        What was learnt from the records.
    at : int
        Place of the block.
    parts : list of (str, PruningPlan, float)
        As from ``parts_of``.
    draws, seed : int
        Draws and their seed [1].

    Returns
    -------
    PlanDraws
        Of one plan, the mean vine of all parts: crop and wood summed draw by draw.

    Notes
    -----
    All parts share their draws, so their crops rise and fall together. Parts differ by their plans
    alone: what their vigour does beyond that the records do not tell, and missing vines are taken
    as spread evenly. Valid as ``compare_plans``.
    """
    drawn = plan_draws(estate, [at], [plan for _, plan, _ in parts], draws=draws, seed=seed)
    vines = np.array([each for _, _, each in parts])
    weights = (vines / vines.sum())[:, None, None]
    return replace(
        drawn,
        plans=drawn.plans[:1],
        first=_mean(drawn.first, weights),
        settled=_mean(drawn.settled, weights),
    )


def _mean(growth, weights):
    """Return what grows on the mean vine: a cluster weighs what all fruit does by all clusters."""

    def mean(values):
        return (weights * values).sum(axis=0, keepdims=True)

    def log_mean(values):
        return np.log(mean(np.exp(values)))

    clusters = log_mean(growth.log_clusters)
    return Growth(
        shoots=mean(growth.shoots),
        noncount_shoots=mean(growth.noncount_shoots),
        log_clusters=clusters,
        log_cluster_weight_g=log_mean(growth.log_clusters + growth.log_cluster_weight_g) - clusters,
        log_kg_picked=log_mean(growth.log_kg_picked),
        log_pruning_weight_kg_per_m=log_mean(growth.log_pruning_weight_kg_per_m),
    )
