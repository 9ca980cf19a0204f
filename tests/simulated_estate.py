"""Estates drawn from the model's own assumptions, with the truth kept: the work of simulations.

Everything is drawn anew for each estate: the spreads from their scaled inverse chi-square priors
and what moves those of a group together, the means of the estate and of its varieties, the effects
of blocks and seasons, the load exponents, the trends, how much each block scatters, the loads of
the past and the sampling errors. Plans differ in load only (a flat node profile).
"""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np

from cropload import handbook
from cropload.beliefs.accepted import NOTHING
from cropload.beliefs.groundwork import Groundwork
from cropload.beliefs.history import estate_of
from cropload.beliefs.loads import load_spread
from cropload.beliefs.loss import LossChance
from cropload.beliefs.own import OwnPrior
from cropload.beliefs.spreads import estate_spread, prior_logs, prior_spreads
from cropload.beliefs.young import YoungBlocks
from cropload.vine.growth import (
    COMPONENTS,
    RESPONSES,
    STAGES,
    LoadState,
    answer_strength,
    carried_load,
    exponents,
    grow,
    settled_move,
    trend_line,
)
from cropload.vine.plan_shape import PlanShape

K = len(COMPONENTS)
CENTRE, CENTRE_SPREAD, _ = prior_logs("Anyvine")
SHARED_SPREAD = estate_spread()
SD, DOF = prior_spreads()
NONCOUNT = handbook.value("noncount.fertility")
GROWTH = handbook.entry("lag_phase.growth_a_day")

#: Metres of canopy a vine.
CANOPY_M = 1.5

#: Error of each stage's sample on the log scale: about 30 vines, 60 clusters, 20 vines pruned.
ERRORS = dict(zip(STAGES, (0.02, 0.035, 0.11, 0.065, 0.06, 0.06, 0.06, 0.01, 0.08), strict=True))
ERROR = np.array([ERRORS[name] for name in STAGES])


@dataclass(frozen=True)
class Truth:
    """What no grower sees: the lasting part of every block, the spreads, and the exponents."""

    level: np.ndarray  # (blocks, components)
    sd: np.ndarray  # (groups, components)
    normals: np.ndarray  # (responses, blocks, 1), the block's own answer with the estate's
    loads: "Loads"
    means: np.ndarray  # (varieties, components), less the handbook's
    shared: np.ndarray  # (responses,), the estate's own normals
    trended: np.ndarray  # (blocks, seasons), what trends have come to, the estate's and the own
    scatter: np.ndarray  # (blocks,), of the residuals' spread
    growth: float  # of the increase factor [1/day]


@dataclass(frozen=True)
class Loads:
    """Logs of the loads, in the order of ``LoadState``, and of each season's buds."""

    buds: np.ndarray  # (blocks, past seasons)
    usual: np.ndarray
    carried: np.ndarray  # (blocks, past seasons + 1)
    clusters: np.ndarray
    now: np.ndarray  # (blocks,), where nothing is changed


@dataclass(frozen=True)
class Seen:
    """What the grower knows: loads, and ln(measured) [1] with 1 / its variance [1].

    values, precision : (blocks, seasons, stages), the season forecast last; ``known``: (blocks,),
    whether the load is on record; ``lag``: (blocks, seasons), days that lag-phase weights came
    early [d]; ``canopy_m``: (blocks,) [m].
    """

    loads: Loads
    variety: np.ndarray
    values: np.ndarray
    precision: np.ndarray
    known: np.ndarray
    lag: np.ndarray
    canopy_m: np.ndarray


def drawn_spreads(rng):
    """Draw the spreads of all groups: each on its own, and those of a group together."""
    common = handbook.value("learning.common_seasons")
    together = rng.chisquare(common, (len(SD), 1)) / common
    return SD * np.sqrt(together * DOF / rng.chisquare(DOF))


def drawn_trend(rng, share, number=None):
    """Draw yearly changes from the mixture of strong ones and nearly none [1/year]."""
    strong, none = (handbook.value(f"trend.{kind}_spread") for kind in ("strong", "none"))
    return rng.standard_normal(number) * np.where(rng.random(number) < share, strong, none)


def drawn_scatter(rng, number):
    """Draw how far the seasons of blocks scatter against their estate's [1]."""
    dof = handbook.entry("sd.own_scatter").extra["dof"]
    return np.sqrt(dof / rng.chisquare(dof, number))


def drawn_share_of_strong(rng):
    """Draw how usual a strong trend is on an estate [1]."""
    entry = handbook.entry("trend.strong_share")
    weight = entry.extra["blocks"]
    return rng.beta(weight * entry.value, weight * (1 - entry.value))


def years_since(measured):
    """Return the years since the middle of the seasons measured, also for the one after [years].

    ``measured``: (rows, seasons), True and False; a row without any stands in its middle then.
    """
    years = np.arange(measured.shape[1] + 1)
    middles = [years[:-1][row].mean() if row.any() else years[-1] for row in measured]
    return years - np.array(middles)[:, None]


def drawn_truth(rng, level, sd, means, shared, normals, loads, had):
    """Draw what is left to draw of the truth: trends, scatter and growth; see ``Truth``.

    ``had``: (blocks, seasons), where anything was measured; each trend turns about the middle.
    """
    blocks = len(level)
    together = drawn_trend(rng, handbook.value("trend.estate_share"))
    own = drawn_trend(rng, drawn_share_of_strong(rng), blocks)
    return Truth(
        level=level,
        sd=sd,
        normals=normals[..., None],
        loads=loads,
        means=means,
        shared=shared,
        trended=together * years_since(had.any(0)[None]) + own[:, None] * years_since(had),
        scatter=drawn_scatter(rng, blocks),
        growth=GROWTH.value + GROWTH.spread * rng.standard_normal(),
    )


def components(rng, truth, variety, seasons, which=slice(-1, None)):
    """Draw log components of blocks in some seasons, (components, blocks, seasons).

    The seasons are many that may come next, or those of the truth that ``which`` takes.
    """
    blocks, sd = len(truth.level), truth.sd
    season = sd[1] * rng.standard_normal((1, seasons, K))
    by_variety = sd[2] * rng.standard_normal((variety.max() + 1, seasons, K))
    residual = sd[3] * rng.standard_normal((blocks, seasons, K)) * truth.scatter[:, None, None]
    level = truth.level[:, None] + truth.trended[:, which, None] * trend_line()
    return np.moveaxis(level + season + by_variety[variety] + residual, -1, 0)


def stages_of(x, buds, state, e, growth=0.0, early=0.0):
    """Return the log of what each stage measures, stages last [1]."""
    grown = grow(x, PlanShape(buds, 0.0, 0.0), state, e, NONCOUNT)
    part = dict(zip(COMPONENTS, x, strict=True))
    weight = np.log(grown.cluster_weight_g)
    return np.stack(
        [
            buds + part["buds_left"],
            np.log(grown.shoots),
            np.log(grown.noncount_shoots),
            np.log(grown.clusters) + part["counting_bias"],
            weight - part["increase_factor"] - growth * early,
            weight - part["ripening_factor"],
            weight,
            np.log(grown.kg_picked),
            np.log(grown.pruning_weight_kg_per_m),
        ],
        axis=-1,
    )


def _past_loads(rng, blocks, seasons):
    """Each block keeps one load, or changes it once by a factor of two thirds to one and a half."""
    before = np.log(rng.uniform(18, 36, blocks))
    after = before + rng.choice([0, 1], blocks) * rng.uniform(-0.4, 0.4, blocks)
    turn = rng.integers(0, seasons + 1, blocks)
    return np.where(np.arange(seasons) < turn[:, None], before[:, None], after[:, None])


def prior_mean(usual, canopy_m):
    """Return the prior means of the components of blocks at their usual loads."""
    told_at = np.log(handbook.value("load.reference_buds_per_m") * canopy_m)
    return CENTRE + settled_move(usual - told_at)


def ground_of(seen):
    """Return what the records would lay as groundwork."""
    blocks, count = seen.precision.shape[:2]
    loads, flat = seen.loads, np.zeros((blocks, count))
    varieties = tuple(f"Anyvine {v}" for v in range(int(seen.variety.max()) + 1))
    return Groundwork(
        season=0,
        facts=SimpleNamespace(
            names=tuple(f"block {b}" for b in range(blocks)),
            varieties=tuple(varieties[v] for v in seen.variety),
        ),
        measured=None,
        plans={},
        profiles={},
        profile_shoots={},
        last_plan=(None,) * blocks,
        load_known=seen.known,
        open_load=np.tile(~seen.known[:, None], count),
        lag=seen.lag,
        reference=np.zeros((2, blocks)),
        buds=np.concatenate([loads.buds, loads.now[:, None]], axis=1),
        burst=flat,
        fertility=flat,
        carried=loads.carried,
        usual=loads.usual,
        usual_clusters=loads.clusters,
        values=seen.values,
        precision=seen.precision,
        mean=prior_mean(loads.usual, seen.canopy_m),
        variety=seen.variety,
        varieties=varieties,
        variety_spread=np.tile(CENTRE_SPREAD, (len(varieties), 1)),
        prior_keys={},
        ages=YoungBlocks(flat, flat, flat, flat, flat.astype(bool), tuple(range(count))),
        own=OwnPrior.nothing_seen(seen.known),
        loss=LossChance(np.zeros(blocks), np.zeros(blocks), np.zeros(blocks)),
        accepted=NOTHING,
        accepted_notes=(),
    )


def simulate(rng, history, stages=STAGES, varieties=2, unplanned=0.0):
    """Draw one estate whose blocks have so many seasons of ``history`` each.

    Of the blocks with a history the share ``unplanned`` [1] has no plan on record.

    Returns
    -------
    seen : Seen
    truth : Truth
    """
    history = np.asarray(history)
    blocks, seasons = len(history), max(int(history.max()), 0)
    variety = np.arange(blocks) % min(varieties, blocks)
    sd = drawn_spreads(rng)
    means = SHARED_SPREAD * rng.standard_normal(K)
    means = means + CENTRE_SPREAD * rng.standard_normal((variety.max() + 1, K))
    shared = rng.standard_normal(len(RESPONSES))
    normals = shared[:, None] + answer_strength()[:, None] * rng.standard_normal(blocks)
    e = exponents(normals[..., None])

    had = np.arange(seasons) >= seasons - history[:, None]
    buds = _past_loads(rng, blocks, seasons)
    some = had.any(1)
    usual = np.where(had, buds, 0).sum(1) / np.maximum(had.sum(1), 1)
    usual[~some] = usual[some].mean() if some.any() else np.log(25)
    known = ~(some & (rng.random(blocks) < unplanned))
    # Nobody wrote down the load these blocks have always had: their sisters' stands in.
    sisters = usual[known].mean() if known.any() else np.log(25)
    usual = np.where(known, usual, sisters)
    buds = np.where(had & known[:, None], buds, usual[:, None])
    carried = carried_load(np.concatenate([np.where(had, buds, np.nan), usual[:, None]], axis=1))
    carried = np.where(np.isnan(carried), usual[:, None], carried)
    unknown = np.where(known, 0.0, load_spread() * rng.standard_normal(blocks))
    canopy = np.full(blocks, CANOPY_M)
    mean = prior_mean(usual, canopy)
    level = mean + means[variety] + sd[0] * rng.standard_normal((blocks, K))
    # Cluster weight is stated at the block's own usual clusters, once these are counted.
    counts = some & ("clusters" in stages)
    handbooks = usual + mean[:, 1] + mean[:, 2]
    typical = np.where(counts, usual + level[:, 1] + level[:, 2], handbooks)
    kept, carries = usual + unknown, carried + unknown[:, None]

    loads = Loads(buds + unknown[:, None], usual, carries, typical, kept)
    truth = drawn_truth(rng, level, sd, means, shared, normals, loads, had)
    lag = -np.floor(rng.uniform(0, 20, (blocks, seasons + 1)))
    values = np.zeros((blocks, seasons + 1, len(STAGES)))
    precision = np.zeros(values.shape)
    believed = handbooks
    if seasons:
        x = components(rng, truth, variety, seasons, slice(0, -1))
        state = LoadState(usual[:, None], carries[:, :-1], typical[:, None])
        past = stages_of(x, truth.loads.buds, state, e, truth.growth, lag[:, :-1])
        values[:, :-1] = past + ERROR * rng.standard_normal(past.shape)
        values[..., STAGES.index("weight_lag")] += GROWTH.value * lag
        chosen = np.array([name in stages for name in STAGES])
        precision[:, :-1] = had[..., None] * chosen / ERROR**2
        # Buds counted stand in for a plan, and then no load is unknown.
        precision[~known, :, STAGES.index("buds")] = 0.0
        counted = values[:, :-1, STAGES.index("clusters")] - buds
        counted = np.where(had, counted, 0).sum(1) / np.maximum(had.sum(1), 1)
        believed = np.where(counts, usual + counted - CENTRE[7], handbooks)
    seen_loads = Loads(buds, usual, carried, believed, usual)
    return Seen(seen_loads, variety, values, precision, known, lag, canopy), truth


def believe(seen, learned=None):
    """Return the estate as believed in the last season, by the steps that history.py takes."""
    ground = ground_of(seen)
    return estate_of(ground, ground.learn() if learned is None else learned)


def predicted_crops(estate, ratios, draws, seed, settled=False):
    """Return the crop [kg/vine] drawn for loads of ``ratios`` times the one carried on.

    Shape (ratios, blocks, draws).
    """
    blocks = np.arange(len(estate.beliefs.names))
    x, responses = estate.draw(blocks, draws, seed)
    e = exponents(estate.answers(x, responses))
    now = estate.buds[:, -1:] + estate.drawn_load(blocks, x)
    return _crops(x, estate.state(blocks, x), now, ratios, e, settled)


def true_crops(rng, truth, variety, ratios, seasons, settled=False):
    """Return crops [kg/vine] of many next seasons that the truth allows.

    Shape (ratios, blocks, seasons).
    """
    x, e = components(rng, truth, variety, seasons), exponents(truth.normals)
    return _crops(x, next_state(truth.loads), truth.loads.now[:, None], ratios, e, settled)


def next_state(loads):
    """Return the load state of the season after the past ones."""
    return LoadState(loads.usual[:, None], loads.carried[:, -1:], loads.clusters[:, None])


def _crops(x, state, now, ratios, e, settled):
    buds = now + np.log(np.asarray(ratios, float))[:, None, None]
    state = state.settled_at(buds) if settled else state
    return grow(x, PlanShape(buds, 0.0, 0.0), state, e, NONCOUNT).kg_picked
