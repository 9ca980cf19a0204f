"""Slips that growers make, each planted alone into a sound estate of three blocks."""

from datetime import timedelta

from tests.records.doubts.estates import estate

A, B = "Block A", "Block B"


def plain():
    """Return the sound estate that slips are planted in."""
    return estate(
        {},
        {"variety": "Merlot", "vines": 1900},
        {"plan": lambda y: "2x9+2x2" if y < 2025 else "2x12+2x2"},
        years=range(2021, 2027),
        counted=7,
        lots=3,
    )


def times(table, column, factor, digits=3, **where):
    """Return a slip: cells of a column so many times as large."""

    def slip(made):
        for row in made.each(table, **where):
            if row.get(column) not in ("", None):
                number = float(row[column]) * factor
                row[column] = f"{number:.{digits}f}" if digits else round(number)

    return slip


def put(table, where, **cells):
    """Return a slip: cells of some rows written anew, or made from the row."""

    def slip(made):
        for row in made.each(table, **where):
            row |= {name: cell(row) if callable(cell) else cell for name, cell in cells.items()}

    return slip


def one(table, slip, **where):
    """Return a slip in the first row that fits alone."""

    def first(made):
        rows = made.each(table, **where)[:1]
        rows[0] |= slip(rows[0])

    return first


def add(table, make):
    """Return a slip: rows more."""
    return lambda made: made.setdefault(table, []).extend(make(made))


def later(days):
    """Return what moves a date."""
    return lambda row: row["date"] + timedelta(days=days)


def _swap(table, first, second, **where):
    return put(table, where, **{first: lambda r: r[first], second: lambda r: r[second]})


def _swapped(table, first, second, **where):
    def slip(made):
        for row in made.each(table, **where):
            row[first], row[second] = row[second], row[first]

    return slip


def _changed_blocks(made):
    names = {A: B, B: A}
    for row in made.each("harvest", block=(A, B)):
        row["block"] = names[row["block"]]


def _shifted_plans(made):
    for row in made["pruning"]:
        row |= {"season": row["season"] - 1, "date": ""}


def _passes(made):
    for row in made.each("harvest", block=A)[:]:
        half = round(float(row["tonnes"]) * 0.5, 3)
        row |= {"tonnes": half, "picked_pct": 50}
        more = {"tonnes": half + 0.13, "date": row["date"] + timedelta(days=5)}
        made["harvest"].append(row | more)


def _weather(made, **cells):
    day = made["dates"][0]["date"]
    made["weather"] = [
        {
            "station": "Vale",
            "date": day + timedelta(days=n),
            "tmin_c": 6 + n % 5,
            "tmax_c": 18 + n % 7,
        }
        for n in range(30)
    ]
    for row in made["weather"][10:20]:
        row |= {name: cell(row) for name, cell in cells.items()}


Y = {"season": 2024, "block": A}
SLIPS = {
    "kilograms in one season": times("harvest", "tonnes", 1000, **Y),
    "kilograms throughout": times("harvest", "tonnes", 1000),
    "tonnes per hectare": times("harvest", "tonnes", 1 / 0.576, block=A),
    "tons per acre": times("harvest", "tonnes", 1 / 1.42, block=A),
    "a decimal sign to the right": times("harvest", "tonnes", 10, **Y),
    "a decimal sign to the left": times("harvest", "tonnes", 0.1, **Y),
    "a pick entered twice": add(
        "harvest", lambda made: [row | {"date": ""} for row in made.each("harvest", **Y)]
    ),
    "crops of two blocks changed over": _changed_blocks,
    "all crops 0 beside weights at harvest": put("harvest", {}, tonnes=0),
    "a harvest a year early": put("harvest", Y, date=later(-365)),
    "day and month of a picking swapped": put(
        "harvest", Y, date=lambda row: row["date"].replace(month=2, day=9)
    ),
    "the share of each pick": _passes,
    "shares kept for shares lost": put("harvest", {"block": A}, lost_pct=92),
    "a share lost as a fraction": put("harvest", Y, lost_pct=0.35),
    "a decimal comma in a file of commas": put(
        "harvest", Y, tonnes=lambda row: row["tonnes"].split(".")[0], picked_pct=42
    ),
    "a season that ends at 40 %": put("harvest", Y, picked_pct=40),
    "a row of totals": add(
        "blocks",
        lambda made: [made["blocks"][0] | {"block": "Total", "variety": "all", "vines": 6700}],
    ),
    "a block twice, by a hyphen": add(
        "blocks", lambda made: [made["blocks"][0] | {"block": "Block-A"}]
    ),
    "a block twice, by capitals": add(
        "blocks", lambda made: [made["blocks"][0] | {"block": "BLOCK A"}]
    ),
    "ten times the vines": times("blocks", "vines", 10, 0, block=A),
    "half as many vines again": times("blocks", "vines", 1.5, 0, block=A),
    "half as many vines again, beside an area": put(
        "blocks", {"block": A}, vines=3600, area_ha=0.58
    ),
    "two thirds of the vines": times("blocks", "vines", 1 / 1.5, 0, block=A),
    "spacings changed over": _swapped("blocks", "row_spacing_m", "vine_spacing_m", block=A),
    "spacings in feet": put("blocks", {}, row_spacing_m=8, vine_spacing_m=4),
    "spacings in centimetres": put("blocks", {"block": A}, row_spacing_m=200, vine_spacing_m=120),
    "acres for hectares": put("blocks", {"block": A}, area_ha=1.42),
    "missing vines as a fraction": put("blocks", {}, missing_pct=0.05),
    "prunings in grams": times("pruning", "pruning_weight_kg", 1000, 0, **Y),
    "prunings in pounds in one season": times("pruning", "pruning_weight_kg", 2.205, season=2025),
    "prunings in pounds in one block": times("pruning", "pruning_weight_kg", 2.205, **Y),
    "prunings of a row": times("pruning", "pruning_weight_kg", 60, **Y),
    "a digit too many in a plan": put("pruning", Y, plan="2x100+2x2"),
    "a wrong digit in a plan": put("pruning", Y, plan="5x10+2x2"),
    "a plan of one bud": put("pruning", Y, plan="2x1"),
    "plans a season early": _shifted_plans,
    "two vines counted as one": lambda made: [
        times("counts", column, 2, 0, **Y)(made) for column in ("shoots", "clusters")
    ],
    "one side of the row": lambda made: [
        times("counts", column, 0.5, 0, **Y)(made) for column in ("shoots", "clusters")
    ],
    "shoots and clusters changed over": _swapped("counts", "shoots", "clusters", **Y),
    "zeros for shoots not counted": put("counts", Y, shoots=0),
    "zeros for buds not counted": one("counts", lambda row: {"buds": 0}, **Y),
    "clusters of a metre": times("counts", "clusters", 0.4, 0, **Y),
    "a digit too many in shoots": one("counts", lambda r: {"shoots": r["shoots"] * 10}, **Y),
    "a digit too many in clusters": one("counts", lambda r: {"clusters": r["clusters"] * 10}, **Y),
    "a vine beyond the block": one("counts", lambda row: {"vine": 31_700}, **Y),
    "counts dated after picking": put("counts", Y, date=later(150)),
    "counts dated a year early": put("counts", Y, date=later(-365)),
    "counts of a year to come": put("counts", Y, season=2042),
    "half the clusters written for all lots": times("weights", "clusters", 0.5, 0, **Y),
    "half the clusters written for one lot": one(
        "weights", lambda row: {"clusters": 20}, stage="harvest", **Y
    ),
    "lag lots named harvest": put("weights", Y | {"stage": "lag"}, stage="harvest"),
    "harvest lots named lag": put("weights", Y | {"stage": "harvest"}, stage="lag"),
    "lots in kilograms": times("weights", "weight_g", 0.001, **Y),
    "ten times the weight of a lot": one(
        "weights", lambda row: {"weight_g": row["weight_g"] * 10}, **Y
    ),
    "every row of weights pasted twice": add(
        "weights", lambda made: [dict(row) for row in made["weights"]]
    ),
    "one day's weights pasted twice": add(
        "weights", lambda made: [dict(row) for row in made.each("weights", stage="lag", **Y)]
    ),
    "weights dated a year early": put("weights", {"block": A}, date=later(-365)),
    "the share of an event as a fraction": add(
        "events", lambda _: [{"block": A, "date": "2024-07-02", "kind": "hail", "share_pct": 0.4}]
    ),
    "an event before the vines were planted": add(
        "events", lambda _: [{"block": A, "date": "1989-07-02", "kind": "hail", "share_pct": 40}]
    ),
    "an event after picking": add(
        "events", lambda _: [{"block": A, "date": "2024-11-02", "kind": "hail", "share_pct": 40}]
    ),
    "all lost, and picked": add(
        "events", lambda _: [{"block": A, "date": "2024-07-02", "kind": "hail", "share_pct": 100}]
    ),
    "the price of a kilogram": add(
        "prices", lambda _: [{"variety": "Riesling", "price_per_t": 1.4}]
    ),
    "a limit in kilograms": add(
        "capacity",
        lambda _: [{"period_start": "2027-09-01", "period_end": "2027-10-30", "limit_t": 25000}],
    ),
    "a cap in kilograms": add(
        "prices", lambda _: [{"variety": "Merlot", "price_per_t": 900, "cap_t": 8000}]
    ),
    "a block misspelt in harvest": put("harvest", Y, block="Blok A"),
    "a variety misspelt": put("blocks", {"block": A}, variety="Reisling"),
    "nights filled with zeros": lambda made: _weather(made, tmin_c=lambda _: 0, tmax_c=lambda _: 0),
    "days that repeat": lambda made: _weather(made, tmin_c=lambda _: 7, tmax_c=lambda _: 21),
    "degrees of another scale": lambda made: _weather(
        made, tmin_c=lambda r: 40 + r["tmin_c"], tmax_c=lambda r: 32 + 1.8 * r["tmax_c"]
    ),
    "veraison before flowering": put("dates", Y | {"stage": "veraison"}, date=later(-120)),
}
