"""Which vines to count: by row, evenly along each row from a random start, the same every time."""

import math
from dataclasses import dataclass
from hashlib import sha256

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.errors import CroploadError, near

#: A place without a vine.
_PLACE = arguments.pair(lambda _, place: place, "pairs of a row and a vine")


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class PickedVines(Answer):
    """The vines of a block to count.

    Attributes
    ----------
    frame : DataFrame
        stop (order of the walk), block, row, vine; up one row and down the next.
    block : str
        Name of the block.
    seed : int
        Seed of the pick.
    design : str
        For ``mean_from_sample``: ``"stratified"`` or ``"row-cluster"``.
    wanted : int
        Bearing vines wanted [1].
    places : dict
        Places of each row that could be picked [1].
    """

    block: str
    seed: int
    design: str
    wanted: int
    places: dict


@arguments.check_arguments(
    records=arguments.records,
    block=arguments.block,
)
def pick_vines(
    records,
    block,
    count,
    *,
    rows=None,
    rows_to_walk=None,
    headland_vines=None,
    missing=(),
    seed=0,
):
    """Pick the vines of a block to count.

    Parameters
    ----------
    records, block : Records, str
        The season folder, and a block of it.
    count : int
        Bearing vines wanted [1].
    rows : int, optional
        Rows of the block [1], where ``blocks`` has no column ``rows``.
    rows_to_walk : int, optional
        Visit only this many rows [1], to save walking; all of them otherwise.
    headland_vines : int, optional
        Vines left out at each end of every row [1]; the block's ``headlands`` otherwise.
    missing : iterable of (row, vine)
        Places known to have no bearing vine; they are passed over.
    seed : int
        The same seed and block name pick the same vines on any machine.

    Returns
    -------
    PickedVines

    Raises
    ------
    CroploadError
        An unknown block, no number of rows, or more vines wanted than there are.

    Notes
    -----
    Every place has the same chance.  The sample is shared out to the rows in proportion to their
    places, from a random start, and within a row the picks are evenly spaced from a new random
    start, so that they do not line up across the block.  Rows are taken as vines / rows long; the
    first rows hold one vine more where that does not divide.
    Where places without a vine are not listed, more are picked by the block's ``missing_pct``: at
    an empty place the crew ticks "no vine" and leaves the boxes blank, and nobody chooses a
    neighbour by eye.
    Valid for rows numbered from 1 and vines numbered from 1 along each row.  Leaving out headlands
    is right only where they are left out of the crop too, else the mean is the inner block's.
    """
    found = block_of(records, block)
    wanted = _whole(count, "The number of vines to count", 1)
    lengths = _row_lengths(found, rows)
    if headland_vines is None:
        listed = found.get("headlands", 0)
        headland_vines = 0 if pd.isna(listed) else listed
    edge = _whole(headland_vines, "The number of headland vines", 0)
    passed = {(_whole(row, "The row of a missing vine", 1), _whole(vine, "A missing vine", 1))
              for row, vine in arguments.each(_PLACE, least=0)("missing", missing)}  # fmt: skip
    seed = _whole(seed, "The seed", 0)
    places = {
        row: [v for v in range(1 + edge, length - edge + 1) if (row, v) not in passed]
        for row, length in enumerate(lengths, start=1)
    }
    places = {row: vines for row, vines in places.items() if vines}
    share = 0.0 if passed else _missing_share(found)
    draw = math.ceil(wanted / (1 - share) - 1e-9)

    # One stream a block by its name: the pick does not depend on what other blocks are sampled.
    name = int.from_bytes(sha256(str(block).encode()).digest()[:8], "big")
    rng = np.random.default_rng(np.random.SeedSequence([seed, name]))
    there = sum(map(len, places.values()))
    if rows_to_walk is not None:
        walk = _whole(rows_to_walk, "The number of rows to walk", 1)
        walk = min(walk, len(places), draw)
        chosen = _spread_over(np.ones(len(places)), walk, rng) > 0
        places = {row: vines for (row, vines), take in zip(places.items(), chosen, strict=True)
                  if take}  # fmt: skip
    left = sum(map(len, places.values()))
    if draw > left:
        raise CroploadError(
            f"Block {block!r} has {left} places to pick from ({there} in all rows), but {draw} are "
            f"needed for {wanted} bearing vines; count fewer vines, or walk more rows."
        )
    takes = _spread_over([len(vines) for vines in places.values()], draw, rng)
    picked, up = [], True
    for (row, vines), take in zip(places.items(), takes, strict=True):
        if take == 0:
            continue
        step = len(vines) / take
        at = np.floor((rng.random() + np.arange(take)) * step).astype(int)
        mine = [(row, vines[i]) for i in np.minimum(at, len(vines) - 1)]
        picked += mine if up else mine[::-1]
        up = not up
    table = pd.DataFrame(picked, columns=["row", "vine"])
    table.insert(0, "block", str(block))
    table.insert(0, "stop", np.arange(1, len(table) + 1))
    note = (
        f"{draw} places for {wanted} bearing vines: about {100 * share:g} % of the places have "
        "no vine."
        if share
        else f"{draw} places, every one with a vine as far as is known."
    )
    return PickedVines(
        table,
        (note,),
        block=str(block),
        seed=seed,
        design="stratified" if len(places) == len(lengths) else "row-cluster",
        wanted=wanted,
        places={row: len(vines) for row, vines in places.items()},
    )


def block_of(records, block):
    """Return the row of ``blocks`` that describes a block, or say which blocks there are.

    Raises
    ------
    CroploadError
        The records have no such block.
    """
    found = records.blocks[records.blocks["block"] == block]
    if found.empty:
        names = list(records.blocks["block"])
        raise CroploadError(
            f"The records have no block {block!r}; they have {', '.join(map(repr, names))}. "
            f"{near(block, names)}".rstrip()
        )
    return found.iloc[0]


def _row_lengths(found, rows):
    vines = _whole(found["vines"], f"The vines of block {found['block']!r}", 1)
    if rows is None:
        rows = found.get("rows", math.nan)
        if pd.isna(rows):
            raise CroploadError(
                f"How many rows block {found['block']!r} has is not recorded. Fill column rows of "
                "table blocks."
            )
    rows = _whole(rows, "The number of rows", 1)
    if rows > vines:
        raise CroploadError(
            f"Block {found['block']!r} cannot have {rows} rows and only {vines} vines."
        )
    return [vines // rows + (row < vines % rows) for row in range(rows)]


def _missing_share(found):
    percent = found.get("missing_pct", 0.0)
    share = 0.0 if pd.isna(percent) else float(percent) / 100
    if not 0 <= share < 1:
        raise CroploadError(
            f"Block {found['block']!r} has missing_pct {percent:g}; with no vine left there is "
            "nothing to count."
        )
    return share


def _spread_over(sizes, take, rng):
    """Share ``take`` picks out in proportion to sizes, each share rounded down or up at random."""
    ends = np.cumsum(np.asarray(sizes, dtype=float))
    ends *= take / ends[-1]
    ends[-1] = take
    marks = rng.random() + np.arange(take)
    return np.diff(np.searchsorted(marks, ends, side="left"), prepend=0)


def _whole(number, what, least):
    value = arguments.plain_number(number)
    if not math.isfinite(value) or value != int(value) or value < least:
        raise CroploadError(
            f"{what} must be a whole number of {least} or more, not {arguments.shown(number)}."
        )
    return int(value)
