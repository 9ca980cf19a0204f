"""The exact update, against dense Gaussian conditioning."""

import numpy as np
import pytest
from dense_grid import dense_lines, dense_prior, small_grid, small_spreads

from cropload.beliefs.estate import believe
from cropload.beliefs.spreads import Learned


def dense_posterior(grid, spreads, widen):
    """Condition the full joint Gaussian of every block's components in the last season."""
    blocks, seasons, _, k = grid.rows.shape
    full = dense_prior(grid, spreads, widen)
    design, y, noise, mean = dense_lines(grid)
    gain = full @ design.T @ np.linalg.inv(design @ full @ design.T + noise)
    centre = mean + gain @ (y - design @ mean)
    covariance = full - gain @ design @ full
    last = np.concatenate([np.arange(k) + (i * seasons + seasons - 1) * k for i in range(blocks)])
    wanted = np.concatenate([last, np.arange(blocks * seasons * k, len(full))])
    return centre[wanted], covariance[np.ix_(wanted, wanted)]


def joint_covariance(found):
    """Covariance of all blocks' components, then the responses, as the arrow structure has it."""
    blocks, k = found.centre.shape
    wide = np.concatenate(
        [found.load[i] @ found.root[found.shared.places(found.variety[i])] for i in range(blocks)]
        + [found.root[found.shared.effects :]]
    )
    own = np.zeros((len(wide), len(wide)))
    for i in range(blocks):
        own[i * k : (i + 1) * k, i * k : (i + 1) * k] = found.own_covariance[i]
    return wide @ wide.T + own


@pytest.mark.parametrize("absent", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("seasons", [1, 4])
def test_update_equals_dense_conditioning(absent, seasons):
    rng = np.random.default_rng(5)
    grid, spreads = small_grid(rng, absent=absent, seasons=seasons), small_spreads(rng)
    widen = rng.uniform(1, 1.3, (4, 3))
    found = believe(grid, list("abcde"), Learned(spreads, np.zeros((4, 3)), widen))
    centre, covariance = dense_posterior(grid, spreads, widen)
    np.testing.assert_allclose(
        np.concatenate([found.centre.ravel(), found.response_mean]), centre, atol=1e-9
    )
    np.testing.assert_allclose(joint_covariance(found), covariance, atol=1e-9)
    np.testing.assert_allclose(found.spread().ravel() ** 2, np.diag(covariance)[:-2], atol=1e-9)


def test_draws_have_the_stated_mean_and_covariance():
    rng = np.random.default_rng(6)
    grid, spreads = small_grid(rng), small_spreads(rng)
    found = believe(grid, list("abcde"), Learned(spreads, np.zeros((4, 3)), np.ones((4, 3))))
    draws = found.draw(range(5), 40_000, seed=1)
    flat = np.moveaxis(draws, 0, 1).reshape(-1, 40_000)
    flat = np.vstack([flat, found.response_draws(40_000, seed=1)])
    sd = np.sqrt(np.diag(joint_covariance(found)))
    centre = np.concatenate([found.centre.ravel(), found.response_mean])
    assert np.all(np.abs(flat.mean(1) - centre) < 4.5 * sd / 200)
    np.testing.assert_allclose(
        np.cov(flat) / np.outer(sd, sd), joint_covariance(found) / np.outer(sd, sd), atol=0.03
    )


def test_a_load_on_the_levels_is_the_same_load_on_the_effects_behind_them():
    rng = np.random.default_rng(9)
    grid, spreads = small_grid(rng), small_spreads(rng)
    found = believe(grid, list("abcde"), Learned(spreads, np.zeros((4, 3)), np.ones((4, 3))))
    shared = found.shared
    on_levels = found.load[..., shared.level_columns] @ shared.laid_out.T
    np.testing.assert_allclose(on_levels, found.load, atol=1e-12)


def test_a_blocks_draws_do_not_depend_on_its_company():
    rng = np.random.default_rng(7)
    grid, spreads = small_grid(rng), small_spreads(rng)
    found = believe(grid, list("abcde"), Learned(spreads, np.zeros((4, 3)), np.ones((4, 3))))
    together = found.draw(range(5), 100, seed=3)
    alone = found.draw([3], 100, seed=3)
    np.testing.assert_allclose(together[:, 3], alone[:, 0], rtol=1e-12)
