"""Read pruning scenarios as people write them: a CSV file, or one line a scenario."""

import re
from pathlib import Path

import pandas as pd

from cropload.beliefs.meant import check_block, check_season
from cropload.beliefs.plans_by_part import carried_plans
from cropload.errors import CroploadError, choose
from cropload.owner.money import scenario_plan
from cropload.owner.scenarios import FEWEST, MOST
from cropload.records.later_rows import in_order
from cropload.records.reading.csv_table import read_csv
from cropload.records.reading.faults import Fault, RecordsError
from cropload.records.reading.files import read_bytes, stop
from cropload.records.records import ParsedTable
from cropload.records.scenarios import kept_scenarios
from cropload.records.tables import DROPPED, LAST, TABLES

_OPENING = "The scenarios cannot be read"

HOW = (
    'Write it like "longer=Long Acre:3x10+3x2,Lyre Field:4x12+4x2"; "last" in the place of a plan '
    'is what the block carried last, "today" alone means that for every block, and another name '
    "alone is a scenario that was kept."
)

#: The scenario of what every block carried last, by its name alone.
TODAY = "today"

_ITEM = re.compile(r"\s*(.+?)\s*:\s*([^,:]*?)\s*(?:,|$)")


def _of_season(frame, season):
    """Return the rows for a season in the order in which they hold, scenarios as in the file."""
    frame = frame[frame["season"].isna() | (frame["season"] == season)]
    first = ~frame["season"].isna()
    rows = in_order(frame.assign(own=first), ["scenario", "block"])
    return rows.sort_values("own", kind="stable")


def read_scenario_file(path, records, season=None):
    """Read scenarios from a CSV file with the columns of table ``scenarios``.

    Scenario, block and plan are needed; a season, a day and a note are optional.

    Parameters
    ----------
    path : str or path
        The file, in any dialect in which tables of records are read.
    records : Records
        Their blocks are the ones that may be named.
    season : int, optional
        Year of harvest to plan for; it decides what ``last`` means.

    Returns
    -------
    dict
        {scenario: {block: PruningPlan}}, in the order of the file.

    Raises
    ------
    RecordsError
        With every fault of the file: row, column, value, rule and mend.
    """
    path, spec = Path(path).expanduser(), TABLES["scenarios"]
    season = check_season(records, season)
    try:
        data = read_bytes(path)
        if data[:2] == b"PK":
            stop(path.name, "is a workbook", "Save its sheet as CSV UTF-8.")
        table = ParsedTable(read_csv(spec, path.name, data))
    except RecordsError as fault:
        raise RecordsError(fault.faults, _OPENING) from None
    if not table.complete:
        raise RecordsError(table.faults, _OPENING)
    carried, faults = carried_plans(records, season), list(table.faults)
    found, seen = {}, {}
    for row in _of_season(table.frame, season).itertuples():
        name = row.scenario
        if not (name and row.block and row.plan):
            continue
        if row.plan == DROPPED:
            found.get(name, {}).pop(row.block, None)
            seen.pop((name, row.block), None)
            continue
        scenario = found.setdefault(name, {})
        try:
            block = check_block(records, row.block)
        except CroploadError as fault:
            faults.append(
                Fault(path.name, row.Index, "block", row.block, "is not known", f"{fault}")
            )
            continue
        if (name, block) in seen and pd.isna(row.date):
            rule = f"scenario '{name}' has a plan for it in row {seen[name, block]} already"
            faults.append(Fault(path.name, row.Index, "block", block, rule, "Keep one of the two."))
            continue
        seen[name, block] = row.Index
        try:
            scenario[block] = scenario_plan(records, block, row.plan, carried)[1]
        except CroploadError as fault:
            faults.append(Fault(path.name, row.Index, "plan", row.plan, "is no plan", str(fault)))
    found = {name: plans for name, plans in found.items() if plans or faults}
    for name, scenario in found.items():
        every = dict.fromkeys(block for _, block in seen)
        for block in every:
            if (name, block) not in seen and scenario:
                rule = f"has no plan for block '{block}', which another scenario has"
                mend = f"Add a row for it; '{LAST}' as its plan is what it carried last."
                faults.append(Fault(path.name, None, "scenario", name, rule, mend))
    if not FEWEST <= len(found) <= MOST:
        rule = f"holds {len(found)} scenario{'s' * (len(found) != 1)}"
        mend = f"Give {FEWEST} to {MOST}; the first is what the others are held against."
        faults.append(Fault(path.name, None, None, None, rule, mend))
    if faults:
        raise RecordsError(faults, _OPENING)
    return found


def _not_kept(name, kept, season):
    """Return the fault of a name alone that is no scenario kept for a season."""
    names = [name for name, _ in kept.values()]
    which = choose(name, [*names, TODAY]) if names else f"None is. {HOW}"
    return f"No scenario '{name}' is kept for season {season}. {which}"


def read_scenario_lines(texts, records, season=None):
    """Read scenarios from lines like ``longer=Long Acre:3x10+3x2,Lyre Field:4x12+4x2``.

    Parameters
    ----------
    texts : sequence of str
        One a scenario. ``last`` in the place of a plan is what the block carried last. A name
        without plans is a scenario kept beside the records, and ``today``, unless one is kept under
        that name, what every block carried last; a block that others name and it does not keeps
        what it carried last.
    records : Records
        Their blocks are the ones that may be named.
    season : int, optional
        As in `read_scenario_file`.

    Returns
    -------
    dict
        {scenario: {block: PruningPlan}}

    Raises
    ------
    CroploadError
        With every fault of every line.
    """
    season = check_season(records, season)
    carried, kept = carried_plans(records, season), kept_scenarios(records, season, as_written=True)
    kept = {name.casefold(): (name, plans) for name, plans in kept.items()}
    found, faults, bare = {}, [], []
    for text in texts:
        name, _, plans = str(text).partition("=")
        name, known = name.strip(), {}
        if not plans.strip():
            name, known = kept.get(name.casefold(), (name, {}))
        if not name:
            faults.append(f"The scenario '{text}' has no name. {HOW}")
            continue
        if name in found:
            faults.append(f"The scenario '{name}' is there twice. Give each one its own name.")
            continue
        found[name] = {
            block: scenario_plan(records, block, plan, carried)[1]
            for block, plan in known.items()
            if plan != LAST or block in carried
        }
        if not plans.strip():
            bare.append(name)
            if not known and name.casefold() != TODAY:
                faults.append(_not_kept(name, kept, season))
            continue
        end = 0
        for item in _ITEM.finditer(plans):
            end = item.end()
            try:
                block, plan = scenario_plan(records, item[1], item[2], carried)
            except CroploadError as fault:
                faults.append(f"Scenario '{name}': {fault}")
                continue
            if block in found[name]:
                faults.append(f"Scenario '{name}' names block '{block}' twice. Keep one plan.")
            found[name][block] = plan
        rest = plans[end:].strip(" ,")
        if rest:
            faults.append(f"Scenario '{name}': '{rest}' has no plan behind a colon. {HOW}")
    every = dict.fromkeys(block for plans in found.values() for block in plans)
    if not every and not faults:
        faults.append(f"No scenario names a block. {HOW}")
    for name in bare:
        for block in [block for block in every if block not in found[name]]:
            if block not in carried:
                faults.append(
                    f"Scenario '{name}': block '{block}' has no plan on record. Write its plan."
                )
            else:
                found[name][block] = carried[block]
    if not FEWEST <= len(texts) <= MOST:
        faults.append(
            f"A report takes {FEWEST} to {MOST} scenarios, not {len(texts)}. The first one is what "
            "the others are held against, such as today's plans."
        )
    if faults:
        raise CroploadError("\n".join(faults))
    return found
