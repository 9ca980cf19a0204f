"""What a user asks for: a block, a season, draws; checked before any work is done."""

import numpy as np

from cropload import arguments, clock
from cropload.beliefs.guard import named
from cropload.errors import CroploadError, near
from cropload.records.example import is_sample
from cropload.records.hemisphere import hemisphere_of_dates

#: The last month in which grapes are picked, by hemisphere; later ones are left to freeze.
_LAST_MONTH = {"north": 10, "south": 6}

_LOAD_UNKNOWN = "Load unknown"


def next_season(records, today=None):
    """Return the season to plan for: the latest on record that is not over, or the next one.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    today : date, optional
        The day to ask on; the clock's when left out.

    Notes
    -----
    A season already picked is over, so the one after it is meant.
    Where that is past too by its months of picking, the next harvest to come by the clock is meant.
    Time stands still for the invented sample estate.
    A year typed wrong, or a row filled in ahead, moves it nowhere: what is dated after today, and
    seasons after the next harvest, do not count.
    """
    today = clock.today() if today is None else today
    seen = [
        int(season)
        for table in (records.pruning, records.counts, records.weights)
        for season in table["season"].unique()
        if season <= today.year + 1
    ]
    seen += [season + 1 for season in picked_seasons(records, today)]
    if seen and is_sample(records):
        return max(seen)
    return max([coming_harvest(records, today), *seen])


def coming_harvest(records, today):
    """Return the year of the next harvest to come, by the months in which grapes are picked.

    Notes
    -----
    Picking is over after October, and after June where the dates on record lie in the south
    (common practice, no source); without any date the later of the two holds.
    """
    try:
        side = hemisphere_of_dates(records) or "north"
    except CroploadError:  # Dates that contradict each other are told of where they are used.
        side = "north"
    return today.year + (today.month > _LAST_MONTH[side])


def picked_seasons(records, today=None):
    """Return the seasons with a harvest on record that can have been, by today's date."""
    today, harvest = clock.today() if today is None else today, records.harvest
    over = (harvest["season"] <= today.year) & ~(harvest["date"] > np.datetime64(today))
    return {int(season) for season in harvest["season"][over]}


def why_season(records, season, today=None):
    """Return in words why ``next_season`` is the season it is, on a day as there."""
    today = clock.today() if today is None else today
    if season - 1 in picked_seasons(records, today):
        return f"the one after the last harvest on record ({season - 1})"
    for name in ("pruning", "counts", "weights"):
        table = getattr(records, name)
        if len(table) and season in set(table["season"]):
            return f"the latest in table {name}"
    tables = (records.pruning, records.counts, records.weights, records.harvest)
    seen = {int(year) for table in tables for year in table["season"].unique() if year < season}
    last = f"the latest season on record is {max(seen)}" if seen else "no season is on record"
    return f"the next harvest to come on {today:%Y-%m-%d}; {last}"


def load_unknown(blocks, before=None):
    """Return the line that asks for the plan of blocks without any on record, as a list.

    Parameters
    ----------
    blocks : sequence of str
        Their names; none, and the list is empty.
    before : int, optional
        The season whose plan they have, where only those before it are not on record.
    """
    if not blocks:
        return []
    plan, asked = "no plan", "Which is carried now?"
    if before is not None:
        plan, asked = f"no plan before that of {before}", "Which was carried till then?"
    return [
        f"{_LOAD_UNKNOWN}: {plan} is on record for {named(blocks)}. {asked} Until it is told, a "
        "usual load is taken, and ranges are wider."
    ]


def load_first(notes):
    """Return the notes that ``load_unknown`` made, which are told first, and the others."""
    first = [note for note in notes if note.startswith(_LOAD_UNKNOWN)]
    return first, [note for note in notes if note not in first]


def check_season(records, season, today=None):
    """Return the season asked for as a year; the next one on a day when none was named.

    Raises
    ------
    CroploadError
        When it is no year.
    """
    if season is None:
        return next_season(records, today)
    return arguments.season("season", season)


def check_block(records, block):
    """Return the block's name as recorded (or forecast), or say which names there are.

    Raises
    ------
    CroploadError
        When no such block is on record.
    """
    blocks = records.blocks
    names = list(blocks) if isinstance(blocks, tuple) else [str(b) for b in blocks["block"]]
    if not isinstance(block, str):
        block = arguments.shown(block)
    if block in names:
        return block
    folded = {name.casefold().strip(): name for name in names}
    recorded = folded.get(block.casefold().strip())
    if recorded is None:
        listed = ", ".join(f"'{name}'" for name in names[:12]) + (", ..." * (len(names) > 12))
        raise CroploadError(
            f"There is no block '{block}' in these records. {near(block, names)}".rstrip()
            + f" The blocks are: {listed}."
        )
    return recorded


def check_draws(draws, seed):
    """Raise CroploadError unless ``draws`` is 100 to 1,000,000 and ``seed`` 0 or more."""
    for name, number, low, high in (("draws", draws, 100, 1_000_000), ("seed", seed, 0, 2**63)):
        whole = isinstance(number, (int, np.integer)) and not isinstance(number, bool)
        if not whole or not low <= number <= high:
            raise CroploadError(
                f"{name} must be a whole number from {low} to {high}, not "
                f"{arguments.shown(number)}."
            )
