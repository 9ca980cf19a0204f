"""The tables of an owner's report, once: the page and the workbook both show these."""

from dataclasses import dataclass, fields

import numpy as np

from cropload import handbook
from cropload.forecasting import ranges
from cropload.units import ACRE_HA, METRIC, SHORT_TON_T
from cropload.views import wording
from cropload.views.text_tables import percent

WORDS, PLAN, KEY, WHOLE, NUMBER, RANGE, SHARE, SHARES, MONEY, MONEYS = (
    "words",
    "plan",
    "key",
    "whole",
    "number",
    "range",
    "share",
    "shares",
    "money",
    "moneys",
)

#: Kinds whose cells are text.
TEXTS = (WORDS, PLAN, KEY)

#: Kinds whose cells are (low end, middle, high end); ``shares`` may lack a middle.
THREEFOLD = (RANGE, MONEYS, SHARES)

#: Component unit -> quantity of the unit system, for those that differ between systems.
_QUANTITY = {"g": "cluster_weight_g", "kg/m": "pruning_weight_kg_per_m"}

#: Cost -> what it is, and per what in metric and in US units.
COSTS = {
    "pruning_per_vine": ("pruning, for each vine", ("vine", "vine"), 1.0),
    "pruning_per_bud": ("pruning, for each bud left", ("bud", "bud"), 1.0),
    "thinning_per_ha": ("thinning", ("ha", "ac"), ACRE_HA),
    "picking_per_t": ("picking, by weight", ("t", "short ton"), SHORT_TON_T),
    "picking_per_ha": ("picking, by area", ("ha", "ac"), ACRE_HA),
    "other_per_ha": ("all else", ("ha", "ac"), ACRE_HA),
}


#: What the frost replay of canes that are laid down takes from the handbook.
FROST_KEYS = (
    "frost.lt50_c",
    "frost.steepness",
    "frost.delay_laid_down",
    "frost.gradient_nodes",
    "frost.secondary_burst_days",
    "frost.offset_spread_c",
    "frost.heavy_loss",
    "frost.few_years",
    "phenology.leaf_interval",
    "phenology.swell_interval",
)


@dataclass(frozen=True)
class Column:
    """A column: its title, unit and kind, and the decimals of its numbers."""

    title: str
    unit: str = ""
    kind: str = WORDS
    places: int = 1

    @property
    def head(self):
        """Title with the unit behind it."""
        return f"{self.title} [{self.unit}]" if self.unit else self.title


@dataclass(frozen=True)
class ReportTable:
    """A table: cells are text, numbers in the unit shown, triples of a range, or None.

    ``heads`` columns at the left name the row.
    """

    key: str
    caption: str
    columns: tuple
    rows: tuple
    heads: int = 1


def money_step(frames):
    """Return the power of ten that money is rounded to, by the narrowest of the ranges shown.

    Notes
    -----
    The last figure shown is worth at most a hundredth of the range, so that no more is claimed than
    the draws support; at least whole units of the currency.
    """
    widths = [
        float(value)
        for frame in frames
        for value in frame["margin_p90"] - frame["margin_p10"]
        if value > 0
    ]
    return max(0, int(np.floor(np.log10(min(widths) / 100)))) if widths else 0


def money_text(value, step=0, currency=""):
    """Return an amount as text, rounded to a power of ten.

    Examples
    --------
    >>> money_text(48231.0, 2, "EUR")
    'EUR 48,200'
    """
    shown = wording.figure(None if value is None else round(value, -step), 0)
    return f"{currency} {shown}".strip()


def cell_text(column, value, step=0):
    """Return a cell as the page shows it."""
    if value is None or (isinstance(value, float) and np.isnan(value)):
        return "–"
    if column.kind in THREEFOLD:
        low, middle, high = value
        if any(each is not None and np.isnan(each) for each in value):
            return "–"
        if column.kind == SHARES:
            text = f"{percent(low)} to {percent(high)}"
            return text if middle is None else f"{percent(middle)} ({text})"

        def show(each):
            if column.kind == MONEYS:
                return money_text(each, step)
            return wording.figure(each, column.places)

        return f"{show(middle)} ({show(low)} to {show(high)})"
    if column.kind == WHOLE:
        return f"{int(value):,}"
    if column.kind == NUMBER:
        return wording.figure(value, column.places)
    if column.kind == SHARE:
        return percent(value)
    if column.kind == MONEY:
        return money_text(value, step)
    return str(value)


def _triple(row, name, units=None, quantity=None):
    values = [row[f"{name}_{end}"] for end in ranges.ENDINGS]
    if quantity:
        values = [units.convert(quantity, value) for value in values]
    return tuple(float(value) for value in values)


def _ranged(title, quantity, units):
    return Column(title, units.label(quantity), RANGE, wording.decimals(quantity, units))


def totals_table(found, units=METRIC):
    """Return what each scenario gives and leaves, all blocks together."""
    first = found.names[0]
    columns = [
        Column("scenario"),
        _ranged("first season", "tonnes", units),
        _ranged("settled", "tonnes", units),
        _ranged(f"settled, more or less than '{first}'", "tonnes", units),
        Column(f"chance of a smaller settled crop than '{first}'", "", SHARE),
    ]
    rows = [
        [
            row["scenario"],
            _triple(row, "tonnes", units, "tonnes"),
            _triple(row, "tonnes_settled", units, "tonnes"),
            _triple(row, "change_settled", units, "tonnes") if at else None,
            row["chance_less_settled"],
        ]
        for at, row in enumerate(found.totals.to_dict("records"))
    ]
    return ReportTable(
        "totals",
        f"Crop of all {len(found.block_names)} blocks together: middle, and in brackets the "
        f"{found.interval}",
        tuple(columns),
        tuple(map(tuple, rows)),
    )


def crop_table(found, units=METRIC):
    """Return the crop of each block in each scenario, first season and settled side by side."""
    columns = (
        Column("block"),
        Column("scenario"),
        Column("plan", kind=PLAN),
        Column("buds per vine", "", WHOLE),
        _ranged("first season", "t_ha", units),
        _ranged("settled", "t_ha", units),
        _ranged("block, first season", "tonnes", units),
        _ranged("block, settled", "tonnes", units),
    )
    rows = tuple(
        (
            row["block"],
            row["scenario"],
            row["plan"],
            int(row["buds_per_vine"]),
            _triple(row, "t_ha", units, "t_ha"),
            _triple(row, "t_ha_settled", units, "t_ha"),
            _triple(row, "tonnes", units, "tonnes"),
            _triple(row, "tonnes_settled", units, "tonnes"),
        )
        for row in found.blocks.to_dict("records")
    )
    caption = f"Crop at the scale of each block: middle, and in brackets the {found.interval}"
    return ReportTable("crop", caption, columns, rows, 2)


def balance_table(found, units=METRIC):
    """Return shoot density and yield to pruning weight against their bands."""
    columns = (
        Column("block"),
        Column("scenario"),
        Column("plan", kind=PLAN),
        Column(f"shoots {units.label('per_m')} of canopy", "", RANGE),
        Column("density against its band"),
        Column("yield / pruning weight, first season", "", RANGE),
        Column("yield / pruning weight, settled", "", RANGE),
        Column("settled against its band"),
    )
    rows = tuple(
        (
            row["block"],
            row["scenario"],
            row["plan"],
            _triple(row, "shoots_per_m", units, "per_m"),
            row["density_word"],
            _triple(row, "ravaz"),
            _triple(row, "ravaz_settled"),
            row["balance_settled_word"],
        )
        for row in found.blocks.to_dict("records")
    )
    caption = (
        f"Shoot density, and yield to pruning weight: middle, and in brackets the {found.interval}"
    )
    return ReportTable("balance", caption, columns, rows, 2)


def wood_table(found):
    """Return what each scenario leaves to prune to in later winters."""
    columns = (
        Column("block"),
        Column("scenario"),
        Column("plan", kind=PLAN),
        Column("places for wood per vine", "", WHOLE),
        Column("chance that a place finds no wood next winter", "", SHARE),
        Column("places without wood next winter, in the block", "", NUMBER, 0),
        Column("places per vine short after five winters", "", NUMBER, 1),
    )
    rows = tuple(
        (
            row["block"],
            row["scenario"],
            row["plan"],
            int(row["wood_places"]),
            row["wood_none"],
            row["places_lost_block"],
            row["places_short_5_winters"],
        )
        for row in found.blocks.to_dict("records")
    )
    return ReportTable("wood", "Wood to prune to in later winters (means)", columns, rows, 2)


def frost_table(found, units=METRIC):
    """Return what past springs would have left, for the blocks that have weather; else None."""
    about = found.frost_about
    rows = tuple(
        (
            row["block"],
            row["scenario"],
            row["plan"],
            _triple(row, "frost_mean_share"),
            _triple(row, "frost_worst_in_ten"),
            (row["frost_loss_chance_low"], None, row["frost_loss_chance_high"]),
            _triple(row, "t_ha_settled_with_frost", units, "t_ha"),
        )
        for row in found.blocks.to_dict("records")
        if row["block"] not in found.frost_missing
    )
    if not rows:
        return None
    columns = (
        Column("block"),
        Column("scenario"),
        Column("plan", kind=PLAN),
        Column("share of the crop left, mean of the years", "", SHARES),
        Column(f"share left, {about['worst']}", "", SHARES),
        Column(f"chance in a year of losing more than {percent(about['loss'])}", "", SHARES),
        _ranged("settled crop, mean with frost", "t_ha", units),
    )
    caption = (
        f"What {about['seasons']} past springs would have left: middle, and in brackets the "
        f"{found.interval}"
    )
    return ReportTable("frost", caption, columns, rows, 2)


def money_table(found):
    """Return revenue, cost and what is left of each scenario, or None without prices."""
    if found.money_settled is None:
        return None
    currency = found.money_settled.attrs["currency"] or "currency"
    first = found.names[0]
    columns = (
        Column("scenario"),
        Column("revenue, settled", currency, MONEYS),
        Column("cost, settled", currency, MONEYS),
        Column("left, first season", currency, MONEYS),
        Column("left, settled", currency, MONEYS),
        Column("left, settled, mean", currency, MONEY),
        Column(f"chance of leaving less than '{first}', first season", "", SHARE),
        Column(f"chance of leaving less than '{first}', settled", "", SHARE),
    )
    rows = tuple(
        (
            now["scenario"],
            _triple(later, "revenue"),
            _triple(later, "cost"),
            _triple(now, "margin"),
            _triple(later, "margin"),
            later["margin_mean"],
            now["chance_worse"],
            later["chance_worse"],
        )
        for now, later in zip(
            found.money_first.to_dict("records"),
            found.money_settled.to_dict("records"),
            strict=True,
        )
    )
    caption = (
        f"Money a season, all blocks together, on your prices and costs: middle, and in brackets "
        f"the {found.interval}"
    )
    return ReportTable("money", caption, columns, rows)


def contracts_table(found, units=METRIC):
    """Return the contracts that were counted, or None without prices."""
    if found.money_settled is None:
        return None
    about = found.money_settled.attrs
    label, factor = units.label("tonnes"), units.show("tonnes")[1]
    currency = f"{about['currency'] or 'currency'}/{label}"
    columns = (
        Column("contract"),
        Column("price", currency, NUMBER, 0),
        Column("takes at most", label, NUMBER, 1),
        Column("price above that", currency, NUMBER, 0),
    )
    rows = tuple(
        (name, price / factor, cap * factor, above / factor)
        if np.isfinite(cap)
        else (name, price / factor, None, None)
        for name, price, cap, above in about["contracts"]
    )
    return ReportTable("contracts", "Prices, from your table prices", columns, rows)


def costs_table(found, units=METRIC):
    """Return the costs that were counted, or None when there was none or no money at all."""
    us = units.name == "us"
    currency = "currency"
    if found.money_settled is not None:
        currency = found.money_settled.attrs["currency"] or currency
    rows = []
    for each in fields(found.costs):
        words, per, factor = COSTS[each.name]
        value = getattr(found.costs, each.name)
        if value:
            rows.append((words, value * factor if us else value, f"{currency}/{per[us]}"))
    if not rows or found.money_settled is None:
        return None
    columns = (Column("cost"), Column("amount", "", NUMBER, 2), Column("unit"))
    return ReportTable("costs", "Costs, as you gave them", columns, tuple(rows))


def _shown_component(part, units):
    quantity = _QUANTITY.get(part["unit"])
    if quantity:
        return units.convert(quantity, part["centre"]), units.label(quantity)
    # The words of a component already say "per vine".
    return part["centre"], "" if part["unit"] in ("1", "1/vine") else part["unit"]


def _words(part, units):
    return part["words"].replace("per metre", "per foot") if units.name == "us" else part["words"]


def components_table(found, units=METRIC):
    """Return every component of every block and where it came from."""
    rows = []
    for block, parts in found.components.items():
        for part in parts:
            centre, label = _shown_component(part, units)
            rows.append(
                (
                    block,
                    _words(part, units),
                    centre,
                    label,
                    part["spread"],
                    part["came_from"],
                    part["detail"],
                    part["key"],
                )
            )
    columns = (
        Column("block"),
        Column("component"),
        Column("centre", "", NUMBER, 3),
        Column("unit"),
        Column("spread (one standard deviation)", "", SHARE),
        Column("came from"),
        Column("detail"),
        Column("handbook key", kind=KEY),
    )
    return ReportTable("components", "Where each component came from", columns, tuple(rows), 2)


def origins_table(found, units=METRIC):
    """Return the components in brief: one row a component and origin, with the blocks' span."""
    grouped = {}
    for block, parts in found.components.items():
        for part in parts:
            grouped.setdefault((part["component"], part["came_from"]), []).append((block, part))
    order = {part["component"]: at for at, part in enumerate(next(iter(found.components.values())))}
    rows = []
    for (component, origin), members in sorted(grouped.items(), key=lambda g: order[g[0][0]]):
        part = members[0][1]
        shown = [_shown_component(each, units) for _, each in members]
        low, high = (f"{end([value for value, _ in shown]):.3g}" for end in (min, max))
        label = shown[0][1]
        text = low if low == high else f"{low} to {high}"
        blocks = [block for block, _ in members]
        everywhere = len(blocks) == len(found.components) > 1
        rows.append(
            (
                _words(part, units),
                origin,
                f"all {len(blocks)} blocks" if everywhere else ", ".join(blocks),
                f"{text} {label}".strip(),
                ", ".join(dict.fromkeys(each["key"] for _, each in members)),
            )
        )
    columns = (
        Column("component"),
        Column("came from"),
        Column("blocks"),
        Column("middle"),
        Column("handbook entry it is drawn towards", kind=KEY),
    )
    return ReportTable(
        "origins", "What each part of the chain rests on", columns, tuple(rows)
    )


def used_keys(found):
    """Return the handbook keys that a report rests on, each once, in the order they are told."""
    keys = ["interval.level"]
    for parts in found.components.values():
        keys += [part["key"] for part in parts]
    for pair in found.bands.values():
        keys += [band.key for band in pair if band.key]
    keys += [*handbook.keys("load."), "noncount.fertility", *handbook.keys("wood.")]
    if found.frost_about:
        shares = {key.rsplit(".", 1)[1]: key for key in handbook.keys("frost.secondary_share.")}
        known = [_folded(name) for name in found.blocks["variety"].unique()]
        keys += FROST_KEYS
        keys += [key for name, key in shares.items() if _folded(name) in (*known, "default")]
    return list(dict.fromkeys(keys))


def _folded(name):
    return "".join(letter for letter in str(name).casefold() if letter.isalnum())


def _figure(entry):
    def text(value):
        return ", ".join(f"{v:g}" for v in value) if isinstance(value, list) else f"{value:g}"

    if entry.value is not None:
        shown = text(entry.value)
        if entry.low is not None and entry.high is not None:
            shown += f" ({entry.low:g} to {entry.high:g})"
    elif entry.low is not None and entry.high is not None:
        shown = f"{entry.low:g} to {entry.high:g}"
    else:
        shown = "–"
    return shown if entry.unit == "1" else f"{shown} {entry.unit}"


def handbook_table(found):
    """Return the handbook's figures behind a report, their grade and who said so."""
    rows = []
    for key in used_keys(found):
        entry = handbook.entry(key)
        said = "; ".join(handbook.citation(source) for source in entry.sources)
        rows.append((key, _figure(entry), handbook.GRADES[entry.grade], said or "no source"))
    columns = (
        Column("handbook entry", kind=KEY),
        Column("figure (metric)"),
        Column("how well it is known"),
        Column("source"),
    )
    return ReportTable(
        "handbook", "Figures of the handbook that were used", columns, tuple(rows)
    )
