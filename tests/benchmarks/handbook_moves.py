"""What each assumption of the handbook moves: usual answers at its low and at its high end.

``python tests/benchmarks/handbook_moves.py`` writes ``cropload/handbook/moves.toml`` anew, each
figure in a process of its own; run it after a change of a default. With keys, or beginnings of
keys, it computes these alone. ``answers(key, end)`` is what ``tests/test_moves.py`` computes again.
"""

import json
import math
import os
import sys
import tomllib
from dataclasses import replace
from pathlib import Path

import pandas as pd

from cropload import (
    crew_check,
    due,
    example_records,
    find_plans,
    forecast,
    frost_survival,
    handbook,
    harvest_dates,
    sample_vines,
    thin_to,
    two_step_plan,
)
from cropload.beliefs.ranges import reach
from cropload.handbook import reader
from cropload.records.tables import TABLES
from cropload.review.causes import find_causes
from cropload.vine.wood import replacement_wood

FILE = Path(reader.__file__).with_name("moves.toml")
#: Groups whose figures reach a crop, a picking day or what a frost leaves.
CROP = ("prior", "sd", "load", "profile", "noncount", "trend", "loss", "learning", "forecast")
CROP += ("lag_phase", "young", "interval", "fertility")
CROP += ("variety",)
DAYS, FROST = ("dates",), ("frost", "phenology")
COUNTS, CAUSES, PLANS = ("sampling",), ("causes",), ("wood", "find", "thin", "due")
#: What is counted on vines, as the answers call it.
MEASURED = {
    "buds": "buds",
    "shoots": "shoots",
    "noncount_shoots": "shoots from old wood",
    "clusters": "clusters",
    "suitable_canes": "canes fit to keep",
    "pruning_weight_kg": "prunings",
    "leaf_area_m2": "leaf area",
}
#: Change of the log of an answer below which it stands still.
STILL = 0.002
#: Factor to either side where an entry has neither range nor spread.
WIDE = 1.5


def keys():
    """Return the assumptions that are looked at."""
    heads = (*CROP, *DAYS, *FROST, *COUNTS, *CAUSES, *PLANS)
    held = [handbook.entry(key) for key in reader._entries()]
    return [
        e.key
        for e in held
        if e.grade == "assumption"
        and e.key.split(".")[0] in heads
        and (e.value is not None or e.low is not None)
    ]


def at_end(entry, end):
    """Return an entry with its value at its low (-1) or high (1) end."""
    value, low, high = entry.value, entry.low, entry.high
    if value is None:  # ends alone: both nearer to nothing, or further from it
        return replace(entry, low=low * WIDE**end, high=high * WIDE**end)
    if low is not None and not isinstance(value, list):
        new = low if end < 0 else high
    elif entry.spread and entry.key.startswith("load."):
        new = value + end * reach() * entry.spread
    else:
        # The spread of a cause is that of what it does, not of how usual it is.
        unsure = entry.spread and not entry.key.startswith("causes.")
        factor = math.exp(end * reach() * entry.spread) if unsure else WIDE**end
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


def estate(block="Lyre Field", variety="Anyvine"):
    """Return a block with seven seasons on record and one of a variety with nothing."""
    whole, kept = example_records(), [block]
    tables = {}
    for name in TABLES:
        table = getattr(whole, name)
        if "block" in table.columns:
            table = table[table["block"].isin(kept)].reset_index(drop=True)
        tables[name] = table
    bare = tables["blocks"].assign(block="Bare", variety=variety)
    tables["blocks"] = pd.concat([tables["blocks"], bare], ignore_index=True)
    return replace(whole, **tables)


def usual(key="", block="Lyre Field"):
    """Return the usual answers that a key can reach, by what they are called."""
    head, found, variety = key.split(".")[0], {}, "Anyvine"
    if head == "variety":
        variety = reader._raw()["variety"][key.split(".")[1]]["name"]
    records = estate(block, variety)
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
    if head in (*COUNTS, ""):
        found |= of_counts(records, block, key.partition(".")[2])
    if head in (*CAUSES, ""):
        found |= of_causes()
    if head in (*PLANS, ""):
        found |= of_plans(records, block, head)
    return {name: float(value) for name, value in found.items()}


def of_counts(records, block, about):
    """Return vines to count, hours they take, a check of a crew, and what counts leave."""
    found = {}
    for measure, words in MEASURED.items():
        if about == f"cv_{measure}" or not about:
            vines = sample_vines(records, "Bare", measure).vines
            found[f"vines to count for {words} with no records, vines"] = vines
        if about == f"minutes_{measure}":
            found[f"work to count {words} on 40 vines, h"] = (
                handbook.value(f"sampling.{about}") / 1.5
            )
    if not about.startswith(("crew", "zero", "own")):
        found["work to count and weigh for 10 % of a crop, h"] = two_step_plan(0.1).minutes / 60
    if not about or about.startswith("crew"):
        off = max(crew_check(records, block, draws=400).share_off, 0.01)
        found["share of vines off the plan, by a check of a crew"] = off
    if not about.startswith(("crew", "minutes")):
        late = forecast(records, 2026, "2026-09-10", draws=1000).frame.set_index("block")
        low, middle, high = (late.loc[block, f"t_ha_{end}"] for end in ("p10", "p50", "p90"))
        found["crop of a block after its counts, t/ha"] = middle
        found["high end over low of the crop after counts"] = high / low
    return found


def of_causes():
    """Return the chances told of causes where one block's crop came to half."""
    whole, told = example_records(), handbook.value("causes.named")
    short = (whole.harvest["block"] == "Lyre Field") & (whole.harvest["season"] == 2025)
    tonnes = whole.harvest["tonnes"].mask(short, whole.harvest["tonnes"] / 2)
    causes = find_causes(replace(whole, harvest=whole.harvest.assign(tonnes=tonnes)), 2025)
    likeliest = max((cause.chance for cause in causes), default=told)
    return {"chance left beside the cause named of a halved crop": 1 - likeliest}


def of_plans(records, block, head):
    """Return what is put forward to prune, to thin and to do, and the places that are lost."""
    found = {}
    if head in ("find", ""):
        best = find_plans(records, block, target_t_ha=8.0, draws=400).frame.iloc[0]
        found["buds of the plan put forward for 8 t/ha, a vine"] = best["buds_per_vine"]
    if head in ("wood", ""):
        short = replacement_wood(4, 4, 2, 0.7).places_short_by_winter[-1]
        found["places short of wood after the winters looked at, a vine"] = short
    if head in ("thin", ""):
        made = forecast(records, 2026, "2026-07-15", draws=1000)
        thinned = thin_to(made, block, target_t_ha=7.0)
        found["clusters to leave for 7 t/ha, a vine"] = thinned.keep
        found["work to thin to 7 t/ha, h"] = thinned.labour_h
    if head in ("due", ""):
        days = ("2027-01-20", "2027-05-20", "2027-07-15", "2027-09-01", "2027-10-01")
        frames = [due(records, day).frame for day in days]
        minutes = sum(each.loc[each["state"] == "now", "minutes"].sum() for each in frames)
        found["work due on five days of the year, min"] = max(minutes, 1.0)
    return found


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


def main(*only):
    """Write the file; with beginnings of keys the others stay as they are."""
    head = (
        "# What each assumption moves: the usual answer it moves most, at its low and high end.\n"
    )
    head += "# Computed by tests/benchmarks/handbook_moves.py; never written by hand.\n\n[moves]\n"
    kept, lines = tomllib.loads(FILE.read_text("utf-8"))["moves"], []
    usual(block="Long Acre")  # loads what is needed, and keeps nothing of the block asked about
    for key in keys():
        found = most(key) if not only or key.startswith(only) else kept.get(key)
        if found is not None:
            name, low, high = found or ("", 1.0, 1.0)
            told = f'"{name}", {low:.4g}, {high:.4g}' if name else ""
            lines.append(f'"{key}" = [{told}]\n')
            print(lines[-1], end="", flush=True)
    FILE.write_text(head + "".join(lines), "utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
