"""Invented estates with one or two causes planted, whose arithmetic is not the package's model."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from helpers import block_row, make_records

from cropload import handbook
from cropload.beliefs.events import NOTHING
from cropload.review import causes
from cropload.review.cause_words import CauseWords

BLOCKS, SEASONS, LAST = 12, 6, 2026
NAMES = tuple(f"Block {chr(65 + at)}" for at in range(BLOCKS))
YEARS = tuple(range(LAST - SEASONS + 1, LAST + 1))
#: What can be planted: what find_causes must name, by kind and name.
KINDS = {
    "counter": ("counter", "K2"),
    "lag day": ("method", f"lag lots of {LAST}"),
    "few vines": ("method", "count of Block G"),
    "one side": ("method", "vines of Block H"),
    "after count": ("after count", "Block B"),
    "night": ("night", "Frost of 2026-05-02"),
    "own season": ("own season", "Block C"),
    "trend": ("trend", "Block D"),
    "odd season": ("odd season", "2026"),
}


@dataclass(frozen=True)
class Drawn:
    """What was seen on an invented estate, arrays (blocks, seasons): clusters also by vine, NaN for
    one that was not counted; crops [t], weights of a cluster [g], prunings [kg/vine]."""

    clusters: np.ndarray
    who: np.ndarray
    grams: np.ndarray
    lag_grams: np.ndarray
    wood: np.ndarray
    tonnes: np.ndarray
    night: bool


def drawn(seed, *planted):
    """Draw an estate of 12 blocks and 6 seasons.

    Noise of a block and season 12 %, of a season 15 %; 20 vines counted, 50 clusters weighed, the
    prunings of 20. ``trend``: 8 % a year of crop and wood, ``crop trend``: of the crop alone.
    ``lag day``: all lots of the last season weighed a quarter light; ``few vines``: four poor ones
    counted; ``one side``: a quarter of the clusters never seen in a block.
    """
    rng = np.random.default_rng([1700, seed])
    shape = (BLOCKS, SEASONS)
    season = 0.15 * rng.standard_normal(SEASONS)
    if "odd season" in planted:
        season[-1] = np.log(0.5)
    log_clusters = np.log(30) + rng.normal(0, 0.2, (BLOCKS, 1)) + 0.6 * season
    log_clusters = log_clusters + 0.09 * rng.standard_normal(shape)
    log_grams = np.log(110) + rng.normal(0, 0.1, (BLOCKS, 1)) + 0.4 * season
    log_grams = log_grams + 0.08 * rng.standard_normal(shape)
    log_wood = np.log(0.8) + rng.normal(0, 0.2, (BLOCKS, 1)) + 0.1 * rng.standard_normal(SEASONS)
    log_wood = log_wood + 0.12 * rng.standard_normal(shape)
    if {"trend", "crop trend"} & set(planted):
        log_clusters[3] += np.log(0.92) * np.arange(SEASONS)
    if "trend" in planted:
        log_wood[3] += np.log(0.92) * np.arange(SEASONS)
    if "night" in planted:
        log_clusters[4:8, -1] += np.log(0.65)
    if "own season" in planted:
        log_clusters[2, -1] += np.log(0.5)
    recovery = np.log(0.94) + 0.04 * rng.standard_normal(shape)
    if "after count" in planted:
        recovery[1, -1] += np.log(0.7)
    who = rng.permuted(np.tile(np.repeat(["K1", "K2", "K3"], 4), (SEASONS, 1)), axis=1).T
    bias = np.where((who == "K2") & ("counter" in planted), np.log(0.88), 0.0)
    if "few vines" in planted:
        bias[6, -1] += np.log(0.6)
    if "one side" in planted:
        bias[7] += np.log(0.75)
    vines = rng.gamma(16, 1 / 16, (*shape, 20))
    seen = rng.poisson(np.exp(log_clusters + bias)[..., None] * vines).astype(float)
    if "few vines" in planted:
        seen[6, -1, 4:] = np.nan
    grams = np.exp(log_grams + 0.05 * rng.standard_normal(shape))
    growth = np.log(2) + 0.05 * rng.standard_normal((BLOCKS, 1))
    growth = growth + 0.06 * rng.standard_normal(SEASONS) + 0.08 * rng.standard_normal(shape)
    if "lag day" in planted:
        growth[:, -1] -= np.log(0.75)
    lag = np.exp(log_grams - growth + 0.05 * rng.standard_normal(shape))
    tonnes = np.round(np.exp(log_clusters + log_grams + recovery) / 1000, 3)
    return Drawn(seen, who, grams, lag, np.exp(log_wood), tonnes, "night" in planted)


def _labels():
    b, s = (each.ravel() for each in np.indices((BLOCKS, SEASONS)))
    return np.array(NAMES, object)[b], np.array(YEARS)[s]


def records_of(drawn):
    """Return an estate drawn as records."""
    names, years = _labels()
    last = years == LAST
    c = np.repeat(np.arange(len(years)), 20)
    counted = ~np.isnan(drawn.clusters.ravel())
    c = c[counted]
    # What grew in a season is weighed in the winter after it.
    before = np.concatenate([np.full((BLOCKS, 1), np.nan), drawn.wood], axis=1)
    tables = {
        "blocks": [block_row(n, "Riesling" if at % 2 else "Merlot") for at, n in enumerate(NAMES)],
        "pruning": {
            "season": np.concatenate([years, years[last] + 1]),
            "block": np.concatenate([names, names[last]]),
            "plan": "2x10+2x2",
            "pruning_weight_kg": np.concatenate([before[:, :-1].ravel(), before[:, -1]]),
            "vines_weighed": 20,
        },
        "harvest": {
            "season": years,
            "block": names,
            "date": [f"{year}-09-20" for year in years],
            "tonnes": drawn.tonnes.ravel(),
        },
        "weights": {
            "season": np.tile(years, 2),
            "date": [f"{year}-{day}" for day in ("09-15", "07-20") for year in years],
            "block": np.tile(names, 2),
            "stage": np.repeat(["harvest", "lag"], len(years)),
            "clusters": 50,
            "weight_g": 50 * np.concatenate([drawn.grams.ravel(), drawn.lag_grams.ravel()]),
        },
        "counts": {
            "season": years[c],
            "date": [f"{year}-06-25" for year in years[c]],
            "block": names[c],
            "row": "1",
            "vine": np.tile(np.arange(1, 21), len(years))[counted].astype(str),
            "clusters": drawn.clusters.ravel()[counted],
            "counter": drawn.who.ravel()[c],
        },
    }
    if drawn.night:
        rows = [{"block": n, "date": "2026-05-02", "kind": "frost"} for n in NAMES[4:8]]
        tables["events"] = rows
    return make_records(**tables)


def crops_of(drawn):
    """Return the crops of an estate drawn as ``find_causes`` takes them, its loads being steady."""
    names, years = _labels()
    return pd.DataFrame({"block": names, "season": years, "crop": drawn.tonnes.ravel()})


def told(drawn):
    """Return the causes found, by way of the cells alone, which is thirty times as fast."""
    names, years = _labels()
    mean, counted = np.nanmean(drawn.clusters, axis=2), (~np.isnan(drawn.clusters)).sum(2)
    there = np.log(drawn.tonnes * 1000 / drawn.grams)
    whole = pd.DataFrame({"block": names, "season": years, "who": ""})

    def part(of, y, **more):
        sd = handbook.value(f"causes.{of}")
        return whole.assign(of=of, y=y.ravel(), sd=sd, **more)

    gap = {"who": drawn.who.ravel(), "n": counted.ravel(), "variance": 0.09 / counted.ravel()}
    gap = part("gap", np.log(mean) - there, **gap)
    lag = whole.assign(y=np.log(drawn.lag_grams / drawn.grams).ravel())
    parts = [part("crop", np.log(drawn.tonnes)), part("wood", np.log(drawn.wood)), gap]
    parts += [causes._by_season(gap, "counts", "recovery")]
    parts += [causes._by_season(lag, "lag lots", "increase_factor")]
    cells = pd.concat([each.reindex(columns=causes._CELLS) for each in parts], ignore_index=True)
    nights = {KINDS["night"][1]: list(NAMES[4:8])} if drawn.night else {}
    words = CauseWords(LAST, cells, nights, NOTHING, np.zeros(0))
    return causes._named_of(LAST, cells, nights, list(NAMES), words)
