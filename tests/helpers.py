"""Makers of small records, built in memory or through CSV text, for the tests of any room."""

import functools
import inspect
import shutil
from pathlib import Path

import pandas as pd

from cropload.records.example import example_records, shipped
from cropload.records.records import Records, empty_frame, read_records
from cropload.records.tables import TABLES

#: The tables that a season's review and its lessons are made of.
LEARNT_FROM = ("blocks", "pruning", "counts", "weights", "harvest", "dates", "fertility")


def table(name, rows):
    """Return a table with every canonical column from a list of dicts or a mapping of columns."""
    frame = pd.DataFrame(rows)
    empty = empty_frame(name)
    if frame.empty:
        return empty
    unknown = set(frame.columns) - set(empty.columns)
    assert not unknown, f"{name} has no column {unknown}"
    for column in TABLES[name].columns:
        if column.ranged and column.width not in frame:
            frame[column.width] = float("nan")
        if column.name not in frame:
            frame[column.name] = "" if empty[column.name].dtype.kind in "OTU" else pd.NA
        if column.kind == "date":
            frame[column.name] = pd.to_datetime(frame[column.name]).astype("datetime64[ns]")
        elif column.name == "season":
            frame[column.name] = frame[column.name].astype("int64")
        elif column.numeric:
            values = pd.to_numeric(frame[column.name]).astype("float64")
            if column.default is not None:
                values = values.fillna(column.default)
            frame[column.name] = values
        else:
            frame[column.name] = frame[column.name].fillna("").astype(str)
    if name == "blocks":
        area = frame["vines"] * frame["row_spacing_m"] * frame["vine_spacing_m"] / 10_000
        frame["area_ha"] = frame["area_ha"].fillna(area)
    return frame[list(empty.columns)].reset_index(drop=True)


def make_records(**tables):
    """Return Records in memory; each table is a list of dicts, and a table left out is empty."""
    frames = {name: table(name, tables.get(name, [])) for name in TABLES}
    return Records(path=Path("in-memory"), given=frozenset(tables), **frames)


def block_row(block="North", variety="Anyvine", **more):
    """Return one row of blocks: 1,000 vines at 2.5 m x 1.5 m unless said otherwise."""
    row = {
        "block": block,
        "variety": variety,
        "row_spacing_m": 2.5,
        "vine_spacing_m": 1.5,
        "vines": 1000,
    }
    return row | more


def steady_counts(season, block, vines=40, **means):
    """Return count rows of ``vines`` vines that alternate a little about each mean."""
    rows = []
    for vine in range(vines):
        sway = 1 + 0.1 * (1 if vine % 2 else -1)
        counted = {name: mean * sway for name, mean in means.items()}
        rows.append(
            {"season": season, "block": block, "row": "1", "vine": str(vine + 1)}
            | {"date": f"{season}-06-20"}
            | counted
        )
    return rows


def records_from_csv(folder, **texts):
    """Write CSV texts to a folder and read them as a user would."""
    for name, text in texts.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return read_records(folder)


def sample_copy(folder, *names):
    """Copy the named tables of the sample estate into a new folder of one's own and return it."""
    folder.mkdir()
    for name in names:
        shutil.copy(shipped("sample_data") / "quillfoot" / f"{name}.csv", folder)
    return folder


def once(function):
    """Return a function that answers each question about the sample once: nothing changes it.

    Of other records each question is asked anew, for what lies beside them may have changed.
    """
    kept, signature = {}, inspect.signature(function)

    @functools.wraps(function)
    def ask(records, *given, **named):
        if records is not example_records():
            return function(records, *given, **named)
        asked = signature.bind(records, *given, **named)
        asked.apply_defaults()
        key = _key(asked.arguments)
        if key not in kept:
            # What was asked with is kept too, so that nothing else can have its identity.
            kept[key] = function(records, *given, **named), asked
        return kept[key][0]

    return ask


def _key(asked):
    """Return what tells one question from another: values by value, objects by identity."""
    if isinstance(asked, dict):
        return tuple((name, _key(each)) for name, each in asked.items())
    if isinstance(asked, list | tuple):
        return tuple(map(_key, asked))
    try:
        hash(asked)
    except TypeError:
        return id(asked)
    return asked
