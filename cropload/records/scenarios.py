"""Named scenarios that were kept beside the records: what each block would carry."""

from cropload.records.tables import DROPPED, LAST


def last_plans(records, season):
    """Return the plan each block carried last before a season, as text, {block: plan}."""
    rows = records.pruning
    rows = rows[(rows["plan"] != "") & (rows["season"] < season)]
    rows = rows.sort_values("season", kind="stable")
    return dict(zip(rows["block"], rows["plan"], strict=True))


def kept_scenarios(records, season, *, as_written=False):
    """Return the scenarios kept for a season, by name.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest; what was kept for any season counts too.
    as_written : bool
        Whether ``last`` stays as the plan of a block, instead of what that is.

    Returns
    -------
    dict
        {scenario: {block: plan}} with plans as text, in the order in which they were first kept.
        A block whose plan is ``last`` and that has none on record is left out.
    """
    carried, found = last_plans(records, season), {}
    rows = records.scenarios[records.scenarios["season"].isin([0, int(season)])]
    found = {name: {} for name in rows["scenario"].unique()}
    # What was kept for the season itself holds before what was kept for any.
    for row in rows.sort_values("season", kind="stable").itertuples():
        last = row.plan == LAST and not as_written
        plan = carried.get(row.block, DROPPED) if last else row.plan
        found[row.scenario][row.block] = plan
    kept = {
        name: {block: plan for block, plan in plans.items() if plan != DROPPED}
        for name, plans in found.items()
    }
    return {name: plans for name, plans in kept.items() if plans}
