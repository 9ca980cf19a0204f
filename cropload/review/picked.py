"""What the scale said of a season's crops, and what a grower would have guessed of them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs.events import happened
from cropload.beliefs.measured import measurements
from cropload.errors import CroploadError
from cropload.frost.harvest_doubts import frosts_not_told
from cropload.records.as_of import records_until
from cropload.records.facts import block_facts, together, weighed_together
from cropload.show import wording

#: The guess that a grower did make: table estimates.
OWN = "own_estimate"
#: Guesses a grower would make without any model, with the words for them.
BASELINES = {
    "last_season": "same as last season",
    "block_mean": "the block's mean so far",
    "count_x_last_weight": "clusters counted x last season's cluster weight",
    OWN: "the grower's own estimate",
}


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
    records, season : Records, int
        As read by ``read_records``, and the year of harvest.

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
    events = happened(records, block_facts(records)).of_season(season)
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
        lost = {each: -100 * np.expm1(events.log_left([each])[0]) for each in names}
        notes += [
            f"{each} lost {share:.0f} % of its crop before the scale ({events.words(each)}): a "
            "forecast of a day before it misses by that as well."
            for each, share in lost.items()
            if share
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


@arguments.check_arguments(
    records=arguments.records,
    season=arguments.season,
    crops=arguments.optional(arguments.each(arguments.each(arguments.text))),
)
def baselines(records, season, as_of, crops=None):
    """Return what a grower would have guessed on a day, one column a baseline [t].

    Parameters
    ----------
    records, season : Records, int
        As read by ``read_records``, and the year of harvest.
    as_of : str or date
        Only records up to this day are used.
    crops : sequence of sequences of str, optional
        The blocks of each crop to guess; each block alone when left out.

    Returns
    -------
    DataFrame
        One row a crop, its name the blocks joined by " + "; NaN where a guess needs what was not
        on record for each of its blocks. Of a grower's own estimates the last one up to the day
        counts.

    Notes
    -----
    Tonnes of blocks on one ticket were split on paper, which is a guess of its own: such a season
    counts for a crop that holds all of them, and for no other.
    """
    known = records_until(records, as_of)
    facts = block_facts(known)
    found = measurements(known, facts)
    place = {name: at for at, name in enumerate(facts.names)}
    years = [season - 1, *sorted(set(known.harvest["season"].astype(int)) - {season - 1})]
    years = [year for year in years if year < season]

    def values(stage, year):
        rows = found[(found["stage"] == stage) & (found["season"] == year)]
        wide = np.full(len(place), np.nan)
        wide[[place[block] for block in rows["block"]]] = rows["value"]
        return wide

    bearing = facts.bearing / 1000.0
    counted = values("clusters", season) * values("weight_harvest", season - 1) / 1000.0 * bearing
    before = np.stack([values("harvest", year) * bearing for year in years], axis=1)
    said = known.estimates[known.estimates["season"] == season].dropna(subset=["tonnes"])
    said = said.sort_values("date", kind="stable")
    own = np.full(len(place), np.nan)
    own[[place[block] for block in said["block"]]] = said["tonnes"]
    partners = _partners(known, season)

    def guesses(blocks):
        at, mine = [place[block] for block in blocks], set(blocks)
        crop = before[at]
        for year, groups in partners.items():
            apart = [row for row, block in enumerate(blocks) if not groups.get(block, mine) <= mine]
            crop[apart, years.index(year)] = np.nan
        seen = ~np.isnan(crop)
        with np.errstate(invalid="ignore"):
            mean = np.where(seen, crop, 0.0).sum(1) / seen.sum(1)
        return crop[:, 0].sum(), mean.sum(), counted[at].sum(), own[at].sum()

    crops = [[name] for name in facts.names] if crops is None else crops
    return pd.DataFrame(
        [guesses(list(crop)) for crop in crops],
        index=[" + ".join(crop) for crop in crops],
        columns=list(BASELINES),
        dtype=float,
    )


def _partners(records, season):
    """Return {earlier season: {block: the blocks it was weighed with}}, where there are any."""
    found = {}
    for (block, year), lot in weighed_together(records).items():
        if year < season:
            found.setdefault(year, {})[block] = lot
    return found


def frost_notes(records, season):
    """Return which blocks a frost hit by the weather, though nothing on record tells it.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.

    Returns
    -------
    list of str
    """
    found = frosts_not_told(records, season, list(block_facts(records).names))
    return [
        f"{block}: by the weather, frost left about {wording.percent(left)} of the crop of "
        f"{season}, and no event tells it. Until it is written down (table events), its miss is "
        "taken for fewer clusters on a shoot, and so it is learnt."
        for block, left in found.items()
    ]


def joint_notes(records, season):
    """Return in which earlier seasons blocks shared a ticket, and what that takes from a guess.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest that is guessed.

    Returns
    -------
    list of str
    """
    seasons = {}
    for year, groups in _partners(records, season).items():
        for lot in set(groups.values()):
            name = " + ".join(b for b in block_facts(records).names if b in lot)
            seasons.setdefault(name, []).append(str(year))
    return [
        f"{name} were weighed together in {', '.join(years)}, so the tonnes of each alone are not "
        "known: that season counts for no guess of one of them, only for a crop that holds all of "
        "them."
        for name, years in sorted(seasons.items())
    ]
