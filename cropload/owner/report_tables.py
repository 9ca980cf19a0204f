"""The tables of an owner's report, once: the page and the workbook both show these."""

from dataclasses import fields

import numpy as np

from cropload.beliefs import ranges
from cropload.show import wording
from cropload.show.report_cells import (
    MONEY,
    MONEYS,
    NUMBER,
    PLAN,
    RANGE,
    SHARE,
    SHARES,
    WHOLE,
    Column,
    ReportTable,
)
from cropload.show.wording import percent
from cropload.units import ACRE_HA, METRIC, SHORT_TON_T

#: Cost -> what it is, and per what in metric and in US units.
COSTS = {
    "pruning_per_vine": ("pruning, for each vine", ("vine", "vine"), 1.0),
    "pruning_per_bud": ("pruning, for each bud left", ("bud", "bud"), 1.0),
    "thinning_per_ha": ("thinning", ("ha", "ac"), ACRE_HA),
    "picking_per_t": ("picking, by weight", ("t", "short ton"), SHORT_TON_T),
    "picking_per_ha": ("picking, by area", ("ha", "ac"), ACRE_HA),
    "other_per_ha": ("all else", ("ha", "ac"), ACRE_HA),
}


def _triple(row, name, units=None, quantity=None):
    values = [row[f"{name}_{end}"] for end in ranges.ENDINGS]
    if quantity:
        values = [units.convert(quantity, value) for value in values]
    return tuple(float(value) for value in values)


def _ranged(title, quantity, units):
    return Column(title, units.label(quantity), RANGE, wording.decimals(quantity, units))


def _beside_first(found, name):
    """Whether a scenario can be held against the first one: its plans are not the same."""
    return name != found.names[0] and found.choice.same_as.get(name) != found.names[0]


def _same_note(found):
    """Return which rows are the same plans, for a caption; empty for none."""
    same = found.choice.same_as.items()
    return "".join(f"; '{name}' has the same plans as '{other}'" for name, other in same)


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
            _triple(row, "change_settled", units, "tonnes") if own else None,
            row["chance_less_settled"] if own else None,
        ]
        for row in found.totals.to_dict("records")
        for own in [_beside_first(found, row["scenario"])]
    ]
    number = len(found.block_names)
    of = f"all {number} blocks together" if number > 1 else f"{found.block_names[0]}"
    return ReportTable(
        "totals",
        f"Crop of {of}: middle, and in brackets the {found.interval}{_same_note(found)}",
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
        Column("chance that a spur carries no shoot next winter", "", SHARE),
        Column("places lost next winter, in the block", "", NUMBER, 0),
        Column("places per vine short after five winters", "", NUMBER, 2),
        Column("the same if nothing but the renewal spur is used", "", NUMBER, 2),
    )
    rows = tuple(
        (
            row["block"],
            row["scenario"],
            row["plan"],
            int(row["wood_places"]),
            row["wood_none"],
            row["places_lost_base_used_block"],
            row["places_short_5_winters"],
            row["places_short_spur_only_5_winters"],
        )
        for row in found.blocks.to_dict("records")
    )
    caption = (
        "Wood to prune to in later winters (means): places lost have no wood at all, places short "
        "carry no cane; the base of the old cane is used where a renewal spur has too few shoots"
    )
    return ReportTable("wood", caption, columns, rows, 2)


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
            now["chance_worse"] if own else None,
            later["chance_worse"] if own else None,
        )
        for now, later in zip(
            found.money_first.to_dict("records"),
            found.money_settled.to_dict("records"),
            strict=True,
        )
        for own in [_beside_first(found, now["scenario"])]
    )
    together = ", all blocks together" if len(found.block_names) > 1 else ""
    caption = (
        f"Money a season{together}, on your prices and costs: middle, and in brackets "
        f"the {found.interval}{_same_note(found)}"
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
