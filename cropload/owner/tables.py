"""The tables of an owner's scenarios, once: command, panel, page and workbook all show these."""

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.owner.costs import COSTS, Span, middle_of, written
from cropload.owner.decision import MIX, WHEN
from cropload.owner.words import change_step, margin_step
from cropload.show import table as kinds
from cropload.show import wording
from cropload.show.languages import say
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
        beside_table(found),
        do_table(found),
        blocks_table(found),
        *changes_tables(found),
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


def _ends(row, name):
    return tuple(row[f"{name}_{end}"] for end in ranges.ENDINGS)


def _middle_and_range(found):
    return f"middle, and in brackets the {found.interval}"


def _same_note(found):
    """Return which rows are the same plans, for a caption; empty for none."""
    same = found.decision.same_as.items()
    return "".join(f"; '{name}' has the same plans as '{other}'" for name, other in same)


def _of_all(found):
    number = len(found.block_names)
    return f"all {number} blocks" if number > 1 else found.block_names[0]


def totals_table(found):
    """Return what each scenario gives, all blocks together."""
    columns = [
        _SCENARIO,
        (Column("first season", kinds.RANGE, "tonnes"), "tonnes"),
        (Column("settled", kinds.RANGE, "tonnes"), "tonnes_settled"),
    ]
    caption = (
        f"Crop of {_of_all(found)}, frost and lost crops counted: {_middle_and_range(found)}"
        f"{_same_note(found)}"
    )
    return Table.of("totals", caption, found.totals.to_dict("records"), columns)


def _change_columns(found):
    """Return columns of what comes more over all seasons: crop, then money where it is known."""
    columns = [(Column(say("more crop"), kinds.CHANGE, "tonnes"), "crop_all")]
    if found.decision.by == "margin":
        unit = found.currency or "currency"
        columns.append((Column(say("more left"), kinds.MONEY_CHANGE, unit=unit), "money_all"))
    return columns


def _wrong_columns(found):
    """Return the chance of less than the first scenario, and what is then lost."""
    unit = found.currency or "currency"
    money = found.decision.by == "margin"
    lost = Column(say("then less by"), kinds.MONEY, unit=unit)
    lost = lost if money else Column(say("then less by"), kinds.NUMBER, "tonnes")
    return [
        (Column(say("chance of less"), kinds.CHANCE), "chance_worse"),
        (lost, lambda row: row["cost_if_worse"] if row["chance_worse"] else None),
    ]


def do_table(found, most=None, short=False):
    """Return the blocks to change: the plan to take, what it brings, what if it goes wrong.

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    most : int, optional
        Rows shown, those that bring most; all of them when left out.
    short : bool
        The plans and what they bring alone.

    Returns
    -------
    Table or None
        None where no block is to change.
    """
    changed, what = found.decision.changed, found.names[0]
    if changed.empty:
        return None
    by = "money_all_mean" if found.decision.by == "margin" else "crop_all_mean"
    shown = changed if most is None else changed.loc[changed[by].nlargest(most).index.sort_values()]
    more = _change_columns(found)
    area = [] if short else [(Column(say("area"), kinds.NUMBER, "area_ha"), "area_ha")]
    columns = [
        (Column(say("block")), "block"),
        *area,
        (Column(f"'{what}'", kinds.PLAN), "plan_before"),
        (Column(say("prune to"), kinds.PLAN), "plan"),
        *(more[-1:] if short else [*more, *_wrong_columns(found)]),
    ]
    told = {"first": what, "often": say(ranges.often())}
    if len(shown) < len(changed):
        caption = say(
            "Blocks to change, the %(some)s of %(all)s that bring most; beside '%(first)s' over "
            "five seasons (%(often)s)", some=len(shown), all=len(changed), **told,
        )  # fmt: skip
    else:
        caption = say("Blocks to change; beside '%(first)s' over five seasons (%(often)s)", **told)
    return Table.of("do", caption, shown.to_dict("records"), columns, step=change_step(found))


def blocks_table(found):
    """Return every block in a row: the plan to take, its crop, what it brings, and its balance."""
    decision, first = found.decision, found.names[0]
    gains = decision.changed.set_index("block")
    every = found.frame.set_index(["block", "scenario"])
    money = decision.by == "margin"
    name = "money_all" if money else "crop_all"

    def row(block):
        new = every.loc[(block, decision.picks[block])].to_dict()
        changed = block in gains.index
        more = _ends(gains.loc[block], name) if changed else None
        return new | {
            "block": block,
            "before": every.loc[(block, first), "plan"],
            "plan": new["plan"] if changed else None,
            "more": more,
            "worse": float(gains.loc[block, "chance_worse"]) if changed else None,
        }

    unit = found.currency or "currency"
    more = Column(say("more left"), kinds.MONEY_CHANGE, unit=unit)
    columns = [
        (Column(say("block")), "block"),
        (Column(say("area"), kinds.NUMBER, "area_ha"), "area_ha"),
        (Column(f"'{first}'", kinds.PLAN), "before"),
        (Column(say("prune to"), kinds.PLAN), "plan"),
        (Column(say("crop %(season)s", season=found.season), kinds.RANGE, "t_ha"), "t_ha"),
        (
            more if money else Column(say("more crop"), kinds.CHANGE, "tonnes"),
            lambda row: row["more"],
        ),
        (Column(say("chance of less"), kinds.CHANCE), "worse"),
        (Column(say("shoots")), lambda row: say(row["density_word"])),
        (Column(say("balance")), lambda row: say(row["balance_settled_word"])),
    ]
    caption = say(
        "Every block with the plan to take (%(often)s): its crop in a year without frost or loss; "
        "what it brings more than '%(first)s' over five seasons, and the chance of less; shoots "
        "and balance against the band of the block", often=say(ranges.often()), first=first,
    )  # fmt: skip
    rows = [row(block) for block in found.block_names]
    return Table.of("blocks", caption, rows, columns, step=change_step(found))


def beside_table(found):
    """Return one row a scenario beside the first one, over all seasons and in the worst year."""
    decision = found.decision
    first, unit, money = found.names[0], found.currency or "currency", decision.by == "margin"
    worst = Column("worst year in ten", kinds.MONEY, unit=unit)
    worst = worst if money else Column("worst year in ten", kinds.NUMBER, "tonnes")
    rows = [row | {"worst": decision.worst[row["scenario"]]} for row in
            decision.estate.to_dict("records")]  # fmt: skip

    def name(row):
        mark = row["scenario"] == decision.chosen != MIX and decision.mix.held
        return row["scenario"] + (", recommended" if mark else "")

    def not_first(column, take):
        same = {first, *(n for n, other in decision.same_as.items() if other == first)}

        def cell(row):
            if row["scenario"] in same:
                return None
            return (
                take(row)
                if callable(take)
                else (_ends(row, take) if column.kind in kinds.THREEFOLD else row[take])
            )

        return column, cell

    beside = [*_change_columns(found), *_wrong_columns(found)]
    columns = [
        (Column("scenario"), name),
        *(not_first(column, take) for column, take in beside),
        (worst, "worst"),
    ]
    caption = (
        f"Beside '{first}' over five seasons, {_of_all(found)} ({ranges.often()}); the worst year "
        f"is one of a settled season{_same_note(found)}"
    )
    return Table.of("beside", caption, rows, columns, step=change_step(found))


def changes_tables(found, few=False):
    """Return every plan of every block beside the first scenario's, season by season, as tables.

    Parameters
    ----------
    found : Scenarios
        As from ``compare_scenarios``.
    few : bool
        Of the blocks only the plans recommended.
    """
    decision, many = found.decision, len(found.block_names) > 1
    parts = decision.changed if few else decision.blocks
    rows = parts.to_dict("records")
    if many:
        rows = [*decision.estate.iloc[1:].assign(block=_of_all(found)).to_dict("records"), *rows]
    made, money = [], found.currency or "currency"
    heads = ("first season", "second", "settled", "five seasons")
    for key, what, kind, quantity, unit, title in (
        ("money_change", "money", kinds.MONEY_CHANGE, "", money, "What is left"),
        ("crop_change", "crop", kinds.CHANGE, "tonnes", "", "Crop"),
    ):
        if what == "money" and decision.by != "margin":
            continue
        columns = [(Column("block"), "block"), _SCENARIO]
        columns += [
            (Column(head, kind, quantity, unit), f"{what}_{when}")
            for head, when in zip(heads, WHEN, strict=True)
        ]
        if what == ("money" if decision.by == "margin" else "crop"):
            columns += _wrong_columns(found)
        caption = (
            f"{title} beside '{found.names[0]}', each block by itself with the others as they are"
            f"{', the plans recommended' if few else ''}: {_middle_and_range(found)}"
        )
        made.append(Table.of(key, caption, rows, columns, 2, step=change_step(found)))
    return made


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
    caption = f"Crop of each block in a year without frost or loss: {_middle_and_range(found)}"
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
    unit = found.currency or "currency"
    now = found.money_first.drop(columns="scenario").add_prefix("first_")
    rows = found.money_settled.join(now).to_dict("records")
    columns = [
        _SCENARIO,
        (Column("revenue, settled", kinds.MONEYS, unit=unit), "revenue"),
        (Column("cost, settled", kinds.MONEYS, unit=unit), "cost"),
        (Column("left, first season", kinds.MONEYS, unit=unit), "first_margin"),
        (Column("left, settled", kinds.MONEYS, unit=unit), "margin"),
        (Column("left, settled, mean", kinds.MONEY, unit=unit), "margin_mean"),
        (Column("left, settled, worst year in ten", kinds.MONEY, unit=unit), "margin_worst"),
    ]
    caption = (
        f"Money a season, {_of_all(found)}, on your prices and costs: {_middle_and_range(found)}"
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
            lambda contract: middle_of(contract.price) / factor,
        ),
        _range_column(found.contracts, lambda contract: contract.price, 1 / factor),
        (Column("takes at most", kinds.NUMBER, "tonnes"), lambda contract: contract.terms.most),
        (
            Column("price above that", kinds.NUMBER, unit=unit, places=0),
            lambda contract: (
                np.median(contract.terms.beyond) / factor
                if np.isfinite(contract.terms.most)
                else None
            ),
        ),
    ]
    return Table.of("contracts", "Prices, from your contracts", found.contracts, columns)


def _range_column(rows, told, factor=1.0):
    """Return the column of amounts that are told as ranges; None where none is."""
    if not any(isinstance(told(row), Span) for row in rows):
        return None

    def cell(row):
        return written(told(row), factor) if isinstance(told(row), Span) else None

    return Column(f"range ({ranges.often()})"), cell


def costs_table(found, units=METRIC):
    """Return the costs that were counted, or None when there was none or no money at all."""
    us, told = units.name == "us", list(found.costs.told())
    if not told or found.money_settled is None:
        return None
    rows = []
    for whose, name, amount in told:
        factor = COSTS[name].factor if us else 1.0
        shown = amount.times(factor) if isinstance(amount, Span) else amount * factor
        unit = COSTS[name].unit(found.currency or "currency", us)
        row = {"cost": COSTS[name].words, "of": whose or _of_all(found), "told": shown}
        rows.append(row | {"amount": middle_of(shown), "unit": unit})
    columns = [
        (Column("cost"), "cost"),
        (Column("of"), "of") if found.costs.of else None,
        (Column("amount", kinds.NUMBER, places=2), "amount"),
        _range_column(rows, lambda row: row["told"]),
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
    keys = ["interval.level", "mix.area_out"]
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
