"""Words, tables and the picture of a strip trial: what a plan brought beside another."""

import math

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.clock import season_ranges
from cropload.review.strips import APART, GROUPS, PAIRS, SINGLE, SWAPPED
from cropload.show import wording
from cropload.show.charts import Rows, Series
from cropload.show.drawing import LOOKS
from cropload.show.table import CHANGE, MONEY, MONEY_CHANGE, NUMBER, PLAN, WHOLE, Column, Table
from cropload.units import METRIC


def _money(units, currency):
    """Return the factor and the label of money of an area: per ha, or per acre."""
    # Money per area goes as the reverse of area.
    return 1 / units.convert("area_ha", 1.0), f"{currency}/{units.label('area_ha')}".lstrip("/")


def _step(value):
    """Return the power of ten that money of a size is rounded to."""
    size = abs(value)
    return 2 if size >= 1000 else 1 if size >= 100 else 0


def trial_sentences(trial, units=METRIC):
    """Return what each plan brought beside the first, a sentence or two a plan.

    Parameters
    ----------
    trial : StripTrial
        Of ``strip_trial``.
    units : UnitSystem
        Units to show.
    """
    first = trial.frame["plan"].iloc[0]
    where = f"{trial.block}, {season_ranges(trial.seasons)}"
    told = []
    for row in trial.frame.iloc[1:].to_dict("records"):
        ends = [row[f"change_t_ha_{end}"] for end in ranges.ENDINGS]
        size = wording.amount("t_ha", abs(ends[1]), units)
        span = wording.span("t_ha", ends[0], ends[2], units)
        word = "more" if ends[1] > 0 else "less"
        crop = f"{where}: {row['plan']} bore {size} {word} than {first} ({span}; {ranges.often()})"
        if row["settled"]:
            told.append(f"{crop}, beyond what strips differ by of themselves.")
        else:
            told.append(f"{crop}: not settled. {_more_needed(row, trial)}")
        money = [row[f"change_money_ha_{end}"] for end in ranges.ENDINGS]
        if all(map(math.isfinite, money)):
            told.append(_paid(money, trial, units))
    return told


def _paid(money, trial, units):
    factor, per = _money(units, "")
    low, middle, high = (factor * each for each in money)
    paid = "It paid" if low > 0 else "It did not pay" if high < 0 else "Whether it paid is open"
    if not math.isfinite(trial.hour_price):
        paid = "Before costs it paid" if low > 0 else paid
    word = "more" if middle > 0 else "less"
    step = _step(middle)
    ends = " to ".join(wording.money(each, step) for each in (low, high))
    size = wording.money(abs(middle), step, trial.currency)
    return f"{paid}: {size} {word} per {per} ({ends})."


def _more_needed(row, trial):
    """Return what would settle a difference as large as the one found."""
    strips, seasons = row["strips_needed"], row["seasons_needed"]
    now = len(trial.seasons)
    ways = []
    if math.isfinite(strips) and strips > row["strips"]:
        ways.append(f"{int(strips)} strips of each plan side by side (now {int(row['strips'])})")
    if math.isfinite(seasons) and seasons > now:
        ways.append(f"{int(seasons)} seasons of these strips (now {now})")
    if not ways:
        return "No trial that a farm lays out settles so small a difference."
    return f"Were it truly so large, {' or '.join(ways)} would settle it."


def trial_notes(trial, layout, hour, timed):
    """Return how the strips were compared, and what the figures leave out.

    Parameters
    ----------
    trial : StripTrial
        Of ``strip_trial``.
    layout : sequence of str
        What was found of the layout.
    hour : float
        What an hour costs, as given [currency/h]; NaN when not given.
    timed : bool
        Whether the hours of every strip are known.
    """
    each = trial.strips.groupby("plan").size()
    behind = f"{trial.dof} degrees of freedom"
    how = {
        PAIRS: f"{trial.strips['pair'].nunique()} pairs of strips side by side; the difference is "
        f"taken within each pair (paired t, {behind}).",
        GROUPS: f"{trial.strips['pair'].nunique()} groups of strips side by side; plans are "
        f"compared within each group ({behind}).",
        APART: f"{' and '.join(map(str, each))} strips, not in pairs; the plans are compared "
        f"across the block ({behind}).",
        SWAPPED: "Plans changed over between the strips: each strip is held against itself in "
        f"another season ({behind}). What a plan leaves for the season after blurs it.",
        SINGLE: "One strip of a plan shows no spread between strips: it is taken from the handbook "
        f"({handbook.value('trial.between_strips'):.0%} of the crop between rows of a uniformity "
        f"trial, {handbook.value('trial.within_strip'):.0%} between vines in a row), not seen in "
        "this block.".replace("%", " %"),
    }[trial.design]
    notes = [f"{how} The strip is the unit: the vines in it are not replicates.", *layout]
    if len(trial.seasons) == 1:
        notes.append("One season: its weather is in the difference, and another may turn it.")
    notes.append(
        "Vines answer a changed plan in full after about three seasons; look at their wood before "
        "the plan goes to the whole block."
    )
    if trial.frame["change_ravaz_p10"].isna().all():
        notes.append(
            "The balance has no range: it needs prunings of every strip, and more than one strip a "
            "plan."
        )
    if math.isfinite(trial.price_per_t):
        work = "costs" if not math.isfinite(trial.hour_price) else "costs other than timed hours"
        notes.append(
            f"Money: {wording.money(trial.price_per_t, 0, trial.currency)} a tonne, without {work} "
            "and without a contract's steps and limits."
        )
        if math.isfinite(hour) and not timed:
            notes.append("Hours are not on record of every strip (work_h), so none are taken off.")
    else:
        notes.append("No price is on record of this block, so nothing is said of money.")
    return tuple(notes)


def plans_table(trial, units=METRIC):
    """Return the table of plans beside each other; ``trial`` is of ``strip_trial``."""
    factor, per = _money(units, trial.currency)

    def money(row):
        return tuple(factor * row[f"change_money_ha_{end}"] for end in ranges.ENDINGS)

    columns = [
        (Column("plan", PLAN), "plan"),
        (Column("strips", WHOLE), "strips"),
        (Column("crop", NUMBER, "t_ha"), "t_ha"),
        (Column("against the first", CHANGE, "t_ha"), "change_t_ha"),
        (Column("balance", NUMBER), "ravaz"),
        (Column("balance against it", CHANGE), "change_ravaz"),
        (Column("money", MONEY, unit=per), lambda row: factor * row["money_ha"]),
        (Column("money against it", MONEY_CHANGE, unit=per), money),
    ]
    if not np.isfinite(trial.frame["ravaz"]).any():
        columns = [pair for pair in columns if "balance" not in pair[0].title]
    elif not np.isfinite(trial.frame["change_ravaz_p50"]).any():
        columns = [pair for pair in columns if pair[0].title != "balance against it"]
    if not math.isfinite(trial.price_per_t):
        columns = [pair for pair in columns if "money" not in pair[0].title]
    caption = f"Plans in strips, with the {ranges.label()}; balance: yield over prunings"
    rows = trial.frame.to_dict("records")
    largest = trial.frame["change_money_ha_p50"].abs().max()
    return Table.of("plans", caption, rows, columns, step=_step(factor * largest))


def strips_table(trial):
    """Return the table of the strips; ``trial`` is of ``strip_trial``."""
    columns = [
        (Column("strip"), "strip"),
        (Column("pair"), "pair"),
        (Column("plan", PLAN), "plan"),
        (Column("vines", WHOLE), "vines"),
        (Column("crop", NUMBER, "t_ha"), "t_ha"),
    ]
    caption = "Strip by strip" + ", mean of the seasons" * (len(trial.seasons) > 1)
    return Table.of("strips", caption, trial.strips.to_dict("records"), columns)


def strip_rows(trial, units=METRIC):
    """Return each pair, or each strip, with the crop of its plans, to draw or to tell.

    Parameters
    ----------
    trial : StripTrial
        Of ``strip_trial``.
    units : UnitSystem
        Units to show.
    """
    strips = trial.strips
    label, word = strips["strip"], "strip"
    if trial.design in (PAIRS, GROUPS):
        label, word = strips["pair"], "pair" if trial.design == PAIRS else "group"
    names = list(dict.fromkeys(label))
    series = []
    for plan, look in zip(trial.frame["plan"], LOOKS, strict=False):
        mine = strips["plan"] == plan
        crop = units.convert("t_ha", strips["t_ha"][mine].groupby(label[mine]).mean())
        values = crop.reindex(names).to_numpy(float)
        unit = units.label("t_ha")
        series.append(Series(plan, values, look, wording.decimals("t_ha", units), unit))
    axis = f"crop of the strips [{units.label('t_ha')}]"
    title = f"Crop of each {word} of {trial.block}, plan by plan"
    rows = tuple(f"{word} {name}" for name in names)
    return Rows(title, rows, axis, tuple(series), from_zero=False)
