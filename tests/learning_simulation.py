"""Estates whose counters, biases and factors are known, as records a grower would keep.

Everything is drawn from the handbook's own assumptions (``simulated_estate`` draws the vines), then
written down as counts of single vines, lots of clusters and tonnes.  Each vine is counted by one of
some counters, each of whom has a bias of their own.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import simulated_estate as sim
from helpers import block_row, make_records

from cropload import handbook
from cropload.beliefs.accepted import Accepted
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.history import estate_of
from cropload.beliefs.measured import measurements
from cropload.records.facts import block_facts
from cropload.review.learning import learn
from cropload.vine.growth import COMPONENTS, RESPONSES, STAGES, LoadState, exponents

PLAN, BUDS = "2x10+2x2", 24
VARIETIES = ("Anyvine", "Othervine")
BLOCKS = tuple(f"Block {at}" for at in range(6))
VINES, LOT = 24, 60
FIRST = 2021
VARIETY = np.arange(len(BLOCKS)) % 2


@dataclass(frozen=True)
class Estate:
    """Records of the past seasons and the one after, and what nobody on the estate sees.

    ``counters``: logs of their biases [1]; ``means``: (varieties, components), logs less the
    handbook's [1];
    ``crop``: (blocks,), of the season after [kg/vine].
    """

    records: object
    season: int
    counters: np.ndarray
    means: np.ndarray
    crop: np.ndarray


def between_of(rng):
    """Draw the spread between counters from its scaled inverse chi-square prior."""
    entry = handbook.entry("learning.counter")
    dof = entry.extra["dof"]
    return entry.value * np.sqrt(dof / rng.chisquare(dof))


def estate(rng, seasons=4, counters=3, *, means=None, between=None, mixed=True):
    """Draw an estate; ``mixed``: several counters in each block, else one for each block."""
    count = len(BLOCKS)
    usual = np.full(count, np.log(BUDS))
    prior = sim.prior_mean(usual, np.full(count, sim.CANOPY_M))
    if means is None:
        means = sim.SHARED_SPREAD * rng.standard_normal(sim.K)
        means = means + sim.CENTRE_SPREAD * rng.standard_normal((2, sim.K))
    between = between_of(rng) if between is None else between
    bias = between * rng.standard_normal(counters)
    # What all counters have in common is the counting bias itself.
    bias = bias - bias.mean()
    sd = sim.drawn_spreads(rng)
    level = prior + means[VARIETY] + sd[0] * rng.standard_normal((count, sim.K))
    own = usual + level[:, 1] + level[:, 2]
    state = LoadState(usual[:, None], usual[:, None], own[:, None])
    still = np.zeros(len(RESPONSES))
    still_everywhere, had = np.zeros((len(still), count)), np.ones((count, seasons), bool)
    truth = sim.drawn_truth(rng, level, sd, means, still, still_everywhere, None, had)
    x = sim.components(rng, truth, VARIETY, seasons + 1, slice(None))
    # Nobody writes down when the vines flowered, so lots are weighed a few days off the lag phase.
    days = handbook.value("lag_phase.day_unknown") * rng.standard_normal((count, seasons + 1))
    e = exponents(still)
    logs = sim.stages_of(x, usual[:, None], state, e, truth.growth, days)
    rows = _Rows(rng, bias, mixed)
    for t in range(seasons + 1):
        for b, name in enumerate(BLOCKS):
            rows.add(FIRST + t, name, dict(zip(STAGES, logs[b, t], strict=True)))
    metres = {"vine_spacing_m": sim.CANOPY_M}
    blocks = [
        block_row(name, VARIETIES[v], **metres) for name, v in zip(BLOCKS, VARIETY, strict=True)
    ]
    records = make_records(blocks=blocks, **rows.made())
    crop = np.exp(logs[:, -1, STAGES.index("harvest")])
    return Estate(records, FIRST + seasons, bias, means, crop)


class _Rows:
    """Rows of the tables, as measured with error; of counts a part a block and season."""

    def __init__(self, rng, bias, mixed):
        self.rng, self.bias, self.mixed = rng, bias, mixed
        self.tables = {"pruning": [], "counts": [], "weights": [], "harvest": []}

    def add(self, season, block, logs):
        here = {"season": season, "block": block}
        self.tables["pruning"].append(here | {"plan": PLAN})
        self._clusters(here, np.exp(logs["clusters"]))
        for stage, day in (("lag", "07-20"), ("harvest", "09-10")):
            error = handbook.value("sampling.cv_cluster_weight_g") / np.sqrt(LOT)
            grams = np.exp(logs[f"weight_{stage}"] + error * self.rng.standard_normal()) * LOT
            row = {"date": f"{season}-{day}", "stage": stage, "clusters": LOT, "weight_g": grams}
            self.tables["weights"].append(here | row)
        error = handbook.value("forecast.scale_error") * self.rng.standard_normal()
        row = {"date": f"{season}-09-20", "tonnes": np.exp(logs["harvest"] + error)}
        self.tables["harvest"].append(here | row)  # 1,000 bearing vines: kg/vine is t

    def _clusters(self, here, mean):
        many = len(self.bias)
        who = np.arange(VINES) % many if self.mixed else np.full(VINES, self.rng.integers(many))
        shape = 1 / handbook.value("sampling.cv_clusters") ** 2
        found = mean * np.exp(self.bias[who]) * self.rng.gamma(shape, 1 / shape, VINES)
        columns = {"vine": [str(v) for v in range(VINES)], "counter": [f"C{at}" for at in who]}
        columns |= {"clusters": found.round(), "row": "1", "date": f"{here['season']}-06-25"}
        self.tables["counts"].append(pd.DataFrame(here | columns))

    def made(self):
        """Return the tables as ``make_records`` takes them."""
        return self.tables | {"counts": pd.concat(self.tables["counts"], ignore_index=True)}


def until(records, season):
    """Return the records of seasons up to one."""
    names = ("pruning", "counts", "weights", "harvest")
    early = {n: _some(getattr(records, n), lambda year: year <= season) for n in names}
    return replace(records, **early)


def since(records, season):
    """Return the records of a season and later ones."""
    names = ("pruning", "counts", "weights", "harvest")
    late = {n: _some(getattr(records, n), lambda year: year >= season) for n in names}
    return replace(records, **late)


def _some(table, keep):
    return table[keep(table["season"])].reset_index(drop=True)


def centre(records, season, entries):
    """Return the middle of each block's forecast [kg/vine] after the lag weights."""
    day = pd.Timestamp(f"{season}-08-01")
    known = {n: _before(getattr(records, n), day) for n in ("counts", "weights", "harvest")}
    records = replace(records, **known)
    accepted = Accepted(tuple(entries))
    facts = block_facts(records)
    measured = measurements(records, facts, accepted.counters)
    here = measured[measured["season"] == season]
    ground = lay_ground(records, season, this_season=here, measured=measured, accepted=accepted)
    found = estate_of(ground, ground.learn())
    at = STAGES.index("harvest")
    logs = np.einsum("bk,bk->b", found.season_rows[:, at], found.season_centre())
    return np.exp(logs + found.season_offset[:, at])


def _before(table, day):
    return table[table["date"] <= day].reset_index(drop=True)


def miss(records, drawn, entries):
    """Return the mean absolute error of the log crop of the season after [1]."""
    return np.abs(np.log(centre(records, drawn.season, entries) / drawn.crop)).mean()


def lessons_of(drawn):
    """Return what the seasons before the last one teach."""
    return learn(until(drawn.records, drawn.season - 1))


K = {name: at for at, name in enumerate(COMPONENTS)}
