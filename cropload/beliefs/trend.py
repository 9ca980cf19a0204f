"""The yearly change of a block's crop and wood: by its own seasons, and what a forecast uses of it.

A change is one that all blocks share plus the block's own, both drawn towards none. What is then
believed is what a forecast goes on with. Told and named is the change before it was drawn: the
straight line through the block's own seasons beside those of the others, which had the same
weather, with the scatter that such lines leave on this estate. What all blocks do is weather,
unless it is surely more.
"""

from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.spreads import student_width
from cropload.vine.growth import COMPONENTS, RESPONSES, STAGES, STATE, trend_line

_TREND = STATE.index("trend")
#: Variance of the log of a level of which nothing is known [1].
_UNKNOWN = 100.0
#: Share of a change's spread below which its own seasons are taken to say nothing [1].
_NOTHING = 1e-6

#: Fewest blocks that tell what a season did to all [1].
_FEWEST = 5
#: Weight of the handbook's scatter beside what lines leave, in seasons of evidence [1].
_PRIOR = 1.0
#: Variance over the other blocks' from which on a block swings by itself [1].
_SWINGS = 2.5
#: Least variance that a season of a block has of its own [1].
_LEAST = 0.02**2
_HARVEST = STAGES.index("harvest")
#: Rounds in which lines of blocks and means of seasons are taken out in turn [1].
_ROUNDS = 30

#: Figure -> components whose seasons make it scatter.
_SCATTER = {
    "pruning_weight": ("pruning_weight_kg_per_m",),
    "cane_weight": ("pruning_weight_kg_per_m", "shoots_per_bud"),
    "ravaz": (
        "pruning_weight_kg_per_m",
        "shoots_per_bud",
        "clusters_per_shoot",
        "cluster_weight_g",
    ),
    "crop": ("shoots_per_bud", "clusters_per_shoot", "cluster_weight_g", "recovery"),
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
    beside : (2, blocks), by how much a block's line is steeper than the middle of the others', and
        its standard deviation; NaN where there are too few others to tell the weather by
    widen, all_widen : how much wider the told change of a block, and that of all, is known, for
        the scatter of blocks, and of seasons, rests on few of them [1]
    lines : YearlyChanges of the straight lines, which are told where these are only gone on with
    """

    blocks: tuple
    used: np.ndarray
    own: np.ndarray
    root: np.ndarray
    own_variance: np.ndarray
    cross: np.ndarray
    own_prior: np.ndarray
    shared_prior: np.ndarray
    beside: np.ndarray | None = None
    widen: float = 1.0
    all_widen: float = 1.0
    lines: "YearlyChanges | None" = None

    @cached_property
    def told(self):
        """Each block's change by its own seasons, and its standard deviation, (2, blocks).

        Beside the other blocks in the same seasons, whose weather it had. Where they are too few,
        or where all of them surely change, it is the whole change: the prior of the block's own is
        divided out of what is believed, and nothing else is. NaN where its seasons say nothing.
        """
        if self.lines is not None:
            place = {name: at for at, name in enumerate(self.lines.blocks)}
            at = [place.get(name, len(place)) for name in self.blocks]
            return np.pad(self.lines.told, ((0, 0), (0, 1)), constant_values=np.nan)[:, at]
        left = self.own_prior - self.own_variance
        left = np.where(left > _NOTHING * self.own_prior, left, np.nan)
        variance = np.square(self.root).sum(1) + self.cross**2 / left
        told = np.stack([self.used + self.cross * self.own / left, np.sqrt(variance)])
        told[1] *= self.widen
        all_of_them = self.together(np.ones(len(left)))[:2]
        sure = handbook.entry("trend.sure").extra["all"]
        if self.beside is None or any(named_changes(*all_of_them, sure)):
            return told
        beside = self.beside * [[1.0], [self.widen]]
        return np.where(np.isnan(beside), told, beside)

    def together(self, weights):
        """Return the mean change of all blocks: told, its standard deviation, and used.

        Parameters
        ----------
        weights : ndarray, shape (blocks,)
            What each block counts for [1].
        """
        share = weights / weights.sum()
        if self.lines is not None:
            here = np.isin(self.blocks, self.lines.blocks)
            return *self.lines.together(weights[here])[:2], float(share @ self.used)
        used, variance = float(share @ self.used), float(np.square(share @ self.root).sum())
        prior = float(share @ self.shared_prior) ** 2 + float(share**2 @ self.own_prior)
        kept = 1 - variance / prior
        if kept <= _NOTHING:
            return np.nan, np.nan, used
        return used / kept, self.all_widen * np.sqrt(variance / kept), used


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


def named_changes(middle, sd, sure=None):
    """Return where a change is named as a fall, and where as a rise.

    Parameters
    ----------
    middle, sd : array_like
        As ``YearlyChanges.told`` [1/year].
    sure : float, optional
        Chance in the place of ``trend.sure`` [1].

    Notes
    -----
    A change is named where its chance to be one at all is over ``trend.sure`` and it is likelier
    beyond ``trend.holding`` than within: so a steady block is named in at most twice the rest of
    ``trend.sure``, however much its seasons scatter.
    """
    band = handbook.value("trend.holding")
    far = NormalDist().inv_cdf(handbook.value("trend.sure") if sure is None else sure)
    sure = np.abs(middle) > far * sd
    return sure & (middle < np.log1p(-band)), sure & (middle > np.log1p(band))


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
    rows = crop_rows(estate)
    return YearlyChanges(
        estate.facts.names,
        crop * (centre + shared * beliefs.response_mean[len(RESPONSES)]),
        crop * centre,
        crop[:, None] * np.concatenate([whole, np.diag(np.sqrt(own))], axis=1),
        crop**2 * (np.square(through).sum(1) + own),
        crop**2 * ((through * whole).sum(1) + own),
        crop**2 * estate.own.variances[:, _TREND - len(COMPONENTS)],
        crop * shared,
        lines=own_lines(rows, "crop", beliefs.learned.spreads) if len(rows) else None,
    )


def crop_rows(estate):
    """Return each crop on record as ``own_lines`` takes it, its load and age taken out."""
    everyone = np.arange(len(estate.facts.names))
    _, seen = estate.lines(everyone, estate.linearised_about)
    line = seen.rows[:, :-1, _HARVEST]
    answers = seen.responses()[:, :-1, :, : len(RESPONSES)]
    answers = answers @ estate.beliefs.response_mean[: len(RESPONSES)]
    crop = seen.values[:, :-1, _HARVEST] - np.einsum("btk,btk->bt", line, answers)
    crop = crop - np.einsum("btk,bk->bt", line, seen.mean)
    b, t = np.nonzero(seen.precision[:, :-1, _HARVEST] > 0)
    return pd.DataFrame(
        {
            "block": np.array(estate.facts.names, object)[b],
            "season": estate.season - line.shape[1] + t,
            "crop": np.exp(crop[b, t]),
            "crop_variance": 1 / seen.precision[b, t, _HARVEST],
        }
    )


def block_lines(rows, y, year, sampling, prior, season_prior):
    """Return what straight lines of blocks leave, what a season did to all taken out.

    ``prior`` and ``season_prior`` are variances of a block's season and of a season's effect on
    all [1]. Returns the first, (blocks,) [1], and how much wider than a normal's a range is for it
    [1]; the same two of the season; and by how much each line is steeper than the middle of the
    others', (blocks,) [1/year].
    """
    here = rows["block"].factorize()[0]
    when = rows.groupby("season").ngroup().to_numpy(int)
    seen, cells = np.bincount(here), np.bincount(when)
    centre = np.bincount(here, year) / seen
    year = year - centre[here]
    square = np.maximum(np.bincount(here, year**2), 1e-9)
    left, slope, season = y, 0.0, 0.0
    for _ in range(_ROUNDS):
        left = left - (np.bincount(here, left) / seen)[here]
        steeper = np.bincount(here, left * year) / square
        left, slope = left - steeper[here] * year, slope + steeper
        all_of_it = np.bincount(when, left) / cells
        left, season = left - all_of_it[when], season + all_of_it
    free = max(len(rows) - np.minimum(seen, 2).sum() - max(len(cells) - 2, 0), 0)
    noise, mine, squares = (
        float(sampling.mean()),
        free * seen / len(rows),
        np.bincount(here, left**2),
    )
    weight = handbook.entry("sd.own_scatter").extra["dof"]
    swings = np.zeros(len(seen), bool)
    # A block that swings far more than the others says nothing of them, and is known less itself.
    for _ in range(2):
        known = _PRIOR + mine[~swings].sum()
        whole = (_PRIOR * (prior + noise) + squares[~swings].sum()) / known
        own = (weight + squares / whole) / (weight + mine)
        swings = own > _SWINGS
    alone = squares / np.maximum(mine, 1.0) * student_width(np.maximum(mine, 1.0)) ** 2
    variance = np.maximum(np.where(swings, alone, whole) - noise, _LEAST)
    lines = square > _NOTHING
    slope = np.where(lines & (lines.sum() >= _FEWEST), slope, np.nan)
    if lines.sum() >= _FEWEST:
        slope = slope - _others_middle(slope)
    spare = _PRIOR + max(len(cells) - 2, 0)
    season = (_PRIOR * season_prior + float(season @ season)) / spare
    return variance, float(student_width(known)), season, float(student_width(spare)), slope


def scatter(figure, spreads):
    """Return variances of the season's effect on all, and of a block's own, on a figure's log."""
    places = [COMPONENTS.index(name) for name in _SCATTER[figure]]
    square = (spreads.sd[:, places] ** 2).sum(1)
    return square[1], square[2] + square[3]


def own_lines(rows, figure, spreads):
    """Return the yearly changes of a figure, by the straight lines of the blocks.

    Parameters
    ----------
    rows : DataFrame
        block, season, the figure, positive, and ``<figure>_variance``, that of its log.
    figure : str
        ``"pruning_weight"``, ``"ravaz"``, ``"cane_weight"`` or ``"crop"``.
    spreads : Spreads
        Of the components.

    Returns
    -------
    YearlyChanges
        Of the blocks in the order of their first rows.

    Notes
    -----
    Level of a block: unknown. Noise: the season's effect on all, the block's own, and sampling;
    the block's own is what lines leave on this estate, the handbook's spread weighing as a few
    seasons. The load is not taken out.
    """
    blocks = list(dict.fromkeys(rows["block"]))
    season_var, own_var = scatter(figure, spreads)
    y = np.log(rows[figure].to_numpy(float))
    year = rows["season"].to_numpy(float)
    year = year - year.mean()
    here, there = rows["block"].map({n: i for i, n in enumerate(blocks)}).to_numpy(int), len(blocks)
    sampling = np.nan_to_num(rows[f"{figure}_variance"].to_numpy(float))
    own_var, widen, season_var, season_widen, steeper = block_lines(
        rows, y, year, sampling, own_var, season_var
    )
    weight = 1 / (own_var[here] + sampling)
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
    # ... but for what blocks share: each season (Woodbury).
    when = rows.groupby("season").ngroup().to_numpy(int)
    shared = np.diag(1 / max(season_var, 1e-12) + np.bincount(when, weight))
    told = np.bincount(when, weight * y)
    seen = np.zeros((2, there, len(shared)))
    for i in range(2):
        np.add.at(seen[i], (here, when), weight * design[:, i])
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
        np.stack([steeper, _beside(here, year, weight)]),
        widen,
        season_widen,
    )


def _others_middle(values):
    """Return of each of some values the mean of the others but the lowest and highest of them.

    NaN is none of them.
    """
    order, count = np.argsort(values), int((~np.isnan(values)).sum())
    ordered, others = values[order], np.nansum(values) - values
    low = np.where(values == ordered[0], ordered[1], ordered[0])
    high = np.where(values == ordered[count - 1], ordered[count - 2], ordered[count - 1])
    return (others - low - high) / (count - 3)


def _beside(here, year, weight):
    """Return the standard deviations of lines beside the middle of the others' [1/year]."""
    sums = [np.bincount(here, weight * year**power) for power in range(3)]
    square = sums[2] - sums[1] ** 2 / sums[0]
    lines = square > _NOTHING
    own = np.where(lines, 1 / np.where(lines, square, 1.0), np.nan)
    others = (np.nansum(own) - own) / max(lines.sum() - 1, 1) ** 2
    # Without its ends a mean of normals varies by so much more: 1.2 times of four, 1.1 of ten.
    others = others * (1 + 0.7 / max(lines.sum() - 2, 1))
    return np.sqrt(own + others)
