"""Named scenarios that were kept beside the records: what each block would carry."""

from cropload.records.facts import plans_by_season
from cropload.records.tables import DROPPED, LAST
from cropload.vine.plan import PruningPlan


def last_plans(records, season):
    """Return the plan each block carried last before a season, {block: PruningPlan}."""
    plans = sorted(plans_by_season(records).items(), key=lambda item: item[0][1])
    return {block: plan for (block, year), plan in plans if year < season}


def kept_scenarios(records, season):
    """Return the scenarios kept for a season, by name.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest; what was kept for any season counts too.

    Returns
    -------
    dict
        {scenario: {block: PruningPlan}}, in the order in which they were first kept. A block whose
        plan is ``last`` and that has none on record is left out.
    """
    carried, found = last_plans(records, season), {}
    rows = records.scenarios[records.scenarios["season"].isin([0, int(season)])]
    # What was kept for the season itself holds before what was kept for any.
    for row in rows.sort_values("season", kind="stable").itertuples():
        plan = carried.get(row.block) if row.plan == LAST else row.plan
        found.setdefault(row.scenario, {})[row.block] = plan
    order = rows["scenario"].unique()
    kept = {
        name: {
            block: plan if isinstance(plan, PruningPlan) else PruningPlan.parse(plan)
            for block, plan in found[name].items()
            if plan is not None and plan != DROPPED
        }
        for name in order
    }
    return {name: plans for name, plans in kept.items() if plans}
