"""Every vine of the invented estate, and what a crew would have written down about some of them.

Vines differ: some places are stronger year after year, a row differs a little from its
neighbour, and a season adds its own chance.  The mean over the bearing vines of a block is always
the truth of that block and season; a record is a sample from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from quillfoot_estate import (
    BUD_CV_BETWEEN_VINES,
    CREW_LOG_BIAS,
    NONCOUNT_FERTILITY,
    Block,
    plan_parts,
    stream,
)

HEADLANDS = 3  # vines at each end of a row that crews leave out
PLACE_SD = 0.12  # lasting differences between places
ROW_TREND = 0.04  # first row this much above the mean, last row this much below
SHOOT_SD = 0.14  # further differences in shoots
CLUSTER_SD = 0.34  # further differences in clusters
CLUSTER_WEIGHT_CV = 0.45  # between single clusters
LOT_SD = 0.03  # further differences between lots
PRUNING_CV = 0.35
SUITABLE_CANES_PER_SHOOT = 0.34
LEAF_M2_PER_KG = 1.05
FERTILITY_BLOCKS = ("Quarry Bank", "Home Terrace")  # examined node by node
BERRY_G = {"Riesling": 1.35, "Pinot noir": 1.15, "Chardonnay": 1.45, "Sauvignon blanc": 1.5}
FIXED_VINES_FROM = 2025  # from this season on the same marked vines are visited all year

PROFILE = {  # relative values by node, 1 is the lowest; scaled to mean 1 over the plan in use
    "cane": {
        "burst": (0.82, 0.90, 0.97, 1.0, 1.0, 1.0, 1.0, 1.0, 1.02, 1.04, 1.06, 1.08),
        "fertility": (0.62, 0.82, 0.94, 1.0, 1.03, 1.05, 1.05, 1.05, 1.03, 1.0, 0.94, 0.88),
    },
    "spur": {"burst": (0.94, 1.0), "fertility": (0.66, 0.84)},
}


@dataclass
class BlockVines:
    """The bearing vines of a block: their place and their lasting strength."""

    block: Block
    row: np.ndarray
    vine: np.ndarray
    strength: np.ndarray
    inside: np.ndarray  # not on a headland


@dataclass
class SeasonVines:
    """The same vines in one season: integers as a careful eye would find them."""

    buds: np.ndarray
    shoots: np.ndarray
    noncount: np.ndarray
    clusters: np.ndarray
    suitable_canes: np.ndarray


def grow_block(block: Block) -> BlockVines:
    """Place the vines, take out the missing ones, give each place its strength."""
    rng = stream("places", block.name)
    row = np.repeat(np.arange(1, block.rows + 1), block.vines_per_row)
    vine = np.tile(np.arange(1, block.vines_per_row + 1), block.rows)
    bearing = np.ones(block.vines, dtype=bool)
    bearing[rng.choice(block.vines, block.missing_vines, replace=False)] = False
    trend = ROW_TREND * (1 - 2 * (row - 1) / (block.rows - 1))
    strength = np.exp(rng.normal(0, PLACE_SD, block.vines)) * (1 + trend)
    inside = (vine > HEADLANDS) & (vine <= block.vines_per_row - HEADLANDS)
    return BlockVines(block, row[bearing], vine[bearing], strength[bearing], inside[bearing])


def _whole(rng, values):
    """Round up or down by chance, so that means stay right."""
    return np.floor(values + rng.uniform(0, 1, len(values))).astype(int)


def grow_season(vines: BlockVines, season: int, truth: dict[str, float]) -> SeasonVines:
    """Grow every bearing vine of a block in one season, with the block's true means."""
    rng = stream("vines", vines.block.name, season)
    n = len(vines.row)

    def scaled(values, mean):
        return values * (mean / values.mean())

    pruned = scaled(1 + rng.normal(0, BUD_CV_BETWEEN_VINES, n), truth["buds_per_vine"])
    buds = _whole(rng, pruned)
    shoots = scaled(
        pruned * vines.strength * np.exp(rng.normal(0, SHOOT_SD, n)), truth["shoots_per_vine"]
    )
    noncount = rng.poisson(truth["noncount_shoots"] * scaled(rng.gamma(2.0, 0.5, n), 1.0))
    carrying = shoots + NONCOUNT_FERTILITY * noncount
    # The tails are cut: a shoot carries three clusters, four at most.
    chance = np.exp(CLUSTER_SD * rng.normal(0, 1, n).clip(-2.5, 2.0))
    clusters = scaled(carrying * chance, truth["clusters_per_vine"])
    whole_shoots = _whole(rng, shoots)
    canes = 1 + rng.poisson(SUITABLE_CANES_PER_SHOOT * (whole_shoots + noncount) / 1.5)
    return SeasonVines(buds, whole_shoots, noncount, _whole(rng, clusters), canes)


def pick_vines(vines: BlockVines, season: int, visit: str, number: int) -> np.ndarray:
    """Choose the vines to visit: at random off the headlands, the same all year from 2025."""
    label = "marked" if season >= FIXED_VINES_FROM else visit
    rng = stream("sample", vines.block.name, season, label)
    return np.sort(rng.permutation(np.flatnonzero(vines.inside))[:number])


def _frame(vines: BlockVines, season: int, date: pd.Timestamp, chosen, counter) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "season": season,
            "date": date,
            "block": vines.block.name,
            "row": vines.row[chosen],
            "vine": vines.vine[chosen],
            "counter": counter,
        }
    )


def crews_of(block_number: int, season: int, number: int) -> list[str]:
    """Return who visited each vine: one crew, or both in turn where they shared the block."""
    names = sorted(CREW_LOG_BIAS)
    if season >= FIXED_VINES_FROM:
        return [names[i % 2] for i in range(number)]
    return [names[(block_number + season) % 2]] * number


def bud_visit(vines, grown, season, date, number, crews, pruning_weights=None, canes=None):
    """Write down buds (when pruned), prunings and suitable canes of the visited vines."""
    chosen = pick_vines(vines, season, "buds", number)
    frame = _frame(vines, season, date, chosen, crews)
    if grown is not None:
        frame["buds"] = grown.buds[chosen]
    if pruning_weights is not None:
        frame["pruning_weight_kg"] = pruning_weights
    if canes is not None and plan_parts(vines.block.plan(season))[0] > 0:
        frame["suitable_canes"] = canes[chosen]
    return frame


def shoot_visit(vines, grown, season, date, number, crews):
    """Write down count and non-count shoots at six to eight leaves."""
    chosen = pick_vines(vines, season, "shoots", number)
    frame = _frame(vines, season, date, chosen, crews)
    frame["shoots"], frame["noncount_shoots"] = grown.shoots[chosen], grown.noncount[chosen]
    return frame


def cluster_visit(vines, grown, season, date, number, crews, seen):
    """Write down the clusters seen, a few less than there are; shoots too every other season."""
    chosen = pick_vines(vines, season, "clusters", number)
    frame = _frame(vines, season, date, chosen, crews)
    rng = stream("seen", vines.block.name, season)
    share = np.array([seen[crew] for crew in crews])
    frame["clusters"] = _whole(rng, grown.clusters[chosen] * share)
    if season % 2 == 0:
        frame["shoots"] = grown.shoots[chosen]
    return frame


def weigh_prunings(block: Block, season: int, mean_kg: float, number: int) -> np.ndarray:
    """Return the prunings of single vines [kg], cut in the winter before ``season``."""
    rng = stream("prunings", block.name, season)
    sd = np.sqrt(np.log1p(PRUNING_CV**2))
    return np.round(mean_kg * np.exp(rng.normal(-(sd**2) / 2, sd, number)), 3)


def weigh_lots(block, season, date, stage, mean_g, lots, berries):
    """Weigh a few lots of 30 to 50 clusters [g]."""
    rng = stream("lots weighed", block.name, season, stage)
    clusters = rng.integers(30, 51, lots)
    sd = np.sqrt(CLUSTER_WEIGHT_CV**2 / clusters + LOT_SD**2)
    weight = clusters * mean_g * np.exp(rng.normal(0, 1, lots) * sd - sd**2 / 2)
    frame = pd.DataFrame(
        {
            "season": season, "date": date, "block": block.name, "stage": stage,
            "clusters": clusters, "weight_g": np.round(weight / 5) * 5,
        }
    )  # fmt: skip
    if berries:
        berry = BERRY_G[block.variety] * np.exp(rng.normal(0, 0.05, lots))
        frame["berries"] = np.round(weight * 0.95 / berry).astype(int)
    return frame


def node_profile(plan: str) -> dict[tuple[str, int], tuple[float, float]]:
    """Return burst and fertility of each node, relative to the whole-vine mean of the plan."""
    canes, per_cane, spurs, per_spur = plan_parts(plan)
    nodes = [("cane", i) for i in range(per_cane)] * canes
    nodes += [("spur", i) for i in range(per_spur)] * spurs
    burst = np.array([PROFILE[wood]["burst"][i] for wood, i in nodes])
    fertility = np.array([PROFILE[wood]["fertility"][i] for wood, i in nodes])
    burst = burst / burst.mean()
    fertility = fertility / (burst * fertility).mean()
    return {
        (wood, i + 1): (float(b), float(f))
        for (wood, i), b, f in zip(nodes, burst, fertility, strict=True)
    }


def examine_nodes(block, season, truth, canes, spurs):
    """Examine canes and spurs node by node: buds, shoots that grew, clusters on them."""
    rng = stream("nodes", block.name, season)
    rows = []
    for (wood, node), (burst, fertility) in sorted(node_profile(block.plan(season)).items()):
        buds = canes if wood == "cane" else spurs
        shoots = rng.binomial(buds, min(truth["shoots_per_bud"] * burst, 0.995))
        chance = min(truth["clusters_per_shoot"] * fertility / 3, 0.98)
        rows.append(
            {
                "season": season, "block": block.name, "wood": wood, "node": node, "buds": buds,
                "shoots": int(shoots), "clusters": int(rng.binomial(3 * shoots, chance)),
            }
        )  # fmt: skip
    return pd.DataFrame(rows)


def measure_leaves(vines, grown, season, date, number, truth):
    """Measure the leaf area of a few vines [m2]."""
    chosen = pick_vines(vines, season, "leaves", number)
    frame = _frame(vines, season, date, chosen, "crew A")
    rng = stream("leaves", vines.block.name, season)
    share = grown.shoots[chosen] / grown.shoots.mean()
    mean = LEAF_M2_PER_KG * truth["kg_per_vine"]
    frame["leaf_area_m2"] = np.round(mean * share * np.exp(rng.normal(0, 0.12, number)), 2)
    return frame
