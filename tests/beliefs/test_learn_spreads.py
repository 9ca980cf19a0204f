"""Learning of spreads, against the dense density and against a general mixed model."""

from dataclasses import replace

import numpy as np
import pytest
from dense_grid import dense_lines, dense_prior, small_grid, small_spreads

from cropload.beliefs.learn_spreads import learn_spreads
from cropload.beliefs.measurements import Measurements
from cropload.beliefs.spreads import Spreads


def log_density(grid, spreads, prior):
    """Return the log posterior of the spreads, by the dense normal density of scipy."""
    from scipy.stats import multivariate_normal

    design, y, noise, mean = dense_lines(grid)
    covariance = design @ dense_prior(grid, spreads) @ design.T + noise
    likelihood = multivariate_normal(design @ mean, covariance).logpdf(y)
    ratio = (prior.sd / spreads.sd) ** 2
    return likelihood - 0.5 * (prior.dof * (ratio - np.log(ratio))).sum()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_learned_spreads_are_the_mode_of_the_dense_density(seed):
    rng = np.random.default_rng(seed)
    grid, prior = small_grid(rng), small_spreads(rng)
    found = learn_spreads(grid, prior, tolerance=1e-14).spreads
    best = log_density(grid, found, prior)
    assert best > log_density(grid, prior, prior)
    for place in np.ndindex(found.sd.shape):
        ends = []
        for step in (-1e-4, 1e-4):
            sd = found.sd.copy()
            sd[place] *= np.exp(step)
            ends.append(log_density(grid, replace(found, sd=sd), prior))
        assert (ends[1] - ends[0]) / 2e-4 == pytest.approx(0.0, abs=1e-4)


def test_the_ordinary_tolerance_is_close_to_the_mode():
    rng = np.random.default_rng(4)
    grid, prior = small_grid(rng), small_spreads(rng)
    found = learn_spreads(grid, prior).spreads.sd
    mode = learn_spreads(grid, prior, tolerance=1e-14).spreads.sd
    np.testing.assert_allclose(found, mode, rtol=0.01)


def test_a_spread_stops_at_the_widest_and_the_others_settle_beside_it():
    rng = np.random.default_rng(6)
    grid, prior = small_grid(rng), small_spreads(rng)
    # What no vineyard shows: values fifty times as far apart.
    torn = replace(grid, values=grid.values * 50)
    free, held = learn_spreads(torn, prior), learn_spreads(torn, prior, widest=3.0)
    assert (free.spreads.sd > 3 * prior.sd).any()
    ratio = held.spreads.sd / prior.sd
    assert ratio.max() == pytest.approx(3.0)
    assert np.isfinite(held.widen).all()


def test_a_widest_spread_that_none_reaches_changes_nothing():
    rng = np.random.default_rng(4)
    grid, prior = small_grid(rng), small_spreads(rng)
    np.testing.assert_array_equal(
        learn_spreads(grid, prior).spreads.sd, learn_spreads(grid, prior, widest=100.0).spreads.sd
    )


def test_blocks_seasons_and_components_that_say_nothing_change_nothing():
    rng = np.random.default_rng(5)
    grid, prior = small_grid(rng, k=2), small_spreads(rng, k=2)

    def with_a_component(array):
        """What the blocks have of their own follows the components."""
        return np.insert(array, 2, 0.0, axis=-1)

    response = np.moveaxis(with_a_component(np.moveaxis(grid.response, 2, -1)), -1, 2)
    wider = Measurements(
        rows=np.pad(with_a_component(grid.rows), ((0, 2), (0, 1), (0, 1), (0, 0))),
        values=np.pad(grid.values, ((0, 2), (0, 1), (0, 1))),
        precision=np.pad(grid.precision, ((0, 2), (0, 1), (0, 1))),
        mean=np.pad(with_a_component(grid.mean), ((0, 2), (0, 0))),
        variety=np.pad(grid.variety, (0, 2)),
        response=np.pad(response, ((0, 2), (0, 1), (0, 0), (0, 0))),
        own=np.pad(grid.own, ((0, 2), (0, 0)), constant_values=0.2),
        scatter=np.pad(grid.scatter, ((0, 2), (0, 1)), constant_values=1.0),
    )
    more = Spreads(
        np.pad(prior.sd, ((0, 0), (0, 1)), constant_values=0.3),
        np.pad(prior.dof, ((0, 0), (0, 1)), constant_values=10.0),
        np.pad(prior.variety, (0, 1), constant_values=0.3),
        np.pad(prior.estate, (0, 1), constant_values=0.3),
    )
    narrow, wide = learn_spreads(grid, prior), learn_spreads(wider, more)
    np.testing.assert_allclose(wide.spreads.sd[:, :2], narrow.spreads.sd, rtol=1e-9)
    np.testing.assert_allclose(wide.known[:, :2], narrow.known, atol=1e-9)
    np.testing.assert_allclose(wide.spreads.sd[:, 2], 0.3)
    assert np.all(wide.known[:, 2] == 0)


def balanced_records(rng, blocks=12, seasons=8, sd=(0.3, 0.4, 0.25)):
    """One component measured exactly in every block and season."""
    y = (
        0.7
        + sd[0] * rng.normal(size=(blocks, 1))
        + sd[1] * rng.normal(size=(1, seasons))
        + sd[2] * rng.normal(size=(blocks, seasons))
    )
    return y


def test_spreads_agree_with_a_mixed_model_on_balanced_data():
    """statsmodels MixedLM (REML) with crossed block and season effects is the reference."""
    import pandas as pd
    import statsmodels.api as sm

    y = balanced_records(np.random.default_rng(11))
    blocks, seasons = y.shape
    data = pd.DataFrame(
        {
            "y": y.ravel(),
            "block": np.repeat(np.arange(blocks), seasons),
            "season": np.tile(np.arange(seasons), blocks),
            "all": 1,
        }
    )
    components = {"block": "0 + C(block)", "season": "0 + C(season)"}
    fit = sm.MixedLM.from_formula(
        "y ~ 1", groups="all", vc_formula=components, re_formula="0", data=data
    ).fit(reml=True)
    reference = dict(zip(fit.model.exog_vc.names, fit.vcomp, strict=True))

    grid = Measurements(
        rows=np.ones((blocks, seasons + 1, 1, 1)),
        values=np.pad(y, ((0, 0), (0, 1)))[..., None],
        precision=np.pad(np.full(y.shape, 1e9), ((0, 0), (0, 1)))[..., None],
        mean=np.zeros((blocks, 1)),
        variety=np.zeros(blocks, int),
    )
    start = np.array([[0.2], [0.2], [1e-6], [0.2]])
    spreads = Spreads(start, np.zeros((4, 1)), np.array([100.0]))
    found = learn_spreads(grid, spreads, iterations=3000, tolerance=1e-7).spreads.sd[:, 0]
    assert found[0] == pytest.approx(np.sqrt(reference["block"]), rel=0.02)
    assert found[1] == pytest.approx(np.sqrt(reference["season"]), rel=0.02)
    assert found[3] == pytest.approx(np.sqrt(fit.scale), rel=0.02)


def test_no_records_keep_the_prior_spreads():
    rng = np.random.default_rng(8)
    grid, spreads = small_grid(rng, absent=1.0), small_spreads(rng)
    learned = learn_spreads(grid, spreads)
    np.testing.assert_allclose(learned.spreads.sd, spreads.sd)
    assert np.all(learned.known == 0)
    assert np.all(learned.widen > 1)
