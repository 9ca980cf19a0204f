"""The tables of a vineyard's records: every column with its unit, rule and meaning, as data.

The checks, the empty template, the README of the sample data and the docs all come from here.
"""

from cropload.arguments import shown
from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.errors import CroploadError, near
from cropload.records.columns import Column, Table

SEASON_RULE = (
    "The calendar year of harvest. A winter's pruning belongs to the season whose crop it sets: "
    "vines pruned in the winter of 2025/26 (or in July 2025 in the southern hemisphere) and "
    "picked in 2026 are season 2026."
)


def _season():
    return Column("season", "season", SEASON_RULE, required=True, low=FIRST_YEAR, high=LAST_YEAR)


def _block(required=True):
    return Column("block", "name", "Name of the block, as in table blocks.", required=required)


def _date(explanation, required=False, name="date"):
    return Column(name, "date", explanation, required=required)


#: Words in the place of a scenario's plan: what the block carried last, and none any more.
LAST, DROPPED = "last", "dropped"

#: In the place of a column: the row as a whole; and as its new value, that it stays after all.
WHOLE_ROW, KEPT = "all", "kept"

#: No crew counts more shoots after a frost; beyond it a digit slipped.
MOST_SHOOTS = 1_000_000

#: No vine carries more of anything that is counted on it; beyond it a digit slipped.
MOST_ON_A_VINE = 5000


def _count(name, explanation, required=False, low=0, above=None, high=None):
    low = None if above is not None else low
    return Column(name, "whole", explanation, "1", required, above=above, low=low, high=high)


def _on_a_vine(name, explanation):
    return _count(name, explanation, high=MOST_ON_A_VINE)


def _positive(name, unit, explanation, required=False):
    return Column(name, "number", explanation, unit, required, above=0)


_PRICE = Column(
    "price_per_t",
    "number",
    "Price of the fruit, or a range that holds it in 8 of 10 cases, like 900-1300.",
    "currency/t",
    True,
    low=0,
    ranged=True,
)

#: Other words for a training -> the word of column training that they may mean.
_TRAINED = {
    **dict.fromkeys(("guyot", "canes", "cane pruned", "arched cane", "long cane"), "cane"),
    **dict.fromkeys(("spur", "spurs", "spur pruned", "royat", "cordons"), "cordon"),
    **dict.fromkeys(("bilateral cordon", "unilateral cordon", "cordon de royat"), "cordon"),
    **dict.fromkeys(("bush", "bush vine", "gobelet", "goblet", "alberello"), "head"),
    **dict.fromkeys(("minimal", "hedge", "minimal pruning", "box", "hedged"), "minimal hedge"),
}

#: What can happen to the crop of a block.
EVENT_KINDS = (
    "frost",
    "hail",
    "drought",
    "birds",
    "thinning",
    "shoot thinning",
    "fruit left",
    "other",
)

_HAPPENED = {
    **dict.fromkeys(
        ("green harvest", "crop thinning", "cluster thinning", "bunch thinning"), "thinning"
    ),
    **dict.fromkeys(("desuckering", "suckering"), "shoot thinning"),
    **dict.fromkeys(("left on the vine", "not picked", "unpicked"), "fruit left"),
    **dict.fromkeys(("wasps", "wildlife", "deer"), "birds"),
    **dict.fromkeys(("rot", "mildew", "sunburn", "fire", "smoke"), "other"),
}

_TABLES = (
    Table(
        "blocks",
        "a block of the vineyard",
        (
            Column("block", "name", "Name of the block; other tables refer to it.", required=True),
            Column("variety", "name", "Grape variety.", required=True),
            _positive("row_spacing_m", "m", "Distance between rows.", True),
            _positive("vine_spacing_m", "m", "Distance between vines in a row.", True),
            _count("vines", "Places planted, missing vines included.", True, above=0),
            Column(
                "missing_pct",
                "number",
                "Share of places without a bearing vine. Blank means 0.",
                "%",
                low=0,
                below=100,
                default=0.0,
            ),
            _positive("area_ha", "ha", "Planted area. Blank means vines x both spacings."),
            Column(
                "canopies",
                "whole",
                "Canopy walls a vine fills: 1, or 2 when the canopy is divided. Blank means 1.",
                "1",
                low=1,
                default=1.0,
            ),
            Column(
                "training",
                "choice",
                "How the vines are trained: cane (canes laid down each winter), cordon (spurs on "
                "standing arms), head (spurs on a short head) or minimal hedge (trimmed, hardly "
                "pruned). Sets the plans put forward and the bands. Blank means not said.",
                choices=("cane", "cordon", "head", "minimal hedge"),
                meant=_TRAINED,
            ),
            Column(
                "climate",
                "choice",
                "Climate of the block; some varieties have a band of their own in a cool one. "
                "Blank means not said.",
                choices=("cool", "warm"),
            ),
            Column("region", "text", "Region, for your own order."),
            Column("grower", "name", "Whose fruit it is, where a winery buys from several."),
            Column("site", "name", "Place or cellar that the fruit belongs to, for your order."),
            Column(
                "group",
                "text",
                "Group or groups (semicolons between) that contracts name, like old vines.",
            ),
            Column(
                "year_planted",
                "season",
                "Year of planting: the year of harvest of the first season of growth. In the "
                "southern hemisphere vines planted in the spring of 2024 have 2025.",
                low=FIRST_YEAR,
                high=LAST_YEAR,
            ),
            _count("rows", "Number of rows.", above=0),
            Column(
                "headlands",
                "whole",
                "Vines at each end of a row that are left out of samples. Blank means 0.",
                "1",
                low=0,
                default=0.0,
            ),
            Column(
                "formerly",
                "text",
                "Name or names (semicolons between) under which earlier seasons of these vines are "
                "on record: a block that was renamed, joined or split.",
            ),
            Column("station", "name", "Weather station of the block, as in table weather."),
            Column(
                "frost_offset_c",
                "number",
                "Night minimum of the block less that of its station; negative in a frost hollow.",
                "°C",
                difference=True,
            ),
            Column(
                "frost_offset_spread_c",
                "number",
                "Standard deviation of that difference from night to night.",
                "°C",
                low=0,
                difference=True,
            ),
        ),
        key=("block",),
    ),
    Table(
        "pruning",
        "a block in a season",
        (
            _season(),
            _block(),
            Column(
                "plan",
                "plan",
                "What was left for this season's crop: canes x buds per cane, then + spurs x "
                "buds per spur, like 3x8+3x2. A piece of up to 3 buds is a spur: 24x2 is spurs "
                "alone.",
            ),
            _positive(
                "pruning_weight_kg",
                "kg",
                "Mean prunings of one vine cut in the winter before this season's crop: wood "
                "that grew in the season before.",
            ),
            _count("vines_weighed", "Vines behind the mean prunings.", above=0),
            _date("Day of pruning, or on which the plan was chosen: of two plans the later holds."),
        ),
        key=("season", "block", "date"),
        completes=True,
        later="date",
    ),
    Table(
        "parts",
        "a vigour class of a block",
        (
            _block(),
            Column("part", "name", "Name of the part, like strong or weak.", required=True),
            _count("vines", "Places planted in the part; all parts make the block.", True, above=0),
            Column("plan", "plan", "What to leave in this part. Blank means the block's plan."),
            _positive("pruning_weight_kg", "kg", "Mean prunings of one vine of the part."),
        ),
        key=("block", "part"),
    ),
    Table(
        "counts",
        "a vine visited once",
        (
            _season(),
            _date("Day of the visit.", True),
            _block(),
            Column("row", "label", "Row of the block, as you number them.", required=True),
            Column("vine", "label", "Place in the row, counting missing vines.", required=True),
            _on_a_vine("buds", "Count buds left at pruning, on canes and spurs."),
            _on_a_vine("shoots", "Shoots that grew from count buds."),
            _on_a_vine("noncount_shoots", "Shoots from basal buds and old wood."),
            _on_a_vine("clusters", "Clusters on the vine."),
            _on_a_vine("suitable_canes", "Canes fit to be laid down, counted before pruning."),
            Column("pruning_weight_kg", "number", "Prunings of this vine.", "kg", low=0),
            Column("leaf_area_m2", "number", "Leaf area of this vine.", "m2", low=0),
            Column("counter", "text", "Who counted, by initials or a number."),
            _count("missing", "1 where no bearing vine stands at the place; else blank.", high=1),
            _on_a_vine("shoots_dead", "Shoots found dead, as after a frost."),
            _on_a_vine("shoots_alive", "Shoots found alive at the same look."),
        ),
        key=("season", "date", "block", "row", "vine"),
        completes=True,
    ),
    Table(
        "fertility",
        "a node position examined",
        (
            _season(),
            _block(),
            Column("wood", "choice", "Wood examined.", required=True, choices=("cane", "spur")),
            _count("node", "Position of the node; 1 is the lowest count bud.", True, low=1),
            _count("buds", "Buds examined at this position.", True, above=0),
            _count("shoots", "Shoots that grew from them.", True),
            _count("clusters", "Clusters on those shoots.", True),
        ),
        named_by=("season", "block", "wood", "node"),
    ),
    Table(
        "weights",
        "a lot of clusters weighed together",
        (
            _season(),
            _date("Day of weighing.", True),
            _block(),
            Column(
                "stage",
                "choice",
                "Stage of the berries at weighing.",
                required=True,
                choices=("lag", "veraison", "harvest"),
            ),
            _count("clusters", "Clusters in the lot.", True, above=0),
            _positive("weight_g", "g", "Weight of the whole lot.", True),
            _count("berries", "Berries of the whole lot, where counted.", above=0),
            _count("vines", "Vines that the clusters of the lot came from.", above=0),
        ),
        named_by=("season", "date", "block", "stage"),
    ),
    Table(
        "harvest",
        "a block picked on a day",
        (
            _season(),
            _block(),
            _date("Day of picking; several picks of a block are several rows."),
            Column("tonnes", "number", "Fruit over the scale.", "t", required=True, low=0),
            Column(
                "picked_pct",
                "number",
                "Share of the block picked so far, this pick included. Blank means all of it.",
                "%",
                low=1,
                high=100,
            ),
            Column(
                "lost_pct",
                "number",
                "Share of the season's crop lost to hail, frost, birds or rot before the scale, as "
                "judged in the vineyard. The forecast then learns what the vines bore, not what "
                "was left. Blank means nothing out of the ordinary.",
                "%",
                low=0,
                high=100,
            ),
            Column("ticket", "label", "Number of the weighbridge ticket."),
        ),
        key=("season", "block", "date", "ticket"),
    ),
    Table(
        "events",
        "something that befell the crop of a block",
        (
            _block(),
            _date("Day on which it happened.", True),
            Column(
                "kind",
                "choice",
                "What happened; shoot thinning and thinning are your own work, fruit left is crop "
                "that was ripe and not picked.",
                required=True,
                choices=EVENT_KINDS,
                meant=_HAPPENED,
            ),
            Column(
                "share_pct",
                "number",
                "Share that was lost, of what was there on that day.",
                "%",
                low=0,
                high=100,
            ),
            Column(
                "of",
                "choice",
                "What the share is a share of. Shoots that die are partly made up for by those "
                "that push after them. Blank means the crop.",
                choices=("crop", "shoots", "clusters", "vines"),
            ),
            _count(
                "dead",
                "Shoots found dead on sampled vines, in the place of a share.",
                high=MOST_SHOOTS,
            ),
            _count("alive", "Shoots found alive on the same vines.", high=MOST_SHOOTS),
            Column(
                "counts_that_day",
                "choice",
                "Whether counts and weights of the same day were taken before or after it.",
                choices=("before", "after"),
            ),
            Column("note", "text", "A remark of your own."),
        ),
        key=("block", "date", "kind", "of"),
    ),
    Table(
        "dates",
        "a stage a block reached",
        (
            _season(),
            _block(),
            Column(
                "stage",
                "choice",
                "Stage reached by half of the buds, flowers or berries, or first pick.",
                required=True,
                choices=("budburst", "flowering", "veraison", "harvest"),
            ),
            _date("Day the stage was reached.", True),
        ),
        key=("season", "block", "stage"),
    ),
    Table(
        "weather",
        "a day at a station",
        (
            Column("station", "name", "Name of the station.", required=True),
            _date("Day.", True),
            Column("tmin_c", "number", "Lowest air temperature.", "°C", True, low=-60, high=60),
            Column("tmax_c", "number", "Highest air temperature.", "°C", True, low=-60, high=60),
        ),
        key=("station", "date"),
        ordered=(
            (
                ("tmin_c", "tmax_c"),
                "tmin may not be above tmax",
                "Correct the temperatures of this day.",
            ),
        ),
        sifted=True,
    ),
    Table(
        "prices",
        "a contract for a block or for a variety",
        (
            _block(False),
            Column("variety", "name", "Variety, when the contract is not for one block."),
            _PRICE,
            _positive("cap_t", "t", "Most the contract takes."),
            _positive("cap_t_ha", "t/ha", "Most the contract takes from a hectare."),
            Column(
                "price_above_cap",
                "number",
                "Price of fruit above the cap, by the same weight as the price. Blank means 0.",
                "currency/t",
                low=0,
                follows="price_per_t",
                ranged=True,
            ),
            Column("currency", "text", "Name of the currency."),
        ),
        key=("block", "variety"),
        one_of=("block", "variety"),
        terms=True,
    ),
    Table(
        "contracts",
        "a delivery contract, or a further price step of it",
        (
            Column("contract", "name", "Name of the contract.", required=True),
            Column("grower", "name", "Grower whose fruit it takes, as in table blocks."),
            Column("variety", "name", "Variety that it takes."),
            Column("blocks", "text", "Blocks that it takes, with semicolons between."),
            Column("group", "text", "Groups of blocks that it takes, as in table blocks."),
            Column(
                "from_t",
                "number",
                "The price of the row is for tonnes beyond this. Blank means the first one on; a "
                "contract with price steps has a row for each.",
                "t",
                low=0,
                default=0.0,
            ),
            _PRICE,
            _positive("least_t", "t", "Least that is to be delivered."),
            _positive("most_t", "t", "Most the contract takes."),
            _positive("most_t_ha", "t/ha", "Most the contract takes from a hectare."),
            _positive("ceiling_kg_ha", "", "Legal ceiling, kg of grapes from a hectare."),
            _positive("ceiling_hl_ha", "", "Legal ceiling, hl of wine from a hectare."),
            _positive("ceiling_kg_per_hl", "", "Grapes that the rules count for 1 hl of it, kg."),
            Column(
                "price_beyond",
                "number",
                "Price of fruit beyond the most, by the same weight as the price. Blank means 0.",
                "currency/t",
                low=0,
                follows="price_per_t",
                ranged=True,
            ),
            Column(
                "shortfall_per_t",
                "number",
                "What is owed for each tonne missing of the least.",
                "currency/t",
                low=0,
            ),
            Column(
                "excess_per_t",
                "number",
                "What is owed for each tonne beyond the most.",
                "currency/t",
                low=0,
            ),
            Column("currency", "text", "Name of the currency."),
        ),
        key=("contract", "from_t"),
        terms=True,
    ),
    Table(
        "tanks",
        "a tank that takes in fruit",
        (
            Column("tank", "name", "Name of the tank.", required=True),
            _positive("volume_hl", "hl", "What it holds when it is as full as you fill it.", True),
            Column("variety", "name", "Variety it is kept for. Blank means any."),
            _count("days_held", "Days that fruit stays in it, that of intake included.", True, 1),
            _positive(
                "kg_per_hl",
                "kg/hl",
                "Grapes for a hectolitre of it. Blank means the fewest of the published range.",
            ),
        ),
        key=("tank",),
        terms=True,
    ),
    Table(
        "presses",
        "a press",
        (
            Column("press", "name", "Name of the press.", required=True),
            _positive("load_t", "t", "Fruit of one load.", True),
            _positive("cycles_a_day", "1", "Loads that it does in a day.", True),
            Column("variety", "name", "Variety it is kept for. Blank means any."),
        ),
        key=("press",),
        terms=True,
    ),
    Table(
        "picking",
        "a wanted pick of a block",
        (
            _season(),
            _block(),
            _date("First day on which it may be picked.", True, "first_day"),
            _date("Last day. Blank means the first day.", False, "last_day"),
            Column(
                "share_pct",
                "number",
                "Share of the crop that this pass takes, of what is still to be picked; a block "
                "with two passes has two rows. Blank means the rest.",
                "%",
                above=0,
                high=100,
            ),
            Column("picker", "name", "Machine or crew, as in table pickers."),
        ),
        key=("season", "block", "first_day"),
        ordered=(
            (
                ("first_day", "last_day"),
                "last_day may not come before first_day",
                "Correct the two dates.",
            ),
        ),
        terms=True,
    ),
    Table(
        "pickers",
        "a machine or a crew that picks",
        (
            Column("picker", "name", "Name of the machine or crew.", required=True),
            Column("kind", "choice", "How it picks.", choices=("machine", "hand")),
            _positive("t_per_hour", "", "Fruit that it picks in an hour, t.", True),
            Column(
                "hours_a_day",
                "number",
                "Hours that it picks on a day.",
                "h",
                required=True,
                above=0,
                high=24,
            ),
        ),
        key=("picker",),
        terms=True,
    ),
    Table(
        "capacity",
        "a period of intake",
        (
            _date("First day of the period.", True, "period_start"),
            _date("Last day of the period.", True, "period_end"),
            Column(
                "limit_t",
                "number",
                "Most that can be taken in; blank where column intake says closed or no limit.",
                "t",
                low=0,
            ),
            Column("variety", "name", "Variety the limit is for. Blank means all together."),
            Column(
                "intake",
                "choice",
                "Whether the period has a limit, is closed, or takes all that comes (no limit). "
                "Blank means limit. Closed days may lie inside a period with a limit.",
                choices=("limit", "closed", "no limit"),
            ),
        ),
        key=("period_start", "period_end", "variety"),
        ordered=(
            (
                ("period_start", "period_end"),
                "period_end may not come before period_start",
                "Correct the two dates.",
            ),
        ),
        terms=True,
    ),
    Table(
        "estimates",
        "a block's crop as the grower expected it on a day",
        (
            _season(),
            _block(),
            _date("Day on which it was said.", True),
            Column("tonnes", "number", "Crop of the whole block.", "t", True, low=0),
        ),
        key=("season", "block", "date"),
    ),
    Table(
        "strips",
        "a strip of rows in a trial of plans, in a season",
        (
            _season(),
            _block(),
            Column(
                "strip",
                "label",
                "Number or name of the strip, the same every season.",
                required=True,
            ),
            Column("plan", "plan", "What its vines were left with.", required=True),
            Column(
                "pair",
                "label",
                "Strips that lie side by side, one of each plan, share a number here: their "
                "difference is taken. Blank means none.",
            ),
            _count("vines", "Bearing vines picked and weighed apart.", True, above=0),
            Column("fruit_kg", "number", "Fruit of the whole strip.", "kg", True, low=0),
            _positive(
                "pruning_weight_kg",
                "kg",
                "Mean prunings of one vine cut in the winter after this crop: wood that grew with "
                "it.",
            ),
            Column("work_h", "number", "Hours of work in the whole strip, if timed.", "h", low=0),
        ),
        key=("season", "block", "strip"),
    ),
    Table(
        "scenarios",
        "a scenario's plan for a block",
        (
            Column("scenario", "name", "Name of the scenario.", required=True),
            _block(),
            Column(
                "plan",
                "plan",
                "Plan like 3x8+3x2; last is what was carried last, and dropped takes the block out "
                "of the scenario again.",
                required=True,
                choices=(LAST, DROPPED),
            ),
            Column(
                "season",
                "season",
                "Year of the harvest that it is for. Blank means any.",
                low=FIRST_YEAR,
                high=LAST_YEAR,
                default=0.0,
            ),
            _date("Day on which it was kept: of two plans the later holds."),
            Column("note", "text", "A remark of your own."),
        ),
        key=("scenario", "season", "block", "date"),
        completes=True,
        later="date",
        made=True,
    ),
    Table(
        "corrections",
        "a value that was written wrong",
        (
            Column("table", "text", "Table of the wrong value.", required=True),
            Column(
                "key",
                "text",
                "The row: what names it in its table, in the order of the columns, with semicolons "
                "between: 2027; 2027-06-12; Long Acre; 4; 17.",
                required=True,
            ),
            Column(
                "column",
                "text",
                f"Column of the value; {WHOLE_ROW} with a blank new takes the whole row out.",
                required=True,
            ),
            Column("old", "text", "The value as it was written."),
            Column(
                "new",
                "text",
                "The value that holds, as its table writes such values. Blank takes it out.",
            ),
            _date("Day of the correction: of two the later holds."),
            Column("why", "text", "Why."),
        ),
        made=True,
    ),
    Table(
        "answered",
        "a doubt that was answered: the records are right",
        (
            Column(
                "rule",
                "text",
                "Name of the doubt, as `cropload check` has it in brackets.",
                required=True,
            ),
            Column("block", "text", "The block. Blank means any."),
            Column(
                "season",
                "season",
                "Year of harvest. Blank means any.",
                low=FIRST_YEAR,
                high=LAST_YEAR,
                default=0.0,
            ),
            Column("who", "text", "Who answered."),
            Column("why", "text", "Why it is right.", required=True),
            _date("Day of the answer."),
            Column(
                "rows",
                "text",
                "What ties the answer to its rows; written by `cropload answered`. When a value in "
                "them changes, the doubt is raised again. Blank ties it to none.",
            ),
        ),
        named_by=("rule", "block", "season"),
        made=True,
    ),
)

#: Name of a table -> :class:`Table`, in the order of the template.
TABLES = {table.name: table for table in _TABLES}


def table(name):
    """Return the description of a table by name.

    Raises
    ------
    CroploadError
        When no table has that name.
    """
    try:
        return TABLES[name]
    except (KeyError, TypeError):
        hint = near(str(name), TABLES) or "The tables are " + ", ".join(TABLES) + "."
        raise CroploadError(f"There is no table {shown(name)}. {hint}") from None
