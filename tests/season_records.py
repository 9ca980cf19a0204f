"""A small invented estate with two seasons of history, for tests of the season's forecast."""

from helpers import block_row, make_records

RIESLING = ("Alder", "Birch", "Cedar", "Elder")
PINOT = ("Fir", "Gorse")
BLOCKS = RIESLING + PINOT
SEASON = 2026


def count_rows(block, value, vines=20, season=SEASON, date="06-25", column="clusters", first=1):
    """Return counts of ``vines`` vines that alternate by a fifth about ``value``."""
    return [
        {
            "season": season,
            "date": f"{season}-{date}",
            "block": block,
            "row": "1",
            "vine": str(vine),
            column: round(value * (1.2 if vine % 2 else 0.8)),
        }
        for vine in range(first, first + vines)
    ]


def weight_row(block, grams, stage="lag", clusters=60, season=SEASON, date="07-25"):
    """Return one lot of clusters of a mean weight [g]."""
    return {
        "season": season,
        "date": f"{season}-{date}",
        "block": block,
        "stage": stage,
        "clusters": clusters,
        "weight_g": grams * clusters,
    }


def history():
    """Return the tables of two past seasons, that differ a little by block and season."""
    tables = {"pruning": [], "counts": [], "weights": [], "harvest": []}
    for season in (2024, 2025):
        good = 1.1 if season == 2025 else 0.95
        for at, block in enumerate(BLOCKS):
            own = 1 + 0.05 * (at - 2)
            clusters, grams = 30 * good * own, 120 * (2 - good)
            plan = "2x12+2x2" if (season, block) == (2025, "Cedar") else "2x10+2x2"
            tables["pruning"].append({"season": season, "block": block, "plan": plan})
            tables["counts"] += count_rows(block, clusters, season=season)
            tables["weights"].append(weight_row(block, grams, "harvest", 50, season, "09-10"))
            tables["harvest"].append(
                {
                    "season": season,
                    "block": block,
                    "date": f"{season}-09-20",
                    "tonnes": clusters * grams * 0.93 / 1000,
                }
            )
    tables["pruning"] += [{"season": SEASON, "block": b, "plan": "2x10+2x2"} for b in BLOCKS]
    return tables


def block_rows():
    """Return the rows of table blocks, all alike but for name and variety."""
    riesling = [block_row(block, "Riesling") for block in RIESLING]
    return riesling + [block_row(block, "Pinot noir") for block in PINOT]


def small_estate(blocks=None, **more):
    """Return the records of the estate, with further rows in any table."""
    tables = history()
    tables["blocks"] = block_rows() if blocks is None else blocks
    for name, rows in more.items():
        tables[name] = tables.get(name, []) + rows
    return make_records(**tables)
