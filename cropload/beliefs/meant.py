"""What a user asks for: a block, a season, draws; checked before any work is done."""

import numpy as np

from cropload import arguments, clock
from cropload.beliefs.guard import named
from cropload.errors import CroploadError, near

_LOAD_UNKNOWN = "Load unknown"


def next_season(records):
    """Return the season to plan for: the latest with a pruning on record, or the next one.

    Notes
    -----
    A season already picked is over, so the one after it is meant.
    Without any record of a season it is the year of the next harvest by today's date.
    A year typed wrong, or a row filled in ahead, moves it nowhere: what is dated after today, and
    seasons after the next harvest, do not count.
    """
    coming = clock.today().year + 1
    seen = [
        int(season)
        for table in (records.pruning, records.counts, records.weights)
        for season in table["season"].unique()
        if season <= coming
    ]
    seen += [season + 1 for season in picked_seasons(records)]
    return max(seen) if seen else coming


def picked_seasons(records):
    """Return the seasons with a harvest on record that can have been, by today's date."""
    today, harvest = clock.today(), records.harvest
    over = (harvest["season"] <= today.year) & ~(harvest["date"] > np.datetime64(today))
    return {int(season) for season in harvest["season"][over]}


def why_season(records, season):
    """Return in words why ``next_season`` is the season it is."""
    if season - 1 in picked_seasons(records):
        return f"the one after the last harvest on record ({season - 1})"
    for name in ("pruning", "counts", "weights"):
        table = getattr(records, name)
        if len(table) and season in set(table["season"]):
            return f"the latest in table {name}"
    return "the next harvest by today's date, as no season up to it is on record"


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


def check_season(records, season):
    """Return the season asked for as a year; the next one when none was named.

    Raises
    ------
    CroploadError
        When it is no year.
    """
    if season is None:
        return next_season(records)
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
