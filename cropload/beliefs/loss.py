"""The chance that a crop is lost: hail, frost or disease that leaves nothing to pick.

A lost crop is no ordinary season, so the components do not learn from it. How often one is lost is
a chance of its own, pooled over the blocks of the estate.
"""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from cropload import handbook
from cropload.beliefs.measured import bare_seasons
from cropload.random_streams import stream
from cropload.records.facts import season_crops

#: What has been measured in the season, the latest last -> the key of what is left of the chance.
_LEFT = {
    "clusters": "clusters",
    "weight_lag": "clusters",
    "weight_veraison": "veraison",
    "weight_harvest": "veraison",
    "harvest": "picking",
}


@dataclass(frozen=True, eq=False)
class LossChance:
    """The chance of a lost crop, one value a block.

    chance : (blocks,), of the season forecast as it stands [1]
    lost, seasons : (blocks,), earlier seasons without a crop, and all that are on record [1]
    """

    chance: np.ndarray
    lost: np.ndarray
    seasons: np.ndarray

    def kept(self, names, places, draws, seed, later=0):
        """Draw whether the crops of some blocks are kept, (places, draws) of True and False.

        Parameters
        ----------
        names : sequence of str
            Names of all the blocks; a block's draws depend on its own and on the seed alone.
        places : sequence of int
            Places of the blocks wanted.
        draws, seed : int
            Draws [1] and their seed [1].
        later : int
            So many seasons on; losses of one season say nothing of another's [1].

        Notes
        -----
        A frost or a hailstorm seldom takes one block alone, so the blocks' losses go together
        (``loss.together``, a correlation of the normal behind each chance).
        """
        places = np.asarray(places, int)
        kept = np.ones((len(places), draws), bool)
        at_risk = self.chance[places] > 0
        if not at_risk.any():
            return kept
        together, which = handbook.value("loss.together"), (f"{later} on",) if later else ()
        shared = np.sqrt(together) * stream(seed, "loss", *which).standard_normal(draws)
        for at in np.flatnonzero(at_risk):
            own = stream(seed, f"loss of {names[places[at]]}", *which).standard_normal(draws)
            own = shared + np.sqrt(1 - together) * own
            kept[at] = own > NormalDist().inv_cdf(self.chance[places[at]])
        return kept

    def told(self, at):
        """Return whether a block's chance is worth a word: a crop was lost there, or it is high."""
        return bool(self.lost[at]) or self.chance[at] >= handbook.value("loss.told")


def loss_chance(records, facts, measured, season):
    """Return the chance that each block's crop of a season is lost.

    Parameters
    ----------
    records : Records
        As known on the day.
    facts : BlockFacts
        Fixed facts of the blocks.
    measured : DataFrame
        As from ``measurements``, this season's with it.
    season : int
        Year of harvest.

    Returns
    -------
    LossChance

    Notes
    -----
    The chance is that of a beta distribution: the estate's seasons stand beside the handbook's
    ``loss.yearly``, and each block's beside the estate's. Fruit that has been counted is past some
    of the dangers (``loss.left``). A crop counts as lost below the least that
    ``plausible.t_ha`` takes for one, or when all vines counted are bare.
    """
    count = len(facts.names)
    place = {name: at for at, name in enumerate(facts.names)}
    earlier = records.harvest[records.harvest["season"] < season]
    crops = season_crops(earlier).reset_index()
    at = crops["block"].astype(str).map(place).to_numpy(float)
    crops, at = crops[~np.isnan(at)], at[~np.isnan(at)].astype(int)
    whole = crops["tonnes"].to_numpy(float) / facts.area_ha[at]
    whole = whole / np.maximum(crops["picked_pct"].to_numpy(float) / 100, 1e-9)
    none = whole < handbook.entry("plausible.t_ha").low
    told = set(zip(at, crops["season"].astype(int), strict=True))
    lost = np.bincount(at[none], minlength=count).astype(float)
    seasons = np.bincount(at, minlength=count).astype(float)
    for block, year in bare_seasons(records.counts[records.counts["season"] < season], facts):
        if (place[block], year) not in told:
            lost[place[block]] += 1
            seasons[place[block]] += 1
    yearly, weight = handbook.entry("loss.yearly"), handbook.value("loss.block_weight")
    usual = (yearly.value * yearly.extra["seasons"] + lost.sum()) / (
        yearly.extra["seasons"] + seasons.sum()
    )
    chance = (weight * usual + lost) / (weight + seasons)
    left = np.ones(count)
    here = measured[measured["season"] == season]
    for stage, key in _LEFT.items():
        seen = here.loc[here["stage"] == stage, "block"].map(place).to_numpy(int)
        left[seen] = np.minimum(left[seen], handbook.value(f"loss.left.{key}"))
    return LossChance(chance * left, lost, seasons)


def loss_notes(estate, places, conditional=False):
    """Return what is to be said of the chance of a lost crop, a sentence a block.

    Parameters
    ----------
    estate : Estate
        What was learnt from the records.
    places : sequence of int
        Places of the blocks that are shown.
    conditional : bool
        Whether the crops beside it are those of a season that is not lost.

    Returns
    -------
    list of str
    """
    loss, notes = estate.loss, []
    for at in places:
        if not loss.told(at) or estate.young.barren[at] or not loss.chance[at]:
            continue
        seen = f"{loss.lost[at]:.0f} of {loss.seasons[at]:.0f} seasons on record were lost"
        percent = f"{100 * loss.chance[at]:.0f} %"
        if conditional:
            told = f"told as if no crop is lost; the chance that one is lost is about {percent}"
        else:
            told = f"the chance of a lost crop (0 t) is about {percent}, and the range holds it"
        notes.append(f"{estate.facts.names[at]}: {told} ({seen}).")
    return notes
