"""How long intake takes: 500 blocks x 4,000 draws x 15 weeks, with capacity.

Run it as ``python tests/benchmarks/bench_intake.py``; it prints seconds, and ratios to drawing as
many normals and taking the same quantiles with numpy, so that they mean the same on any machine.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))

from intake_cases import correlated_lognormals, made_forecast

from cropload.beliefs.dates.harvest_dates import undated
from cropload.winery.capacity import capacity_table
from cropload.winery.cellar import cellar_table
from cropload.winery.fit import fit_of
from cropload.winery.intake import intake_schedule
from cropload.winery.relief import relieve

BLOCKS, DRAWS, WEEKS = 500, 4_000, 15
FIRST = pd.Timestamp(2026, 8, 31)


def estate(seed=0):
    """Return a forecast and picking dates of 500 blocks whose seasons go together."""
    from dataclasses import replace

    rng = np.random.default_rng(seed)
    size = rng.uniform(2, 30, (BLOCKS, 1))
    crop = size * correlated_lognormals(BLOCKS, DRAWS, sigma=0.25, correlation=0.4)
    made = made_forecast(crop, varieties=[f"Variety {at % 8}" for at in range(BLOCKS)])
    middle = (FIRST - pd.Timestamp(0)).days + rng.uniform(10, 7 * WEEKS - 10, (BLOCKS, 1))
    days = middle + 3 * rng.standard_normal(DRAWS) + 3 * rng.standard_normal((BLOCKS, DRAWS))
    dates = replace(
        undated(made), draws=np.rint(days).astype(np.int32), dated=np.ones(BLOCKS, bool)
    )
    starts = [FIRST + pd.Timedelta(days=7 * week) for week in range(WEEKS)]
    limits = pd.DataFrame(
        {
            "period_start": starts,
            "period_end": [start + pd.Timedelta(days=6) for start in starts],
            "limit_t": 1.5 * crop.mean(1).sum() / WEEKS,
        }
    )
    return made, dates, limits


def timed(work):
    """Return what a piece of work gave, and the least of three times [s]."""
    best, answer = np.inf, None
    for _ in range(3):
        start = time.perf_counter()
        answer = work()
        best = min(best, time.perf_counter() - start)
    return answer, best


def main():
    made, dates, limits = estate()

    def bare():
        draws = np.random.default_rng(0).standard_normal((BLOCKS, DRAWS))
        return np.quantile(draws, [0.1, 0.5, 0.9], axis=1)

    def whole():
        schedule = intake_schedule(made, dates)
        schedule.frame_by("variety")
        return schedule, capacity_table(schedule, limits)

    _, floor = timed(bare)
    (schedule, table), seconds = timed(whole)
    _, by_block = timed(lambda: schedule.frame_by("block"))
    tanks = pd.DataFrame({"volume_hl": [9_000.0], "days_held": [8], "kg_per_hl": [120.0]})
    presses = pd.DataFrame({"load_t": [12.0], "cycles_a_day": [20.0]})
    _, by_fit = timed(lambda: fit_of(schedule, limits))
    _, by_cellar = timed(lambda: cellar_table(schedule, tanks, presses))
    start = time.perf_counter()
    found = relieve(schedule, limits)
    relief = time.perf_counter() - start
    print(f"{BLOCKS} blocks x {DRAWS} draws x {len(schedule.periods)} weeks")
    print(f"bare normals and quantiles            {floor:6.2f} s")
    print(f"schedule, by variety, with capacity   {seconds:6.2f} s  ({seconds / floor:.1f} x)")
    print(f"the same by block                     {by_block:6.2f} s  ({by_block / floor:.1f} x)")
    print(f"the fit in all                        {by_fit:6.2f} s  ({by_fit / floor:.1f} x)")
    print(f"tanks and presses by day              {by_cellar:6.2f} s  ({by_cellar / floor:.1f} x)")
    print(f"which blocks to move                  {relief:6.2f} s  ({relief / floor:.1f} x)")
    print(found.heading())
    print(f"highest chance over a limit {table['chance_over'].max():.2f}; under 2 s:", seconds < 2)


if __name__ == "__main__":
    main()
