"""Yield to pruning weight of a block's parts, by the prunings weighed in each."""

import numpy as np

from cropload.beliefs.plan_draws import plan_draws
from cropload.vine.bands import ravaz_band
from cropload.vine.plan import DividedPlan


def part_balance_notes(records, estate, places, plans, *, draws, seed, band=None):
    """Return a sentence for each block whose parts all have prunings on record.

    Parameters
    ----------
    records, estate : Records, Estate
        As read, and what was learnt of them.
    places : sequence of int
        Places of the blocks.
    plans : sequence of PruningPlan or DividedPlan
        The plan of each.
    draws, seed : int
        Draws and their seed [1].
    band : str or (low, high), optional
        As in ``compare_plans`` [kg/kg].

    Returns
    -------
    list of str

    Notes
    -----
    The wood of a part stands to that of the block as its prunings do to their mean over all vines;
    its crop is that of its plan. So a weak part, which bears less too, is told as somewhat more
    heavily cropped than it is. Valid as ``compare_plans``.
    """
    facts, notes = estate.facts, []
    weighed = records.parts.groupby("block")["pruning_weight_kg"]
    weighed = weighed.count()[lambda count: count == weighed.size()].index
    for at, plan in zip(places, plans, strict=True):
        block = facts.names[at]
        if block not in weighed:
            continue
        rows = records.parts[records.parts["block"] == block]
        own = plan.plans if isinstance(plan, DividedPlan) else [plan] * len(rows)
        drawn = plan_draws(estate, [at], own, draws=draws, seed=seed)
        kg = rows["pruning_weight_kg"].to_numpy(float)
        wood = kg / np.average(kg, weights=rows["vines"])
        ratio = np.median(drawn.ravaz()[:, 0], axis=-1) / wood
        judged = ravaz_band(band, **facts.kind(at))
        told = ", ".join(
            f"{part} {each:.1f} kg/kg ({judged.word(each)})"
            for part, each in zip(rows["part"], ratio, strict=True)
        )
        notes.append(
            f"{block}, yield to pruning weight by part: {told}; the prunings are its own, the crop "
            "that of its plan."
        )
    return notes
