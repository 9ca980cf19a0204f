"""What a decision hangs on, as it is shown: where it turns, what moves it most, a picture of it."""

import numpy as np

from cropload.beliefs import ranges
from cropload.owner.break_even import ALWAYS, BETWEEN, FROM, NEVER
from cropload.owner.costs import COSTS
from cropload.owner.words import OVER, change_step, of_decision
from cropload.show import table as kinds
from cropload.show import wording
from cropload.show.charts import Rows, Series
from cropload.show.drawing import BLUE, Look, page_svg
from cropload.show.table import Column, Table
from cropload.units import METRIC

#: Inputs that a picture shows, those that move it most.
SHOWN = 8

#: Inputs in words, short enough to stand beside a picture.
_WORDS = {
    "buds_left": "buds left of those due",
    "shoots_per_bud": "buds bursting",
    "clusters_per_shoot": "clusters a shoot",
    "cluster_weight_g": "cluster weight",
    "recovery": "share that is picked",
    "noncount_shoots": "shoots from old wood",
    "burst": "answer of bursting",
    "fertility": "answer of clusters",
    "weight": "answer of weight",
    "noncount": "answer of old wood",
    "nodes": "buds along the cane",
    "season": "weather of the seasons",
    "frost": "spring frost",
}
#: Quantity of the unit system, and decimals, of a component.
_PLACES = {"cluster_weight_g": ("cluster_weight_g", 0), "noncount_shoots": (None, 1)}

HOW = (
    f"Each input goes from its low to its high end ({ranges.often()}), the others as drawn; an "
    "answer is that of the vine to another load, as a power of it"
)
#: Behind an input that was told as one number.
ASSUMED = "* told as one number, its range assumed"


def _beside_first(found):
    return f"beside '{found.names[0]}' {OVER}"


def turn_text(turn, show, now=True):
    """Return where a difference turns, in words; ``show`` writes one value.

    Examples
    --------
    >>> from cropload.owner.break_even import BreakEven
    >>> turn_text(BreakEven("from", 940.0, float("inf"), 1250.0, True), "{:.0f}".format)
    'from 940 on (now 1250, so already)'
    """
    if turn is None:
        return None
    told = [f"now {show(turn.now)}"] if now else []
    told += ["so already"] if turn.pays and turn.kind != ALWAYS else []
    now = f" ({', '.join(told)})" if told else ""
    if turn.kind in (ALWAYS, NEVER):
        return {ALWAYS: "at any", NEVER: "never"}[turn.kind] + now
    if turn.kind == BETWEEN:
        text = f"from {show(turn.low)} to {show(turn.high)}"
    else:
        text = f"from {show(turn.low)} on" if turn.kind == FROM else f"up to {show(turn.high)}"
    return text + now


def _price(row, found, units):
    turn = row["price"]
    if turn is None:
        return None
    if row["price_shared"]:
        return turn_text(turn, lambda share: f"{wording.percent(share)} of your prices", now=False)
    factor = units.convert("tonnes", 1.0)
    return turn_text(turn, lambda price: wording.number(price / factor, 0))


def _per_t(found, units):
    return f"{found.currency or 'currency'}/{units.label('tonnes')}"


def _crop(row, units):
    return turn_text(row["crop"], lambda crop: wording.amount("t_ha", crop, units, unit=False))


def break_even_table(found, units=METRIC, few=False):
    """Return at which price, crop and frost chance each choice brings as much as the first.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.
    few : bool
        Of the blocks only the plans recommended.

    Returns
    -------
    Table or None
        None where no scenario differs from the first one.
    """
    rows = found.why.break_evens()
    if few:
        chosen = set(
            found.decision.changed[["block", "scenario"]].itertuples(index=False, name=None)
        )
        rows = [
            row for row in rows if not row["block"] or (row["block"], row["scenario"]) in chosen
        ]
    if not rows:
        return None
    money = found.decision.by == "margin"
    every = f"all {len(found.block_names)} blocks"
    loss = wording.percent(found.frost_about["loss"]) if found.frost_about else ""
    price, crop = (
        Column("price", unit=_per_t(found, units)),
        Column("mean crop of its blocks", quantity="t_ha"),
    )
    frost = Column(f"chance in a year of a spring that takes over {loss}")
    columns = [
        (Column("block"), lambda row: row["block"] or every),
        (Column("scenario"), "scenario"),
        (price, lambda row: _price(row, found, units)) if money else None,
        (crop, lambda row: _crop(row, units)) if money else None,
        (frost, lambda row: turn_text(row["frost"], wording.chance)) if loss else None,
    ]
    columns = [column for column in columns if column]
    if len(columns) == 2:
        return None
    what = "leaves" if money else "bears"
    caption = (
        f"When each plan {what} more than '{found.names[0]}' {OVER}, in the mean: one of these "
        "alone is another and all else as drawn"
    )
    return Table.of("turns", caption, rows, columns, 2)


def _name(found, row):
    names = row["input"]
    if row["kind"] == "price":
        text = f"price, {names[0]}" if len(found.contracts) > 1 else "price"
    elif row["kind"] == "cost":
        text = COSTS[names[0]].words + (f", {names[1]}" if names[1] else "")
    else:
        return _WORDS[names[0]]
    return f"{text}*" if row["assumed"] else text


def _ends(found, row, units):
    """Return the low and the high end of an input with its unit, as text."""
    ends, name = np.array([row["low"], row["high"]], float), row["input"][0]
    unit, currency = "", found.currency or "currency"
    if row["kind"] == "price":
        ends, unit = ends / units.convert("tonnes", 1.0), _per_t(found, units)
        places = 0
    elif row["kind"] == "cost":
        us = units.name == "us"
        ends, unit = ends * (COSTS[name].factor if us else 1.0), COSTS[name].unit(currency, us)
        places = 0 if ends.max() >= 100 else 2
    elif row["kind"] == "frost":
        seasons = len(found.why.weights)
        ends, unit, places = ends * seasons, f"of {seasons} springs", 0
    elif row["kind"] == "season":
        ends, unit, places = 100 * ends, "% of a middle crop", 0
    else:
        quantity, places = _PLACES.get(name, (None, 2))
        if quantity:
            ends, unit = units.convert(quantity, ends), units.label(quantity)
    low, high = (wording.number(end, places) for end in ends)
    return f"{low} to {high} {unit}".strip()


def why_tables(found, units=METRIC, few=False):
    """Return the tables of what a decision hangs on; ``few`` as in `break_even_table`."""
    made = (break_even_table(found, units, few), inputs_table(found, units))
    return [table for table in made if table]


def why_figure(found, units=METRIC):
    """Return the picture of what moves the choice asked about, as SVG; empty for no choice."""
    from cropload.owner.charts import WIDTH

    rows = input_rows(found, units)
    if rows.empty:
        return ""
    return page_svg(rows.plot(width=WIDTH / 72).figure, rows.title, rows.text(), "why-figure")


def inputs_table(found, units=METRIC, name=None):
    """Return how far each input moves what a choice brings, that which moves it most first.

    Parameters
    ----------
    found, units : Scenarios, UnitSystem
        As from ``compare_scenarios``, and the units to show.
    name : str, optional
        A row of the decision; the one recommended when left out, or the best of the others.

    Returns
    -------
    Table or None
        None where there is no choice.
    """
    name = found.why.asked if name is None else name
    rows = found.why.inputs(name).to_dict("records")
    if not rows:
        return None
    money = found.decision.by == "margin"
    kind, unit = (kinds.MONEY, found.currency or "currency") if money else (kinds.NUMBER, "")
    quantity = "" if money else "tonnes"
    columns = [
        (Column("input"), lambda row: _name(found, row)),
        (Column("from low to high end"), lambda row: _ends(found, row, units)),
        (Column("more at the low end", kind, quantity, unit), "money_low"),
        (Column("more at the high end", kind, quantity, unit), "money_high"),
    ]
    caption = f"What moves '{name}' {_beside_first(found)} most. {HOW}"
    caption += f" ({ASSUMED})" if any(row["assumed"] for row in rows) else ""
    return Table.of("inputs", caption, rows, columns, step=change_step(found))


def input_rows(found, units=METRIC, name=None):
    """Return how far each input moves what a choice brings, to be drawn: bars, the longest first.

    Parameters as of `inputs_table`.
    """
    name = found.why.asked if name is None else name
    frame = found.why.inputs(name).head(SHOWN)
    money, step = found.decision.by == "margin", change_step(found)
    unit = found.currency or "currency" if money else units.label("tonnes")
    title = f"'{name}' {_beside_first(found)} [{unit}]"
    low, high = frame["money_low"].to_numpy(float), frame["money_high"].to_numpy(float)
    if not money:
        low, high = units.convert("tonnes", low), units.convert("tonnes", high)

    def show(value):
        return wording.money(value, step) if money else wording.number(value, 1)

    looks = Look(BLUE, "o", hollow=True), Look(BLUE, "o")
    series = tuple(
        Series(f"at its {word} end", ends, look, written="outer", show=show)
        for word, ends, look in (("low", low, looks[0]), ("high", high, looks[1]))
    )
    bars = Series("", high - low, x=low, texts=("",) * len(frame))
    names = tuple(_name(found, row) for row in frame.to_dict("records"))
    base = found.decision.row(name)[f"{'money' if money else 'crop'}_all_mean"] if name else 0.0
    base = base if money else float(units.convert("tonnes", base))
    axis = "mean difference" + (f"; {ASSUMED}" if frame["assumed"].any() else "")
    return Rows(
        title, names, axis, series, parts=(bars,), heading=title, from_zero=False,
        reference=base,
    )  # fmt: skip


def why_text(found, units=METRIC):
    """Return in a few sentences where the choice asked about turns, and what moves it most."""
    why = found.why
    if why.asked is None:
        return ""
    row = next(
        row
        for row in why.break_evens()
        if row["scenario"] == why.asked and (not row["block"] or len(found.block_names) == 1)
    )
    money = found.decision.by == "margin"
    parts = []
    if money and row["price"]:
        per = "" if row["price_shared"] else f" [{_per_t(found, units)}]"
        parts.append(f"price{per} {_price(row, found, units)}")
        parts.append(f"mean crop of its blocks [{units.label('t_ha')}] {_crop(row, units)}")
    if row["frost"]:
        loss = wording.percent(found.frost_about["loss"])
        frost = turn_text(row["frost"], wording.chance)
        parts.append(f"chance in a year of a spring that takes over {loss} {frost}")
    what = "leaves" if money else "bears"
    text = f"When '{why.asked}' {what} more than '{found.names[0]}': {'; '.join(parts)}."
    most = why.inputs().head(2).to_dict("records")
    told = [
        f"{_name(found, row)} ({of_decision(found, row['money_low'], units)} more at its low end, "
        f"{of_decision(found, row['money_high'], units)} at its high end)"
        for row in most
    ]
    moved = f" What moves it most: {', then '.join(told)}." if told else ""
    return (text if parts else "") + moved
