"""Many estates at once: a plain loop, processes of this machine, and workers behind a scheduler.

Run it as ``python tests/benchmarks/bench_many_folders.py [ESTATES] [BLOCKS]``.  It prints the time
of each way over that of the plain loop on one core, the memory of the parent, and what the measured
parts would come to on 10 and 100 machines.
"""

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from cropload.pages import many_folders as many

CORES, SAID = 8, ["--draws", "4000", "--season", "2027", "--by", "estate"]


def write_estate(folder, blocks, seed):
    """Write an invented estate with three harvests of every block."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True)
    names = [f"Block {at + 1}" for at in range(blocks)]
    area = {"row_spacing_m": 2.4, "vine_spacing_m": 1.5, "vines": rng.integers(500, 4000, blocks)}
    table = pd.DataFrame({"block": names, "variety": rng.choice(["Riesling", "Merlot"], blocks)})
    table = table.assign(**area)
    table.to_csv(folder / "blocks.csv", index=False)
    crops = []
    for year in (2024, 2025, 2026):
        tonnes = table["vines"] * rng.lognormal(0.9, 0.25, blocks) / 1000
        rows = {"season": year, "block": names, "date": f"{year}-09-20", "tonnes": tonnes.round(2)}
        crops.append(pd.DataFrame(rows))
    pd.concat(crops).to_csv(folder / "harvest.csv", index=False)
    plans = pd.DataFrame({"season": 2026, "block": names, "plan": "2x10+2x2"})
    plans.to_csv(folder / "pruning.csv", index=False)


def timed(run):
    """Return how long a call takes [s]."""
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def main(estates, blocks):
    """Print the ratios and the projection."""
    import dask
    from distributed import LocalCluster

    # Its sampling of what workers do grows by the second; without it they stay as they are.
    dask.config.set({"distributed.worker.profile.enabled": False})
    with tempfile.TemporaryDirectory() as scratch:
        place = Path(scratch)
        folders = [str(place / f"estate {at}" / "2027") for at in range(estates)]
        for at, folder in enumerate(folders):
            write_estate(Path(folder), blocks, at)
        many.one("forecast", folders[0], SAID)
        loop = timed(lambda: [many.one("forecast", folder, SAID) for folder in folders])
        own = timed(lambda: many.answer("forecast", folders, SAID, place / "own"))
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
            address = cluster.scheduler_address
            asked = (folders, SAID, place / "theirs", address)
            theirs = timed(lambda: many.answer("forecast", *asked))
        again = timed(lambda: many.answer("forecast", folders, SAID, place / "own"))
    each = loop / estates
    print(f"{estates} estates of {blocks} blocks; a plain loop is 1 ({each:.2f} s an estate).")
    print(f"processes of this machine {own / loop:.2f}, two workers of a scheduler "
          f"{theirs / loop:.2f}, asked again with all there {again / loop:.3f}")  # fmt: skip
    print(f"most memory of this process {memory:.0f} MB")
    wait = again / estates
    for machines in (10, 100):
        told = 2000 * max(each / (machines * CORES), wait)
        print(f"on paper, 2,000 estates on {machines} machines of {CORES} cores: {told:.0f} s "
              f"(work {each:.2f} s, this process {wait:.4f} s an estate)")  # fmt: skip


if __name__ == "__main__":
    main(*(int(each) for each in (sys.argv[1:] + ["12", "50"][len(sys.argv) - 1 :])))
