"""The posterior: blocks are tied only by what they share, so they are eliminated one by one.

In a season t a block of variety v bears the level that it shares, which is
``estate + variety[v] + season[t] + variety_season[v, t]``, its own part, and a residual.
Residuals are integrated out of each cell, then the
own part out of each block. What is left says something of the levels of its variety and of the
load responses, and adds up over the blocks: the work grows in proportion to their number.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cropload.beliefs.measurements import whitened
from cropload.beliefs.spreads import variances


def symmetric(matrices):
    """Return matrices with the rounding taken out of their symmetry."""
    return (matrices + np.swapaxes(matrices, -1, -2)) / 2


def lower_inverse(triangle):
    """Return the inverse of a lower triangular matrix, by halves.

    Notes
    -----
    Products are quicker than a general inverse, and scipy's own is slow to import (a fifth of a
    second) and rounds in another way, which would move the last digit of every draw.
    """
    size = len(triangle)
    if size <= 64:
        return np.linalg.inv(triangle)
    half = size // 2
    out = np.zeros_like(triangle)
    out[:half, :half] = lower_inverse(triangle[:half, :half])
    out[half:, half:] = lower_inverse(triangle[half:, half:])
    out[half:, :half] = -out[half:, half:] @ (triangle[half:, :half] @ out[:half, :half])
    return out


def without_residual(rows, values, variance):
    """Integrate a residual of diagonal ``variance`` out of whitened lines.

    Parameters
    ----------
    rows : ndarray, shape (..., stages, components)
        As from ``whitened`` [1].
    values : ndarray, shape (..., stages)
        As from ``whitened`` [1].
    variance : ndarray, shape (..., components)
        Variances of the residual [1].

    Returns
    -------
    information : ndarray, shape (..., components, components)
    vector : ndarray, shape (..., components)
        Information about the components without the residual, and times their estimate [1].
    """
    turned = np.swapaxes(rows, -1, -2)
    noise = np.eye(rows.shape[-2]) + (rows * variance[..., None, :]) @ turned
    solved = np.linalg.solve(noise, np.concatenate([rows, values[..., None]], axis=-1))
    both = turned @ solved
    return symmetric(both[..., :-1]), both[..., -1]


def covariance_given(information, variance):
    """Return the covariance of effects of diagonal prior ``variance`` given their information."""
    k = information.shape[-1]
    system = np.eye(k) + variance[..., :, None] * information
    prior = np.broadcast_to(np.eye(k) * variance[..., None, :], information.shape)
    return symmetric(np.linalg.solve(system, prior))


def on_levels(by_season):
    """Lay (blocks, seasons, state, components) out as (blocks, state, levels of the seasons)."""
    blocks, _, state, _ = by_season.shape
    return np.swapaxes(by_season, 1, 2).reshape(blocks, state, -1)


def without_blocks(information, vector, block_covariance, shift, k):
    """Eliminate the own parts of some blocks of one variety.

    Parameters
    ----------
    information, vector : ndarray, shape (blocks, seasons, state[, state])
        As from ``without_residual``.
    block_covariance : ndarray, shape (blocks, state, state)
        Of each block's own part, were the rest known [1].
    shift : ndarray, shape (blocks, seasons, state, responses)
        As ``Measurements.response``.
    k : int
        How many numbers of the state are components, which seasons move.

    Returns
    -------
    square, right : ndarray, shape (levels[, levels])
        Information about the levels of the seasons and the responses, and times their estimate.
    load : ndarray, shape (blocks, state, levels)
        How each block's own part moves with the levels [1].
    """
    blocks, seasons, state = vector.shape
    moved = information @ shift
    wide = on_levels(information[..., :k])
    wide = np.concatenate([wide, moved.sum(1)], axis=-1)
    load = -(block_covariance @ wide)
    square = wide.reshape(blocks * state, -1).T @ load.reshape(blocks * state, -1)
    levels = seasons * k
    total, cross = information[..., :k, :k].sum(0), moved[..., :k, :].sum(0).reshape(levels, -1)
    for t in range(seasons):
        here = slice(t * k, (t + 1) * k)
        square[here, here] += total[t]
    square[:levels, levels:] += cross
    square[levels:, :levels] += cross.T
    cells = blocks * seasons * state
    flat = shift.reshape(cells, -1)
    square[levels:, levels:] += flat.T @ moved.reshape(cells, -1)
    right = np.concatenate([vector[..., :k].sum(0).ravel(), flat.T @ vector.ravel()])
    right += np.einsum("nkq,nk->q", load, vector.sum(1))
    return square, right, load


@dataclass(frozen=True)
class Shared:
    """Where the shared effects of a variety lie in the one long vector of all of them."""

    varieties: int
    seasons: int
    components: int
    responses: int = 0

    @property
    def effects(self):
        """How many numbers stand for effects; those of the responses follow."""
        return (1 + self.varieties + self.seasons * (1 + self.varieties)) * self.components

    @property
    def size(self):
        """Length of the vector."""
        return self.effects + self.responses

    @property
    def local(self):
        """How many effects blocks of one variety bear: all's, its own, seasons, its in seasons."""
        return 2 + 2 * self.seasons

    def names(self, varieties):
        """Return the name of each effect and response, whatever its place.

        Seasons are told by how long ago they were, so that a longer history renames nothing.
        """
        ago = [f"{self.seasons - 1 - t:03d} ago" for t in range(self.seasons)]
        return [
            "estate",
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
        """Return the places of what blocks of a variety bear, the responses last."""
        seasons = 1 + self.varieties + np.arange(self.seasons)
        effects = np.concatenate(
            [[0, 1 + variety], seasons, seasons + self.seasons * (1 + variety)]
        )
        places = (effects[:, None] * self.components + np.arange(self.components)).ravel()
        return np.concatenate([places, self.effects + np.arange(self.responses)])

    def of_variety(self, variety, component):
        """Return the places of the effects that add up to a variety's own mean of a component."""
        return self.places(variety)[[component, self.components + component]]

    @property
    def level_columns(self):
        """Columns of a load on ``places`` that are its load on the levels and responses."""
        first, end = 2 * self.components, (2 + self.seasons) * self.components
        responses = self.local * self.components + np.arange(self.responses)
        return np.concatenate([np.arange(first, end), responses])

    def on_effects(self, load):
        """Return a load on levels and responses as the same load on the effects of ``places``."""
        end = self.seasons * self.components
        levels = load[..., :end]
        by_season = levels.reshape(*load.shape[:-1], self.seasons, self.components)
        whole = by_season.sum(-2)
        return np.concatenate([whole, whole, levels, levels, load[..., end:]], axis=-1)

    def levels(self, local):
        """Return what effects of ``places`` add up to in each season, then the responses.

        Parameters
        ----------
        local : ndarray, shape (local numbers, draws)
            Effects and responses [1].

        Returns
        -------
        ndarray, shape (levels, draws)
        """
        end, wide = self.local * self.components, local.shape[1]
        effects = local[:end].reshape(self.local, self.components, wide)
        estate, variety, seasons, both = np.split(effects, [1, 2, 2 + self.seasons])
        levels = (estate + variety + seasons + both).reshape(-1, wide)
        return np.concatenate([levels, local[end:]])

    @cached_property
    def laid_out(self):
        """What turns levels of seasons into effects of ``places``: (local numbers, levels)."""
        one = np.vstack([np.ones((2, self.seasons)), np.tile(np.eye(self.seasons), (2, 1))])
        levels = np.kron(one, np.eye(self.components))
        out = np.zeros(np.add(levels.shape, self.responses))
        out[: len(levels), : levels.shape[1]] = levels
        out[len(levels) :, levels.shape[1] :] = np.eye(self.responses)
        return out


@dataclass(frozen=True, eq=False)
class SharedPosterior:
    """The exact posterior of the effects that blocks share.

    mean : (shared effects,) [1]
    root : (shared effects, normals), a square root of their covariance [1]
    normals : name of each group of normals and how many it holds, in the order of the columns
    """

    shared: Shared
    mean: np.ndarray
    root: np.ndarray
    normals: tuple

    def local_mean(self, variety):
        """Return the means of the effects that blocks of a variety bear."""
        return self.mean[self.shared.places(variety)]


def _solve(shared, variance, precision, right, varieties):
    """Return the posterior of the shared effects from what all the blocks said of them.

    The effects are taken in the order of their names, so that a block's draws do not depend on
    the order in which blocks and varieties stand in the records.
    """
    diagonal = np.concatenate(
        [
            variance.estate,
            np.broadcast_to(variance.variety, (shared.varieties, shared.components)).ravel(),
            variance.season.ravel(),
            np.tile(variance.variety_season.ravel(), shared.varieties),
            np.ones(shared.responses),
        ]
    )
    names, sizes = shared.names(varieties), shared.sizes()
    starts = np.cumsum([0, *sizes[:-1]])
    by_name = sorted(range(len(names)), key=names.__getitem__)
    order = np.concatenate([starts[at] + np.arange(sizes[at]) for at in by_name])
    whole = precision + np.diag(1.0 / diagonal)
    factor = np.linalg.cholesky(whole[np.ix_(order, order)])
    # precision = F F'  =>  covariance = inv(F)' inv(F)
    root = np.empty_like(whole)
    root[order] = lower_inverse(factor).T
    normals = tuple((names[at], sizes[at]) for at in by_name)
    return SharedPosterior(shared, root @ (root.T @ right), root, normals)


def shared_posterior(measured, learned, varieties):
    """Return the posterior of what blocks share.

    Parameters
    ----------
    measured : Measurements
        Of all the blocks.
    learned : Learned
        Spreads of the effects.
    varieties : sequence of str
        Names of the varieties, in the order of ``Measurements.variety``.

    Returns
    -------
    SharedPosterior
    """
    shift = measured.responses()
    seasons, k = measured.rows.shape[1], measured.components
    shared = Shared(len(varieties), seasons, k, shift.shape[-1])
    variance = variances(learned.spreads, seasons, learned.widen)
    precision, right = np.zeros((shared.size, shared.size)), np.zeros(shared.size)
    info, vector = without_residual(*whitened(measured), measured.residual(variance.residual))
    block = covariance_given(info.sum(1), measured.block(variance.block))
    for variety in np.unique(measured.variety):
        of = measured.variety == variety
        square, local, _ = without_blocks(info[of], vector[of], block[of], shift[of], k)
        places, out = shared.places(variety), shared.laid_out
        precision[np.ix_(places, places)] += out @ square @ out.T
        right[places] += out @ local
    return _solve(shared, variance, precision, right, varieties)
