"""The arrow's own arithmetic, against numpy's general solvers."""

import numpy as np
import pytest

from cropload.beliefs.posterior import Shared, covariance_given, lower_inverse, without_residual


@pytest.mark.parametrize("size", [1, 64, 65, 200])
def test_lower_inverse_is_the_inverse(size):
    rng = np.random.default_rng(size)
    triangle = np.tril(rng.normal(size=(size, size)) / size) + np.diag(rng.uniform(1, 2, size))
    np.testing.assert_allclose(lower_inverse(triangle) @ triangle, np.eye(size), atol=1e-12)


def test_a_residual_integrated_out_only_adds_to_the_error():
    """y = A (u + r) + e, with r of variance V: the information about u is A' (1 + A V A')^-1 A."""
    rng = np.random.default_rng(1)
    rows, values, variance = rng.normal(size=(4, 3)), rng.normal(size=4), rng.uniform(0.1, 2, 3)
    noise = np.linalg.inv(np.eye(4) + rows @ np.diag(variance) @ rows.T)
    info, vector = without_residual(rows[None], values[None], variance[None])
    np.testing.assert_allclose(info[0], rows.T @ noise @ rows, atol=1e-12)
    np.testing.assert_allclose(vector[0], rows.T @ noise @ values, atol=1e-12)


def test_covariance_is_the_inverse_of_prior_and_information():
    rng = np.random.default_rng(2)
    half, variance = rng.normal(size=(3, 3)), rng.uniform(0.1, 2, 3)
    info = half @ half.T
    expected = np.linalg.inv(np.diag(1 / variance) + info)
    np.testing.assert_allclose(covariance_given(info[None], variance)[0], expected, atol=1e-12)


def test_a_level_is_what_estate_variety_season_and_both_together_add_up_to():
    shared = Shared(varieties=2, seasons=3, components=2, responses=1)
    effects = np.random.default_rng(3).normal(size=shared.size)
    local = effects[shared.places(1)].reshape(-1)
    estate, variety, seasons, both = np.split(local[:-1].reshape(shared.local, 2), [1, 2, 5])
    levels = shared.laid_out.T @ local
    np.testing.assert_allclose(levels[:-1].reshape(3, 2), estate + variety + seasons + both)
    own = effects[shared.of_variety(1, 0)].sum()
    assert own == pytest.approx(estate[0, 0] + variety[0, 0])
    assert levels[-1] == effects[-1]
    np.testing.assert_allclose(shared.levels(local[:, None])[:, 0], levels)
