"""The scenarios that the owner's page opens with: today's plans, and those kept or beside them."""

from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block
from cropload.owner.scenario_input import TODAY
from cropload.owner.scenarios import MOST
from cropload.pruning.compare import levels_of
from cropload.records.scenarios import kept_scenarios

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
        {scenario: {block: plan as text}}; a block that a kept scenario does not name keeps
        today's plan in it.
    """
    known = [str(name) for name in records.blocks["block"]]
    chosen = known if blocks is None else [check_block(records, block) for block in blocks]
    estate = estate_before_season(records, season)
    levels = {block: _levels(estate, block) for block in chosen}
    today = {block: str(each[""]) for block, each in levels.items()}
    kept = {
        name: {block: str(plans.get(block, today[block])) for block in chosen}
        for name, plans in kept_scenarios(records, season).items()
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
