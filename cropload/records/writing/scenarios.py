"""Keep named scenarios beside the records, each as rows of its own; nothing is overwritten."""

from cropload import clock
from cropload.errors import CroploadError
from cropload.records.example import own_folder
from cropload.records.records import read_records
from cropload.records.scenarios import kept_scenarios
from cropload.records.tables import DROPPED
from cropload.records.writing.append import append_rows


def keep_scenario(records, name, plans, season, note="", replace=False):
    """Keep a scenario in the user's table ``scenarios``, and return what was done in words.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; their folder or workbook is added to.
    name : str
        Name of the scenario; capitals do not tell two apart.
    plans : dict
        {block: plan}, as text or PruningPlan; one block is enough. Other blocks that are kept
        under the name stay in it.
    season : int
        Year of harvest that it is for.
    note : str
        A remark.
    replace : bool
        Whether a plan may take the place of another one of its block. The row of the earlier one
        stays; the later holds.

    Raises
    ------
    CroploadError
        When a block has another plan under that name and ``replace`` is not set, when there is no
        name or no plan, for the shipped sample, or as ``append_rows``; nothing is written then.
    """
    wanted = {block: "".join(str(plan).lower().split()) for block, plan in plans.items()}
    name = " ".join(str(name).split())
    if not name or not wanted:
        raise CroploadError("A scenario to be kept needs a name, and a plan for a block at least.")
    name, before, written = _named(records, name, season, "keep a scenario")
    changed = {
        block: plan
        for block, plan in wanted.items()
        if plan not in (before.get(block), written.get(block))
    }
    if not changed:
        return f"nothing to do, scenario '{name}' is kept so for season {season}."
    others = [f"{block} {before[block]}" for block in changed if block in before]
    if others and not replace:
        raise CroploadError(
            f"Scenario '{name}' is kept for season {season} already, with {', '.join(others[:3])}"
            f"{', ...' if len(others) > 3 else ''}. Choose another name."
        )
    file = _append(records, name, changed, season, note)
    return f"scenario '{name}' for season {season} is in {file}."


def drop_scenario(records, name, season, blocks=None):
    """Take a scenario out of those kept for a season, and return what was done in words.

    Parameters
    ----------
    records, season : Records, int
        As in `keep_scenario`.
    name : str
        Its name.
    blocks : iterable of str, optional
        Only these of its blocks; all when left out.

    Raises
    ------
    CroploadError
        When no such scenario is kept, for the shipped sample, or as ``append_rows``.

    Notes
    -----
    Its rows stay in the table; a later one says that it is dropped.
    """
    name, before, _ = _named(records, name, season, "drop a scenario")
    gone = [block for block in before if blocks is None or block in blocks]
    if not gone:
        raise CroploadError(f"No scenario '{name}' is kept for season {season}.")
    file = _append(records, name, dict.fromkeys(gone, DROPPED), season, "")
    return f"scenario '{name}' for season {season} is dropped; its rows stay in {file}."


def _named(records, name, season, purpose):
    """Return the name as it is kept, its plans, and as written; capitals do not tell two apart."""
    read = read_records(own_folder(records, purpose))
    for kept, plans in kept_scenarios(read, season).items():
        if kept.casefold() == str(name).strip().casefold():
            return kept, plans, kept_scenarios(read, season, as_written=True)[kept]
    return str(name).strip(), {}, {}


def _append(records, name, plans, season, note):
    """Add a row for each block, with its day, its season and its note."""
    row = {"scenario": name, "season": int(season), "date": clock.today(), "note": note}
    rows = [row | {"block": block, "plan": plan} for block, plan in plans.items()]
    return append_rows(records.path, "scenarios", rows)
