"""Write the records of the invented estate Quillfoot, and the truth behind them.

Run ``python make_quillfoot.py`` to write ``quillfoot/`` and ``truth.toml`` beside this script, or
``python make_quillfoot.py FOLDER`` to write both into another folder.  The seed is fixed: the
same bytes come out every time.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import quillfoot_estate as estate
import quillfoot_vines as field
import quillfoot_weather as sky
from quillfoot_truth import truth_text

PARTIAL_PICK = ("Long Acre", 2026, 40.0)  # one block picked on two days: share of the first [%]
FERTILITY_SEASONS = (2025, 2026)
LEAF_BLOCKS = ("Quarry Bank", "Lyre Field")
FALLING_NUMBER = {2020: 40, 2021: 40, 2022: 35, 2023: 35}  # vines a visit; 30 in later seasons
COLUMNS = {
    "blocks": (
        "block", "variety", "row_spacing_m", "vine_spacing_m", "vines", "missing_pct", "area_ha",
        "canopies", "training", "region", "grower", "site", "group", "year_planted", "rows",
        "headlands", "station", "frost_offset_c", "frost_offset_spread_c",
    ),
    "pruning": ("season", "block", "plan", "pruning_weight_kg", "vines_weighed", "date"),
    "counts": (
        "season", "date", "block", "row", "vine", "buds", "shoots", "noncount_shoots", "clusters",
        "pruning_weight_kg", "suitable_canes", "leaf_area_m2", "counter",
    ),
    "fertility": ("season", "block", "wood", "node", "buds", "shoots", "clusters"),
    "weights": ("season", "date", "block", "stage", "clusters", "weight_g", "berries"),
    "harvest": ("season", "block", "date", "tonnes", "picked_pct"),
    "estimates": ("season", "block", "date", "tonnes"),
    "strips": ("season", "block", "strip", "plan", "pair", "vines", "fruit_kg",
               "pruning_weight_kg", "work_h"),
    "dates": ("season", "block", "stage", "date"),
    "weather": ("station", "date", "tmin_c", "tmax_c"),
    "contracts": ("contract", "grower", "variety", "group", "price_per_t", "least_t", "most_t",
                  "most_t_ha", "price_beyond", "currency"),
    "capacity": ("period_start", "period_end", "limit_t", "variety"),
}  # fmt: skip
STRIPS = ("Long Acre", 2026, ("3x8+3x2", "3x10+3x2"), 5)  # block, season, plans, pairs of rows
LONGER_CANES = {"fruit": 0.07, "prunings": -0.06, "work": 0.05}  # of the second plan, ln
STRIP_SPREAD, PAIR_SPREAD = 0.08, 0.14  # between neighbouring rows, and places in the block, ln
ESTIMATED = (2024, 2025, 2026)  # seasons whose crops the grower guessed three weeks from flowering
GUESS_LEAN, GUESS_SPREAD = 0.04, 0.20  # of these guesses, ln
#: Whose fruit it is and where it grows, all invented; the estate's own where a block is not named.
GROWERS = {
    "Mill Meadow": ("Mill Meadow farm", "valley"),
    "Upper Knoll": ("Mill Meadow farm", "slopes"),
    "Long Acre": ("Lyre Field farm", "valley"),
    "Lyre Field": ("Lyre Field farm", "valley"),
}
GROUPS = {"Upper Knoll": "old vines", "Chapel Slope": "old vines"}
CONTRACTS = (
    ("Riesling", "Quillfoot", "Riesling", "", 1500, 6.0, "", 11.0, 600),
    ("Pinot noir", "Quillfoot", "Pinot noir", "", 2400, "", "", 9.0, 900),
    ("Chardonnay", "", "Chardonnay", "", 1700, "", "", "", ""),
    ("Sauvignon blanc", "Lyre Field farm", "Sauvignon blanc", "", 1250, 20.0, 45.0, "", 500),
    ("Upper Knoll", "Mill Meadow farm", "", "old vines", 2100, 2.0, 4.0, "", 1200),
)
CAPACITY = (  # first day, tonnes a week; all varieties together
    ("2027-09-01", 10), ("2027-09-08", 10), ("2027-09-15", 14), ("2027-09-22", 16),
    ("2027-09-29", 20), ("2027-10-06", 20), ("2027-10-13", 14), ("2027-10-20", 10),
)  # fmt: skip


def day(date: pd.Timestamp, days: float = 0) -> pd.Timestamp:
    """Return the date some days on."""
    return date + pd.Timedelta(days=round(days))


def blocks_table() -> pd.DataFrame:
    """Return a row for each block."""
    return pd.DataFrame(
        {
            "block": b.name,
            "variety": b.variety,
            "row_spacing_m": b.row_spacing_m,
            "vine_spacing_m": b.vine_spacing_m,
            "vines": b.vines,
            "missing_pct": b.missing_pct,
            "area_ha": round(b.vines * b.row_spacing_m * b.vine_spacing_m / 10_000, 4),
            "canopies": b.canopies,
            "training": b.training,
            "region": "Quill valley (invented)",
            "grower": GROWERS.get(b.name, ("Quillfoot", "slopes"))[0],
            "site": GROWERS.get(b.name, ("Quillfoot", "slopes"))[1],
            "group": GROUPS.get(b.name, ""),
            "year_planted": b.year_planted,
            "rows": b.rows,
            "headlands": field.HEADLANDS,
            "station": sky.STATION,
            "frost_offset_c": b.frost_offset_c,
            "frost_offset_spread_c": 0.5 if b.name == sky.LOW_BLOCK else 0.3,
        }
        for b in estate.BLOCKS
    )


def season_records(number, block, season, truth, stages, tables):
    """Add all that the crew wrote down about one counted block in one season."""
    vines = field.grow_block(block)
    true = truth[block.name, season]
    grown = field.grow_season(vines, season, true)
    visits = FALLING_NUMBER.get(season, 30)
    crews = field.crews_of(number, season, visits)
    rng = estate.stream("days", block.name, season)
    pruned = day(pd.Timestamp(season, 1, 20), rng.integers(0, 40))
    burst, flowering, veraison, harvest = (
        stages[block.name, season, stage]
        for stage in ("budburst", "flowering", "veraison", "harvest")
    )

    weighed = visits if season >= field.FIXED_VINES_FROM else 15
    mean_kg = truth[block.name, season - 1]["pruning_weight_kg_per_m"] * block.canopy_length_m
    prunings = field.weigh_prunings(block, season, mean_kg, weighed)
    tables["pruning"].append(pruning_row(season, block, block.plan(season), prunings, pruned))
    marked = season >= field.FIXED_VINES_FROM
    before = field.grow_season(vines, season - 1, truth[block.name, season - 1])
    tables["counts"] += [
        field.bud_visit(
            vines, grown, season, day(pruned, 0 if marked else 2), visits, crews,
            prunings if marked else None, before.suitable_canes if marked else None,
        ),
        field.shoot_visit(
            vines, grown, season, day(burst, 34 + rng.integers(-3, 4)), visits, crews
        ),
        field.cluster_visit(
            vines, grown, season, day(flowering, 21 + rng.integers(-3, 4)), visits, crews,
            estate.counting_bias(block.name, season),
        ),
    ]  # fmt: skip
    if season == 2026 and block.name in LEAF_BLOCKS:
        tables["counts"].append(
            field.measure_leaves(vines, grown, season, day(veraison, 5), 8, true)
        )
    tables["weights"] += [
        field.weigh_lots(block, season, date, stage, mean_g, lots, season >= 2025)
        for date, stage, mean_g, lots in (
            (day(flowering, 52), "lag", true["lag_weight_g"], 3),
            (day(veraison, 12), "veraison", true["veraison_weight_g"], 2),
            (day(harvest, -2), "harvest", true["cluster_weight_g"], 3),
        )
    ]
    if block.name in field.FERTILITY_BLOCKS and season in FERTILITY_SEASONS:
        tables["fertility"].append(field.examine_nodes(block, season, true, 40, 60))


def pruning_row(season, block, plan, prunings, date) -> pd.DataFrame:
    """Return a row of the pruning table; the weight is the mean of the vines weighed."""
    weighed = prunings is not None
    return pd.DataFrame(
        {
            "season": [season],
            "block": [block.name],
            "plan": [plan],
            "pruning_weight_kg": [round(float(np.mean(prunings)), 3) if weighed else np.nan],
            "vines_weighed": [len(prunings) if weighed else np.nan],
            "date": [date],
        }
    )


def harvest_rows(block, season, truth, stages) -> pd.DataFrame:
    """Return what went over the scale, in one pick or two."""
    tonnes, date = truth["tonnes"], stages[block.name, season, "harvest"]
    rows = [(date, tonnes, np.nan)]
    if (block.name, season) == PARTIAL_PICK[:2]:
        first = PARTIAL_PICK[2]
        rows = [
            (date, tonnes * first / 100, first),
            (day(date, 4), tonnes * (1 - first / 100), 100),
        ]
    frame = pd.DataFrame(rows, columns=["date", "tonnes", "picked_pct"])
    frame.insert(0, "season", season)
    frame.insert(1, "block", block.name)
    frame["tonnes"] = frame["tonnes"].round(2)
    return frame


def estimates_table(truth, stages) -> pd.DataFrame:
    """Return what the grower expected of each block in three seasons, to half a tonne."""
    rows = []
    for season in ESTIMATED:
        for block in estate.BEARING_BLOCKS:
            off = estate.stream("estimate", block.name, season).normal(GUESS_LEAN, GUESS_SPREAD)
            tonnes = truth[block.name, season]["tonnes"] * np.exp(off)
            date = day(stages[block.name, season, "flowering"], 17)
            rows.append((season, block.name, date, round(2 * tonnes) / 2))
    return pd.DataFrame(rows, columns=list(COLUMNS["estimates"]))


def strips_table(truth) -> pd.DataFrame:
    """Return the trial: pairs of neighbouring rows, a plan each, given out by chance."""
    name, season, plans, pairs = STRIPS
    block = next(block for block in estate.BLOCKS if block.name == name)
    true, rng = truth[name, season], estate.stream("strips", name, season)
    bearing = block.vines * (1 - block.missing_pct / 100)
    kg = 1000 * true["tonnes"] / bearing
    wood = true["pruning_weight_kg_per_m"] * block.canopy_length_m
    rows = []
    for pair in range(1, pairs + 1):
        place = rng.normal(0, PAIR_SPREAD)
        for side, plan in enumerate(rng.permutation(2)):
            vines = int(rng.binomial(round(block.vines / block.rows), bearing / block.vines))
            fruit, prunings = place + rng.normal(0, STRIP_SPREAD, 2)
            change = {key: plan * size for key, size in LONGER_CANES.items()}
            rows.append({
                "season": season, "block": name, "strip": str(2 * pair - 1 + side),
                "plan": plans[plan], "pair": str(pair), "vines": vines,
                "fruit_kg": round(vines * kg * np.exp(fruit + change["fruit"])),
                "pruning_weight_kg": round(wood * np.exp(prunings + change["prunings"]), 3),
                "work_h": round(4.2 * np.exp(change["work"] + rng.normal(0, 0.03)), 1),
            })  # fmt: skip
    return pd.DataFrame(rows)


def winter_2027(truth, tables):
    """Add the winter 2026/27: sample vines pruned and weighed, no plan chosen yet."""
    for number, block in enumerate(estate.BLOCKS):
        if block.plans and not block.counted:
            continue
        date = pd.Timestamp(2026, 11, 16 + number % 4)
        if not block.plans:
            mean_kg = estate.YOUNG_WOOD_KG_PER_M * block.canopy_length_m
            prunings = field.weigh_prunings(block, 2027, mean_kg, 20)
        else:
            past = truth[block.name, 2026]
            mean_kg = past["pruning_weight_kg_per_m"] * block.canopy_length_m
            prunings = field.weigh_prunings(block, 2027, mean_kg, 20)
            vines = field.grow_block(block)
            canes = field.grow_season(vines, 2026, past).suitable_canes
            tables["counts"].append(
                field.bud_visit(
                    vines, None, 2027, date, 20, field.crews_of(number, 2027, 20), prunings, canes
                )
            )
        tables["pruning"].append(pruning_row(2027, block, "", prunings, date))


def all_tables():
    """Return every table of the estate, and the truth behind them."""
    effects, truth = estate.draw_truth()
    weather, stages = sky.draw_weather()
    names = ("pruning", "counts", "fertility", "weights", "harvest", "dates")
    tables = {name: [] for name in names}
    for season in estate.SEASONS:
        for number, block in enumerate(estate.BLOCKS):
            if not block.plans or season in block.gap_seasons:
                continue
            if block.counted:
                season_records(number, block, season, truth, stages, tables)
            else:
                tables["pruning"].append(
                    pruning_row(season, block, block.plan(season), None, pd.NaT)
                )
            tables["harvest"].append(harvest_rows(block, season, truth[block.name, season], stages))
            reached = [
                {"season": season, "block": block.name, "stage": stage,
                 "date": stages[block.name, season, stage]}
                for stage in ("budburst", "flowering", "veraison", "harvest")
            ]  # fmt: skip
            tables["dates"].append(pd.DataFrame(reached))
    winter_2027(truth, tables)
    frames = {name: pd.concat(parts, ignore_index=True) for name, parts in tables.items()}
    frames["blocks"], frames["weather"] = blocks_table(), weather
    frames["estimates"], frames["strips"] = estimates_table(truth, stages), strips_table(truth)
    contracts = [(*row, "EUR") for row in CONTRACTS]
    frames["contracts"] = pd.DataFrame(contracts, columns=list(COLUMNS["contracts"]))
    starts = [pd.Timestamp(start) for start, _ in CAPACITY]
    frames["capacity"] = pd.DataFrame(
        {
            "period_start": starts,
            "period_end": [day(start, 6) for start in starts],
            "limit_t": [limit for _, limit in CAPACITY],
            "variety": "",
        }
    )
    return frames, effects, truth


def _cell(value) -> str:
    if isinstance(value, str):
        return value
    if pd.isna(value):
        return ""
    if isinstance(value, pd.Timestamp):
        return value.strftime("%Y-%m-%d")
    return f"{float(value):.10g}"


def write_csv(frame: pd.DataFrame, columns, path: Path) -> None:
    """Write a table: commas, decimal points, UTF-8, one newline a row."""
    frame = frame.reindex(columns=list(columns))
    lines = [",".join(columns)]
    cells = [[_cell(value) for value in frame[name]] for name in columns]
    lines += [",".join(row) for row in zip(*cells, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def main(folder: Path) -> None:
    """Write the records into ``folder/quillfoot`` and the truth into ``folder/truth.toml``."""
    frames, effects, truth = all_tables()
    records = folder / "quillfoot"
    records.mkdir(parents=True, exist_ok=True)
    for name, columns in COLUMNS.items():
        write_csv(frames[name], columns, records / f"{name}.csv")
    text = truth_text(effects, truth)
    (folder / "truth.toml").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
