"""How long comparing plans takes, as ratios to numpy's own work in the same run.

Run it as ``python tests/benchmarks/bench_compare.py``.  Three figures:

- ``compare_plans``, 5 plans x 4,000 draws, first call (spreads are learnt) and later calls;
- learning an estate of 1,000 blocks x 6 seasons;
- ``compare_blocks``, 1,000 blocks x 5 plans x 4,000 draws, against drawing as many normals as it
  draws and taking the same quantiles with numpy (goal: within 3 times, under 1.5 GiB).
"""

import os
import resource
import sys
import time
from pathlib import Path

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402

sys.path.insert(0, str(Path(__file__).parents[1]))
from helpers import make_records  # noqa: E402

from cropload.beliefs.history import estate_before_season  # noqa: E402
from cropload.pruning.compare import compare_plans  # noqa: E402
from cropload.pruning.compare_blocks import compare_blocks  # noqa: E402
from cropload.pruning.plan_rows import RANGED  # noqa: E402
from cropload.records.example import example_records  # noqa: E402
from cropload.vine.growth import COMPONENTS  # noqa: E402

PLANS = "2x8+2x2,2x10+2x2,2x12+2x2,3x8+3x2,3x10+3x2"
BLOCKS, SEASONS, DRAWS = 1_000, 6, 4_000


def large_estate(blocks=BLOCKS, seasons=SEASONS, vines=33, seed=1):
    """Return invented records in memory: about 200,000 count rows."""
    rng = np.random.default_rng(seed)
    names = [f"Block {number:04}" for number in range(blocks)]
    cells = pd.DataFrame(
        {
            "season": np.repeat(np.arange(2020, 2020 + seasons), blocks),
            "block": np.tile(names, seasons),
        }
    )
    n = len(cells)
    counts = cells.loc[cells.index.repeat(vines)].reset_index(drop=True)
    return make_records(
        blocks={
            "block": names,
            "variety": [f"Variety {number % 4}" for number in range(blocks)],
            "row_spacing_m": 2.5,
            "vine_spacing_m": 1.5,
            "vines": 1000.0,
        },
        pruning=cells.assign(
            plan=rng.choice(["2x10+2x2", "2x12+2x2"], n),
            pruning_weight_kg=rng.lognormal(-0.5, 0.2, n),
            vines_weighed=20.0,
        ),
        harvest=cells.assign(tonnes=rng.lognormal(1, 0.3, n)),
        weights=cells.assign(
            stage="harvest", clusters=60.0, weight_g=60 * rng.lognormal(4.8, 0.2, n)
        ),
        counts=counts.assign(
            vine=np.tile(np.arange(vines).astype(str), n),
            row="1",
            date="2020-06-01",
            shoots=rng.normal(21, 3, n * vines).round(),
            clusters=rng.normal(34, 8, n * vines).round().clip(0),
        ),
    )


def timed(work):
    """Return the processor seconds of this process that ``work`` takes, and its result."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def numpy_alone(blocks, plans, draws, chunk=10):
    """Draw as many normals, and take the same three quantiles of as many arrays, with numpy."""
    rng = np.random.default_rng(1)
    for _ in range(0, blocks, chunk):
        normals = rng.standard_normal((chunk, len(COMPONENTS), draws))
        for column in range(len(RANGED)):
            spread = np.broadcast_to(normals[:, [column % len(COMPONENTS)]], (chunk, plans, draws))
            np.quantile(spread, [0.1, 0.5, 0.9], axis=-1)


def main():
    """Print the figures."""
    records = example_records()
    first, _ = timed(lambda: compare_plans(records, "Long Acre", PLANS, draws=DRAWS))
    later = min(
        timed(lambda: compare_plans(records, "Long Acre", PLANS, draws=DRAWS))[0] for _ in range(5)
    )
    alone = min(timed(lambda: numpy_alone(1, 5, DRAWS, 1))[0] for _ in range(5))
    print("compare_plans, 5 plans x 4,000 draws, sample estate")
    print(f"  first call, spreads learnt     {first:6.3f} s")
    print(f"  later calls                    {later:6.3f} s   {later / alone:5.1f} x numpy alone")

    large = large_estate()
    learning, _ = timed(lambda: estate_before_season(large, 2026, {}))
    print(f"learning {BLOCKS} blocks x {SEASONS} seasons   {learning:6.2f} s")
    alone = timed(lambda: numpy_alone(BLOCKS, 5, DRAWS))[0]
    whole = timed(lambda: compare_blocks(large, PLANS, 2026, draws=DRAWS))[0]
    print(f"compare_blocks, {BLOCKS} blocks x 5 plans x {DRAWS} draws")
    print(f"  normals and quantiles, numpy   {alone:6.2f} s")
    print(f"  compare_blocks                 {whole:6.2f} s   ratio {whole / alone:4.2f} (goal 3)")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"peak memory                      {peak:6.2f} GiB (goal 1.5)")


if __name__ == "__main__":
    main()
