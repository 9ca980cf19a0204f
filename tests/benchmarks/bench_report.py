"""Time of the owner's report: python tests/benchmarks/bench_report.py

Prints seconds, and the ratio to drawing and ranking as many normals with numpy, which tells more
than seconds from one machine to the next.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers import block_row, make_records
from season_records import count_rows, weight_row

from cropload.owner.costs import Costs
from cropload.owner.report import report
from cropload.owner.scenarios import compare_scenarios

BLOCKS, DRAWS = 20, 4000
PLANS = ("2x10+2x2", "2x12+2x2", "2x8+2x2", "3x10+3x2")


def estate():
    """Return twenty blocks with five seasons of records."""
    names = [f"Block {n}" for n in range(BLOCKS)]
    tables = {"pruning": [], "counts": [], "weights": [], "harvest": []}
    for season in range(2021, 2026):
        for at, name in enumerate(names):
            clusters, grams = 28 + at % 5 + season % 3, 118 + at % 7
            tables["pruning"].append({"season": season, "block": name, "plan": PLANS[at % 2]})
            tables["counts"] += count_rows(name, clusters, season=season)
            tables["weights"].append(weight_row(name, grams, "harvest", 50, season, "09-10"))
            tables["harvest"].append(
                {
                    "season": season,
                    "block": name,
                    "date": f"{season}-09-20",
                    "tonnes": clusters * grams / 1000,
                }
            )
    blocks = [block_row(n, ("Riesling", "Pinot noir")[at % 2]) for at, n in enumerate(names)]
    prices = [{"variety": v, "price_per_t": 1200} for v in ("Riesling", "Pinot noir")]
    return make_records(blocks=blocks, prices=prices, **tables), names


def clock(task):
    start = time.perf_counter()
    found = task()
    return time.perf_counter() - start, found


def main():
    rng = np.random.default_rng(1)
    size = (len(PLANS), BLOCKS, DRAWS)
    normals, _ = clock(lambda: np.quantile(rng.standard_normal(size), [0.1, 0.5, 0.9], axis=2))
    records, names = estate()
    given = {plan: dict.fromkeys(names, plan) for plan in PLANS}
    costs = Costs(pruning_per_vine=0.5, picking_per_t=100)
    compared, found = clock(lambda: compare_scenarios(records, given, 2026, costs=costs))
    made = report(records, found)
    page, html = clock(made.html)
    book, _ = clock(made.workbook)
    again, _ = clock(lambda: compare_scenarios(records, given, 2026, costs=costs))
    total = compared + page + book
    print(f"{BLOCKS} blocks x {len(PLANS)} scenarios x {DRAWS} draws")
    for name, seconds in (
        ("compare, history learnt anew", compared),
        ("compare again", again),
        (f"HTML, {len(html) / 1000:.0f} kB", page),
        ("Excel", book),
        ("together", total),
    ):
        print(f"  {name:<30} {seconds:6.2f} s  {seconds / normals:8.1f} x normals")


if __name__ == "__main__":
    main()
