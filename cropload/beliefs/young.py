"""Young blocks: in which seasons the vines of a block were, or are, too young for a full crop."""

from dataclasses import dataclass

import numpy as np

from cropload.beliefs.guard import named
from cropload.vine.growth import COMPONENTS, STAGES
from cropload.vine.young import (
    LOG_OF_NOTHING,
    first_bearing_leaf,
    leaf,
    leaf_word,
    load_share,
    log_share,
    share_spread,
)

#: Stages whose measurement shows that vines bore.
_FRUIT = ("clusters", "weight_lag", "weight_veraison", "weight_harvest", "harvest")
#: Stages that the share of a young vine's clusters moves.
_MOVED = [STAGES.index("clusters"), STAGES.index("harvest")]
_CLUSTERS = COMPONENTS.index("clusters_per_shoot")


@dataclass(frozen=True, eq=False)
class YoungBlocks:
    """The vines' age by block and season, the season forecast last; arrays (blocks, seasons).

    leaves : leaf as from ``vine.young.leaf``, NaN where not known [1]
    log_load : log of the buds usual at that age over a grown vine's [1]
    log_share : log of a bud's share of clusters there over a grown vine's [1]
    variance : of that log [1]
    bore : whether fruit was measured there
    years : the seasons
    """

    leaves: np.ndarray
    log_load: np.ndarray
    log_share: np.ndarray
    variance: np.ndarray
    bore: np.ndarray
    years: tuple

    def onto(self, offset, places):
        """Move the offsets of some blocks' lines, and return the variance their cells add.

        Parameters
        ----------
        offset : ndarray, shape (places, seasons, stages)
            As from ``stage_rows``; moved in place [1].
        places : ndarray of int
            Places of the blocks.

        Returns
        -------
        ndarray, shape (places, seasons, components), or None
            None where all the vines of all the blocks are grown.
        """
        if not self.log_share.any() and not self.variance.any():
            return None
        offset[..., _MOVED] += self.log_share[places][..., None]
        added = np.zeros((*offset.shape[:2], len(COMPONENTS)))
        added[..., _CLUSTERS] = self.variance[places]
        return added

    def season(self, places):
        """Return what holds for some blocks in the season forecast, as YoungSeason."""
        at = (places, -1)
        parts = (self.leaves, self.log_load, self.log_share, self.variance, self.bore)
        parts = (part[at] for part in parts)
        return YoungSeason(self.years[-1], *parts)


@dataclass(frozen=True, eq=False)
class YoungSeason:
    """The vines' age in one season, arrays by block; see ``YoungBlocks``."""

    year: int
    leaves: np.ndarray
    log_load: np.ndarray
    log_share: np.ndarray
    variance: np.ndarray
    bore: np.ndarray

    @property
    def barren(self):
        """Whether no crop is expected of a block, (blocks,)."""
        return self.log_share <= LOG_OF_NOTHING

    def share_of(self, places):
        """Return the log share of some blocks, (places, 1) [1], or None where all are grown."""
        share = self.log_share[places]
        return share[:, None] if share.any() else None

    def later(self, seasons):
        """Return log load, log share and variance so many seasons later, each (blocks,) [1]."""
        leaves = self.leaves + seasons
        load = np.log(load_share(leaves))
        return load, _of_a_bud(log_share(leaves), load), share_spread(leaves) ** 2

    def first_crop(self, place):
        """Return the first season in which a block bears by its age."""
        return self.year + int(first_bearing_leaf() - self.leaves[place])

    def notes(self, names, places=None):
        """Return what is to be said of young blocks, one sentence for those alike.

        Parameters
        ----------
        names : sequence of str
            Names of all the blocks.
        places : sequence of int, optional
            Places of the blocks that are shown; all of them when left out.

        Returns
        -------
        list of str
        """
        places = range(len(names)) if places is None else places
        alike = {}
        for at in places:
            if self.log_share[at] != 0 or self.variance[at] != 0:
                alike.setdefault((self.leaves[at], bool(self.bore[at])), []).append(at)
        return [
            self._note([names[at] for at in members], members[0])
            for _, members in sorted(alike.items())
        ]

    def words(self, place):
        """Return the leaf of a block in words, such as "second leaf"."""
        if self.leaves[place] < 1:
            return "not planted yet"
        return leaf_word(self.leaves[place])

    def standing(self, place):
        """Return a block's age as what follows its name, such as "is in its second leaf"."""
        if self.leaves[place] < 1:
            return f"is not planted yet in {self.year}"
        return f"is in its {self.words(place)}"

    def _note(self, names, place):
        planted = f"planted {self.year - int(self.leaves[place]) + 1:d}"
        start = f"{named(names)}, {planted}: {self.words(place)} in {self.year}"
        if self.barren[place]:
            return (
                f"{start}, no crop is expected (0 t). If the vines bear, count clusters; if they "
                "are older, correct year_planted in table blocks."
            )
        share = 100 * np.exp(self.log_share[place] + self.log_load[place])
        if self.leaves[place] < first_bearing_leaf():
            return (
                f"{start}, yet fruit is on record: it starts from about {share:.0f} % of a grown "
                f"vine's clusters, the share of the {leaf_word(first_bearing_leaf())} "
                "(`young.share` of the handbook)."
            )
        return (
            f"{start}, so about {share:.0f} % of a grown vine's clusters are expected "
            "(`young.share` of the handbook); clusters per shoot are given as of grown vines."
        )


def _of_a_bud(share, load):
    """Return the log of a bud's share of clusters; nothing stays nothing, whatever the load."""
    return np.where(share > LOG_OF_NOTHING, share - load, LOG_OF_NOTHING)


def young_blocks(facts, seasons, measured):
    """Return in which seasons the vines of which blocks are young.

    Parameters
    ----------
    facts : BlockFacts
        With the year each block was planted.
    seasons : sequence of int
        The seasons, the one forecast last.
    measured : DataFrame
        As from ``measurements``.

    Returns
    -------
    YoungBlocks

    Notes
    -----
    What was measured wins over the years: vines that bore before their first bearing leaf are
    taken as in it. Seasons before the planting are those of the vines that stood there before.
    Valid for blocks planted in one year.
    """
    leaves = leaf(np.asarray(seasons)[None, :], facts.year_planted[:, None])
    bore = np.zeros(leaves.shape, bool)
    fruit = measured[measured["stage"].isin(_FRUIT)]
    place = {name: at for at, name in enumerate(facts.names)}
    bore[fruit["block"].map(place).to_numpy(int), fruit["season"].to_numpy(int) - seasons[0]] = True
    acts = np.where(bore & (leaves >= 1), np.maximum(leaves, first_bearing_leaf()), leaves)
    load, share, variance = np.log(load_share(acts)), log_share(acts), share_spread(acts) ** 2
    # A share that was never measured need not be moved, and what stood there before was grown; a
    # plan of a young season speaks of the usual load, measured or not.
    open_season = np.arange(len(seasons)) == len(seasons) - 1
    moved = (bore & (leaves >= 1)) | (open_season & ~bore)
    return YoungBlocks(
        leaves,
        load,
        np.where(moved, _of_a_bud(share, load), 0.0),
        np.where(moved, variance, 0.0),
        bore,
        tuple(int(year) for year in seasons),
    )
