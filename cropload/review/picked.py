"""What the scale said of a season: the crop of each block, or of blocks weighed together."""

from dataclasses import dataclass

import numpy as np

from cropload.errors import CroploadError
from cropload.records.facts import block_facts, together


@dataclass(frozen=True)
class Picked:
    """A crop on the scale: its name, the blocks it came from, and tonnes [t]."""

    name: str
    blocks: tuple
    tonnes: float


@dataclass(frozen=True)
class OnTheScale:
    """A season's harvest: the crops that can be scored, and what was left out, in sentences."""

    crops: tuple
    notes: tuple


def on_the_scale(records, season):
    """Return the whole crops of a season at the scale.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.

    Returns
    -------
    OnTheScale
        In the order of table blocks.

    Raises
    ------
    CroploadError
        When nothing of the season is on the scale.

    Notes
    -----
    Several picks of a block are summed; a block picked in part so far is left out.
    Blocks that share a ticket of a day were weighed together. How their tonnes were shared out
    on paper is a guess, so only their sum is taken: they are one crop, scored jointly.
    A crop of 0 t has no percentage, so it is left out and named.
    """
    season = int(season)
    rows = records.harvest[records.harvest["season"] == season]
    if rows.empty:
        raise CroploadError(
            f"No harvest of {season} is on record, so there is nothing to hold a forecast "
            "against. Fill table harvest."
        )
    rows = rows.assign(block=rows["block"].astype(str), share=rows["picked_pct"].fillna(100.0))
    lost = rows.groupby("block")["lost_pct"].max().fillna(0.0)
    tonnes = rows.groupby("block")["tonnes"].sum()
    whole = rows.groupby("block")["share"].max() >= 100
    group = together(rows)
    crops, notes, told = [], [], set()
    blocks = block_facts(records).names
    for block in blocks:
        if block not in group:
            notes.append(f"{block} was not picked in {season}, so it is not scored.")
            continue
        if block in told:
            continue
        shared = group[block]
        names = (block,) if len(shared) == 1 else tuple(n for n in blocks if n in shared)
        told.update(names)
        name = " + ".join(names)
        if len(names) > 1:
            notes.append(
                f"{name} share a ticket, so they were weighed together. How the tonnes were split "
                "on paper is a guess: they are scored as one crop."
            )
        total = float(tonnes[list(names)].sum())
        notes += [
            f"{each} lost {lost[each]:g} % of its crop before the scale (column lost_pct): no "
            "forecast could know that, so its miss holds the loss as well."
            for each in names
            if lost[each] > 0
        ]
        if not whole[list(names)].all():
            notes.append(f"{name}: not picked whole yet, so not scored.")
        elif total <= 0:
            notes.append(f"{name}: nothing was picked; a percentage of nothing means nothing.")
        else:
            crops.append(Picked(name, names, total))
    return OnTheScale(tuple(crops), tuple(notes))


def sums(crops, names):
    """Return the matrix that adds blocks up to crops, and which crops have all their blocks.

    Parameters
    ----------
    crops : sequence of Picked
        Crops on the scale.
    names : sequence of str
        Blocks, in the order of the columns.

    Returns
    -------
    ndarray of 0 and 1, shape (crops, blocks); ndarray of bool, shape (crops,)
    """
    place = {name: at for at, name in enumerate(names)}
    matrix = np.zeros((len(crops), len(place)))
    there = np.ones(len(crops), bool)
    for row, crop in enumerate(crops):
        for block in crop.blocks:
            if block in place:
                matrix[row, place[block]] = 1.0
            else:
                there[row] = False
    return matrix, there
