"""How quick a forecast is, beside the bare draws it cannot do without, and how it grows.

Run ``python tests/benchmarks/bench_forecast.py``; add ``large`` for 100,000 blocks in chunks.
Times are of the processor, so that a busy machine disturbs them less; the vineyards are invented.
"""

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

# ruff: noqa: E402
import numpy as np
import pandas as pd
from helpers import make_records

from cropload import example_records, forecast
from cropload.decisions.next_counts import next_counts
from cropload.forecasting import ranges
from cropload.forecasting.chunks import chunked_table, forecast_chunks
from cropload.forecasting.history import learned_before
from cropload.vine.growth import COMPONENTS

SEASON = 2026
DRAWS = 4000


def vineyard(blocks, varieties=4, vines_counted=8, seed=0):
    """Return records of two past seasons, and counts of every second block in this one and last."""
    rng = np.random.default_rng(seed)
    names = np.array([f"Block {at}" for at in range(blocks)])
    kinds = np.array([f"Variety {at % varieties}" for at in range(blocks)])
    table = pd.DataFrame({"block": names, "variety": kinds})
    table = table.assign(row_spacing_m=2.5, vine_spacing_m=1.5, vines=1000.0)
    seasons = (SEASON - 2, SEASON - 1, SEASON)
    pruning = pd.concat(
        [pd.DataFrame({"season": s, "block": names, "plan": "2x10+2x2"}) for s in seasons]
    )
    harvest = pd.concat(
        [
            pd.DataFrame({"season": s, "block": names, "date": f"{s}-09-20"}).assign(
                tonnes=4 * np.exp(0.2 * rng.standard_normal(blocks))
            )
            for s in seasons[:2]
        ]
    )
    counted = np.repeat(names[::2], vines_counted)
    counts = pd.concat(
        [
            pd.DataFrame({"season": s, "date": f"{s}-06-20", "block": counted, "row": "1"}).assign(
                vine=np.tile(np.arange(vines_counted).astype(str), len(names[::2])),
                clusters=rng.poisson(36, len(counted)).astype(float),
            )
            for s in (SEASON - 1, SEASON)
        ]
    )
    return make_records(blocks=table, pruning=pruning, harvest=harvest, counts=counts)


def timed(work):
    """Return what the work gives and the processor's time for it [s]."""
    start = time.process_time()
    found = work()
    return found, time.process_time() - start


def bare(blocks):
    """Draw the normals of every component, and the quantiles of one crop a block."""
    normals = np.random.default_rng(0).standard_normal((blocks, len(COMPONENTS), DRAWS))
    return ranges.quantiles(normals[:, 0])


def against_bare_draws(blocks=1000):
    """Print the forecast's time over that of the bare draws."""
    records = vineyard(blocks)
    forecast(vineyard(20), SEASON, draws=100)  # loads what is loaded late
    first, again, floor = [], [], []
    for _ in range(3):
        floor.append(timed(lambda: bare(blocks))[1])
        fresh = vineyard(blocks)
        first.append(timed(lambda: forecast(fresh, SEASON, draws=DRAWS).table())[1])  # noqa: B023
        again.append(timed(lambda: forecast(fresh, SEASON, draws=DRAWS).table())[1])  # noqa: B023
    low = min(floor)
    print(f"{blocks} blocks, {len(records.counts)} counts, {DRAWS} draws, beside bare draws:")
    print(f"  bare normals and quantiles  {low:6.2f} s")
    print(f"  forecast, spreads learnt    {min(again):6.2f} s  {min(again) / low:4.1f} x")
    print(f"  the first, learning them    {min(first):6.2f} s  {min(first) / low:4.1f} x")


def growth():
    """Print how the time grows with the blocks."""
    print("growth, 400 draws:")
    last = None
    for blocks in (100, 1000, 10_000):
        records = vineyard(blocks)
        _, spent = timed(lambda: forecast(records, SEASON, draws=400).table())  # noqa: B023
        more = "" if last is None else f"  {spent / last:4.1f} x for 10 x the blocks"
        print(f"  {blocks:6d} blocks  {spent:6.2f} s{more}")
        last = spent


def panel():
    """Print the time from entering a count to the new tables, on the sample estate."""
    records = example_records()
    learned = learned_before(records, SEASON)
    more = pd.concat([records.counts, records.counts.tail(1)], ignore_index=True)

    def answer():
        found = forecast(replace(records, counts=more), SEASON, learned=learned)
        return found.table(), found.contributions("estate"), next_counts(found)

    spent = min(timed(answer)[1] for _ in range(3))
    print(f"a panel's answer to a count, with all tables, on the sample estate: {spent:.2f} s")


def large(blocks=100_000):
    """Print time and memory of very many blocks in chunks."""
    import resource

    records = vineyard(blocks)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    chunks = forecast_chunks(records, SEASON, draws=DRAWS, size=200)
    table, spent = timed(lambda: chunked_table(chunks, "estate"))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"{blocks} blocks in chunks of 200, {DRAWS} draws: {spent:.0f} s")
    print(f"  most memory {peak:.2f} GiB, of which {before:.2f} for the program and the records")
    print(table.round(0).to_string(index=False))


if __name__ == "__main__":
    if "large" in sys.argv:
        large()
    else:
        against_bare_draws()
        growth()
        panel()
