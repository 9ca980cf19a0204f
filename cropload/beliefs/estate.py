"""Beliefs: the log-normal components of every block, with the effects that blocks share.

The model, in natural logs, for component k of block b of variety v in season t::

    x = mu + estate + variety[v] + block[b] + season[t] + variety_season[v, t] + residual[b, t]

Whatever is measured in a block in a season is a straight line in its components, with an error.
How the vines answer to a change of load is not known exactly either: each response has one
standard normal that all blocks share, and it moves what is measured by so much a unit as the
load of that block and season has changed.
So everything is Gaussian once the spreads are known, and the posterior is exact.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from cropload.beliefs.measurements import whitened
from cropload.beliefs.posterior import (
    SharedPosterior,
    covariance_given,
    on_levels,
    shared_posterior,
    symmetric,
    without_residual,
)
from cropload.beliefs.spreads import Learned, variances
from cropload.random_streams import stream


@dataclass(frozen=True, eq=False)
class Beliefs:
    """What is believed of the components of every block in the season forecast.

    ``ln x = centre + load @ (shared - its mean) + own``, with ``shared`` the effects that blocks
    share and ``own`` the block's own, of covariance ``own_covariance``.

    The state of a block is its components and then what it has of its own, as in ``Measurements``.

    centre : (blocks, state), logs [1]
    load : (blocks, state, local effects) [1]
    own_covariance : (blocks, state, state) [1]
    residual : (blocks, state), how much of its diagonal is the season's alone [1]
    posterior : SharedPosterior, of what all the blocks share
    """

    names: tuple
    variety: np.ndarray
    centre: np.ndarray
    load: np.ndarray
    own_covariance: np.ndarray
    residual: np.ndarray
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
        """Return the covariance of a block's state, (state, state) [1]."""
        through = self.load[block] @ self.root[self.shared.places(self.variety[block])]
        return through @ through.T + self.own_covariance[block]

    def spread(self):
        """Return the standard deviation of each number of the state, (blocks, state) [1]."""
        variance = np.einsum("bkk->bk", self.own_covariance).copy()
        for v in np.unique(self.variety):
            members = np.flatnonzero(self.variety == v)
            through = self.load[members] @ self.root[self.shared.places(v)]
            variance[members] += np.einsum("nkq,nkq->nk", through, through)
        return np.sqrt(variance)

    def season_draws(self, variety, draws, seed):
        """Return draws of what the last season brings to all blocks of a variety, about its mean.

        Shape (components, draws) [1].
        """
        k, shared = self.shared.components, self.shared
        root = self.posterior.root[shared.places(variety)[: shared.local * k]]
        root = root.reshape(shared.local, k, -1)
        of_season = root[1 + shared.seasons] + root[-1]
        return of_season @ _normals(self.posterior.normals, draws, seed)

    def response_draws(self, draws, seed):
        """Return draws of the load responses' standard normals, (responses, draws) [1]."""
        root = self.posterior.root[self.shared.effects :]
        return self.response_mean[:, None] + root @ _normals(self.posterior.normals, draws, seed)

    def draw(self, blocks, draws, seed):
        """Draw the state of some blocks.

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
        ndarray, shape (state, blocks, draws)
            Natural logs [1].
        """
        blocks = np.asarray(blocks, int)
        k = self.centre.shape[1]
        roots = np.linalg.cholesky(self.own_covariance[blocks] + 1e-14 * np.eye(k))
        out = np.empty((len(blocks), k, draws))
        for v in np.unique(self.variety[blocks]):
            here = np.flatnonzero(self.variety[blocks] == v)
            # What a block shares acts by the levels of the seasons, each a sum of effects that
            # bear the same load; own normals stand above them: one product a block, in fast memory.
            levels = _level_draws(self.posterior, int(v), draws, seed)
            stacked = np.concatenate([np.empty((k, draws)), levels])
            load = self.load[blocks[here]][..., self.shared.level_columns]
            both = np.concatenate([roots[here], load], axis=-1)
            for at, line in zip(here, both, strict=True):
                block = blocks[at]
                stream(seed, self.names[block]).standard_normal(out=stacked[:k])
                np.matmul(line, stacked, out=out[at])
                out[at] += self.centre[block][:, None]
        return np.moveaxis(out, 1, 0)


@lru_cache(maxsize=2)
def _normals(groups, draws, seed):
    """Return the normals of groups of effects: whatever is believed of them, they are the same."""
    return np.concatenate(
        [stream(seed, f"shared: {name}").standard_normal((size, draws)) for name, size in groups]
    )


@lru_cache(maxsize=16)
def _level_draws(posterior, variety, draws, seed):
    """Return draws of the levels of a variety's seasons, and of the responses, about their mean."""
    shared = posterior.shared
    # Levels are far fewer than the effects that they are sums of.
    root = shared.levels(posterior.root[shared.places(variety)])
    return root @ _normals(posterior.normals, draws, seed)


def believe(measured, names, learned, posterior=None):
    """Return the exact posterior of the components in the last season measured.

    Parameters
    ----------
    measured : Measurements
        What was measured; the last season may be empty (a forecast before any count).
    names : sequence of str
        Names of the blocks.
    learned : Learned
        Spreads of the effects.
    posterior : SharedPosterior, optional
        Of what the blocks share; from these measurements when left out.

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
        varieties = [str(v) for v in range(measured.varieties(learned.spreads))]
        posterior = shared_posterior(measured, learned, varieties)
    centre, load, own = _last_season(measured, learned, posterior)
    spread = variances(learned.spreads, measured.rows.shape[1], learned.widen).residual
    residual = measured.residual(spread)[..., -1, :]
    return Beliefs(
        names=tuple(names),
        variety=measured.variety,
        centre=centre,
        load=posterior.shared.on_effects(load),
        own_covariance=own,
        residual=np.broadcast_to(residual, centre.shape),
        posterior=posterior,
        learned=learned,
    )


def centres(measured, learned, posterior):
    """Return the centres of ``believe`` alone, (blocks, state) [1]."""
    return _last_season(measured, learned, posterior)[0]


def _last_season(measured, learned, posterior):
    """Return centre, load on the levels and responses, and own covariance in the last season."""
    blocks, seasons, _, state = measured.rows.shape
    k = measured.components
    shift, shared = measured.responses(), posterior.shared
    rows, values = whitened(measured)
    variance = variances(learned.spreads, seasons, learned.widen)
    now, after = slice((seasons - 1) * k, seasons * k), slice(seasons * k, None)

    # The block's own part in the forecast season is its mean plus that season's residual: first
    # from the earlier seasons alone, then with what this season measured.
    residual = measured.residual(variance.residual)
    info, vector = without_residual(rows[:, :-1], values[:, :-1], residual[..., :-1, :])
    cov = covariance_given(info.sum(1), measured.block(variance.block))
    past = np.zeros((blocks, state, seasons * k + shared.responses))
    past[..., : now.start] = on_levels(info[..., :k])
    past[..., after] = (info @ shift[:, :-1]).sum(1)
    prior = np.linalg.inv(cov + np.eye(state) * residual[..., -1, None, :])
    turned = np.swapaxes(rows[:, -1], -1, -2)
    seen = turned @ rows[:, -1]
    own = symmetric(np.linalg.inv(prior + seen))
    # What is measured this season also bears the load response; the component itself does not.
    load = -(prior @ cov) @ past
    load[..., now] -= seen[..., :k]
    load[..., after] -= seen @ shift[:, -1]
    load = own @ load
    load[..., now] += np.eye(state, k)

    level = np.einsum("nkj,nj->nk", prior @ cov, vector.sum(1))
    level = level + (turned @ values[:, -1, :, None])[..., 0]
    centre = measured.mean + np.einsum("nkj,nj->nk", own, level)
    for v in np.unique(measured.variety):
        members = np.flatnonzero(measured.variety == v)
        centre[members] += load[members] @ (shared.laid_out.T @ posterior.local_mean(v))
    return centre, load, own
