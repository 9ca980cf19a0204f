"""Messy workbooks with a column a season: a ranch in feet and tons, and an estate of 40 blocks."""

from datetime import date, timedelta
from random import Random

from tests.records.importing.messy_case import Case, Cell, csv, write_xls, write_xlsx

# --- Feet, acres, pounds and short tons, in the old binary format -------------------------------

#: Block, variety as written, the variety, row and vine spacing [ft], vines, planted, tons by year.
_RANCH = (
    ("Creek", "Cab Sauv", "Cabernet Sauvignon", 8, 5, 4350, 2003, (18.2, 15.9, 17.4, 12.8, 19, 18)),
    ("Bench", "Cab S.", "Cabernet Sauvignon", 8, 6, 3620, 2003, (15.1, 14, 15.6, 11.2, 16.3, 15.7)),
    ("Corral", "Merlot", "Merlot", 9, 5, 2900, 2001, (13.4, 12.7, 13.9, 10.1, 14.2, 13.3)),
    ("Windmill", "Syrah", "Syrah", 8, 5, 2175, 2017, (None, 4.2, 7.7, 6.9, 9.8, 9.4)),
    ("Gate", "Chard.", "Chardonnay", 8, 4, 3400, 2005, (12.3, 11.1, 12.9, 9.4, 13.2, 12.1)),
    ("Lower Gate", "Chard.", "Chardonnay", 8, 4, 1250, 2006, (4.6, 4.1, 4.9, 3.6, 5.1, 4.4)),
    ("Spring", "SB", "Sauvignon blanc", 9, 5, 1940, 2009, (9.2, 8.7, 9.9, 7.1, 10.4, 9.6)),
    ("Barn", "Chenin", "Chenin blanc", 10, 6, 1450, 1988, (9.8, 9.1, 10.2, 8.0, 10.9, 10.1)),
)
_YEARS = tuple(range(2020, 2026))

#: Block as written, block, day, clusters, pounds of them all.
_LAG = (
    ("Creek", "Creek", date(2025, 7, 28), 100, 13.1),
    ("Bench", "Bench", date(2025, 7, 28), 100, 12.6),
    ("CORRAL", "Corral", date(2025, 7, 22), 80, 12.9),
    ("Gate", "Gate", date(2025, 7, 18), 100, 15.2),
    ("lower gate", "Lower Gate", date(2025, 7, 18), 50, 7.4),
    ("Spring", "Spring", date(2025, 7, 21), 50, 7.9),
)

#: Winter's end, block, plan, pounds of prunings a vine, vines weighed, day.
_CUT = (
    (2024, "Creek", "8x2", 2.4, 20, date(2024, 2, 13)),
    (2024, "Bench", "8x2", 2.9, 20, date(2024, 2, 21)),
    (2024, "Gate", "2x10", 1.6, 15, date(2024, 1, 30)),
    (2025, "Creek", "8x2", 2.1, 20, date(2025, 2, 18)),
    (2025, "Bench", "10x2", 2.6, 20, date(2025, 2, 26)),
    (2025, "Gate", "2x10", 1.5, 15, date(2025, 1, 29)),
    (2025, "Spring", "2x12+2x2", 3.3, 15, date(2025, 2, 4)),
)

_CONTRACTS = (("Cab Sauv", "Cabernet Sauvignon", 2150, 30), ("Chard.", "Chardonnay", 1480, None))


def _tons():
    return [one[7] for one in _RANCH]


def _acres(row, vine, vines):
    return round(row * vine * vines / 43560, 2)


def _write_ranch(folder):
    sheets = {
        "Map": [
            [Cell("QUILLFOOT CREEK RANCH", across=6)],
            ["acres are planted acres, off the survey"],
            [],
            ["Block", "Variety", "Spacing (ft)", "Acres", "# vines", "Yr planted"],
        ],
        "Tons": [["Tons picked"], [], ["Block", *_YEARS, "Avg", "Comments"], ["REDS"]],
    }
    for block, short, _, row, vine, vines, planted, tons in _RANCH:
        acres = _acres(row, vine, vines)
        sheets["Map"].append([block, short, f"{row} x {vine}", acres, f"{vines:,}", planted])
        if block == "Gate":
            sheets["Tons"] += [[], ["WHITES"]]
        told = [crop for crop in tons if crop]
        remark = {"Windmill": "grafted 2017, first crop 2021", "Creek": "2023 smoke?"}.get(block)
        crops = ["-" if crop is None else crop for crop in tons]
        sheets["Tons"].append([block, *crops, round(sum(told) / len(told), 1), remark])
    acres = sum(_acres(*one[3:6]) for one in _RANCH)
    sheets["Map"].append(["TOTAL", None, None, round(acres, 2)])
    by_year = [sum(crop or 0 for crop in crops) for crops in zip(*_tons(), strict=True)]
    sheets["Tons"] += [["Total", *(round(crop, 1) for crop in by_year)]]
    sheets["Lag"] = [
        ["CLUSTER WEIGHTS AT LAG PHASE 2025"],
        [],
        ["Block", "Date", "# clusters", "Total (lb)"],
        *([spelt, day, count, f"{lb} lb"] for spelt, _, day, count, lb in _LAG),
    ]
    cut = [
        [year, block, plan, lb, vines, f"{day.month}/{day.day}/{day.year}"]
        for year, block, plan, lb, vines, day in _CUT
    ]
    heads = ["Crop year", "Block", "Pruned to", "Lbs prunings/vine", "Vines weighed", "Date"]
    sheets["Pruning"] = [heads, *cut]
    sheets["Contracts"] = [
        ["Grape contracts now running"],
        ["Variety", "$/ton", "Max tons"],
        *([short, Cell(price, "#,##0"), most or "n/a"] for short, _, price, most in _CONTRACTS),
    ]
    sheets["Tasting room"] = [
        ["Wine", "Vintage", "Bottle", "Case"],
        ["Creek red", 2021, 38, 410],
        ["Gate white", 2023, 26, 280],
    ]
    sheets["Sheet3"] = []
    return [write_xls(folder / "RANCH.xls", sheets)]


RANCH = Case(
    "ranch",
    "A rancher in feet and tons whose accountant still wants the old binary format.",
    _write_ranch,
    {
        "blocks": csv(
            "block,variety,row_spacing_ft,vine_spacing_ft,vines,area_ac,year_planted",
            [
                (block, name, row, vine, vines, _acres(row, vine, vines), planted)
                for block, _, name, row, vine, vines, planted, _ in _RANCH
            ],
        ),
        "harvest": csv(
            "season,block,tons",
            [
                (year, one[0], tons)
                for one in _RANCH
                for year, tons in zip(_YEARS, one[7], strict=True)
                if tons is not None
            ],
        ),
        "weights": csv(
            "season,date,block,stage,clusters,weight_lb",
            [(2025, day, block, "lag", count, lb) for _, block, day, count, lb in _LAG],
        ),
        "pruning": csv("season,block,plan,pruning_weight_lb,vines_weighed,date", _CUT),
        "contracts": csv(
            "contract,variety,price_per_ton,most_ton,currency",
            [(name, name, price, most, "USD") for _, name, price, most in _CONTRACTS],
        ),
    },
    left_out=(
        "acres are planted acres, off the survey",
        "TOTAL",
        "Avg",
        "Total",
        "Comments",
        "Tasting room",
    ),
    asked=(("Which currency is '$'?", "USD"),),
)

# --- Forty blocks: the variety only in a line above them, two columns a year --------------------

_SORTS = {
    "PINOT NOIR": ("Pinot noir", 6.2),
    "CHARDONNAY": ("Chardonnay", 7.4),
    "RIESLING": ("Riesling", 8.1),
    "SAUV. BLANC": ("Sauvignon blanc", 8.8),
}
_FIELDS = ("Abbey", "Beck", "Cotter", "Dene", "Eller", "Fold", "Garth", "Holt")
_SEASONS = tuple(range(2020, 2026))


def _forty():
    """Return {line above: [(block, rows, vines, planted, {season: (tonnes, day)})]}."""
    draw, groups = Random(240), {}
    good = dict(zip(_SEASONS, (1.0, 0.84, 1.12, 0.97, 0.71, 1.08), strict=True))
    for at, (above, (_, usual)) in enumerate(_SORTS.items()):
        rows = []
        for number in range(10):
            block = f"{_FIELDS[2 * at + number // 5]} {number % 5 + 1}"
            lines, planted = draw.randint(14, 48), draw.choice((1996, 2004, 2011, 2018))
            vines, crops = lines * draw.randint(52, 96), {}
            for season in _SEASONS[2 if planted == 2018 else 0 :]:
                t_ha = usual * good[season] * draw.uniform(0.85, 1.15)
                day = date(season, 9, 14) + timedelta(days=9 * at + draw.randint(0, 8))
                crops[season] = round(t_ha * vines * 2.4 / 10000, 2), day
            rows.append((block, lines, vines, planted, crops))
        groups[above] = rows
    return groups


_GROUPS = _forty()


def _write_forty(folder):
    register = [
        ["Quillfoot Estates, vineyard register", *[None] * 5, "all 2.0 m rows, 1.2 m in the row"],
        [],
        [None, "Block", "Rows", "No. of\nvines", "Row (m)", "Vine (m)", "Planted", "Clone"],
    ]
    crop = [
        [Cell("Crop by block", across=14)],
        [],
        ["Block", "ha", *(one for year in _SEASONS for one in (Cell(year, across=2), None))],
        [None, None, *["t", "picked"] * len(_SEASONS)],
    ]
    for above, rows in _GROUPS.items():
        register.append([None, Cell(above, across=7)])
        crop.append([above])
        for block, lines, vines, planted, crops in rows:
            # Large numbers were typed with a space.
            written = f"{vines:,}".replace(",", " ")
            register.append([None, block, lines, written, 2, 1.2, planted, "mixed"])
            told = []
            for season in _SEASONS:
                tonnes, day = crops.get(season, ("n/a", None))
                told += [tonnes, day and (f"{day}" if season < 2024 else day)]
            crop.append([block.upper() if "Dene" in block else block, _ha(vines), *told])
        vines = sum(row[2] for row in rows)
        register += [[None, f"{above.title()} total", None, vines], []]
        means = []
        for season in _SEASONS:
            told = [row[4][season][0] for row in rows if season in row[4]]
            means += [round(sum(told) / len(told), 2), None]
        crop.append([f"average {above.lower()}", None, *means])
    pivot = [["Row Labels", "Sum of t"]]
    for season in _SEASONS:
        told = [crops[season][0] for _, crops in _crops() if season in crops]
        pivot.append([str(season), round(sum(told), 2)])
    return [
        write_xlsx(
            folder / "Estate master v7 FINAL.xlsx",
            {"Register": register, "Crop": crop, "Pivot": pivot},
        )
    ]


def _ha(vines):
    return round(vines * 2.4 / 1e4, 4)


def _crops():
    return [(row[0], row[4]) for rows in _GROUPS.values() for row in rows]


FORTY = Case(
    "forty_blocks",
    "The office of a large estate: a register in groups of varieties, and two columns a year.",
    _write_forty,
    {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines,area_ha,year_planted,rows",
            [
                (block, _SORTS[above][0], 2, 1.2, vines, _ha(vines), planted, lines)
                for above, rows in _GROUPS.items()
                for block, lines, vines, planted, _ in rows
            ],
        ),
        "harvest": csv(
            "season,block,date,tonnes",
            [
                (season, block, day, tonnes)
                for block, crops in _crops()
                for season, (tonnes, day) in crops.items()
            ],
        ),
    },
    left_out=("Clone", "Pivot", "Pinot Noir total", "average pinot noir"),
)
