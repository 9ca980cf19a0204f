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
from cropload.records.facts import block_facts, together
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
    wide = {
        stage: found[found["stage"] == stage].pivot_table(
            index="block", columns="season", values="value"
        )
        for stage in ("harvest", "clusters", "weight_harvest")
    }
    vines = pd.Series(facts.bearing, index=list(facts.names)) / 1000.0

    def of(stage, wanted):
        table = wide[stage]
        found = table[wanted] if wanted in table else pd.Series(dtype=float)
        return found.reindex(vines.index)

    counted = of("clusters", season) * of("weight_harvest", season - 1) / 1000.0 * vines
    said = known.estimates[known.estimates["season"] == season].sort_values("date", kind="stable")
    own = said.groupby("block")["tonnes"].last().reindex(vines.index)
    before = wide["harvest"].reindex(vines.index)
    before = before[[s for s in before.columns if s < season]].mul(vines, axis=0)
    partners = _partners(known, season)

    def guesses(blocks):
        mine = before.loc[blocks]
        for year, groups in partners.items():
            apart = [block for block in blocks if not groups.get(block, set()) <= set(blocks)]
            if apart and year in mine:
                mine = mine.copy()
                mine.loc[apart, year] = np.nan
        return _past_guesses(mine, season).sum(skipna=False)

    alone = before.copy()
    for year, groups in partners.items():
        if year in alone:
            alone.loc[list(groups), year] = np.nan
    alone = _past_guesses(alone, season)
    if crops is None:
        return alone.assign(count_x_last_weight=counted, **{OWN: own})
    rows = [alone.loc[c[0]] if len(c) == 1 else guesses(list(c)) for c in crops]
    frame = pd.DataFrame(rows).reset_index(drop=True)
    for name, found in (("count_x_last_weight", counted), (OWN, own)):
        frame[name] = [found[list(c)].sum(skipna=False) for c in crops]
    return frame.set_axis([" + ".join(c) for c in crops])


def _past_guesses(before, season):
    """Return each block's last season and its mean [t]."""
    frame = pd.DataFrame(index=before.index, dtype=float)
    frame["last_season"] = before.get(season - 1, np.nan)
    frame["block_mean"] = before.mean(axis=1) if before.shape[1] else np.nan
    return frame


def _partners(records, season):
    """Return {earlier season: {block: the blocks it was weighed with}}, where there are any."""
    found = {}
    for year, rows in records.harvest.groupby("season"):
        if year < season:
            groups = together(rows.assign(block=rows["block"].astype(str)))
            groups = {block: lot for block, lot in groups.items() if len(lot) > 1}
            if groups:
                found[int(year)] = groups
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
