"""How quick a forecast is, beside the bare draws it cannot do without, and how it grows.

Run ``python tests/benchmarks/bench_forecast.py``.
Times are of the processor, so that a busy machine disturbs them less; the vineyards are invented.
"""

import os
import resource
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
from cropload.beliefs import ranges
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.history import learned_before
from cropload.beliefs.learn_spreads import learn_spreads, teachers
from cropload.beliefs.spreads import Spreads, prior_spreads
from cropload.records.as_of import records_until
from cropload.season.next_counts import next_counts
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


def worked(work):
    """Return the program's own time and the system's for it, mostly for new memory [s]."""
    before = resource.getrusage(resource.RUSAGE_SELF)
    work()
    after = resource.getrusage(resource.RUSAGE_SELF)
    return after.ru_utime - before.ru_utime, after.ru_stime - before.ru_stime


def bare(blocks):
    """Draw the normals of every component, and the quantiles of one crop a block."""
    normals = np.random.default_rng(0).standard_normal((blocks, len(COMPONENTS), DRAWS))
    return ranges.quantiles(normals[:, 0])


def against_bare_draws(blocks=1000):
    """Print the forecast's time over that of the bare draws."""
    records = vineyard(blocks)
    # Load what is loaded late. New memory is the system's work, and told apart: it swings widely.
    bare(blocks)
    forecast(records, SEASON, draws=DRAWS)
    first, again, floor = [], [], []
    for attempt in range(3):
        floor.append(worked(lambda: bare(blocks)))
        # Other numbers each time: what was learnt of equal records is remembered.
        fresh = vineyard(blocks, seed=1 + attempt)
        first.append(worked(lambda: forecast(fresh, SEASON, draws=DRAWS).frame))  # noqa: B023
        again.append(worked(lambda: forecast(fresh, SEASON, draws=DRAWS).frame))  # noqa: B023
    low = min(floor)[0]
    print(f"{blocks} blocks, {len(records.counts)} counts, {DRAWS} draws, beside bare draws:")
    for words, times in (
        ("bare normals and quantiles", floor),
        ("forecast, spreads learnt", again),
        ("the first, learning them", first),
    ):
        own, system = min(times)
        print(f"  {words:26s}  {own:5.2f} s  {own / low:4.1f} x   system {system:5.2f} s")


def learning():
    """Print what learning the spreads costs, and how near to their mode it ends."""
    print("learning the spreads from 400 blocks of 1,000, and from the sample estate:")
    for name, records in (("invented", vineyard(1000, seed=9)), ("sample", example_records())):
        ground = lay_ground(records_until(records, f"{SEASON}-01-01"), SEASON)
        found, spent = timed(ground.learn)
        places = teachers(ground.precision)
        _, grid = ground.lines(places, ground.mean[places])
        prior = Spreads(*prior_spreads(), ground.variety_spread)
        mode = learn_spreads(grid, prior, iterations=500, tolerance=1e-10)
        away = np.abs(found.spreads.sd / mode.spreads.sd - 1).max()
        print(f"  {name:10s} {spent:6.3f} s   farthest from the mode {100 * away:.2f} %")


def growth():
    """Print how the time grows with the blocks."""
    print("growth, 400 draws:")
    last = None
    for blocks in (100, 1000, 10_000):
        records = vineyard(blocks)
        _, spent = timed(lambda: forecast(records, SEASON, draws=400).frame)  # noqa: B023
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
        return found.frame, found.contributions("estate"), next_counts(found)

    def first():
        return forecast(replace(records, counts=more), SEASON)

    spent = min(timed(first)[1] for _ in range(3))
    print(f"a forecast after a count was entered, sample estate: {spent:.2f} s")
    spent = min(timed(answer)[1] for _ in range(3))
    print(f"a panel's answer to a count, with all tables, on the sample estate: {spent:.2f} s")


if __name__ == "__main__":
    against_bare_draws()
    learning()
    growth()
    panel()
