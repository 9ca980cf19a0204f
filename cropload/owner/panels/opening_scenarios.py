"""The scenarios that the owner's page opens with: today's plans, and those kept or beside them."""

from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block
from cropload.owner.scenario_input import TODAY
from cropload.owner.scenarios import MOST
from cropload.pruning.compare import levels_of
from cropload.records.scenarios import kept_scenarios
from cropload.records.tables import LAST

#: The scenarios beside today's plans while none is kept.
BESIDE = {"longer": "heavier", "shorter": "lighter"}


def opening_scenarios(records, season, blocks=None):
    """Return today's plans and the scenarios kept, or longer and shorter wood while none is.

    Parameters
    ----------
    records, season : Records, int
        As read by ``read_records``, and the year of the harvest the pruning is for.
    blocks : sequence of str, optional
        Blocks compared; all of them when left out.

    Returns
    -------
    dict
        {scenario: {block: plan as text}}, ``last`` where parts carry plans of their own; a block
        that a kept scenario does not name keeps today's plan in it.
    """
    known = [str(name) for name in records.blocks["block"]]
    chosen = known if blocks is None else [check_block(records, block) for block in blocks]
    estate = estate_before_season(records, season)
    levels = {block: _levels(estate, block) for block in chosen}
    # A block in parts carries more than one plan: what is on record stands for them.
    parted = {estate.facts.names[at] for at in estate.divided}
    today = {block: LAST if block in parted else str(each[""]) for block, each in levels.items()}
    kept = {
        name: {
            block: today[block] if plans.get(block, LAST) == LAST else str(plans[block])
            for block in chosen
        }
        for name, plans in kept_scenarios(records, season, as_written=True).items()
        if name != TODAY and set(plans) & set(chosen)
    }
    if not kept:
        kept = {
            name: {block: str(each.get(word, each[""])) for block, each in levels.items()}
            for name, word in BESIDE.items()
        }
    return {TODAY: today, **dict(list(kept.items())[-(MOST - 1) :])}


def _levels(estate, block):
    """Return {word: plan} of a block; the plan carried last, or a usual one, under ""."""
    plans, words = levels_of(estate, block)
    return {"": plans[0], **dict(zip(words, plans, strict=True))}
