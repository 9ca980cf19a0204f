"""Invented estates whose crops come from plain log-additive arithmetic, and their records.

Nothing of the package's own model is used: a crop is clusters x grams x what reaches the scale,
each with a level of the block, a season that blocks share and a rest of its own.  Sizes of the
effects are assumptions in the span that the open trials show; varieties and blocks are invented.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from helpers import make_records

#: The year forecast, and the days on which it is forecast.
SEASON = 2026
DAYS = {"before": "03-01", "clusters": "06-30", "lag": "08-20"}

#: Plan -> buds [1/vine]; the habits that blocks have.
PLANS = {"1x10+1x2": 12, "2x8": 16, "10x2": 20, "2x10+2x2": 24, "14x2": 28, "4x8": 32, "20x2": 40}

#: The share of season and residual variance in clusters; the rest is in grams and recovery [1].
_IN_CLUSTERS, _IN_RECOVERY = 0.55, 0.08

#: Seasons that may come, alike but for chance: one forecast is held against all of them.
FUTURES = 25

_NAMES = ["Alder", "Birch", "Cedar", "Dogwood", "Elder", "Fir"]
_NAMES += ["Gorse", "Hazel", "Ivy", "Juniper", "Larch", "Maple"]
_VINES_COUNTED, _CLUSTERS_WEIGHED = 20, 60


@dataclass(eq=False)
class Estate:
    """The truth of an estate; arrays are (blocks, columns): the past seasons, then the futures.

    Each future is the season forecast, with chance of its own; the first is the one that is
    counted and weighed.  time [years] says when a column is, so that all futures share one.
    clusters [ln 1/vine], grams [ln g], recovery [ln 1] and buds [1/vine] of each block and season;
    lost: the crop is nil; had: the block was there; increase: ln of weight at harvest / at lag.
    """

    rng: np.random.Generator
    past: int
    names: list
    varieties: list
    vines: np.ndarray
    clusters: np.ndarray
    grams: np.ndarray
    recovery: np.ndarray
    plans: np.ndarray
    had: np.ndarray
    group: np.ndarray
    lost: np.ndarray = None
    increase: np.ndarray = None
    counting: np.ndarray = None
    counters: np.ndarray = None
    lag_days: np.ndarray = None
    stages: tuple = ("before",)
    past_counts: bool = False
    plans_known: bool = True
    flowering_known: bool = False
    loss_marked: bool = False
    elasticity: np.ndarray = field(default=None)

    @property
    def time(self):
        """The columns' years since the first season [years]."""
        return np.minimum(np.arange(self.clusters.shape[1]), self.past)

    @property
    def years(self):
        """The years of the columns."""
        return SEASON - self.past + self.time

    @property
    def tonnes(self):
        """What reaches the scale [t], (blocks, seasons)."""
        kg = np.exp(self.clusters + self.grams + self.recovery) / 1000
        return np.where(self.lost, 0.0, kg * self.vines[:, None] / 1000)

    def answer_to_load(self):
        """Add the vines' answer to the plans: at once a little more than once they are settled."""
        buds = np.vectorize(lambda plan: _buds(plan))(self.plans)
        load = np.log(buds / 24)
        change = load - load[:, np.maximum(self.time - 1, 0)]
        e = self.elasticity[:, None]
        self.clusters += (e + 0.15) * load + 0.12 * change
        self.grams -= 0.15 * load


def _buds(plan):
    pieces = [piece.split("x") for piece in plan.split("+")]
    return sum(int(canes) * int(buds) for canes, buds in pieces)


def draw_estate(rng, *, blocks=None, past=None, season_sd=None, residual_sd=None, tails=None):
    """Draw an estate on which nothing odd happens.

    blocks, past : numbers of blocks and of past seasons; season_sd, residual_sd : sd [ln crop];
    tails : degrees of freedom of Student's t, normal when left out.
    """
    blocks = int(blocks or rng.integers(8, 13))
    past = int(past or rng.integers(4, 11))
    count = past + FUTURES
    season_sd = rng.uniform(0.15, 0.25) if season_sd is None else season_sd
    residual_sd = rng.uniform(0.15, 0.25) if residual_sd is None else residual_sd

    def noise(*shape):
        return rng.standard_normal(shape) if tails is None else rng.standard_t(tails, shape)

    kinds = int(rng.integers(2, 4))
    variety = np.arange(blocks) % kinds
    level_sd = rng.uniform(0.3, 0.4)
    estate, kind = 0.2 * rng.standard_normal(2), 0.15 * rng.standard_normal((2, kinds))
    level = level_sd * np.sqrt([[0.6], [0.4]]) * rng.standard_normal((2, blocks))
    start = np.log([[28], [115]]) + estate[:, None] + kind[:, variety] + level
    # One shock of the season and one of the block and season, split between clusters and grams.
    shares = np.sqrt([_IN_CLUSTERS, 1 - _IN_CLUSTERS - _IN_RECOVERY, _IN_RECOVERY])
    season = season_sd * noise(3, 1, count) * shares[:, None, None]
    rest = residual_sd * noise(3, blocks, count) * shares[:, None, None]
    shock = season + rest
    # A few blocks came to the estate later than the others.
    since = np.where(rng.random(blocks) < 0.15, rng.integers(0, max(past - 2, 1), blocks), 0)
    return Estate(
        rng=rng,
        past=past,
        names=_NAMES[:blocks],
        varieties=[f"Variety {'ABC'[at]}" for at in variety],
        vines=rng.integers(800, 4000, blocks),
        clusters=start[0][:, None] + shock[0],
        grams=start[1][:, None] + shock[1],
        recovery=-0.07 + 0.03 * rng.standard_normal() + shock[2],
        plans=np.repeat(rng.choice(list(PLANS), blocks)[:, None], count, axis=1).astype("<U12"),
        had=np.arange(count) >= since[:, None],
        group=np.full(blocks, "ordinary", dtype="<U12"),
        lost=np.zeros((blocks, count), bool),
        increase=np.log(1.9)
        + 0.12 * rng.standard_normal((kinds, 1))[variety]
        + 0.08 * rng.standard_normal((1, count))
        + 0.10 * rng.standard_normal((blocks, count)),
        counting=np.zeros((blocks, count)),
        counters=np.full((blocks, count), "K1"),
        lag_days=rng.integers(50, 56, (blocks, count)),
        elasticity=np.full(blocks, rng.uniform(0.3, 0.6)),
    )


@dataclass(frozen=True, eq=False)
class Drawn:
    """An estate's records and what they do not tell.

    records : Records; season : year forecast; truth : DataFrame of tonnes [t], a row a block and a
    column a future, of which the first is the one measured;
    group : Series of the kind of each block; days : {stage: the day it is forecast on}.
    """

    records: object
    season: int
    truth: pd.DataFrame
    group: pd.Series
    days: dict


def write(estate):
    """Write an estate's records as a grower would keep them, with sampling errors."""
    rng, names, years = estate.rng, np.array(estate.names), estate.years
    b, s = np.nonzero(estate.had[:, : estate.past + 1])
    past = s < estate.past
    tables = {
        "blocks": [
            {"block": n, "variety": v, "row_spacing_m": 2.4, "vine_spacing_m": 1.5, "vines": int(k)}
            for n, v, k in zip(names, estate.varieties, estate.vines, strict=True)
        ]
    }
    if estate.plans_known:
        tables["pruning"] = {"season": years[s], "block": names[b], "plan": estate.plans[b, s]}
    marked = np.where(estate.lost & estate.loss_marked, 100.0, np.nan)
    b0, s0 = b[past], s[past]
    tables["harvest"] = {
        "season": years[s0],
        "block": names[b0],
        "date": [f"{year}-09-20" for year in years[s0]],
        "tonnes": np.round(estate.tonnes[b0, s0], 3),
        "lost_pct": marked[b0, s0],
    }
    if "clusters" in estate.stages or estate.past_counts:
        tables["counts"] = _counts(estate, rng, *_visited(estate, b, s, "clusters"))
    if "lag" in estate.stages:
        tables["weights"] = _weights(estate, rng, *_visited(estate, b, s, "lag"))
    if estate.flowering_known:
        tables["dates"] = {
            "season": years[s],
            "block": names[b],
            "stage": "flowering",
            "date": [str(day.date()) for day in _flowering(years[s])],
        }
    return Drawn(
        make_records(**tables),
        SEASON,
        pd.DataFrame(estate.tonnes[:, estate.past :], names),
        pd.Series(estate.group, names),
        {stage: f"{SEASON}-{DAYS[stage]}" for stage in estate.stages},
    )


def _visited(estate, b, s, stage):
    """Return the cells in which something was measured; this season only if it has the stage."""
    keep = (s < estate.past) | (stage in estate.stages)
    return b[keep], s[keep]


def _flowering(years):
    return pd.to_datetime([f"{year}-06-08" for year in years])


def _counts(estate, rng, b, s):
    """Count 20 vines a block and season: vines differ by a quarter, and chance does the rest."""
    seen = np.exp(estate.clusters[b, s] + estate.counting[b, s])
    seen = np.where(estate.lost[b, s], 0.0, seen)
    vine = rng.gamma(16, 1 / 16, (len(b), _VINES_COUNTED))
    clusters = rng.poisson(seen[:, None] * vine)
    each = np.repeat(np.arange(len(b)), _VINES_COUNTED)
    years = estate.years[s][each]
    return {
        "season": years,
        "date": [f"{year}-06-20" for year in years],
        "block": np.array(estate.names)[b][each],
        "row": "1",
        "vine": np.tile(np.arange(1, _VINES_COUNTED + 1), len(b)).astype(str),
        "clusters": clusters.ravel(),
        "counter": estate.counters[b, s][each],
    }


def _weights(estate, rng, b, s):
    """Weigh 60 clusters of a block at lag phase in every season, and 50 at harvest in the past."""
    alive = ~estate.lost[b, s]
    b, s = b[alive], s[alive]
    error = 0.08 * rng.standard_normal((2, len(b)))
    lag = np.exp(estate.grams[b, s] - estate.increase[b, s] + error[0])
    days = _flowering(estate.years[s]) + pd.to_timedelta(estate.lag_days[b, s], "D")
    past = s < estate.past
    ripe = np.exp(estate.grams[b, s] + error[1])[past]
    names, years = np.array(estate.names)[b], estate.years[s]
    return {
        "season": np.r_[years, years[past]],
        "date": [str(day.date()) for day in days] + [f"{year}-09-18" for year in years[past]],
        "block": np.r_[names, names[past]],
        "stage": ["lag"] * len(b) + ["harvest"] * past.sum(),
        "clusters": np.r_[np.full(len(b), _CLUSTERS_WEIGHED), np.full(past.sum(), 50)],
        "weight_g": np.r_[lag * _CLUSTERS_WEIGHED, ripe * 50],
    }
