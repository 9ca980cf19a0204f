"""Sound estates of odd kinds: nothing in them is a slip (common practice, no source)."""

from datetime import date

from tests.records.doubts.estates import YEARS, estate


def _with(made, **tables):
    for name, rows in tables.items():
        made.setdefault(name, []).extend(rows)
    return made


def _fewer(made, *tables):
    for name in tables:
        made.pop(name, None)
    return made


def _from(year, then, before):
    return lambda season: then if season >= year else before


def _event(day, kind, share=None, block="Block A", **more):
    return {"block": block, "date": day, "kind": kind, "share_pct": share} | more


HEDGE = {"plan": "20x10", "vine": 2.0, "vines": 1500, "burst": 0.75, "fruit": 1.1, "grams": 60.0,
         "prunings": None, "row": 3.0}  # fmt: skip
TABLE = {"variety": "Sultana", "row": 3.5, "vine": 2.5, "vines": 1100, "plan": "6x12", "fruit": 0.7,
         "grams": 620.0, "in_lot": 10, "picked": (8, 25)}  # fmt: skip
JUICE = {"variety": "Concord", "row": 2.7, "vine": 2.4, "vines": 1500, "plan": "8x10", "fruit": 1.8,
         "grams": 95.0, "prunings": 1.4, "picked": (9, 20)}  # fmt: skip
BUSH = {"variety": "Grenache", "row": 2.5, "vine": 2.5, "vines": 1600, "plan": "6x2",
        "grams": 210.0, "prunings": 0.4}  # fmt: skip
SPRAWL = {"row": 5.0, "vine": 6.0, "vines": 330, "plan": "20x10", "grams": 180.0, "prunings": 4.0}

SOUND = {
    "a trellis of canes": lambda: estate(),
    "cordons of spurs": lambda: estate(plan="12x2", also={"training": "cordon"}),
    "bush vines": lambda: estate(BUSH, BUSH | {"plan": "4x1", "grams": 260.0}),
    "one bud a spur": lambda: estate(plan="8x1", fruit=1.9),
    "hedges": lambda: estate(HEDGE, HEDGE),
    "hedges without a count of buds": lambda: _without_buds(estate(HEDGE, HEDGE)),
    "table grapes": lambda: estate(TABLE, TABLE | {"grams": 800.0}),
    "table grapes thinned to half": lambda: estate(TABLE | {"thinned": 0.55, "fruit": 1.3}),
    "drying grapes": lambda: estate(TABLE | {"plan": "8x14", "grams": 400.0, "vines": 4000}),
    "juice grapes": lambda: estate(JUICE, JUICE),
    "juice grapes in a hedge": lambda: estate(
        JUICE | {"plan": "30x6", "fruit": 1.3, "grams": 70.0}
    ),
    "muscadines": lambda: estate(
        SPRAWL | {"variety": "Carlos", "plan": "60x3", "grams": 25.0, "fruit": 2.2, "in_lot": 60}
    ),
    "pergolas": lambda: estate(row=4.0, vine=4.0, vines=700, plan="8x12", prunings=2.0),
    "pergolas with vines 6 m apart": lambda: estate(SPRAWL, SPRAWL),
    "one vine a post": lambda: estate(row=6.0, vine=6.5, vines=120, plan="24x10", prunings=5.0),
    "planted in squares": lambda: estate(row=1.0, vine=1.0, vines=9000, plan="1x5+1x2", grams=90.0),
    "rows closer than vines": lambda: estate({"row": 1.2, "vine": 1.5, "vines": 3000}),
    "ten thousand vines a hectare": lambda: estate(row=1.1, vine=0.9, plan="1x6+1x1", grams=95.0),
    "divided canopies": lambda: estate(row=3.2, plan="4x10+4x2", also={"canopies": 2}),
    "two buds in the first leaf": lambda: _fewer(
        estate(planted=2026, plan="1x2", years=[2026], fruit=0.0, lots=0, counted=6, prunings=None),
        "harvest",
    ),
    "growing up": lambda: estate(
        planted=2022,
        years=range(2023, 2027),
        plan=lambda y: {2023: "1x2", 2024: "1x4", 2025: "1x8"}.get(y, "2x8"),
        prunings=lambda y: {2023: 0.05, 2024: 0.2}.get(y, 0.6),
    ),
    "third leaf among old blocks": lambda: estate(
        {}, {}, {"planted": 2024, "years": [2026], "plan": "1x6", "grams": 100.0}
    ),
    "southern": lambda: estate(south=True),
    "southern with table grapes": lambda: estate(TABLE, {}, south=True),
    "northern, picked in July": lambda: _fewer(estate(picked=(7, 28)), "weights", "dates"),
    "picked in November": lambda: estate(picked=(11, 8)),
    "a garden of 0.05 ha": lambda: estate({"vines": 210, "counted": 5, "lots": 2, "in_lot": 10}),
    "a dozen vines of a trial": lambda: estate({"vines": 12, "counted": 12, "lots": 1}, {}),
    "300 ha": lambda: estate({"vines": 1_250_000, "counted": 40}, {"vines": 300_000}),
    "sixty blocks": lambda: estate(
        *(
            {
                "variety": ("Riesling", "Merlot", "Syrah")[n % 3],
                "name": f"P{n}",
                "vines": 900 + 37 * n,
            }
            for n in range(60)
        ),
        years=(2024, 2025, 2026),
        counted=4,
        lots=2,
    ),
    "hail told as an event": lambda: _with(
        _told_once(estate({"lost": {2024: 65}}, {})), events=[_event("2024-08-02", "hail", 65)]
    ),
    "hail told as a share lost": lambda: _fewer(estate({"lost": {2024: 65}}, {}), "counts"),
    "hail everywhere": lambda: _with(
        _told_once(estate({}, {}, lost={2023: 50})),
        events=[_event("2023-08-20", "hail", 50, f"Block {b}") for b in "AB"],
    ),
    "frost, and shoots that came after": lambda: _with(
        estate({"times": {2025: 0.4}}, {}),
        events=[_event("2025-05-02", "frost", None, dead=140, alive=80)],
    ),
    "nothing left after a frost": lambda: _nothing(estate({}, {}), 2024),
    "not picked after smoke": lambda: _nothing(estate({}, {}), 2023),
    "birds and fruit left hanging": lambda: _with(
        estate({}, {}),
        events=[_event("2025-09-10", "birds", 10), _event("2025-10-20", "fruit left", 5)],
    ),
    "a dry year": lambda: estate({}, {}, grams=lambda y: 90.0 if y == 2022 else 130.0),
    "five passes": lambda: estate({"passes": (8, 25, 50, 85, 100)}, {}),
    "two passes of equal halves": lambda: estate({"passes": (50, 100)}, {}),
    "loads of a machine on tickets": lambda: _tickets(estate({}, {})),
    "frozen grapes of January": lambda: _fewer(_frozen(estate({}, {})), "counts"),
    "noble rot": lambda: estate({"grams": 60.0, "thinned": 0.5, "picked": (10, 25)}, {}),
    "on and off years": lambda: estate(
        {"times": {2021: 1.5, 2022: 0.5, 2023: 1.5, 2024: 0.45, 2025: 1.6, 2026: 0.5}}, {}
    ),
    "a hedge of on and off years": lambda: estate(
        HEDGE | {"times": {2021: 1.6, 2022: 0.45, 2023: 1.6, 2024: 0.4, 2025: 1.6, 2026: 0.4}},
        HEDGE | {"times": {2021: 1.4, 2022: 0.6, 2023: 1.4, 2024: 0.5, 2025: 1.5, 2026: 0.5}},
    ),
    "crops alone of on and off years": lambda: _fewer(
        estate({"times": {2021: 1.6, 2022: 0.35, 2023: 1.6, 2024: 0.35, 2025: 1.6, 2026: 0.35}}),
        *("counts", "weights", "dates", "pruning"),
    ),
    "turned to a hedge": lambda: estate(
        {
            "plan": _from(2024, "22x8", "2x10+2x2"),
            "fruit": _from(2024, 0.9, 1.6),
            "burst": _from(2024, 0.6, 0.9),
            "grams": _from(2024, 70.0, 130.0),
        },
        {},
    ),
    "turned to a hedge this season": lambda: estate(
        {
            "plan": _from(2026, "24x8", "2x10+2x2"),
            "fruit": _from(2026, 0.9, 1.6),
            "burst": _from(2026, 0.6, 0.9),
            "grams": _from(2026, 70.0, 130.0),
        },
        {},
    ),
    "turned from a hedge to spurs": lambda: estate(
        {
            "plan": _from(2024, "12x2", "22x8"),
            "fruit": _from(2024, 1.6, 0.9),
            "burst": _from(2024, 1.0, 0.6),
            "grams": _from(2024, 130.0, 70.0),
        },
        {},
    ),
    "shoots thinned for the first time": lambda: _with(
        _unpicked(estate({"burst": _from(2026, 0.5, 0.95)}, {})),
        events=[_event("2026-05-25", "shoot thinning")],
    ),
    "shoots thinned from this season in all blocks": lambda: _unpicked(
        estate({}, {}, {}, burst=_from(2026, 0.5, 0.95))
    ),
    "shoots thinned for the first time, picked": lambda: estate(
        {"burst": _from(2026, 0.5, 0.95)}, {}
    ),
    "clusters thinned to half each year": lambda: _with(
        estate({"thinned": 0.5}, {}), events=[_event(f"{y}-08-01", "thinning", 50) for y in YEARS]
    ),
    "twice the buds since 2024": lambda: estate({"plan": _from(2024, "4x10+2x2", "2x10+2x2")}, {}),
    "half the buds died in winter": lambda: estate(
        {"plan": _from(2026, "4x10+2x2", "2x10+2x2"), "burst": _from(2026, 0.5, 0.9)}, {}
    ),
    "names told apart by a prime": lambda: estate(
        {"name": "Hill 2", "vines": 1800}, {"name": "Hill 2'", "vines": 700, "variety": "Merlot"}
    ),
    "names told apart by a point or a hyphen": lambda: estate(
        {"name": "A.B", "vines": 900}, {"name": "AB", "vines": 2400}, {"name": "A-B", "vines": 400}
    ),
    "gross acres": lambda: estate(
        {"also": {"area_ha": 0.74}}, {"also": {"area_ha": 0.76}}, {"also": {"area_ha": 0.6}}
    ),
    "a cellar's limit far above a grower's crop": lambda: _with(
        estate({"vines": 600}),
        capacity=[{"period_start": "2027-09-01", "period_end": "2027-10-31", "limit_t": 250}],
    ),
    "contracts and prices": lambda: _with(
        estate({}, {"variety": "Merlot"}),
        prices=[
            {"variety": "Riesling", "price_per_t": 1400, "cap_t": 9, "block": ""},
            {"variety": "Merlot", "price_per_t": 900, "cap_t": "", "block": ""},
        ],
    ),
    "two in five vines missing": lambda: estate({"missing": 40}, {}),
    "old dry vines of 1.5 t/ha": lambda: estate(
        BUSH | {"fruit": 0.9, "grams": 90.0, "planted": 1921}
    ),
    "bulk of 30 t/ha": lambda: estate(plan="2x12+2x2", grams=220.0, vines=3300, row=2.2),
    "harvests alone of thirty years": lambda: _fewer(
        estate({"years": range(1995, 2027)}, {}), "counts", "weights", "dates", "pruning"
    ),
    "books lost for ten years": lambda: _fewer(
        estate({"years": [*range(1999, 2006), *range(2020, 2027)]}), "counts", "weights", "dates"
    ),
    "only this season": lambda: estate(years=[2026]),
    "a single vine counted": lambda: estate(counted=1, lots=1),
    "lots of five clusters": lambda: estate(in_lot=5, lots=8),
    "lots of all sizes": lambda: _sizes(estate()),
    "a reserve and a bulk block": lambda: estate(
        {"plan": "1x6+1x2", "thinned": 0.6, "grams": 95.0}, {"plan": "4x12", "grams": 170.0}
    ),
    "a variety of the village": lambda: estate({"variety": "Gelber Ortlieber"}, {}),
    "counted again after all had burst": lambda: _early(estate({}, {})),
    "a vigorous year": lambda: estate({}, {}, prunings=lambda y: 1.1 if y == 2025 else 0.7),
    "irrigated since 2024": lambda: estate(
        {"prunings": _from(2024, 1.0, 0.6), "grams": _from(2024, 165.0, 120.0)}, {}
    ),
    "prunings of one side only known": lambda: _fewer(estate({}, {}), "counts", "weights"),
}


def _told_once(made):
    """Leave the share lost to table events."""
    for row in made["harvest"]:
        row.pop("lost_pct", None)
    return made


def _unpicked(made):
    """Return the records as they stand in July of 2026."""
    for name in ("counts", "weights", "dates", "harvest"):
        made[name] = [row for row in made[name] if row["date"] < date(2026, 7, 12)]
    return made


def _without_buds(made):
    for row in made["counts"]:
        row["buds"] = ""
    return made


def _nothing(made, year):
    for row in made.each("harvest", season=year, block="Block A"):
        row |= {"tonnes": 0, "lost_pct": 100}
    made["weights"] = [
        row
        for row in made["weights"]
        if (row["season"], row["block"], row["stage"]) != (year, "Block A", "harvest")
    ]
    return made


def _tickets(made):
    loads = []
    for row in made["harvest"]:
        each = round(float(row["tonnes"]) / 3, 1)
        loads += [row | {"tonnes": each, "ticket": f"{row['season']}{n}"} for n in (1, 2, 3)]
    made["harvest"] = loads
    return made


def _frozen(made):
    for row in made.each("harvest", block="Block A"):
        if row["season"] < 2026:
            row |= {"date": date(row["season"] + 1, 1, 9), "lost_pct": 70}
            row["tonnes"] = f"{0.3 * float(row['tonnes']):.2f}"
    made["weights"] = [r for r in made["weights"] if r["block"] != "Block A" or r["stage"] == "lag"]
    made["harvest"] = [r for r in made["harvest"] if r["block"] != "Block A" or r["season"] < 2026]
    return made


def _sizes(made):
    for at, row in enumerate(made["weights"]):
        size = (12, 25, 40, 80)[at % 4]
        row |= {"weight_g": round(row["weight_g"] * size / row["clusters"]), "clusters": size}
    return made


def _early(made):
    first = [
        row | {"date": date(row["season"], 5, 4), "shoots": row["shoots"] // 2, "clusters": ""}
        for row in made["counts"]
    ]
    made["counts"] = first + made["counts"]
    return made
