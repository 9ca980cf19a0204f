"""How long an import takes: 198,000 count rows as a workbook, beside the same rows as a table.

Run it as ``python tests/benchmarks/bench_import.py [ROWS]``; it prints the ratio of the two, made
in one run so that it means the same on any machine, and the seconds.
"""

import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from openpyxl import Workbook

from cropload import import_workbook, read_records

ROWS, A_BLOCK = 198_000, 5_000


def tables(rows, seed=0):
    """Return the blocks and count rows of an invented estate, under a grower's own headers."""
    rng = np.random.default_rng(seed)
    place = np.arange(rows)
    names = np.array([f"Block {number + 1}" for number in range(1 + (rows - 1) // A_BLOCK)])
    blocks = pd.DataFrame({"Block": names, "Variety": "Riesling", "Row spacing (m)": 2})
    blocks = blocks.assign(**{"Vine spacing (m)": 1, "No. of vines": 6000})
    counts = {
        "Date": [date(2025, 6, 10 + number) for number in place % A_BLOCK // 1000],
        "Block": names[place // A_BLOCK],
        "Row": place % A_BLOCK // 50 + 1,
        "Vine": place % 50 + 1,
        "Shoots": rng.integers(5, 20, rows),
        "Bunches": rng.integers(8, 40, rows),
        "Counted by": "AL",
    }
    return blocks, pd.DataFrame(counts)


def write_book(path, **sheets):
    """Write data frames as the sheets of a workbook."""
    book = Workbook(write_only=True)
    for name, frame in sheets.items():
        sheet = book.create_sheet(name)
        sheet.append(list(frame))
        for row in frame.astype(object).itertuples(index=False):
            sheet.append(list(row))
    book.save(path)


def timed(run):
    """Return what a call returns, and how long it took [s]."""
    start = time.perf_counter()
    found = run()
    return found, time.perf_counter() - start


def main(rows):
    blocks, counts = tables(rows)
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        write_book(folder / "book.xlsx", Blocks=blocks, Counts=counts)
        texts = [folder / "blocks.csv", folder / "counts.csv"]
        for path, frame in zip(texts, (blocks, counts), strict=True):
            frame.to_csv(path, index=False)
        import_workbook(texts[:1])  # what a first import loads belongs to neither
        one, as_table = timed(lambda: import_workbook(texts, folder / "new"))
        two, as_book = timed(lambda: import_workbook([folder / "book.xlsx"]))
        assert all(one.tables[name].equals(two.tables[name]) for name in two.tables)
        _, write = timed(one.write)
        records, read = timed(lambda: read_records(folder / "new"))
    print(f"{len(records.counts):,} count rows")
    print(f"  import of a text table  {as_table:6.1f} s")
    print(f"  import of a workbook    {as_book:6.1f} s   {as_book / as_table:.2f} x the table")
    print(f"  writing the folder      {write:6.1f} s")
    print(f"  reading the folder      {read:6.1f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else ROWS)
