"""The tables of an owner's scenarios, once: command, panel, page and workbook all show these."""

from dataclasses import fields

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.owner.money import COSTS
from cropload.owner.words import margin_step
from cropload.show import table as kinds
from cropload.show import wording
from cropload.show.table import Column, Table
from cropload.units import METRIC

#: Component unit -> quantity of the unit system, for those that differ between systems.
_QUANTITY = {"g": "cluster_weight_g", "kg/m": "pruning_weight_kg_per_m"}

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

_SCENARIO = (Column("scenario"), "scenario")
#: What heads a row of one block in one scenario.
_ROW = ((Column("block"), "block"), _SCENARIO, (Column("plan", kinds.PLAN), "plan"))


def scenario_tables(found, units=METRIC):
    """Return all tables there are of a comparison of scenarios.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.

    Returns
    -------
    list of Table
    """
    made = [
        totals_table(found),
        crop_table(found),
        balance_table(found),
        frost_table(found),
        money_table(found),
        contracts_table(found, units),
        costs_table(found, units),
        wood_table(found),
        origins_table(found, units),
        components_table(found, units),
        handbook_table(found),
    ]
    return [table for table in made if table is not None]


def _beside_first(found, take):
    """Return a taker that is empty where a scenario cannot be held against the first one."""

    def cell(row):
        name = row["scenario"]
        same = name == found.names[0] or found.choice.same_as.get(name) == found.names[0]
        return None if same else take(row)

    return cell


def _ends(row, name):
    return tuple(row[f"{name}_{end}"] for end in ranges.ENDINGS)


def _middle_and_range(found):
    return f"middle, and in brackets the {found.interval}"


def _same_note(found):
    """Return which rows are the same plans, for a caption; empty for none."""
    same = found.choice.same_as.items()
    return "".join(f"; '{name}' has the same plans as '{other}'" for name, other in same)


def totals_table(found):
    """Return what each scenario gives, all blocks together."""
    first, number = found.names[0], len(found.block_names)
    columns = [
        _SCENARIO,
        (Column("first season", kinds.RANGE, "tonnes"), "tonnes"),
        (Column("settled", kinds.RANGE, "tonnes"), "tonnes_settled"),
        (
            Column(f"settled, more or less than '{first}'", kinds.CHANGE, "tonnes"),
            _beside_first(found, lambda row: _ends(row, "change_settled")),
        ),
        (
            Column(f"chance of a smaller settled crop than '{first}'", kinds.CHANCE),
            _beside_first(found, lambda row: row["chance_less_settled"]),
        ),
    ]
    of = f"all {number} blocks together" if number > 1 else f"{found.block_names[0]}"
    caption = f"Crop of {of}: {_middle_and_range(found)}{_same_note(found)}"
    return Table.of("totals", caption, found.totals.to_dict("records"), columns)


def beside_table(found):
    """Return one row a scenario: what it gives once settled, and its difference to the first."""
    first, chosen = found.names[0], found.choice.chosen
    rows = found.totals.to_dict("records")
    money = found.money_settled
    if money is not None:
        held = money.drop(columns="scenario").add_prefix("money_").to_dict("records")
        rows = [row | more for row, more in zip(rows, held, strict=True)]
    unit = found.currency or "currency"
    paid = (
        (Column("left", kinds.MONEYS, unit=unit), "money_margin"),
        (
            Column(f"beside '{first}'", kinds.MONEY_CHANGE, unit=unit),
            _beside_first(found, lambda row: _ends(row, "money_change")),
        ),
        (
            Column(f"leaves less than '{first}'", kinds.CHANCE),
            _beside_first(found, lambda row: row["money_chance_worse"]),
        ),
    )
    columns = [
        (
            Column("scenario"),
            lambda row: row["scenario"] + (", recommended" if row["scenario"] == chosen else ""),
        ),
        (Column("crop", kinds.RANGE, "tonnes"), "tonnes_settled"),
        (
            Column(f"beside '{first}'", kinds.CHANGE, "tonnes"),
            _beside_first(found, lambda row: _ends(row, "change_settled")),
        ),
        *(paid if money is not None else ()),
    ]
    caption = (
        f"A season once the vines have settled, all {len(found.block_names)} blocks together "
        f"({10 * ranges.level():g} in 10); differences are of the same seasons"
    )
    return Table.of("beside", caption, rows, columns, step=margin_step(found))


def crop_table(found):
    """Return the crop of each block in each scenario, first season and settled side by side."""
    columns = [
        *_ROW,
        (Column("buds per vine", kinds.WHOLE), "buds_per_vine"),
        (Column("first season", kinds.RANGE, "t_ha"), "t_ha"),
        (Column("settled", kinds.RANGE, "t_ha"), "t_ha_settled"),
        (Column("block, first season", kinds.RANGE, "tonnes"), "tonnes"),
        (Column("block, settled", kinds.RANGE, "tonnes"), "tonnes_settled"),
    ]
    caption = f"Crop at the scale of each block: {_middle_and_range(found)}"
    return Table.of("crop", caption, found.frame.to_dict("records"), columns, 2)


def balance_table(found):
    """Return shoot density and yield to pruning weight, each with its season, and the verdicts."""
    now, later = (wording.season_words(season) for season in (found.season, "settled"))
    ratio = "yield / pruning weight"
    columns = [
        *_ROW,
        (Column(f"shoots of canopy {now}", kinds.RANGE, "per_m"), "shoots_per_m"),
        (Column(f"density {now}"), "density_word"),
        (Column(f"{ratio} {now}", kinds.RANGE), "ravaz"),
        (Column(f"balance {now}"), "balance_word"),
        (Column(f"{ratio} {later}", kinds.RANGE), "ravaz_settled"),
        (Column(f"balance {later}"), "balance_settled_word"),
    ]
    caption = (
        f"Shoot density, and yield to pruning weight: {_middle_and_range(found)}; the words say "
        "where the middle lies against the band of the block"
    )
    return Table.of("balance", caption, found.frame.to_dict("records"), columns, 2)


def wood_table(found):
    """Return what each scenario leaves to prune to in later winters."""
    columns = [
        *_ROW,
        (Column("places for wood per vine", kinds.WHOLE), "wood_places"),
        (Column("chance that a spur carries no shoot next winter", kinds.CHANCE), "wood_none"),
        (
            Column("places lost next winter, in the block", kinds.NUMBER, places=0),
            "places_lost_base_used_block",
        ),
        (
            Column("places per vine short after five winters", kinds.NUMBER, places=2),
            "places_short_5_winters",
        ),
        (
            Column("the same if nothing but the renewal spur is used", kinds.NUMBER, places=2),
            "places_short_spur_only_5_winters",
        ),
    ]
    caption = (
        "Wood to prune to in later winters (means): places lost have no wood at all, places short "
        "carry no cane; the base of the old cane is used where a renewal spur has too few shoots"
    )
    return Table.of("wood", caption, found.frame.to_dict("records"), columns, 2)


def frost_table(found):
    """Return what past springs would have left, for the blocks that have weather; else None."""
    about = found.frost_about
    if not about:
        return None
    rows = found.frame[~found.frame["block"].isin(list(found.frost_missing))].to_dict("records")
    loss = wording.percent(about["loss"])
    columns = [
        *_ROW,
        (Column("share of the crop left, mean of the years", kinds.SHARES), "frost_mean_share"),
        (Column(f"share left, {about['worst']}", kinds.SHARES), "frost_worst_in_ten"),
        (
            Column(f"chance in a year of losing more than {loss}", kinds.CHANCES),
            lambda row: (row["frost_loss_chance_low"], None, row["frost_loss_chance_high"]),
        ),
        (
            Column("settled crop, mean with frost", kinds.RANGE, "t_ha"),
            "t_ha_settled_with_frost",
        ),
    ]
    caption = f"What {about['seasons']} past springs would have left: {_middle_and_range(found)}"
    return Table.of("frost", caption, rows, columns, 2)


def money_table(found):
    """Return revenue, cost and what is left of each scenario, or None without prices."""
    if found.money_settled is None:
        return None
    unit, first = found.currency or "currency", found.names[0]
    now = found.money_first.drop(columns="scenario").add_prefix("first_")
    rows = found.money_settled.join(now).to_dict("records")
    columns = [
        _SCENARIO,
        (Column("revenue, settled", kinds.MONEYS, unit=unit), "revenue"),
        (Column("cost, settled", kinds.MONEYS, unit=unit), "cost"),
        (Column("left, first season", kinds.MONEYS, unit=unit), "first_margin"),
        (Column("left, settled", kinds.MONEYS, unit=unit), "margin"),
        (Column("left, settled, mean", kinds.MONEY, unit=unit), "margin_mean"),
        (
            Column(f"chance of leaving less than '{first}', first season", kinds.CHANCE),
            _beside_first(found, lambda row: row["first_chance_worse"]),
        ),
        (
            Column(f"chance of leaving less than '{first}', settled", kinds.CHANCE),
            _beside_first(found, lambda row: row["chance_worse"]),
        ),
    ]
    together = ", all blocks together" if len(found.block_names) > 1 else ""
    caption = (
        f"Money a season{together}, on your prices and costs: {_middle_and_range(found)}"
        f"{_same_note(found)}"
    )
    return Table.of("money", caption, rows, columns, step=margin_step(found))


def contracts_table(found, units=METRIC):
    """Return the contracts that were counted, or None without prices."""
    if found.money_settled is None:
        return None
    factor = units.convert("tonnes", 1.0)
    unit = f"{found.currency or 'currency'}/{units.label('tonnes')}"
    columns = [
        (Column("contract"), lambda contract: contract.name),
        (
            Column("price", kinds.NUMBER, unit=unit, places=0),
            lambda contract: contract.terms.steps[0][1] / factor,
        ),
        (Column("takes at most", kinds.NUMBER, "tonnes"), lambda contract: contract.terms.most),
        (
            Column("price above that", kinds.NUMBER, unit=unit, places=0),
            lambda contract: (
                contract.terms.beyond / factor if np.isfinite(contract.terms.most) else None
            ),
        ),
    ]
    return Table.of("contracts", "Prices, from your table prices", found.contracts, columns)


def costs_table(found, units=METRIC):
    """Return the costs that were counted, or None when there was none or no money at all."""
    us = units.name == "us"
    rows = []
    for each in fields(found.costs):
        words, per, factor = COSTS[each.name]
        value = getattr(found.costs, each.name)
        if value:
            unit = f"{found.currency or 'currency'}/{per[us]}"
            rows.append({"cost": words, "amount": value * (factor if us else 1), "unit": unit})
    if not rows or found.money_settled is None:
        return None
    columns = [
        (Column("cost"), "cost"),
        (Column("amount", kinds.NUMBER, places=2), "amount"),
        (Column("unit"), "unit"),
    ]
    return Table.of("costs", "Costs, as you gave them", rows, columns)


def _shown_component(part, units):
    """Return the centre of a component, its unit, and its name, as a unit system shows them."""
    words = part["words"].replace("per metre", "per foot") if units.name == "us" else part["words"]
    quantity = _QUANTITY.get(part["unit"])
    if quantity:
        return units.convert(quantity, part["centre"]), units.label(quantity), words
    # The words of a component already say "per vine".
    return part["centre"], "" if part["unit"] in ("1", "1/vine") else part["unit"], words


def components_table(found, units=METRIC):
    """Return every component of every block and where it came from."""
    rows = []
    for block, parts in found.components.items():
        for part in parts:
            centre, unit, words = _shown_component(part, units)
            rows.append({**part, "block": block, "words": words, "centre": centre, "unit": unit})
    columns = [
        (Column("block"), "block"),
        (Column("component"), "words"),
        (Column("centre", kinds.NUMBER, places=3), "centre"),
        (Column("unit"), "unit"),
        (Column("spread (one standard deviation)", kinds.SHARE), "spread"),
        (Column("came from"), "came_from"),
        (Column("detail"), "detail"),
        (Column("handbook key"), "key"),
    ]
    return Table.of("components", "Where each component came from", rows, columns, 2)


def origins_table(found, units=METRIC):
    """Return the components in brief: one row a component and origin, with the blocks' span."""
    grouped = {}
    for block, parts in found.components.items():
        for part in parts:
            grouped.setdefault((part["component"], part["came_from"]), []).append((block, part))
    order = {part["component"]: at for at, part in enumerate(next(iter(found.components.values())))}
    rows = []
    for (_, origin), members in sorted(grouped.items(), key=lambda g: order[g[0][0]]):
        shown = [_shown_component(part, units) for _, part in members]
        centres = [centre for centre, _, _ in shown]
        low, high = f"{min(centres):.3g}", f"{max(centres):.3g}"
        blocks = [block for block, _ in members]
        everywhere = len(blocks) == len(found.components) > 1
        rows.append(
            (
                shown[0][2],
                origin,
                f"all {len(blocks)} blocks" if everywhere else ", ".join(blocks),
                f"{low if low == high else f'{low} to {high}'} {shown[0][1]}".strip(),
                ", ".join(dict.fromkeys(part["key"] for _, part in members)),
            )
        )
    heads = ("component", "came from", "blocks", "middle", "handbook entry it is drawn towards")
    caption = "What each part of the chain rests on"
    return Table("origins", caption, tuple(map(Column, heads)), tuple(rows))


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
        known = [_folded(name) for name in found.frame["variety"].unique()]
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
        shown = kinds.EMPTY
    return shown if entry.unit == "1" else f"{shown} {entry.unit}"


def handbook_table(found):
    """Return the handbook's figures behind a report, their grade and who said so."""
    rows = []
    for key in used_keys(found):
        entry = handbook.entry(key)
        said = "; ".join(handbook.citation(source) for source in entry.sources)
        rows.append((key, _figure(entry), handbook.GRADES[entry.grade], said or "no source"))
    heads = ("handbook entry", "figure (metric)", "how well it is known", "source")
    caption = "Figures of the handbook that were used"
    return Table("handbook", caption, tuple(map(Column, heads)), tuple(rows))
