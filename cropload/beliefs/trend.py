"""The yearly change of a block's crop and wood: by its own seasons, and what a forecast uses of it.

A change is one that all blocks share plus the block's own, both drawn towards none. What is then
believed is what a forecast goes on with. Told and named is the change before it was drawn: the
block's own seasons alone, set against the same weather as its neighbours'.
"""

from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist

import numpy as np

from cropload import handbook
from cropload.vine.growth import COMPONENTS, RESPONSES, STAGES, STATE, trend_line

_TREND = STATE.index("trend")
#: Variance of the log of a level of which nothing is known [1].
_UNKNOWN = 100.0
#: Share of a change's spread below which its own seasons are taken to say nothing [1].
_NOTHING = 1e-6

#: Figure of the wood -> components whose seasons make it scatter.
_SCATTER = {
    "pruning_weight": ("pruning_weight_kg_per_m",),
    "cane_weight": ("pruning_weight_kg_per_m", "shoots_per_bud"),
    "ravaz": (
        "pruning_weight_kg_per_m",
        "shoots_per_bud",
        "clusters_per_shoot",
        "cluster_weight_g",
    ),
}


@dataclass(frozen=True, eq=False)
class YearlyChanges:
    """Yearly changes of the log of one figure of all blocks [1/year].

    blocks : names of the blocks
    used : (blocks,), what is believed: the change that a forecast goes on with
    own : (blocks,), the part of it that is the block's own
    root : (blocks, normals), a square root of the covariance of ``used``
    own_variance, cross : (blocks,), variance of ``own``, and its covariance with ``used``
    own_prior : (blocks,), variance of the block's own change before anything was seen
    shared_prior : (blocks,), standard deviation of the shared change in each block, before
    """

    blocks: tuple
    used: np.ndarray
    own: np.ndarray
    root: np.ndarray
    own_variance: np.ndarray
    cross: np.ndarray
    own_prior: np.ndarray
    shared_prior: np.ndarray

    @cached_property
    def told(self):
        """Each block's change by its own seasons, and its standard deviation, (2, blocks).

        The prior of the block's own change is divided out of what is believed, and nothing else
        is; NaN where its seasons say nothing.
        """
        left = self.own_prior - self.own_variance
        left = np.where(left > _NOTHING * self.own_prior, left, np.nan)
        variance = np.square(self.root).sum(1) + self.cross**2 / left
        return np.stack([self.used + self.cross * self.own / left, np.sqrt(variance)])

    def together(self, weights):
        """Return the mean change of all blocks: told, its standard deviation, and used.

        Parameters
        ----------
        weights : ndarray, shape (blocks,)
            What each block counts for [1].
        """
        share = weights / weights.sum()
        used, variance = float(share @ self.used), float(np.square(share @ self.root).sum())
        prior = float(share @ self.shared_prior) ** 2 + float(share**2 @ self.own_prior)
        kept = 1 - variance / prior
        if kept <= _NOTHING:
            return np.nan, np.nan, used
        return used / kept, np.sqrt(variance / kept), used


def chances_beyond(middle, sd):
    """Return the chances that a change falls, or rises, by more than ``trend.holding`` a year.

    Parameters
    ----------
    middle, sd : array_like
        As ``YearlyChanges.told`` [1/year]; NaN stays NaN.
    """
    from scipy.special import ndtr

    band = handbook.value("trend.holding")
    return ndtr((np.log1p(-band) - middle) / sd), 1 - ndtr((np.log1p(band) - middle) / sd)


def surely_beyond(middle, sd, sure):
    """Return where the chances of ``chances_beyond`` are over ``sure`` [1], without scipy."""
    band, far = handbook.value("trend.holding"), NormalDist().inv_cdf(sure)
    return (np.log1p(-band) - middle) / sd > far, (np.log1p(band) - middle) / sd < -far


def crop_changes(estate):
    """Return the yearly changes of the crop that a forecast of this estate goes on with.

    Parameters
    ----------
    estate : Estate
        What was learnt from the records.

    Returns
    -------
    YearlyChanges
        Load, age of the vines and what their season shared are taken out.

    Notes
    -----
    More clusters weigh less each, so a crop changes by less than its trend moves the components.
    """
    beliefs, shared = estate.beliefs, estate.own.estate_trend
    at = beliefs.shared.effects + len(RESPONSES)
    own = beliefs.own_covariance[:, _TREND, _TREND]
    through = np.empty((len(own), beliefs.root.shape[1]))
    for v in np.unique(beliefs.variety):
        members = beliefs.variety == v
        through[members] = beliefs.load[members, _TREND] @ beliefs.root[beliefs.shared.places(v)]
    whole = through + shared * beliefs.root[at]
    centre = beliefs.centre[:, _TREND]
    lines = estate.season_rows[:, STAGES.index("harvest"), : len(COMPONENTS)]
    crop = lines @ trend_line()
    return YearlyChanges(
        estate.facts.names,
        crop * (centre + shared * beliefs.response_mean[len(RESPONSES)]),
        crop * centre,
        crop[:, None] * np.concatenate([whole, np.diag(np.sqrt(own))], axis=1),
        crop**2 * (np.square(through).sum(1) + own),
        crop**2 * ((through * whole).sum(1) + own),
        crop**2 * estate.own.variances[:, _TREND - len(COMPONENTS)],
        crop * shared,
    )


def scatter(figure, spreads):
    """Return variances of season, variety-in-season and block effects on a figure's log [1]."""
    places = [COMPONENTS.index(name) for name in _SCATTER[figure]]
    square = (spreads.sd[:, places] ** 2).sum(1)
    return square[1], square[2], square[3]


def wood_changes(rows, figure, spreads):
    """Return the yearly changes of a figure of the wood.

    Parameters
    ----------
    rows : DataFrame
        block, variety, season, the figure, positive, and ``<figure>_variance``, that of its log.
    figure : str
        ``"pruning_weight"``, ``"ravaz"`` or ``"cane_weight"``.
    spreads : Spreads
        Of the components.

    Returns
    -------
    YearlyChanges
        Of the blocks in the order of their first rows.

    Notes
    -----
    Level of a block: unknown. Noise: the season's effect on all, the variety's in the season, the
    block's own, and sampling. The load is not taken out.
    """
    blocks = list(dict.fromkeys(rows["block"]))
    season_var, variety_var, own_var = scatter(figure, spreads)
    y = np.log(rows[figure].to_numpy(float))
    year = rows["season"].to_numpy(float)
    year = year - year.mean()
    here, there = rows["block"].map({n: i for i, n in enumerate(blocks)}).to_numpy(int), len(blocks)
    sampling = np.nan_to_num(rows[f"{figure}_variance"].to_numpy(float))
    weight = 1 / (own_var + sampling)
    # The mean log is taken out, so that a wide prior about 0 is a wide prior about it.
    y = y - y.mean()
    # Level and change of each block: their information is two by two ...
    design = np.stack([np.ones_like(year), year], axis=-1)
    products = weight[:, None, None] * design[:, :, None] * design[:, None, :]
    information = np.zeros((2, there, 2, there))
    for i, j in np.ndindex(2, 2):
        diagonal = np.bincount(here, products[:, i, j], minlength=there)
        information[i, range(there), j, range(there)] = diagonal
    right = np.stack([np.bincount(here, weight * part * y, minlength=there) for part in design.T])
    # ... but for what blocks share: each season, and each variety in a season (Woodbury).
    effects = [
        rows.groupby(by).ngroup().to_numpy(int) for by in (["season"], ["season", "variety"])
    ]
    counts = [int(effect.max()) + 1 for effect in effects]
    effects[1] = effects[1] + counts[0]  # pandas may lend its arrays read-only
    shared = np.repeat(1 / np.maximum([season_var, variety_var], 1e-12), counts)
    shared, seen = np.diag(shared), np.zeros((2, there, sum(counts)))
    told = np.zeros(sum(counts))
    for one in effects:
        np.add.at(told, one, weight * y)
        for i in range(2):
            np.add.at(seen[i], (here, one), weight * design[:, i])
        for other in effects:
            np.add.at(shared, (one, other), weight)
    seen = seen.reshape(2 * there, -1)
    gain = np.linalg.solve(shared, np.column_stack([seen.T, told]))
    information = information.reshape(2 * there, -1) - seen @ gain[:, :-1]
    right = right.ravel() - seen @ gain[:, -1]
    own, common = (handbook.value(f"trend.{of}") ** 2 for of in ("block", "estate"))
    prior = np.linalg.inv(own * np.eye(there) + common)
    information[:there, :there] += np.eye(there) / _UNKNOWN
    information[there:, there:] += prior
    found = np.linalg.inv(information)
    change = (found @ right)[there:]
    covariance = found[there:, there:]
    # Of a change believed, so much is the block's own, whatever the shared one may be.
    part = own * prior
    moved = part @ covariance
    variance = np.einsum("ij,ij->i", moved, part) + own - own * np.diag(part)
    return YearlyChanges(
        tuple(blocks),
        change,
        part @ change,
        np.linalg.cholesky((covariance + covariance.T) / 2),
        variance,
        np.diag(moved),
        np.full(there, own),
        np.full(there, np.sqrt(common)),
    )
