"""Rules of what a grower tried and expected: strips of a trial, and estimates of a crop."""

import pandas as pd

from cropload.records.doubts.facts import KEYS
from cropload.records.doubts.rules import Rule, by_row, plausible


def _not_the_blocks_plan(facts):
    """Return the first strip of each block and season in which none has the block's own plan."""
    held = facts.plans_held.set_index(KEYS)["plan"]
    found = {}
    for key, rows in facts["strips"].groupby(KEYS):
        own = held.get(key)
        if own is not None and own not in set(rows["plan"]):
            found[rows.index[0]] = {"own": own}
    return by_row(found)


def _in_sum(column, whole):
    """Return the rule's condition: strips of a block and season together are more than it all."""

    def condition(facts):
        strips = facts["strips"]
        total = strips.groupby(KEYS)[column].sum()
        most = whole(facts, total.index)
        first = strips.index.to_series().groupby([strips[key] for key in KEYS]).first()
        over = total[total > most * (1 + 1e-9)].index
        told = {"total": total[over].to_numpy(), "most": most[over].to_numpy()}
        return pd.DataFrame(told, first[over].to_numpy())

    return condition


def _picked_kg(facts, keys):
    return facts.crops["tonnes"].reindex(keys) * 1000


def _bearing(facts, keys):
    vines = facts.blocks["vines"].reindex(keys.get_level_values("block"))
    return pd.Series(vines.to_numpy(float), keys)


def _of_one_plan(facts):
    """Return strips whose pair is of one plan alone, so that nothing is compared in it."""
    frame = facts["strips"]
    frame = frame[frame["pair"] != ""]
    plans = frame["plan"].groupby([*(frame[key] for key in KEYS), frame["pair"]])
    alone = plans.transform("nunique") < 2
    return frame.index[alone & ~frame.duplicated([*KEYS, "pair"])]


STRIPS = [
    Rule(
        ("strips", "pruning", "blocks"),
        "plan",
        _not_the_blocks_plan,
        "is in the trial, yet no strip of that season has the block's own plan, {own}",
        "Check the plans; without it the trial does not say what a change from it brings.",
        name="strips-without-own-plan",
        of="season",
    ),
    Rule(
        ("strips",),
        "pair",
        _of_one_plan,
        "is a pair of strips of one plan alone, which compares nothing",
        "Check the plans and the pairs: a pair holds a strip of each plan.",
        name="strips-pair-of-one-plan",
        of="season",
    ),
    Rule(
        ("strips", "harvest", "blocks"),
        "fruit_kg",
        _in_sum("fruit_kg", _picked_kg),
        "belongs to strips that bore {total:,.0f} kg together, and table harvest has {most:,.0f} "
        "kg of the whole block",
        "Write the kg of one strip; the fruit of strips is part of the block's harvest.",
        name="strips-fruit-beyond-harvest",
        of="season",
    ),
    Rule(
        ("strips", "blocks"),
        "vines",
        _in_sum("vines", _bearing),
        "belongs to strips of {total:,.0f} vines together, and the block has {most:,.0f}",
        "Write the bearing vines of one strip.",
        name="strips-vines-beyond-block",
        of="season",
    ),
]
ESTIMATES = [
    plausible(
        "estimates",
        "tonnes",
        "t_ha",
        lambda facts: facts["estimates"]["tonnes"] / facts.of_block("estimates", "area"),
        "the crop per hectare",
        "Write the tonnes of the whole block, not of a hectare.",
        ("blocks",),
    )
]
