"""Invented estates of many kinds, made in memory as the CSV files that a grower would keep.

What is usual in each kind of vineyard is common practice, no source.
"""

import csv
import io
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from cropload.records.reading.csv_table import read_csv
from cropload.records.records import assemble
from cropload.records.tables import TABLES

YEARS = range(2021, 2027)
#: What a block is unless it says otherwise: a trellis of canes.
USUAL = {
    "variety": "Riesling",
    "row": 2.0,
    "vine": 1.2,
    "vines": 2400,
    "missing": 2,
    "planted": 1998,
    "plan": "2x10+2x2",
    "burst": 0.9,
    "fruit": 1.6,
    "grams": 130.0,
    "years": YEARS,
    "counted": 10,
    "lots": 4,
    "in_lot": 40,
    "prunings": 0.7,
    "picked": (9, 28),
    "passes": (100,),
    "swing": 0.12,
    "times": {},
    "lost": {},
    "also": {},
    "thinned": 1.0,
    "south": False,
}


class Estate(dict):
    """Table -> list of rows {column: value}; made of blocks, and changed by who uses it."""

    def read(self):
        """Return these tables as read from files of text."""
        raws = {}
        for name, rows in self.items():
            columns = list(dict.fromkeys(column for row in rows for column in row))
            text = io.StringIO()
            writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
            raws[name] = read_csv(TABLES[name], f"{name}.csv", text.getvalue().encode())
        return assemble(Path("invented"), raws)

    def each(self, name, **where):
        """Return the rows of a table that fit."""
        return [
            row
            for row in self[name]
            if all(
                row.get(column) in (wanted if isinstance(wanted, (tuple, list)) else (wanted,))
                for column, wanted in where.items()
            )
        ]


def buds_of(plan):
    """Return the buds of a plan [1]."""
    return sum(int(a) * int(b) for a, b in (part.split("x") for part in plan.split("+")))


def estate(*blocks, seed=0, **common):
    """Return an Estate of blocks, each told as it differs from the usual one.

    ``plan``, ``burst``, ``fruit``, ``grams`` and ``prunings`` may be functions of the season;
    ``times`` are years with so many times the clusters, ``lost`` shares lost before the scale [%],
    ``thinned`` the share left on the vine after the count.
    """
    draw = np.random.default_rng([seed, 18])
    made = Estate(blocks=[], pruning=[], counts=[], weights=[], harvest=[], dates=[])
    good = {year: draw.normal(0, 0.1) for year in range(1980, 2030)}
    for number, own in enumerate(blocks or ({}, {"variety": "Merlot"}, {})):
        block = USUAL | common | own
        block.setdefault("name", f"Block {chr(65 + number)}")
        _plant(made, block)
        for year in block["years"]:
            _season(made, block, year, good[year], draw)
    return Estate({name: rows for name, rows in made.items() if rows})


def _of(block, name, year):
    given = block[name]
    return given(year) if callable(given) else given


def _plant(made, block):
    spec = {"block": block["name"], "variety": block["variety"], "row_spacing_m": block["row"]}
    spec |= {"vine_spacing_m": block["vine"], "vines": block["vines"]}
    spec |= {"missing_pct": block["missing"], "year_planted": block["planted"]}
    made["blocks"].append(spec | block["also"])


def _season(made, block, year, good, draw):
    key = {"season": year, "block": block["name"]}
    plan, burst, fruit, grams = (_of(block, name, year) for name in ("plan", "burst", "fruit",
                                                                    "grams"))  # fmt: skip
    day = _days(block, year, draw)
    buds = buds_of(plan) if plan else 0
    if plan:
        row = key | {"plan": plan, "date": day(1, 20)}
        if block["prunings"]:
            row |= {"pruning_weight_kg": round(_of(block, "prunings", year) * draw.normal(1, 0.12),
                                               2)}  # fmt: skip
        made["pruning"].append(row)
    per_vine = buds * burst * fruit * np.exp(good + draw.normal(0, block["swing"]))
    per_vine *= block["times"].get(year, 1.0)
    grams = grams * np.exp(draw.normal(0, 0.08))
    for place in range(block["counted"]):
        shoots = max(1, round(buds * burst * draw.normal(1, 0.1)))
        vine = min(3 + 4 * place, block["vines"])
        counted = {"row": place + 1, "vine": vine, "buds": buds, "shoots": shoots}
        counted["clusters"] = max(0, round(per_vine * draw.normal(1, 0.15)))
        made["counts"].append(key | {"date": day(6, 15)} | counted)
    for stage, share, at in (("lag", 0.5, (7, 25)), ("harvest", 1.0, None)):
        for _ in range(block["lots"]):
            weight = share * grams * block["in_lot"] * draw.normal(1, 0.06)
            when = day(*(at or block["picked"]), before=0 if at else 6)
            lot = {"date": when, "stage": stage, "clusters": block["in_lot"]}
            made["weights"].append(key | lot | {"weight_g": round(weight)})
    vines = block["vines"] * (1 - block["missing"] / 100)
    crop = per_vine * block["thinned"] * grams * vines / 1e6 * draw.normal(0.95, 0.05)
    lost, before = block["lost"].get(year, 0), 0
    for turn, share in enumerate(block["passes"]):
        row = key | {"date": day(*block["picked"], before=-4 * turn)}
        row["tonnes"] = f"{crop * (1 - lost / 100) * (share - before) / 100:.3f}"
        row |= {"picked_pct": share} if len(block["passes"]) > 1 else {}
        made["harvest"].append(row | ({"lost_pct": lost} if lost else {}))
        before = share
    for stage, at in (("budburst", (4, 20)), ("flowering", (6, 8)), ("veraison", (8, 15))):
        made["dates"].append(key | {"stage": stage, "date": day(*at)})


def _days(block, year, draw):
    """Return what gives a day of a season: half a year earlier in the south."""
    shift = int(draw.integers(-6, 7))

    def day(month, first, before=0):
        when = date(year, month, first) + timedelta(days=shift - before)
        return when - timedelta(days=182) if block["south"] else when

    return day
