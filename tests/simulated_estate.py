"""Estates drawn from the model's own assumptions, with the truth kept: the work of simulations.

Everything is drawn anew for each estate: the spreads from their scaled inverse chi-square priors,
the varieties' means, the effects of blocks and seasons, the load exponents, the loads of the past
and the sampling errors. Plans differ in load only (a flat node profile).
"""

from dataclasses import dataclass

import numpy as np

from cropload import handbook
from cropload.beliefs import estate as beliefs
from cropload.beliefs.history import line_centres
from cropload.beliefs.learn_spreads import learn_spreads
from cropload.beliefs.measurements import Measurements
from cropload.beliefs.spreads import Spreads, prior_logs, prior_spreads
from cropload.vine.growth import (
    COMPONENTS,
    RESPONSES,
    STAGES,
    LoadState,
    carried_load,
    exponents,
    grow,
    load_shift,
    stage_rows,
)
from cropload.vine.plan_shape import PlanShape

K = len(COMPONENTS)
CENTRE, CENTRE_SPREAD, _ = prior_logs("Anyvine")
SD, DOF = prior_spreads()
NONCOUNT = handbook.value("noncount.fertility")

#: Error of each stage's sample on the log scale: about 30 vines, 60 clusters, 20 vines pruned.
ERRORS = dict(zip(STAGES, (0.02, 0.035, 0.11, 0.065, 0.06, 0.06, 0.06, 0.01, 0.08), strict=True))


@dataclass(frozen=True)
class Truth:
    """What no grower sees: the lasting part of every block, the spreads, and the exponents."""

    level: np.ndarray  # (blocks, components)
    sd: np.ndarray  # (groups, components)
    normals: np.ndarray  # (responses,)
    loads: "Loads"
    means: np.ndarray  # (varieties, components)


@dataclass(frozen=True)
class Loads:
    """Logs of the loads, in the order of ``LoadState``, and of each season's buds."""

    buds: np.ndarray  # (blocks, past seasons)
    usual: np.ndarray
    carried: np.ndarray  # (blocks, past seasons + 1)
    clusters: np.ndarray


def _components(rng, level, sd, variety, seasons):
    """Draw log components of blocks in some seasons, (components, blocks, seasons)."""
    blocks = len(level)
    season = sd[1] * rng.standard_normal((1, seasons, K))
    by_variety = sd[2] * rng.standard_normal((variety.max() + 1, seasons, K))
    residual = sd[3] * rng.standard_normal((blocks, seasons, K))
    return np.moveaxis(level[:, None] + season + by_variety[variety] + residual, -1, 0)


def _stages(x, buds, state, e):
    grown = grow(x, PlanShape(buds, 0.0, 0.0), state, e, NONCOUNT)
    part = dict(zip(COMPONENTS, x, strict=True))
    weight = np.log(grown.cluster_weight_g)
    return np.stack(
        [
            buds + part["buds_left"],
            np.log(grown.shoots),
            np.log(grown.noncount_shoots),
            np.log(grown.clusters) + part["counting_bias"],
            weight - part["increase_factor"],
            weight - part["ripening_factor"],
            weight,
            np.log(grown.kg_picked),
            np.log(grown.pruning_weight_kg_per_m),
        ],
        axis=-1,
    )


def _past_loads(rng, history, seasons):
    """Each block keeps one load, or changes it once by a factor of two thirds to one and a half."""
    blocks = len(history)
    before = np.log(rng.uniform(18, 36, blocks))
    after = before + rng.choice([0, 1], blocks) * rng.uniform(-0.4, 0.4, blocks)
    turn = rng.integers(0, seasons + 1, blocks)
    return np.where(np.arange(seasons) < turn[:, None], before[:, None], after[:, None])


@dataclass(frozen=True)
class Seen:
    """What the grower knows: loads, and ln(measured) [1] with 1 / its variance [1].

    values, precision : (blocks, seasons, stages), the season forecast last.
    """

    loads: Loads
    variety: np.ndarray
    values: np.ndarray
    precision: np.ndarray


def grid_of(seen, about):
    """Return the engine's grid, straight about the log components ``about`` of each block."""
    blocks, count = seen.precision.shape[:2]
    loads = seen.loads

    def cells(array):
        return np.repeat(array[:, None], count, axis=1).ravel()

    buds = np.concatenate([loads.buds, loads.usual[:, None]], axis=1)
    zero = np.zeros(buds.size)
    chain = (
        np.repeat(about, count, axis=0),
        PlanShape(buds.ravel(), zero, zero),
        LoadState(cells(loads.usual), loads.carried.ravel(), cells(loads.clusters)),
    )
    rows, offset = stage_rows(*chain)
    return Measurements(
        rows.reshape(blocks, count, len(STAGES), K),
        seen.values - offset.reshape(blocks, count, len(STAGES)),
        seen.precision,
        np.tile(CENTRE, (blocks, 1)),
        seen.variety,
        load_shift(np.tile(CENTRE, (blocks * count, 1)), *chain[1:3]).reshape(blocks, count, K, -1),
    )


def simulate(rng, history, stages=STAGES, varieties=2):
    """Draw one estate whose blocks have so many seasons of ``history`` each.

    Returns
    -------
    seen : Seen
    truth : Truth
    """
    history = np.asarray(history)
    blocks, seasons = len(history), max(int(history.max()), 0)
    variety = np.arange(blocks) % min(varieties, blocks)
    sd = SD * np.sqrt(DOF / rng.chisquare(DOF))
    means = CENTRE + CENTRE_SPREAD * rng.standard_normal((variety.max() + 1, K))
    level = means[variety] + sd[0] * rng.standard_normal((blocks, K))
    normals = rng.standard_normal(len(RESPONSES))
    e = exponents(normals)

    had = np.arange(seasons) >= seasons - history[:, None]
    buds = _past_loads(rng, history, seasons)
    some = had.any(1)
    usual = np.where(had, buds, 0).sum(1) / np.maximum(had.sum(1), 1)
    usual[~some] = usual[some].mean() if some.any() else np.log(25)
    buds = np.where(had, buds, usual[:, None])
    carried = carried_load(np.concatenate([np.where(had, buds, np.nan), usual[:, None]], axis=1))
    carried = np.where(np.isnan(carried), usual[:, None], carried)
    typical = usual + CENTRE[1] + CENTRE[2]

    values = np.zeros((blocks, seasons + 1, len(STAGES)))
    precision = np.zeros(values.shape)
    if seasons:
        x = _components(rng, level, sd, variety, seasons)
        # Cluster weight is stated at the block's own usual clusters, once these are counted.
        own = usual + level[:, 1] + level[:, 2]
        typical = np.where(some & ("clusters" in stages), own, typical)
        state = LoadState(usual[:, None], carried[:, :-1], typical[:, None])
        error = np.array([ERRORS[name] for name in STAGES])
        values[:, :-1] = _stages(x, buds, state, e)
        values += error * rng.standard_normal(values.shape)
        chosen = np.array([name in stages for name in STAGES])
        precision[:, :-1] = had[..., None] * chosen / error**2
        counted = values[:, :-1, STAGES.index("clusters")]
        counted = np.where(had, counted, 0).sum(1) / np.maximum(had.sum(1), 1) - CENTRE[7]
        believed = np.where(some & ("clusters" in stages), counted, typical)
    else:
        believed = typical
    seen_loads = Loads(buds, usual, carried, believed)
    true_loads = Loads(buds, usual, carried, typical)
    return Seen(seen_loads, variety, values, precision), Truth(
        level, sd, normals, true_loads, means
    )


def believe(seen):
    """Return the beliefs of the last season, by the steps that history.py takes."""
    blocks = len(seen.precision)
    names = [f"block {b}" for b in range(blocks)]
    varieties = int(seen.variety.max()) + 1
    spreads = Spreads(SD, DOF, np.tile(CENTRE_SPREAD, (varieties, 1)))
    grid = grid_of(seen, np.tile(CENTRE, (blocks, 1)))
    learned = learn_spreads(grid, spreads)
    first = beliefs.believe(grid, names, learned).centre
    about = line_centres(grid.mean, first, seen.precision, seen.variety)
    return beliefs.believe(grid_of(seen, about), names, learned)


def _next_state(loads):
    carried = loads.carried[:, -1:]
    return LoadState(loads.usual[:, None], carried, loads.clusters[:, None])


def predicted_crops(beliefs, loads, ratios, draws, seed, settled=False):
    """Return the crop [kg/vine] drawn for loads of ``ratios`` times the usual one.

    Shape (ratios, blocks, draws).
    """
    x = beliefs.draw(range(len(beliefs.names)), draws, seed)
    e = exponents(beliefs.response_draws(draws, seed))
    return _crops(x, loads, ratios, e, settled)


def true_crops(rng, truth, variety, ratios, seasons, settled=False):
    """Return crops [kg/vine] of many next seasons that the truth allows.

    Shape (ratios, blocks, seasons).
    """
    x = _components(rng, truth.level, truth.sd, variety, seasons)
    return _crops(x, truth.loads, ratios, exponents(truth.normals), settled)


def _crops(x, loads, ratios, e, settled):
    buds = loads.usual[:, None] + np.log(np.asarray(ratios, float))[:, None, None]
    state = _next_state(loads)
    state = state.settled_at(buds) if settled else state
    return grow(x, PlanShape(buds, 0.0, 0.0), state, e, NONCOUNT).kg_picked
