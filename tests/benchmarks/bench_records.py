"""How long reading takes: 1,000 blocks x 6 seasons, about 200,000 count rows.

Run it as ``python tests/benchmarks/bench_records.py``; it prints ratios to reading the same bytes
with pandas alone, so that the figures mean the same on any machine, the ratio of the same rows in
a workbook to the CSV files, and the seconds and memory.
"""

import io
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

BLOCKS, SEASONS, COUNTS = 1_000, range(2020, 2026), 200_000


def write_estate(folder, blocks=BLOCKS, counts=COUNTS, seed=0):
    """Write a large invented estate as CSV files."""
    rng = np.random.default_rng(seed)
    names = np.array([f"Block {number:04}" for number in range(blocks)])
    pd.DataFrame(
        {
            "block": names,
            "variety": rng.choice(["Riesling", "Pinot noir", "Chardonnay", "Merlot"], blocks),
            "row_spacing_m": rng.choice([2.0, 2.4, 2.8], blocks),
            "vine_spacing_m": rng.choice([1.0, 1.2, 1.5], blocks),
            "vines": rng.integers(500, 6000, blocks),
            "missing_pct": rng.uniform(0, 8, blocks).round(1),
        }
    ).to_csv(folder / "blocks.csv", index=False)
    seasons = np.repeat(list(SEASONS), blocks)
    everywhere = np.tile(names, len(SEASONS))
    pd.DataFrame(
        {
            "season": seasons,
            "block": everywhere,
            "plan": rng.choice(["2x8+2x2", "2x10+2x2", "12x2"], len(seasons)),
            "pruning_weight_kg": rng.uniform(0.4, 1.2, len(seasons)).round(3),
        }
    ).to_csv(folder / "pruning.csv", index=False)
    pd.DataFrame(
        {
            "season": seasons,
            "block": everywhere,
            "date": [
                f"{season}-09-{day:02}"
                for season, day in zip(seasons, rng.integers(1, 31, len(seasons)), strict=True)
            ],
            "tonnes": rng.uniform(1, 8, len(seasons)).round(3),
        }
    ).to_csv(folder / "harvest.csv", index=False)
    lots = np.repeat(np.arange(len(seasons)), 3)
    pd.DataFrame(
        {
            "season": seasons[lots],
            "date": [f"{season}-08-15" for season in seasons[lots]],
            "block": everywhere[lots],
            "stage": np.tile(["lag", "veraison", "harvest"], len(seasons)),
            "clusters": 20,
            "weight_g": rng.uniform(1500, 4000, len(lots)).round(1),
        }
    ).to_csv(folder / "weights.csv", index=False)
    each = counts // len(seasons)
    where = np.repeat(np.arange(len(seasons)), each)
    shoots = rng.poisson(18, len(where))
    pd.DataFrame(
        {
            "season": seasons[where],
            "date": [f"{season}-06-10" for season in seasons[where]],
            "block": everywhere[where],
            "row": rng.integers(1, 60, len(where)),
            "vine": np.tile(np.arange(each), len(seasons)),
            "buds": 20,
            "shoots": shoots,
            "noncount_shoots": rng.poisson(2, len(where)),
            "clusters": rng.poisson(1.6 * shoots),
        }
    ).to_csv(folder / "counts.csv", index=False)
    return len(where)


def write_book(folder, book):
    """Write the CSV files of a folder as sheets of a workbook."""
    import openpyxl

    workbook = openpyxl.Workbook(write_only=True)
    for file in sorted(folder.glob("*.csv")):
        rows = pd.read_csv(file)
        sheet = workbook.create_sheet(file.stem)
        sheet.append(list(rows.columns))
        for row in rows.astype(object).to_numpy().tolist():
            sheet.append(row)
    workbook.save(book)


def seconds(work, repeats=3):
    """Return the shortest of several runs, of this process alone [s]."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def main():
    """Print the figures."""
    from cropload import read_records

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        counts = write_estate(folder)
        start = time.perf_counter()
        read_records(folder)
        first = time.perf_counter() - start
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        ours = seconds(lambda: read_records(folder))
        checked = seconds(lambda: read_records(folder).warnings, 1)
        book = folder / "estate" / "estate.xlsx"
        book.parent.mkdir()
        write_book(folder, book)
        workbook = seconds(lambda: read_records(book))
        texts = [file.read_text() for file in folder.glob("*.csv")]
        plain = seconds(lambda: [pd.read_csv(io.StringIO(text)) for text in texts])
    print(f"{BLOCKS:,} blocks x {len(SEASONS)} seasons, {counts:,} count rows")
    print(f"pandas {pd.__version__}")
    print(f"first read, imports included  {first:6.2f} s   (wanted: under 5 s)")
    print(f"further reads                 {ours:6.2f} s")
    print(f"ratio to pandas.read_csv      {ours / plain:6.1f}")
    print(f"the same, with all doubts     {checked / plain:6.1f}     (wanted: under 6)")
    print(f"ratio of .xlsx to CSV         {workbook / ours:6.1f}     (wanted: under 4)")
    print(f"most memory                   {memory:6.2f} GiB (wanted: under 1 GiB)")
    return 0


if __name__ == "__main__":
    sys.exit(main())
