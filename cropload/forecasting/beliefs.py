"""Beliefs: the log-normal components of every block, with the effects that blocks share.

The model, in natural logs, for component k of block b of variety v in season t::

    x = mu + variety[v] + block[b] + season[t] + variety_season[v, t] + residual[b, t]

Whatever is measured in a block in a season is a straight line in its components, with an error.
How the vines answer to a change of load is not known exactly either: each response has one
standard normal that all blocks share, and it moves what is measured by so much a unit as the
load of that block and season has changed.
So everything is Gaussian once the spreads are known, and the posterior is exact. Blocks are tied
to each other only through the shared effects, so they are eliminated one by one (an arrow
matrix): the work grows in proportion to the number of blocks.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

#: Groups of random effects whose spread is learnt from the records.
GROUPS = ("block", "season", "variety_season", "residual")

#: Spreads are learnt from at most so many blocks, evenly taken: more hardly sharpen them.
_TEACHERS = 400


@dataclass(frozen=True)
class Spreads:
    """Standard deviations on the log scale [1], one row a group of ``GROUPS``.

    ``sd`` and ``dof``: shape (groups, components); ``variety``: shape (components,) or
    (varieties, components), the spread of a variety's mean about its prior mean.
    """

    sd: np.ndarray
    dof: np.ndarray
    variety: np.ndarray


@dataclass(frozen=True)
class Grid:
    """What was measured, as one grid of blocks x seasons; the last season is the one forecast.

    rows : (blocks, seasons, stages, components), coefficients [1]
    values : (blocks, seasons, stages), ln(measured) less the offset [1]; anything where absent
    precision : (blocks, seasons, stages), 1 / sampling variance of ln(measured) [1]; 0 = absent
    mean : (blocks, components), prior means of the logs [1]
    variety : (blocks,), index of the variety
    response : (blocks, seasons, components, responses), shift of each component's log, as
        measured, for each unit of a load response's standard normal [1]
    """

    rows: np.ndarray
    values: np.ndarray
    precision: np.ndarray
    mean: np.ndarray
    variety: np.ndarray
    response: np.ndarray | None = None

    def part(self, places):
        """Return the grid of some blocks."""
        arrays = (self.rows, self.values, self.precision, self.mean, self.variety)
        response = None if self.response is None else self.response[places]
        return Grid(*(array[places] for array in arrays), response)

    def responses(self):
        """Return ``response``, empty where none is given."""
        if self.response is not None:
            return self.response
        blocks, seasons, _, components = self.rows.shape
        return np.zeros((blocks, seasons, components, 0))


def _evidence(grid):
    """Return each cell's information about its own components: matrix and vector."""
    weighted = grid.rows * grid.precision[..., None]
    matrix = np.swapaxes(weighted, -1, -2) @ grid.rows
    residual = grid.values - np.einsum("btsk,bk->bts", grid.rows, grid.mean)
    residual = np.where(grid.precision > 0, residual, 0.0)
    vector = np.einsum("btsk,bts->btk", weighted, residual)
    return matrix, vector


def _marginal(matrix, vector, variance):
    """Integrate an effect with this diagonal ``variance`` out of (matrix, vector)."""
    k = matrix.shape[-1]
    system = np.eye(k) + matrix * variance[..., None, :]
    solved = np.linalg.solve(system, np.concatenate([matrix, vector[..., None]], axis=-1))
    info = solved[..., :k]
    return (info + np.swapaxes(info, -1, -2)) / 2, solved[..., k]


def _posterior_covariance(information, variance):
    """Return the covariance of an effect of diagonal prior ``variance`` given its information."""
    k = information.shape[-1]
    covariance = np.linalg.solve(
        np.eye(k) + variance[..., :, None] * information,
        np.broadcast_to(np.eye(k) * variance[..., None, :], information.shape),
    )
    return (covariance + np.swapaxes(covariance, -1, -2)) / 2


@dataclass(frozen=True)
class _Shared:
    """Where the shared effects of a variety lie in the one long vector of all of them."""

    varieties: int
    seasons: int
    components: int
    responses: int = 0

    @property
    def effects(self):
        return (self.varieties + self.seasons * (1 + self.varieties)) * self.components

    @property
    def size(self):
        return self.effects + self.responses

    @property
    def local(self):
        return 1 + 2 * self.seasons

    def names(self, varieties):
        """Return the name of each effect and response, whatever its place.

        Seasons are told by how long ago they were, so that a longer history renames nothing.
        """
        ago = [f"{self.seasons - 1 - t:03d} ago" for t in range(self.seasons)]
        return [
            *(f"variety {name}" for name in varieties),
            *(f"season {t}" for t in ago),
            *(f"variety {name} in season {t}" for name in varieties for t in ago),
            *(f"response {at}" for at in range(self.responses)),
        ]

    def sizes(self):
        """Return how many numbers each name of ``names`` stands for."""
        effects = self.effects // self.components
        return [self.components] * effects + [1] * self.responses

    def places(self, variety):
        effects = np.concatenate(
            [
                [variety],
                self.varieties + np.arange(self.seasons),
                self.varieties + self.seasons * (1 + variety) + np.arange(self.seasons),
            ]
        )
        places = (effects[:, None] * self.components + np.arange(self.components)).ravel()
        return np.concatenate([places, self.effects + np.arange(self.responses)])

    def of_season(self, array, season):
        """Add up the effects that act in a season, along the last axis; responses left out."""
        end = self.local * self.components
        effects = array[..., :end].reshape(*array.shape[:-1], self.local, self.components)
        return effects[..., [0, 1 + season, 1 + self.seasons + season], :].sum(-2)


def _transposed(matrices):
    return np.swapaxes(matrices, -1, -2)


def _spread_local(by_season):
    """Lay information by season out over the local effects: variety, seasons, variety-seasons."""
    return np.concatenate([by_season.sum(1, keepdims=True), by_season, by_season], axis=1)


class _Said:
    """What some blocks say of the shared effects, once their own effects are eliminated."""

    def __init__(self, grid, evidence, shared, variances):
        matrix, vector = evidence
        _, block_var, _, _, residual_var = variances
        blocks, seasons, k = vector.shape
        self.shared, self.grid = shared, grid
        self.info, self.vec = _marginal(matrix, vector, residual_var)
        self.block_cov = _posterior_covariance(self.info.sum(1), block_var)
        self.groups = [np.flatnonzero(grid.variety == v) for v in range(shared.varieties)]
        self.precision = np.zeros((shared.size, shared.size))
        self.right = np.zeros(shared.size)
        self.load = np.empty((blocks, k, shared.local * k + shared.responses))
        shift = grid.responses()
        for variety, members in enumerate(self.groups):
            if not len(members):
                continue
            places = shared.places(variety)
            info, cov = self.info[members], self.block_cov[members]
            total = info.sum(0)
            local = np.zeros((shared.local, k, shared.local, k))
            local[0, :, 0] = total.sum(0)
            for t in range(seasons):
                for one in (1 + t, 1 + seasons + t):
                    local[0, :, one] = local[one, :, 0] = total[t]
                    for other in (1 + t, 1 + seasons + t):
                        local[one, :, other] = total[t]
            effects = shared.local * k
            moved = info @ shift[members]  # (n, seasons, k, responses)
            square = np.empty((len(places), len(places)))
            square[:effects, :effects] = local.reshape(effects, effects)
            cross = _spread_local(moved.sum(0)[None])[0].reshape(effects, -1)
            square[:effects, effects:], square[effects:, :effects] = cross, cross.T
            square[effects:, effects:] = np.einsum(
                "ntkr,ntkq->rq", shift[members], moved, optimize=True
            )
            wide = _spread_local(info)  # (n, local, k, k)
            wide = np.swapaxes(wide, 1, 2).reshape(len(members), k, -1)
            wide = np.concatenate([wide, moved.sum(1)], axis=-1)
            gain = cov @ wide
            flat = wide.reshape(-1, wide.shape[-1])
            square -= flat.T @ gain.reshape(flat.shape)
            vec = self.vec[members]
            local_right = np.concatenate(
                [
                    _spread_local(vec).sum(0).ravel(),
                    np.einsum("ntkr,ntk->r", shift[members], vec),
                ]
            ) - np.einsum("nkq,nk->q", gain, vec.sum(1))
            self.precision[np.ix_(places, places)] += square
            self.right[places] += local_right
            self.load[members] = -gain


@dataclass(frozen=True, eq=False)
class SharedPosterior:
    """The exact posterior of the effects that blocks share.

    mean : (shared effects,) [1]
    root : (shared effects, normals), a square root of their covariance [1]
    normals : name of each group of normals and how many it holds, in the order of the columns
    """

    shared: _Shared
    mean: np.ndarray
    root: np.ndarray
    normals: tuple

    def local_mean(self, variety):
        """Return the means of the effects that blocks of a variety bear."""
        return self.mean[self.shared.places(variety)]

    def local_root(self, variety):
        """Return the rows of the root for the effects that blocks of a variety bear."""
        return self.root[self.shared.places(variety)]


def _solve(shared, variances, precision, right, varieties=None):
    """Return the posterior of the shared effects from what all the blocks said of them.

    The effects are taken in the order of their names, so that a block's draws do not depend on
    the order in which blocks and varieties stand in the records.
    """
    variety_var, _, season_var, vs_var, _ = variances
    diagonal = np.concatenate(
        [
            np.broadcast_to(variety_var, (shared.varieties, shared.components)).ravel(),
            season_var.ravel(),
            np.tile(vs_var.ravel(), shared.varieties),
            np.ones(shared.responses),
        ]
    )
    if varieties is None:
        varieties = [str(at) for at in range(shared.varieties)]
    names = shared.names(varieties)
    sizes = shared.sizes()
    starts = np.cumsum([0, *sizes[:-1]])
    by_name = sorted(range(len(names)), key=names.__getitem__)
    order = np.concatenate([starts[at] + np.arange(sizes[at]) for at in by_name])
    whole = precision + np.diag(1.0 / diagonal)
    factor = np.linalg.cholesky(whole[np.ix_(order, order)])
    # precision = F F'  =>  covariance = inv(F)' inv(F)
    root = np.empty_like(whole)
    root[order] = np.linalg.inv(factor).T
    normals = tuple((names[at], sizes[at]) for at in by_name)
    return SharedPosterior(shared, root @ (root.T @ right), root, normals)


class _Solution(_Said):
    """The exact posterior of shared and block effects for given variances."""

    def __init__(self, grid, evidence, shared, variances):
        super().__init__(grid, evidence, shared, variances)
        found = _solve(shared, variances, self.precision, self.right)
        self.root, self.shared_mean = found.root, found.mean

    def local_mean(self, variety):
        return self.shared_mean[self.shared.places(variety)]

    def local_root(self, variety):
        return self.root[self.shared.places(variety)]

    def shared_variance(self):
        return np.einsum("ij,ij->i", self.root, self.root)


def _second_moments(solution, variances):
    """Return summed second moments, counts and information for each group of ``GROUPS``."""
    shared, grid = solution.shared, solution.grid
    _, block_var, season_var, vs_var, residual_var = variances
    _, seasons, k = solution.vec.shape
    seen = np.einsum("btkk->bt", solution.info) > 0
    moments = np.zeros((len(GROUPS), k))
    counts = np.zeros((len(GROUPS), k))
    known = np.zeros((len(GROUPS), k))

    mean, var = solution.shared_mean, solution.shared_variance()
    mean = mean[: shared.effects].reshape(-1, k)[shared.varieties :]
    var = var[: shared.effects].reshape(-1, k)[shared.varieties :]
    shift = grid.responses()
    used = seen.any(0)
    moments[1] = (mean[:seasons] ** 2 + var[:seasons])[used].sum(0)
    counts[1] = used.sum()
    known[1] = (1 - var[:seasons] / season_var)[used].sum(0)
    for v, members in enumerate(solution.groups):
        if not len(members):
            continue
        root = solution.local_root(v)
        local_mean = solution.local_mean(v)
        here = slice(seasons * (1 + v), seasons * (2 + v))
        used = seen[members].any(0)
        moments[2] += (mean[here] ** 2 + var[here])[used].sum(0)
        counts[2] += used.sum()
        known[2] += (1 - var[here] / vs_var)[used].sum(0)

        load, cov = solution.load[members], solution.block_cov[members]
        some = seen[members].any(1)
        centre = np.einsum("nkj,nj->nk", cov, solution.vec[members].sum(1)) + load @ local_mean
        shared_cov = root @ root.T
        # Covariance of each block's own effect with what it shares, and with itself.
        through = load @ shared_cov
        block_var_now = through @ np.swapaxes(load, 1, 2) + cov
        own = np.einsum("nkk->nk", block_var_now)
        moments[0] += (centre**2 + own)[some].sum(0)
        counts[0] += some.sum()
        known[0] += (1 - own / block_var)[some].sum(0)

        end = shared.local * k
        effects = local_mean[:end].reshape(shared.local, k)
        for t in range(seasons):
            if not used[t]:
                continue
            rows = seen[members, t]
            moved = shift[members][rows, t]
            level = shared.of_season(effects.ravel(), t) + centre[rows] + moved @ local_mean[end:]
            # Variance of the level: what is shared, the response, the block, and their products.
            part = shared.of_season(shared_cov, t)
            response = moved @ (part[end:] + 0.5 * shared_cov[end:, end:] @ _transposed(moved))
            cross = shared.of_season(through, t)[rows]
            cross = cross + through[..., end:][rows] @ _transposed(moved)
            half = response + cross
            var_u = shared.of_season(part.T, t) + half + _transposed(half) + block_var_now[rows]
            info, vec = solution.info[members][rows, t], solution.vec[members][rows, t]
            res = residual_var[t]
            fitted = res * (vec - np.einsum("nkj,nj->nk", info, level))
            gain = res[:, None] * info
            own = (
                res
                - res * np.einsum("nkk->nk", info) * res
                + np.einsum("nki,nki->nk", gain @ var_u, gain)
            )
            moments[3] += (fitted**2 + own).sum(0)
            counts[3] += rows.sum()
            known[3] += (1 - own / res).sum(0)
    return moments, counts, known


def _variances(spreads, seasons, calibrate=None):
    """Return the five variance arrays; the forecast season's may be widened by ``calibrate``."""
    square = np.maximum(spreads.sd, 1e-6) ** 2
    season, vs, residual = (np.tile(square[g], (seasons, 1)) for g in (1, 2, 3))
    block = square[0]
    if calibrate is not None:
        block = block * calibrate[0] ** 2
        for array, group in ((season, 1), (vs, 2), (residual, 3)):
            array[-1] *= calibrate[group] ** 2
    return np.maximum(spreads.variety, 1e-6) ** 2, block, season, vs, residual


@dataclass(frozen=True)
class Learned:
    """Spreads learnt from the records, and how much the records know of each.

    ``spreads``: the estimate; ``known``: effective number of effects seen, shape (groups,
    components) [1]; ``widen``: standard deviation of the Student distribution that so few effects
    allow, relative to ``spreads`` [1].
    """

    spreads: Spreads
    known: np.ndarray
    widen: np.ndarray


def _varieties(grid, spreads):
    """Return how many varieties there are, also those of blocks that are not at hand."""
    if np.ndim(spreads.variety) == 2:
        return len(spreads.variety)
    return int(grid.variety.max()) + 1 if len(grid.variety) else 0


def teachers(precision):
    """Return the places of the blocks that spreads are learnt from.

    Parameters
    ----------
    precision : ndarray, shape (blocks, seasons, stages)
        As in ``Grid``; a block where nothing was measured teaches nothing.
    """
    found = np.flatnonzero((precision > 0).any((1, 2)))
    if len(found) > _TEACHERS:
        found = found[np.linspace(0, len(found) - 1, _TEACHERS).round().astype(int)]
    return found


def learn_spreads(grid, spreads, *, iterations=30, tolerance=2e-3):
    """Estimate the spreads of the random effects by expectation-maximisation.

    Parameters
    ----------
    grid : Grid
        What was measured.
    spreads : Spreads
        Prior spreads [1], with their degrees of freedom (scaled inverse chi-square).
    iterations : int
        Most steps [1].
    tolerance : float
        Largest relative step at which the estimate is taken as settled [1].

    Returns
    -------
    Learned

    Notes
    -----
    With prior degrees of freedom of zero this is the restricted maximum likelihood estimate.
    A group that the records say nothing about keeps its prior spread.
    A crop is a sum of many such effects, so their variances have to be right, not their tails:
    the widening is that of the mean of a scaled inverse chi-square, dof / (dof - 2).
    Blocks without a measurement teach nothing, and of very many every second or third is taken.
    Valid for any number of blocks and seasons, including none.
    """
    varieties = _varieties(grid, spreads)
    grid = grid.part(teachers(grid.precision))
    seasons, k = grid.rows.shape[1], grid.rows.shape[-1]
    shared = _Shared(varieties, seasons, k, grid.responses().shape[-1])
    evidence = _evidence(grid)
    now, prior = spreads, spreads.dof * spreads.sd**2
    known = np.zeros_like(spreads.sd)
    if (grid.precision > 0).any():
        for _ in range(iterations):
            variances = _variances(now, seasons)
            solution = _Solution(grid, evidence, shared, variances)
            moments, counts, known = _second_moments(solution, variances)
            sd = np.sqrt((prior + moments) / np.maximum(spreads.dof + counts, 1e-12))
            step = np.max(np.abs(sd / now.sd - 1))
            now = replace(now, sd=np.maximum(sd, 1e-6))
            if step < tolerance:
                break
    known = np.clip(known, 0, None)
    # With fewer than five the mean hangs on tails that no vineyard has.
    dof = np.maximum(spreads.dof + known, 5.0)
    return Learned(now, known, np.sqrt(dof / (dof - 2)))


def stream(seed, name):
    """Return the random stream that belongs to a name, whatever else is drawn.

    Parameters
    ----------
    seed : int
        The user's seed [1].
    name : str
        Name of the block or of the shared part.
    """
    from hashlib import sha256

    mark = int.from_bytes(sha256(name.encode()).digest()[:8], "big")
    return np.random.default_rng(np.random.SeedSequence([seed, mark]))


@dataclass(frozen=True, eq=False)
class Beliefs:
    """What is believed of the components of every block in the season forecast.

    ``ln x = centre + load @ (shared - its mean) + own``, with ``shared`` the effects that blocks
    share and ``own`` the block's own, of covariance ``own_covariance``.

    centre : (blocks, components), logs [1]
    load : (blocks, components, local effects) [1]
    own_covariance : (blocks, components, components) [1]
    posterior : SharedPosterior, of what all the blocks share
    """

    names: tuple
    variety: np.ndarray
    centre: np.ndarray
    load: np.ndarray
    own_covariance: np.ndarray
    posterior: SharedPosterior
    learned: Learned

    @property
    def shared(self):
        """Where the shared effects lie."""
        return self.posterior.shared

    @property
    def root(self):
        """A square root of the shared covariance [1]."""
        return self.posterior.root

    @property
    def response_mean(self):
        """Means of the load responses' normals, (responses,) [1]."""
        return self.posterior.mean[self.shared.effects :]

    def covariance(self, block):
        """Return the covariance of a block's log components, (components, components) [1]."""
        through = self.load[block] @ self.root[self.shared.places(self.variety[block])]
        return through @ through.T + self.own_covariance[block]

    def spread(self):
        """Return the standard deviation of each log component, (blocks, components) [1]."""
        found = np.einsum("bkk->bk", self.own_covariance).copy()
        for v in np.unique(self.variety):
            members = np.flatnonzero(self.variety == v)
            through = self.load[members] @ self.root[self.shared.places(v)]
            found[members] += np.einsum("nkq,nkq->nk", through, through)
        return np.sqrt(found)

    def shared_draws(self, draws, seed):
        """Return draws of the shared effects about their mean, (shared effects, draws) [1]."""
        return _shared_draws(self.posterior, draws, seed)

    def response_draws(self, draws, seed):
        """Return draws of the load responses' standard normals, (responses, draws) [1]."""
        moved = self.shared_draws(draws, seed)[self.shared.effects :]
        return self.response_mean[:, None] + moved

    def draw(self, blocks, draws, seed):
        """Draw the log components of some blocks.

        Parameters
        ----------
        blocks : sequence of int
            Places of the blocks in ``names``.
        draws : int
            Draws [1].
        seed : int
            Seed [1]; a block's draws depend on it and on the block's name alone.

        Returns
        -------
        ndarray, shape (components, blocks, draws)
            Natural logs [1].
        """
        blocks = np.asarray(blocks, int)
        k = self.centre.shape[1]
        shared = self.shared_draws(draws, seed)
        roots = np.linalg.cholesky(self.own_covariance[blocks] + 1e-14 * np.eye(k))
        out = np.empty((len(blocks), k, draws))
        for v in np.unique(self.variety[blocks]):
            here = np.flatnonzero(self.variety[blocks] == v)
            # Own normals above the shared effects: one product a block, in fast memory.
            stacked = np.concatenate([np.empty((k, draws)), shared[self.shared.places(v)]])
            both = np.concatenate([roots[here], self.load[blocks[here]]], axis=-1)
            for at, line in zip(here, both, strict=True):
                block = blocks[at]
                stream(seed, self.names[block]).standard_normal(out=stacked[:k])
                np.matmul(line, stacked, out=out[at])
                out[at] += self.centre[block][:, None]
        return np.moveaxis(out, 1, 0)


@lru_cache(maxsize=4)
def _shared_draws(posterior, draws, seed):
    normals = [
        stream(seed, f"shared: {name}").standard_normal((size, draws))
        for name, size in posterior.normals
    ]
    return posterior.root @ np.concatenate(normals)


def shared_posterior(grids, learned, varieties):
    """Return the posterior of what blocks share, the blocks given a grid at a time.

    Parameters
    ----------
    grids : iterable of Grid
        Together all the blocks; only one is held at a time.
    learned : Learned
        Spreads of the effects.
    varieties : sequence of str
        Names of the varieties, in the order of ``Grid.variety``.

    Returns
    -------
    SharedPosterior

    Raises
    ------
    ValueError
        For no grid at all.
    """
    shared = precision = None
    for grid in grids:
        if shared is None:
            seasons, k = grid.rows.shape[1], grid.rows.shape[-1]
            shared = _Shared(len(varieties), seasons, k, grid.responses().shape[-1])
            variances = _variances(learned.spreads, seasons, learned.widen)
            precision, right = np.zeros((shared.size, shared.size)), np.zeros(shared.size)
        said = _Said(grid, _evidence(grid), shared, variances)
        precision += said.precision
        right += said.right
    if shared is None:
        raise ValueError("There is no block to learn from.")
    return _solve(shared, variances, precision, right, varieties)


def believe(grid, names, learned, posterior=None):
    """Return the exact posterior of the components in the last season of the grid.

    Parameters
    ----------
    grid : Grid
        What was measured; the last season may be empty (a forecast before any count).
    names : sequence of str
        Names of the blocks.
    learned : Learned
        Spreads of the effects.
    posterior : SharedPosterior, optional
        From all the blocks, when the grid holds only some of them; from the grid when left out.

    Returns
    -------
    Beliefs

    Notes
    -----
    The block's and the forecast season's effects carry widened spreads, because few effects do
    not pretend to know a spread.
    Valid for spreads small enough that a log-normal is a fair picture (below about 0.7).
    """
    if posterior is None:
        varieties = [str(v) for v in range(_varieties(grid, learned.spreads))]
        posterior = shared_posterior([grid], learned, varieties)
    blocks, seasons, k = grid.rows.shape[0], grid.rows.shape[1], grid.rows.shape[-1]
    shift, shared = grid.responses(), posterior.shared
    matrix, vector = _evidence(grid)
    variances = _variances(learned.spreads, seasons, learned.widen)
    residual = variances[-1][-1]

    # The block's own part in the forecast season is its mean plus that season's residual: first
    # from the earlier seasons alone, then with what this season measured.
    past_info, past_vec = _marginal(matrix[:, :-1], vector[:, :-1], variances[-1][:-1])
    cov = _posterior_covariance(past_info.sum(1), variances[1])
    wide = np.concatenate([past_info, np.zeros_like(past_info[:, :1])], axis=1)
    if not past_info.shape[1]:
        wide = np.zeros((blocks, seasons, k, k))
    wide = np.swapaxes(_spread_local(wide), 1, 2).reshape(blocks, k, -1)
    wide = np.concatenate([wide, (past_info @ shift[:, :-1]).sum(1)], axis=-1)
    level = np.einsum("nkj,nj->nk", cov, past_vec.sum(1))
    load = -cov @ wide
    prior = np.linalg.inv(cov + np.eye(k) * residual)
    now = matrix[:, -1]
    own = np.linalg.inv(prior + now)
    own = (own + np.swapaxes(own, 1, 2)) / 2
    this_season = np.zeros((k, shared.local, k))
    for effect in (0, seasons, 2 * seasons):
        this_season[:, effect] = np.eye(k)
    this_season = np.pad(this_season.reshape(k, -1), ((0, 0), (0, shared.responses)))
    # What is measured this season also bears the load response; the component itself does not.
    seen = np.broadcast_to(this_season, (blocks, *this_season.shape)).copy()
    seen[:, :, shared.local * k :] = shift[:, -1]
    level = np.einsum("nkj,nj->nk", own, np.einsum("nkj,nj->nk", prior, level) + vector[:, -1])
    load = own @ (prior @ load - now @ seen) + this_season
    centre = grid.mean + level
    for v in np.unique(grid.variety):
        members = np.flatnonzero(grid.variety == v)
        centre[members] += load[members] @ posterior.local_mean(v)
    return Beliefs(
        names=tuple(names),
        variety=grid.variety,
        centre=centre,
        load=load,
        own_covariance=own,
        posterior=posterior,
        learned=learned,
    )
