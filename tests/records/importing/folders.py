"""Compare what was brought in from messy workbooks with the folder that they came from."""

import pandas as pd

from cropload import handbook, import_workbook, read_records
from cropload.records.tables import TABLES


def write_clean(clean, folder):
    """Write {name of a table: its CSV} as a season folder; return its records."""
    folder.mkdir()
    for name, text in clean.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return read_records(folder)


def brought_in(paths, into, answers=None):
    """Import files into a folder, and return its records."""
    return read_records(import_workbook(paths, into, answers).write())


def _variety(name):
    found = handbook.variety(name)
    return next(iter(found.values())).key.split(".")[1] if found else name.casefold()


def comparable(frame):
    """Return rows in an order of their own, each variety by the handbook's name of it."""
    frame = frame.copy()
    if "variety" in frame:
        frame["variety"] = [_variety(name) for name in frame["variety"]]
    told = [name for name in frame if frame[name].notna().any()]
    return frame.sort_values(told, key=lambda values: values.astype(str), ignore_index=True)


def differences(got, want):
    """Return a sentence for each table of two Records that is not the same to the last value."""
    found = []
    for name in TABLES:
        mine, theirs = getattr(got, name), getattr(want, name)
        if len(mine) != len(theirs):
            found.append(f"{name}: {len(mine)} rows, not {len(theirs)}")
            continue
        try:
            pd.testing.assert_frame_equal(
                comparable(mine), comparable(theirs), check_dtype=False, rtol=1e-9, atol=0
            )
        except AssertionError as fault:
            found.append(f"{name}: {fault}")
    return found
