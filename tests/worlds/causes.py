"""Invented estates with one or two causes planted, whose arithmetic is not the package's model."""

import numpy as np
import pandas as pd
from helpers import block_row, make_records

BLOCKS, SEASONS, LAST = 12, 6, 2026
NAMES = tuple(f"Block {chr(65 + at)}" for at in range(BLOCKS))
YEARS = tuple(range(LAST - SEASONS + 1, LAST + 1))
#: What can be planted: what find_causes must name, by kind and name.
KINDS = {
    "counter": ("counter", "K2"),
    "after count": ("after count", "Block B"),
    "night": ("night", "Frost of 2026-05-02"),
    "own season": ("own season", "Block C"),
    "trend": ("trend", "Block D"),
    "odd season": ("odd season", "2026"),
}


def estate(seed, *planted):
    """Draw an estate of 12 blocks and 6 seasons; returns its records and its crops [t].

    Noise of a block and season 12 %, of a season 15 %; 20 vines counted, 50 clusters weighed.
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
    if "trend" in planted:
        log_clusters[3] += np.log(0.92) * np.arange(SEASONS)
    if "night" in planted:
        log_clusters[4:8, -1] += np.log(0.65)
    if "own season" in planted:
        log_clusters[2, -1] += np.log(0.5)
    recovery = np.log(0.94) + 0.04 * rng.standard_normal(shape)
    if "after count" in planted:
        recovery[1, -1] += np.log(0.7)
    who = rng.permuted(np.tile(np.repeat(["K1", "K2", "K3"], 4), (SEASONS, 1)), axis=1).T
    bias = np.where((who == "K2") & ("counter" in planted), np.log(0.88), 0.0)
    vines = rng.gamma(16, 1 / 16, (*shape, 20))
    seen = rng.poisson(np.exp(log_clusters + bias)[..., None] * vines)
    grams = np.exp(log_grams + 0.05 * rng.standard_normal(shape))
    tonnes = np.round(np.exp(log_clusters + log_grams + recovery) / 1000, 3)
    b, s = (each.ravel() for each in np.indices(shape))
    names, years = np.array(NAMES)[b], np.array(YEARS)[s]
    c = np.repeat(np.arange(len(b)), 20)
    tables = {
        "blocks": [block_row(n, "Riesling" if at % 2 else "Merlot") for at, n in enumerate(NAMES)],
        "pruning": {"season": years, "block": names, "plan": "2x10+2x2"},
        "harvest": {
            "season": years,
            "block": names,
            "date": [f"{year}-09-20" for year in years],
            "tonnes": tonnes.ravel(),
        },
        "weights": {
            "season": years,
            "date": [f"{year}-09-15" for year in years],
            "block": names,
            "stage": "harvest",
            "clusters": 50,
            "weight_g": np.round(50 * grams.ravel()),
        },
        "counts": {
            "season": years[c],
            "date": [f"{year}-06-25" for year in years[c]],
            "block": names[c],
            "row": "1",
            "vine": np.tile(np.arange(1, 21), len(b)).astype(str),
            "clusters": seen.ravel(),
            "counter": who.ravel()[c],
        },
    }
    if "night" in planted:
        rows = [{"block": n, "date": "2026-05-02", "kind": "frost"} for n in NAMES[4:8]]
        tables["events"] = rows
    crops = pd.DataFrame({"block": names, "season": years, "crop": tonnes.ravel()})
    return make_records(**tables), crops
