"""Messy workbooks of growers who write English in metres and tonnes, one of them half Italian."""

from datetime import date, timedelta
from random import Random

from tests.records.importing.messy_case import Case, Cell, beside, csv, header, write_xlsx

# --- A sheet a year, three tables below one another ---------------------------------------------

#: Block, as the register shortens the variety, the variety, spacings, vines, % missing, planted.
_REGISTER = (
    ("Hill PN", "PN", "Pinot noir", 2.0, 1.2, 1250, 4, 2006),
    ("Hill SB", "SB", "Sauvignon blanc", 2.2, 1.2, 1840, 2, 2008),
    ("Brook", "Chard.", "Chardonnay", 2.0, 1.0, 2400, None, 2008),
    ("Long Row", "Riesling", "Riesling", 2.5, 1.2, 960, 6.5, 1999),
    ("Orchard End", "PN", "Pinot noir", 2.0, 1.1, 1100, 1, 2012),
    ("Kiln", "Meunier", "Meunier", 2.0, 1.2, 800, None, 2015),
)

#: Year -> (block as spelt that year, block, day, docket, kg, remark); a blank repeats the block.
_PICKED = {
    2023: (
        ("Hill  PN", "Hill PN", date(2023, 9, 28), 4101, 1180, None),
        (None, "Hill PN", date(2023, 9, 29), 4102, 835, "last load short"),
        ("Hill SB", "Hill SB", date(2023, 10, 5), 4107, 3940, None),
        ("brook", "Brook", date(2023, 10, 2), 4104, 2210, None),
        (None, "Brook", date(2023, 10, 3), 4105, 1890, None),
        ("Long Row", "Long Row", date(2023, 10, 16), 4111, 2050, "some slip skin"),
        ("Orch. End", "Orchard End", date(2023, 9, 30), 4103, 1640, None),
        ("Kiln", "Kiln", date(2023, 9, 27), 4100, 1425, None),
    ),
    2024: (
        ("hill pn", "Hill PN", date(2024, 10, 4), 4203, 1490, None),
        ("Hill  SB", "Hill SB", date(2024, 10, 9), 4207, 2875, "wet"),
        ("Brook", "Brook", date(2024, 10, 7), 4205, 3105, None),
        ("Long Row", "Long Row", date(2024, 10, 21), 4210, 1560, None),
        ("Orchard end", "Orchard End", date(2024, 10, 3), 4202, 1215, None),
        ("Kiln ", "Kiln", date(2024, 10, 2), 4201, 1090, None),
    ),
    2025: (
        ("Hill PN ", "Hill PN", date(2025, 9, 19), 4301, 1310, None),
        (None, "Hill PN", date(2025, 9, 20), 4302, 1105, None),
        ("Hill SB", "Hill SB", date(2025, 9, 26), 4306, 4385, "best yet"),
        ("Brook", "Brook", date(2025, 9, 23), 4304, 4460, None),
        ("Long  Row", "Long Row", date(2025, 10, 8), 4309, 2240, None),
        ("Orchard End", "Orchard End", date(2025, 9, 21), 4303, 1795, None),
        ("KILN", "Kiln", date(2025, 9, 18), 4300, 1530, None),
    ),
}

#: Year -> (block, bunches weighed at picking, mean bunch [g]).
_BUNCHES = {
    2023: (("Hill PN", 30, 118), ("Hill SB", 30, 134), ("Brook", 25, 142), ("Long Row", 30, 121)),
    2024: (("Hill PN", 30, 97), ("Hill SB", 30, 112), ("Brook", 30, 119)),
    2025: (("Hill PN", 40, 124), ("Hill SB", 30, 141), ("Brook", 30, 148), ("Kiln", 20, 109)),
}

#: Year -> (block, canes, nodes on each, spurs, nodes on each, prunings [kg a vine], day pruned).
_LAID = {
    2023: (
        ("Hill PN", 2, 8, 2, 2, 0.62, date(2023, 1, 18)),
        ("Hill SB", 2, 10, 2, 2, 0.81, date(2023, 2, 3)),
        ("Brook", 1, 10, 1, 2, 0.44, date(2023, 2, 14)),
        ("Long Row", 2, 10, 2, 2, 0.69, date(2023, 2, 22)),
    ),
    2024: (
        ("Hill PN", 2, 8, 2, 2, 0.66, date(2024, 1, 16)),
        ("Hill SB", 2, 10, 2, 2, 0.85, date(2024, 1, 30)),
        ("Brook", 1, 12, 1, 2, 0.47, date(2024, 2, 12)),
        ("Long Row", 2, 10, 2, 2, None, date(2024, 2, 19)),
        ("Kiln", 2, 7, 2, 2, 0.48, date(2024, 2, 20)),
    ),
    2025: (
        ("Hill PN", 2, 9, 2, 2, 0.58, date(2025, 1, 21)),
        ("Hill SB", 2, 10, 2, 2, 0.77, date(2025, 1, 29)),
        ("Brook", 1, 12, 1, 2, 0.43, date(2025, 2, 11)),
        ("Long Row", 2, 11, 2, 2, 0.65, date(2025, 2, 18)),
        ("Kiln", 2, 7, 2, 2, 0.51, date(2025, 2, 24)),
    ),
}


def _day(day):
    """Write a day as the years went: as text, as a date of the spreadsheet, in words."""
    words = {2023: f"{day:%d/%m/%Y}", 2024: day, 2025: f"{day.day} {day:%B %Y}"}
    return words[day.year]


def _ha(row, vine, vines):
    return round(row * vine * vines / 10000, 3)


def _write_years(folder):
    register = [
        [Cell("QUILLFOOT ESTATE  -  block register", across=9)],
        ["Kept since 2011. Please ask before changing anything!"],
        [],
        [
            "Block",
            "Var.",
            "Row sp. (m)",
            "Vine sp.",
            "No. of vines",
            "Missing",
            "Area (ha)",
            "Planted",
            "Comments",
        ],
    ]
    for number, (block, short, _, row, vine, vines, missing, planted) in enumerate(_REGISTER):
        told = Cell(missing / 100, "0.0%") if missing else ["-", "n/a"][block == "Kiln"]
        area = _ha(row, vine, vines)
        remark = {"Hill PN": "deer along the top", "Long Row": "replant?"}.get(block)
        # The vines of two blocks were pasted in from a letter.
        vines = f"{vines:,}" if number in (0, 4) else vines
        register.append([block, short, row, f"{vine} m", vines, told, area, planted, remark])
        if number == 3:
            register.append([])
    vines = sum(block[5] for block in _REGISTER)
    register.append(["TOTAL", None, None, None, Cell(vines, "#,##0"), None, 2.0])
    sheets = {"Blocks": register}
    for year, picks in _PICKED.items():
        rows = [["PICKING"], ["Block", "Date", "Docket", "Kg fruit", "Remarks"]]
        for spelt, _, day, docket, kg, remark in picks:
            rows.append([spelt, _day(day), docket, Cell(kg, "#,##0"), remark])
        rows += [["TOTAL", None, None, Cell(sum(pick[4] for pick in picks), "#,##0")], [], []]
        rows += [["BUNCH WEIGHTS at picking"], ["Block", "Date", "Bunches", "Bunch wt g"]]
        first = {block: day for _, block, day, *_ in reversed(picks)}
        rows += [[block, _day(first[block]), count, mean] for block, count, mean in _BUNCHES[year]]
        rows += [[], ["PRUNED"]]
        rows += [
            ["Block", "Canes", "Nodes/cane", "Spurs", "Nodes/spur", "Prunings kg/vine", "Date"]
        ]
        for block, canes, on_cane, spurs, on_spur, kg, day in _LAID[year]:
            rows.append([block, canes, on_cane, spurs, on_spur, kg or "?", _day(day)])
        sheets[str(year)] = rows
    sheets["Label prices"] = [
        ["Label stock", "Size", "Price per 1000"],
        ["Front, cream", "90 x 110", 84.5],
        ["Back", "60 x 80", 51],
    ]
    sheets["Sheet3"] = []
    sheets["all years (old)"] = [["Row Labels", "Sum of Kg fruit"]] + [
        [str(year), sum(pick[4] for pick in picks)] for year, picks in _PICKED.items()
    ]
    return [write_xlsx(folder / "vineyard 2011-.xlsx", sheets, hidden=["all years (old)"])]


def _first_day(year, block):
    return next(day for _, of, day, *_ in _PICKED[year] if of == block)


YEARS = Case(
    "a_sheet_a_year",
    "The owner of a small estate who copies last year's sheet each year and writes over it.",
    _write_years,
    {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct,area_ha,year_planted",
            [
                (
                    block,
                    variety,
                    row,
                    vine,
                    vines,
                    missing,
                    round(row * vine * vines / 1e4, 3),
                    year,
                )
                for block, _, variety, row, vine, vines, missing, year in _REGISTER
            ],
        ),
        "harvest": csv(
            "season,block,date,tonnes,ticket",
            [
                (year, block, day, kg / 1000, docket)
                for year, picks in _PICKED.items()
                for _, block, day, docket, kg, _ in picks
            ],
        ),
        "weights": csv(
            "season,date,block,stage,clusters,weight_g",
            [
                (year, _first_day(year, block), block, "harvest", count, count * mean)
                for year, lots in _BUNCHES.items()
                for block, count, mean in lots
            ],
        ),
        "pruning": csv(
            "season,block,plan,pruning_weight_kg,date",
            [
                (year, block, f"{canes}x{on_cane}+{spurs}x{on_spur}", kg, day)
                for year, rows in _LAID.items()
                for block, canes, on_cane, spurs, on_spur, kg, day in rows
            ],
        ),
    },
    left_out=(
        "Kept since 2011. Please ask before changing anything!",
        *("TOTAL", "Comments", "Remarks", "Label prices", "all years (old)"),
    ),
    asked=(("Is 'Orch. End' of 2023 the block Orchard End?", "Yes."),),
)

# --- Counts with the vines across ---------------------------------------------------------------

#: Block, variety as written, the variety, rows, vines, clusters of a vine, grams of a cluster.
_FLAT = (
    ("Ferry Flat", "Shiraz", "Syrah", 40, 2400, 52, 118),
    ("Gum Corner", "Cab Sauv", "Cabernet Sauvignon", 32, 1920, 61, 92),
    ("Top Dam", "Chard", "Chardonnay", 28, 1680, 47, 131),
    ("Sheep Yard", "Grenache", "Grenache", 24, 1440, 33, 226),
    ("Bore Paddock", "Ries.", "Riesling", 30, 1800, 50, 108),
)
_ACROSS = (3, 9, 15, 21, 27)
_VINTAGES = {2025: 1.0, 2026: 0.88}
_GONE, _SKIPPED = "x", "-"


def _visited():
    """Return {(vintage, block): [(row, [clusters, or a mark, of each vine across])]}."""
    draw, seen = Random(611), {}
    for vintage, level in _VINTAGES.items():
        for block, *_, rows, _, clusters, _ in _FLAT:
            lines = []
            for row in sorted(draw.sample(range(2, rows), 12)):
                vines = [max(4, round(draw.gauss(level * clusters, 9))) for _ in _ACROSS]
                lines.append((row, vines))
            lines[4][1][2] = lines[9][1][0] = _GONE
            lines[7][1][4] = _SKIPPED
            seen[vintage, block] = lines
    return seen


_VISITED = _visited()


def _looked(vintage, block):
    """Return the day in spring on which the block was counted for the vintage."""
    return date(vintage - 1, 11, 17) + timedelta(days=[one[0] for one in _FLAT].index(block))


def _trucked():
    """Return (vintage, block, day, docket, tonnes), two loads a block."""
    loads = []
    for vintage, level in _VINTAGES.items():
        for number, (block, *_, vines, clusters, grams) in enumerate(_FLAT):
            crop = 0.96 * vines * level * clusters * grams / 1e6
            for load, share in enumerate((0.6, 0.4)):
                day = date(vintage, 2, 24) + timedelta(days=6 * number + load)
                docket = f"W{vintage % 100}{10 * number + load:03}"
                loads.append((vintage, block, day, docket, round(crop * share, 2)))
    return loads


_TRUCKED = _trucked()


def _write_across(folder):
    sheets = {
        "BLOCKS": [
            ["Ferry Road vineyards (Quillfoot South)"],
            [],
            ["Block", "Variety", "Rows", "Row x vine (m)", "Vines", "Miss."],
            *(
                [block, short, rows, "3.0 x 1.8", vines, "3 %"]
                for block, short, _, rows, vines, *_ in _FLAT
            ),
            ["Total", None, sum(one[3] for one in _FLAT), None, sum(one[4] for one in _FLAT)],
        ]
    }
    epoch = date(1899, 12, 30)
    for vintage in _VINTAGES:
        rows = [
            [Cell(f"SPRING BUNCH COUNTS, bunches per vine, vintage {vintage}", across=8)],
            ["x = no vine there     - = not counted"],
        ]
        if vintage == 2025:
            rows.append(["Block", "Date", "Row", *(f"V{vine}" for vine in _ACROSS), "Notes"])
        else:
            heads = (Cell(name, down=2) for name in ("Block", "Date", "Row"))
            rows += [[*heads, Cell("Vine no.", across=5)], [None, None, None, *_ACROSS]]
        for block, *_ in _FLAT:
            lines, day = _VISITED[vintage, block], _looked(vintage, block)
            # One year as text, the other as the bare number of a date whose look was lost.
            written = f"{day:%d/%m/%Y}" if vintage == 2025 else (day - epoch).days
            for number, (row, vines) in enumerate(lines):
                first = [Cell(block, down=len(lines)), written] if number == 0 else [None, None]
                rows.append([*first, row, *vines])
            told = [[vines[at] for _, vines in lines] for at in range(len(_ACROSS))]
            told = [[one for one in column if isinstance(one, int)] for column in told]
            means = (round(sum(column) / len(column), 1) for column in told)
            rows += [["Average", None, None, *means], []]
        sheets[f"Vintage {vintage}"] = rows
    sheets["Crush"] = [
        [None, "Weighbridge"],
        [],
        [None, "Vintage", "Docket", "Date in", "Block", "Net t", "Baume"],
        *(
            [None, vintage, docket, day, block.upper() if vintage == 2025 else block, tonnes, 12.9]
            for vintage, block, day, docket, tonnes in _TRUCKED
        ),
        [None, "TOTAL", None, None, None, round(sum(load[4] for load in _TRUCKED), 2)],
    ]
    return [write_xlsx(folder / "Counts and crush.xlsx", sheets)]


def _vines_across():
    for (vintage, block), lines in _VISITED.items():
        for row, vines in lines:
            for vine, seen in zip(_ACROSS, vines, strict=True):
                where = vintage, _looked(vintage, block), block, row, vine
                if seen == _GONE:
                    yield *where, None, 1
                elif seen != _SKIPPED:
                    yield *where, seen, None


ACROSS = Case(
    "vines_across",
    "The manager of a southern vineyard whose counters call the vines of a row from left to right.",
    _write_across,
    {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct,rows",
            [(block, name, 3, 1.8, vines, 3, rows) for block, _, name, rows, vines, *_ in _FLAT],
        ),
        "counts": csv("season,date,block,row,vine,clusters,missing", _vines_across()),
        "harvest": csv(
            "season,block,date,tonnes,ticket",
            [(vintage, block, day, t, docket) for vintage, block, day, docket, t in _TRUCKED],
        ),
    },
    left_out=("Total", "Average", "TOTAL", "Baume"),
)

# --- Italian and English in one book, kg a vine, two tables beside each other -------------------

#: Block, variety as written, the variety, rows, vines, row and vine spacing, planted, organic.
_CASA = (
    ("Casa Vecchia", "Pinot nero", "Pinot noir", 26, 1456, 2.2, 0.9, 2005, "✓"),
    ("Il Fosso", "Pinot grigio", "Pinot grigio", 18, 1120, 2.4, 1.0, 2010, "✓"),
    ("Tre Noci", "Barbera", "Barbera", 32, 2010, 2.5, 1.0, 1992, "✗"),
    ("Sopra Strada", "Chard.", "Chardonnay", 12, 640, 2.2, 0.9, 2016, "✗"),
)

#: Block -> {year: (kg a vine, day of picking)}.
_A_VINE = {
    "Casa Vecchia": {
        2023: (1.45, date(2023, 9, 14)),
        2024: (1.2, date(2024, 9, 20)),
        2025: (1.6, date(2025, 9, 8)),
    },
    "Il Fosso": {2023: (2.1, date(2023, 9, 8)), 2025: (2.35, date(2025, 9, 2))},
    "Tre Noci": {
        2023: (2.4, date(2023, 10, 3)),
        2024: (1.85, date(2024, 10, 9)),
        2025: (2.65, date(2025, 9, 26)),
    },
    "Sopra Strada": {2024: (1.5, date(2024, 9, 16)), 2025: (1.9, date(2025, 9, 3))},
}

#: Price of a quintal, by variety as written.
_A_QUINTAL = (("Pinot nero", "Pinot noir", 165), ("Barbera", "Barbera", 92.5))
_MESI = {9: "settembre", 10: "ottobre"}


def _grappoli():
    """Return [(block, row, vine, clusters, who)]."""
    draw, seen = Random(32), []
    for block, mean in (("Casa Vecchia", 14), ("Tre Noci", 13)):
        for row in (3, 9, 12):
            for vine in (7, 21, 35, 44):
                seen.append((block, row, vine, mean + draw.randint(-4, 5), draw.choice("GM")))
    return seen


_GRAPPOLI, _COUNTED = _grappoli(), date(2025, 6, 14)


def _write_casa(folder):
    vineyards = [
        [Cell("Vigneti", across=9)],
        header(
            "Block / vigneto | Vitigno | Filari | N. ceppi | Row spacing | Tra i ceppi (cm)"
            " | Impianto | Bio"
        ),
        *(
            [block, short, rows, vines, f"{row} m", round(vine * 100), planted, bio]
            for block, short, _, rows, vines, row, vine, planted, bio in _CASA
        ),
    ]
    prices = [
        [Cell("Prezzi uva (€/q)", across=2)],
        ["Vitigno", "€/q"],
        *([short, price] for short, _, price in _A_QUINTAL),
    ]
    crop = [
        ["RESA / YIELD"],
        ["Vigneto", *(one for year in (2023, 2024, 2025) for one in (Cell(year, across=2), None))],
        [None, *["kg/ceppo", "vendemmia"] * 3, "comments"],
    ]
    for block, *_ in _CASA:
        line = [block]
        for year in (2023, 2024, 2025):
            kg, day = _A_VINE[block].get(year, ("-", None))
            # The daughter took over in 2025.
            words = day and (
                f"{day.day} {_MESI[day.month]} {year}" if year < 2025 else f"{day:%d %B %Y}"
            )
            line += [kg, words]
        crop.append([*line, "sold on the vine in 2024" if block == "Il Fosso" else None])
    crop.append(["media", 1.98, None, 1.52, None, 2.13])
    counts = [
        [f"Grappoli per ceppo, counted {_COUNTED.day} June {_COUNTED.year}"],
        [],
        [None, "Vigneto", "Filare", "Ceppo", "Grappoli", "Counted by"],
    ]
    for number, told in enumerate(_GRAPPOLI):
        again = number and _GRAPPOLI[number - 1][:2] == told[:2]
        counts.append([None, *([None, None] if again else told[:2]), *told[2:]])
    sheets = {"Vigneti": beside(vineyards, prices, gap=2), "Resa": crop, "Counts": counts}
    return [write_xlsx(folder / "casa.xlsx", sheets)]


def _resa():
    vines = {block: vines for block, _, _, _, vines, *_ in _CASA}
    for block, crops in _A_VINE.items():
        for year, (kg, day) in crops.items():
            yield year, block, day, kg * vines[block] / 1000


CASA = Case(
    "casa",
    "An Italian father and his daughter back from abroad, in one workbook in two languages.",
    _write_casa,
    {
        "blocks": csv(
            "block,variety,row_spacing_m,vine_spacing_m,vines,year_planted,rows",
            [
                (block, name, row, vine, vines, planted, rows)
                for block, _, name, rows, vines, row, vine, planted, _ in _CASA
            ],
        ),
        "harvest": csv("season,block,date,tonnes", _resa()),
        "counts": csv(
            "season,date,block,row,vine,clusters,counter",
            [(2025, _COUNTED, *told) for told in _GRAPPOLI],
        ),
        "contracts": csv(
            "contract,variety,price_per_t,currency",
            [
                ({"Pinot noir": "Pinot nero"}.get(name, name), name, price * 10, "EUR")
                for _, name, price in _A_QUINTAL
            ],
        ),
    },
    left_out=("Bio", "comments", "media"),
    asked=(("Is the crop a vine of every place planted, or of bearing vines?", "Of every place."),),
)
