"""Words and tables of two rules of the trade: buds by the prunings, and winter bud damage."""

import math

from cropload import handbook
from cropload.show import wording
from cropload.show.table import NUMBER, WHOLE, Column, Table
from cropload.units import METRIC, US
from cropload.vine.bud_damage import replacement_buds, wilson_interval


def prunings_sentence(weight_kg, formula, units=METRIC, cap=None):
    """Return how many buds to leave by the prunings of a vine: one answer, then why.

    Parameters
    ----------
    weight_kg : float
        Prunings of this vine [kg].
    formula : BalancedFormula
        As from ``parse_formula``.
    units : UnitSystem
        Units to show.
    cap : (int, int), optional
        Fewest and most buds that the vine's space holds [1/vine].
    """
    exact = float(formula.buds(weight_kg))
    buds = math.floor(exact + 0.5 + 1e-9)
    weight, also = (
        f"{system.convert('pruning_weight_kg', weight_kg):.3g} {system.label('pruning_weight_kg')}"
        for system in ((units, METRIC) if units.name == "us" else (METRIC, US))
    )
    text = f"Prunings of {weight} ({also}), {formula}: leave "
    before = f" ({exact:.1f} before rounding)" if exact != round(exact) else ""
    if cap is not None and buds > cap[1]:
        return (
            f"{text}{cap[0]} to {cap[1]} buds, which is what the space of the vine holds; by the "
            f"prunings alone it would be {buds}{before}."
        )
    text += f"{buds} buds{before}."
    if cap is None:
        text += (
            " No cap by space is in it: a strong vine may be asked for more buds than it has room "
            f"for. --vine-spacing ({units.label('length_m')}) adds the cap."
        )
    return text


def heading(lookup, units=METRIC):
    """Return what a lookup of ``balanced_table`` is for."""
    return f"Buds to leave on a vine by its prunings, {lookup.formula}."


def tables(lookup, units=METRIC):
    """Return the lookup of ``balanced_table``, in its own units, as one table."""
    return [lookup_table(lookup)]


def plot(lookup, ax=None, units=METRIC):
    """Draw the buds to leave by the prunings on axes, new ones when none are given."""
    return lookup.frame.plot(x=lookup.frame.columns[0], ax=ax, ylabel="buds to leave [1/vine]")


def lookup_table(lookup):
    """Return the lookup of ``balanced_table`` as a table to take to the vines."""
    weight = lookup.frame.columns[0]
    caps = [
        (Column(title, WHOLE), name)
        for title, name in (("low cap", "buds_low_cap"), ("high cap", "buds_high_cap"))
        if name in lookup
    ]
    return Table.of(
        "lookup",
        f"Prunings of this vine and buds to leave, {lookup.formula}",
        lookup.frame.to_dict("records"),
        [
            (Column("prunings", NUMBER, unit=weight.rsplit("_", 1)[1], places=2), weight),
            (Column("buds to leave", WHOLE), "buds"),
            *caps,
        ],
    )


def damage_sentences(dead, sampled, wanted):
    """Return how sure a sample of dead buds is, and the buds to leave for it, in sentences.

    Parameters
    ----------
    dead, sampled : int
        Buds found dead, and buds cut open [1].
    wanted : float
        Live buds wanted on a vine [1/vine].
    """
    low, high = wilson_interval(dead, sampled)
    share = dead / sampled
    level = wording.percent(handbook.value("interval.sample_confidence"))
    text = (
        f"{dead:g} of {sampled:g} buds dead: {wording.percent(share)}, and with a sample of this "
        f"size anything from {wording.ranged((low, None, high), wording.percent)} of the block "
        f"({level} range)."
    )
    sentences = [text]
    if share < 1:
        buds = f"{replacement_buds(wanted, share):.0f}"
        most = f"{replacement_buds(wanted, high):.0f}" if high < 1 else "no number"
        sentences.append(
            f"To keep {wanted:g} live buds, leave {buds}; by the ends of that range "
            f"{replacement_buds(wanted, low):.0f} to {most}. The rules differ; which fits is for "
            "local practice to say."
        )
    usual = handbook.entry("bud_damage.sample_buds")
    if sampled < usual.low:
        sentences.append(
            f"Sample more: {usual.low:g} to {usual.high:g} buds are usual; this range is wide."
        )
    return sentences


def rules_table(rules):
    """Return the rules of ``step_rule_buds`` as a table."""
    return Table.of(
        "rules",
        "Published rules differ; all are shown",
        rules.to_dict("records"),
        [
            (Column("rule"), "rule"),
            (Column("answer"), "answer"),
            (Column("buds to leave", NUMBER, unit="a vine", places=0), "buds"),
            (Column("live of them", NUMBER, unit="a vine", places=0), "live_buds"),
        ],
    )
