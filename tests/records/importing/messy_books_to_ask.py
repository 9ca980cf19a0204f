"""Workbooks with one thing in each that the cells do not settle and nobody may guess."""

from datetime import date

from tests.records.importing.messy_case import Case, Cell, csv, write_xlsx

_BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines"


def _one_doubt(name, about, sheets, clean, asked, left_out=()):
    def write(folder):
        return [write_xlsx(folder / f"{name}.xlsx", sheets)]

    return Case(name, about, write, clean, left_out, (asked,))


# --- The order of day and month -----------------------------------------------------------------

_ISLE = (
    ("Near Field", "Chardonnay", 2, 1, 2100),
    ("Far Field", "Pinot noir", 2, 1, 1750),
    ("Steep", "Riesling", 2, 1, 1300),
)
_ISLE_PICKED = (
    (date(2024, 10, 9), "Near Field", 3.16),
    (date(2024, 9, 10), "Far Field", 2.05),
    (date(2024, 10, 10), "Steep", 1.9),
    (date(2025, 9, 9), "Far Field", 2.44),
    (date(2025, 10, 9), "Near Field", 3.31),
    (date(2025, 10, 10), "Steep", 2.08),
)

EITHER_ORDER = _one_doubt(
    "day_or_month_first",
    "A newcomer from overseas whose picking days are text, each a day of picking either way.",
    {
        "Blocks": [
            ["Block", "Variety", "Row sp. (m)", "Vine sp. (m)", "No. of vines"],
            *_ISLE,
            ["TOTAL", None, None, None, 5150],
        ],
        "Picked": [
            ["Picking days"],
            [],
            ["Date", "Block", "Tonnes"],
            *([f"{day:%d/%m/%Y}", block, tonnes] for day, block, tonnes in _ISLE_PICKED),
        ],
    },
    {
        "blocks": csv(_BLOCKS, _ISLE),
        "harvest": csv(
            "season,block,date,tonnes",
            [(day.year, block, day, tonnes) for day, block, tonnes in _ISLE_PICKED],
        ),
    },
    ("Does the day or the month stand first, as in 09/10/2024?", "The day: 9 October 2024."),
    left_out=("TOTAL",),
)

# --- A thousand, or a decimal -------------------------------------------------------------------

_PRESS = (
    ("Gable", "Pinot noir", 2, 1, 900),
    ("Ridge", "Chardonnay", 2, 1, 800),
    ("Nook", "Riesling", 2, 1, 700),
)
_PRESS_CROP = (("Gable", 1), ("Ridge", 2), ("Nook", 1))
_WEEKS = (
    (date(2026, 9, 14), date(2026, 9, 20), "1,250"),
    (date(2026, 9, 21), date(2026, 9, 27), "1,500"),
    (date(2026, 9, 28), date(2026, 10, 4), "2,125"),
)

THOUSAND_OR_DECIMAL = _one_doubt(
    "thousand_or_decimal",
    "Grapes go to a cellar that may be a garage or a giant; its weekly limits came by letter.",
    {
        "Blocks": [["Block", "Variety", "Row m", "Vine m", "Vines"], *_PRESS],
        "2025": [["Crop 2025"], ["Block", "Tonnes (rounded)"], *_PRESS_CROP],
        "Intake": [
            ["What the cellar can take in (t)"],
            ["First day", "Last day", "Limit t"],
            *_WEEKS,
        ],
    },
    {
        "blocks": csv(_BLOCKS, _PRESS),
        "harvest": csv("season,block,tonnes", [(2025, *told) for told in _PRESS_CROP]),
        "capacity": csv(
            "period_start,period_end,limit_t",
            [(first, last, most.replace(",", ".")) for first, last, most in _WEEKS],
        ),
    },
    ("Is 1,250 one thousand two hundred and fifty, or one and a quarter?", "One and a quarter."),
)

# --- Tonnes, or short tons ----------------------------------------------------------------------

_BORDER = (
    ("Lake Block", "Riesling", 2.4, 1.2, 3300),
    ("Road Block", "Pinot noir", 2.4, 1.2, 2750),
    ("Shed Block", "Merlot", 2.4, 1.2, 2100),
    ("Point", "Chardonnay", 2.4, 1.2, 2450),
)
_SLIPS = (
    (date(2025, 9, 17), "7701", "Road Block", 6.31),
    (date(2025, 9, 22), "7714", "Point", 7.08),
    (date(2025, 9, 23), "7716", "Point", 0.94),
    (date(2025, 10, 6), "7740", "Lake Block", 9.66),
    (date(2025, 10, 15), "7752", "Shed Block", 5.87),
)

TONNES_OR_TONS = _one_doubt(
    "tonnes_or_tons",
    "A grower who measures in metres near a border and sells to a scale on the other side.",
    {
        "Blocks": [
            ["Quillfoot Lake"],
            ["Block", "Variety", "Rows apart (m)", "Vines apart (m)", "Vines"],
            *_BORDER,
        ],
        "Slips": [
            ["Date", "Slip no.", "Block", "Net"],
            *_SLIPS,
            ["total", None, None, 29.86],
        ],
    },
    {
        "blocks": csv(_BLOCKS, _BORDER),
        "harvest": csv(
            "season,block,date,tons,ticket",
            [(2025, block, day, net, slip) for day, slip, block, net in _SLIPS],
        ),
    },
    ("Is column Net in tonnes or in short tons?", "In short tons of 2,000 lb."),
    left_out=("total",),
)

# --- A short name that fits two blocks ----------------------------------------------------------

_HILLS = (
    ("Hill Top", "Pinot noir", 2, 1.2, 1500),
    ("Hill Foot", "Pinot noir", 2, 1.2, 1600),
    ("Meadow", "Chardonnay", 2.2, 1.2, 1900),
    ("Pound", "Riesling", 2.2, 1.2, 1250),
)
_HILL_CROP = (
    ("Hill", "Hill Foot", 2024, 2.31),
    ("Meadow", "Meadow", 2024, 3.6),
    ("Pound", "Pound", 2024, 2.42),
    ("Hill", "Hill Foot", 2025, 2.78),
    ("Meadow", "Meadow", 2025, 4.05),
    ("Pound", "Pound", 2025, 2.66),
)

WHICH_HILL = _one_doubt(
    "which_hill",
    "A grower who says Hill for one of two blocks of that name, and never had to say which.",
    {
        "Vineyard": [
            [Cell("Our blocks", across=5)],
            [],
            ["Block", "Variety", "Row sp. m", "Vine sp. m", "No. vines"],
            *_HILLS,
        ],
        "Crop": [
            ["Year", "Block", "t"],
            *([year, short, tonnes] for short, _, year, tonnes in _HILL_CROP),
        ],
    },
    {
        "blocks": csv(_BLOCKS, _HILLS),
        "harvest": csv(
            "season,block,tonnes",
            [(year, block, tonnes) for _, block, year, tonnes in _HILL_CROP],
        ),
    },
    ("Is 'Hill' the block Hill Top or Hill Foot?", "Hill Foot."),
)

# --- The year of a harvest, or that in which its pruning began ----------------------------------

_WINTRY = (
    ("Chalk Pit", "Chardonnay", 2, 1.2, 2000),
    ("Long Hedge", "Pinot noir", 2, 1.2, 1700),
    ("Warren", "Meunier", 2, 1.2, 1450),
)
_WINTRY_CROP = (
    ("Chalk Pit", 3.9, 3.2, 4.1),
    ("Long Hedge", 2.6, 2.1, 2.9),
    ("Warren", 2.5, 2.0, 2.6),
)
#: Year of the sheet -> (block, plan, kg a vine).
_WINTRY_CUT = {
    2023: (("Chalk Pit", "2x8+2x2", 0.61), ("Long Hedge", "2x9+2x2", 0.7)),
    2024: (("Chalk Pit", "2x9+2x2", 0.66), ("Long Hedge", "2x8+2x2", 0.74)),
}

YEAR_OF_PRUNING = _one_doubt(
    "year_of_pruning",
    "A grower whose pruning sheets bear one year and no day, and who prunes from December on.",
    {
        "Blocks": [["Block", "Variety", "Row (m)", "Vine (m)", "Vines"], *_WINTRY],
        "Crop t": [["Block", 2023, 2024, 2025], *_WINTRY_CROP],
        **{
            f"Pruning {year}": [["Block", "Pruned to", "Prunings (kg/vine)"], *rows]
            for year, rows in _WINTRY_CUT.items()
        },
    },
    {
        "blocks": csv(_BLOCKS, _WINTRY),
        "harvest": csv(
            "season,block,tonnes",
            [
                (year, block, tonnes)
                for block, *crops in _WINTRY_CROP
                for year, tonnes in zip((2023, 2024, 2025), crops, strict=True)
            ],
        ),
        "pruning": csv(
            "season,block,plan,pruning_weight_kg",
            [(year + 1, *told) for year, rows in _WINTRY_CUT.items() for told in rows],
        ),
    },
    (
        "Is 2023 of sheet 'Pruning 2023' the harvest pruned for, or the year the winter began?",
        "The year the winter began: its plans are for the harvest of 2024.",
    ),
)

MUST_ASK = [EITHER_ORDER, THOUSAND_OR_DECIMAL, TONNES_OR_TONS, WHICH_HILL, YEAR_OF_PRUNING]
