"""Plans of a block's parts, its vigour classes: in which season they hold, and what they make."""

from cropload.beliefs.measured import plans_by_season
from cropload.records.scenarios import last_plans
from cropload.vine.plan import DividedPlan, PruningPlan


def plans_by_part(records, season, plans, reference_plans=None):
    """Return the plans of blocks whose parts are pruned apart in a season.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.
    plans : dict
        {(block, season): PruningPlan} of whole blocks on record.
    reference_plans : dict, optional
        {block: plan} that blocks without any on record have carried.

    Returns
    -------
    dict
        {block: DividedPlan}, without the blocks whose parts all carry the plan of the block.

    Notes
    -----
    A part without a plan has that of its block; where the block has none either, its parts are
    left aside. Table ``parts`` knows no season: its plans go with the block's last one in table
    ``pruning`` and hold until one of a later season is written. They are of no season before the
    last harvest on record, and earlier seasons keep the block's own plan, whose load the block's
    history belongs to.
    """
    parts, found = records.parts, {}
    if not (parts["plan"] != "").any():
        return found
    if season < max([records.last_harvest, *records.harvest["season"].unique()]):
        return found
    for block, rows in parts.groupby("block", sort=False):
        years = [year for name, year in plans if name == block]
        if season < max(years, default=season):
            continue
        whole = plans[block, max(years)] if years else (reference_plans or {}).get(block)
        read = [PruningPlan.parse(plan) if plan else whole for plan in rows["plan"]]
        if None not in read and set(read) != {whole}:
            found[block] = DividedPlan(tuple(rows["part"]), tuple(read), tuple(rows["vines"]))
    return found


def carried_plans(records, season):
    """Return the plan each block carries as last on record, {block: plan}.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest to plan for.

    Returns
    -------
    dict
        {block: PruningPlan or DividedPlan}: that of its parts where they have plans, and the last
        one before the season elsewhere; without the blocks that have none.
    """
    last = {block: PruningPlan.parse(plan) for block, plan in last_plans(records, season).items()}
    return {**last, **plans_by_part(records, season, plans_by_season(records))}
