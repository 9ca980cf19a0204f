"""What each assumption of the handbook moves: usual answers at its low and at its high end.

``python tests/benchmarks/handbook_moves.py`` writes ``cropload/handbook/moves.toml`` anew, each
figure in a process of its own; run it after a change of a default. ``answers(key, end)`` is what
``tests/test_moves.py`` computes again.
"""

import json
import math
import os
from dataclasses import replace
from pathlib import Path

import pandas as pd

from cropload import example_records, forecast, frost_survival, handbook, harvest_dates
from cropload.beliefs.ranges import reach
from cropload.handbook import reader
from cropload.records.tables import TABLES

FILE = Path(reader.__file__).with_name("moves.toml")
#: Groups whose figures reach a crop, a picking day or what a frost leaves.
CROP = ("prior", "sd", "load", "profile", "noncount", "trend", "loss", "learning", "forecast")
CROP += ("lag_phase", "young", "interval", "fertility")
DAYS, FROST = ("dates",), ("frost", "phenology")
#: Change of the log of an answer below which it stands still.
STILL = 0.002
#: Factor to either side where an entry has neither range nor spread.
WIDE = 1.5


def keys():
    """Return the assumptions that are looked at."""
    heads = (*CROP, *DAYS, *FROST)
    held = [handbook.entry(key) for key in reader._entries()]
    return [
        e.key for e in held if e.grade == "assumption" and e.key.split(".")[0] in heads and e.value
    ]


def at_end(entry, end):
    """Return an entry with its value at its low (-1) or high (1) end."""
    value, low, high = entry.value, entry.low, entry.high
    if low is not None and not isinstance(value, list):
        new = low if end < 0 else high
    elif entry.spread and entry.key.startswith("load."):
        new = value + end * reach() * entry.spread
    else:
        factor = math.exp(end * reach() * entry.spread) if entry.spread else WIDE**end
        if entry.key.startswith("profile.") and isinstance(value, list):
            new = [each**factor for each in value]  # relative figures: flatter or steeper
        elif isinstance(value, list):
            new = [each * factor for each in value]
        else:
            new = value * factor
        if isinstance(value, int):
            new = round(new)
    if entry.unit == "1" and not isinstance(new, list) and 0.5 < value < 1 < new:
        new = 1 - (1 - value) / WIDE
    return replace(entry, value=new)


def estate(block="Lyre Field"):
    """Return a block with seven seasons on record and one with nothing."""
    whole, kept = example_records(), [block]
    tables = {}
    for name in TABLES:
        table = getattr(whole, name)
        if "block" in table.columns:
            table = table[table["block"].isin(kept)].reset_index(drop=True)
        tables[name] = table
    bare = tables["blocks"].assign(block="Bare", variety="Anyvine")
    tables["blocks"] = pd.concat([tables["blocks"], bare], ignore_index=True)
    return replace(whole, **tables)


def usual(key="", block="Lyre Field"):
    """Return the usual answers that a key can reach, by what they are called."""
    records, head, found = estate(block), key.split(".")[0], {}
    if head in (*CROP, ""):
        plans = {block: "4x13+4x2", "Bare": "2x10+2x2"}
        made = forecast(records, 2027, draws=1000, plans=plans).frame.set_index("block")
        for one, words in ((block, "seven seasons"), ("Bare", "no records")):
            low, middle, high = (made.loc[one, f"t_ha_{end}"] for end in ("p10", "p50", "p90"))
            found[f"crop of a block with {words}, t/ha"] = middle
            found[f"high end over low of the crop with {words}"] = high / low
    if head in (*DAYS, ""):
        days = harvest_dates(records, 2027, draws=1000).intervals().groupby("block")["days"].sum()
        for one, words in ((block, "seven seasons"), ("Bare", "no dates")):
            found[f"days to the pick with {words}"] = days[one]
    if head in (*FROST, ""):
        weather = records.weather[records.weather["station"] == "Quillfoot station"]
        row = frost_survival(["2x10+2x2"], weather, "2025-04-20", season=2025, draws=1000)
        row = row.table().iloc[0]
        found["crop left by the invented spring of 2025, share"] = row["crop_left_p50"]
        found["low end of the crop left by that spring, share"] = row["crop_left_p10"]
    return {name: float(value) for name, value in found.items()}


def answers(key, end):
    """Return the usual answers with a figure at one end; in a process of its own."""
    out, into = os.pipe()
    child = os.fork()
    if not child:
        try:
            held = reader._entries()
            held[key] = at_end(held[key], end)
            os.write(into, json.dumps(usual(key)).encode())
        finally:
            os._exit(0)
    os.close(into)
    with os.fdopen(out) as told:
        text = told.read()
    os.waitpid(child, 0)
    return json.loads(text) if text else {}


def most(key):
    """Return (answer, low, high) of the answer that moves most; None where an end is refused."""
    low, high = answers(key, -1), answers(key, 1)
    if set(low) != set(high) or not low:
        return None
    moved = {name: abs(math.log(high[name] / low[name])) for name in low}
    name = max(moved, key=moved.get)
    return (name, low[name], high[name]) if moved[name] > STILL else ("", 1.0, 1.0)


def main():
    """Write the file."""
    head = (
        "# What each assumption moves: the usual answer it moves most, at its low and high end.\n"
    )
    head += "# Computed by tests/benchmarks/handbook_moves.py; never written by hand.\n\n[moves]\n"
    lines = []
    usual(block="Long Acre")  # loads what is needed, and keeps nothing of the block asked about
    for key in keys():
        found = most(key)
        if found:
            name, low, high = found
            told = f'"{name}", {low:.4g}, {high:.4g}' if name else ""
            lines.append(f'"{key}" = [{told}]\n')
            print(lines[-1], end="", flush=True)
    FILE.write_text(head + "".join(lines), "utf-8")


if __name__ == "__main__":
    main()
