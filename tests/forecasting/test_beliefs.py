"""The exact update, against dense Gaussian conditioning and against a general mixed model."""

import numpy as np
import pytest

from cropload.forecasting import beliefs as b


def small_grid(rng, blocks=5, seasons=4, stages=3, k=3, varieties=2, absent=0.3):
    rows = rng.normal(size=(blocks, seasons, stages, k))
    values = rng.normal(size=(blocks, seasons, stages))
    precision = np.where(
        rng.random((blocks, seasons, stages)) < absent,
        0.0,
        rng.uniform(1, 50, (blocks, seasons, stages)),
    )
    mean = rng.normal(size=(blocks, k))
    response = rng.normal(size=(blocks, seasons, k, 2))
    return b.Grid(rows, values, precision, mean, np.arange(blocks) % varieties, response)


def small_spreads(rng, k=3):
    sd = rng.uniform(0.1, 0.5, (4, k))
    return b.Spreads(sd, np.full((4, k), 10.0), rng.uniform(0.2, 0.6, k))


def dense_posterior(grid, spreads, widen):
    """Condition the full joint Gaussian of every block's components in the last season."""
    blocks, seasons, stages, k = grid.rows.shape
    variances = b._variances(spreads, seasons, widen)
    variety_var, block_var, season_var, vs_var, residual_var = variances

    def prior_covariance(one, t, other, u):
        total = np.zeros(k)
        if grid.variety[one] == grid.variety[other]:
            total = total + variety_var
        if one == other:
            total = total + block_var
        if t == u:
            total = total + season_var[t]
            if grid.variety[one] == grid.variety[other]:
                total = total + vs_var[t]
            if one == other:
                total = total + residual_var[t]
        return np.diag(total)

    cells = [(i, t) for i in range(blocks) for t in range(seasons)]
    effects = np.block([[prior_covariance(*c, *d) for d in cells] for c in cells])
    # The load responses are unknowns of their own: they move what is measured, not the component.
    shift = np.concatenate([grid.response[i, t] for i, t in cells])
    responses = shift.shape[1]
    full = np.block(
        [
            [effects, np.zeros((len(effects), responses))],
            [np.zeros((responses, len(effects))), np.eye(responses)],
        ]
    )
    design = np.zeros((len(cells) * stages, len(cells) * k))
    for at, (i, t) in enumerate(cells):
        design[at * stages : (at + 1) * stages, at * k : (at + 1) * k] = grid.rows[i, t]
    design = np.hstack([design, design @ shift])
    mean = np.concatenate([*(grid.mean[i] for i, _ in cells), np.zeros(responses)])
    keep = grid.precision.ravel() > 0
    design, y = design[keep], grid.values.ravel()[keep]
    noise = np.diag(1 / grid.precision.ravel()[keep])
    gain = full @ design.T @ np.linalg.inv(design @ full @ design.T + noise)
    centre = mean + gain @ (y - design @ mean)
    covariance = full - gain @ design @ full
    last = np.concatenate([np.arange(k) + (i * seasons + seasons - 1) * k for i in range(blocks)])
    wanted = np.concatenate([last, len(effects) + np.arange(responses)])
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
    found = b.believe(grid, list("abcde"), b.Learned(spreads, np.zeros((4, 3)), widen))
    centre, covariance = dense_posterior(grid, spreads, widen)
    np.testing.assert_allclose(
        np.concatenate([found.centre.ravel(), found.response_mean]), centre, atol=1e-9
    )
    np.testing.assert_allclose(joint_covariance(found), covariance, atol=1e-9)
    np.testing.assert_allclose(found.spread().ravel() ** 2, np.diag(covariance)[:-2], atol=1e-9)


def test_draws_have_the_stated_mean_and_covariance():
    rng = np.random.default_rng(6)
    grid, spreads = small_grid(rng), small_spreads(rng)
    found = b.believe(grid, list("abcde"), b.Learned(spreads, np.zeros((4, 3)), np.ones((4, 3))))
    draws = found.draw(range(5), 40_000, seed=1)
    flat = np.moveaxis(draws, 0, 1).reshape(15, -1)
    flat = np.vstack([flat, found.response_draws(40_000, seed=1)])
    sd = np.sqrt(np.diag(joint_covariance(found)))
    centre = np.concatenate([found.centre.ravel(), found.response_mean])
    assert np.all(np.abs(flat.mean(1) - centre) < 4.5 * sd / 200)
    np.testing.assert_allclose(
        np.cov(flat) / np.outer(sd, sd), joint_covariance(found) / np.outer(sd, sd), atol=0.03
    )


def test_a_blocks_draws_do_not_depend_on_its_company():
    rng = np.random.default_rng(7)
    grid, spreads = small_grid(rng), small_spreads(rng)
    found = b.believe(grid, list("abcde"), b.Learned(spreads, np.zeros((4, 3)), np.ones((4, 3))))
    together = found.draw(range(5), 100, seed=3)
    alone = found.draw([3], 100, seed=3)
    np.testing.assert_allclose(together[:, 3], alone[:, 0], rtol=1e-12)


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

    grid = b.Grid(
        rows=np.ones((blocks, seasons + 1, 1, 1)),
        values=np.pad(y, ((0, 0), (0, 1)))[..., None],
        precision=np.pad(np.full(y.shape, 1e9), ((0, 0), (0, 1)))[..., None],
        mean=np.zeros((blocks, 1)),
        variety=np.zeros(blocks, int),
    )
    start = np.array([[0.2], [0.2], [1e-6], [0.2]])
    spreads = b.Spreads(start, np.zeros((4, 1)), np.array([100.0]))
    found = b.learn_spreads(grid, spreads, iterations=3000, tolerance=1e-7).spreads.sd[:, 0]
    assert found[0] == pytest.approx(np.sqrt(reference["block"]), rel=0.02)
    assert found[1] == pytest.approx(np.sqrt(reference["season"]), rel=0.02)
    assert found[3] == pytest.approx(np.sqrt(fit.scale), rel=0.02)


def test_no_records_keep_the_prior_spreads():
    rng = np.random.default_rng(8)
    grid, spreads = small_grid(rng, absent=1.0), small_spreads(rng)
    learned = b.learn_spreads(grid, spreads)
    np.testing.assert_allclose(learned.spreads.sd, spreads.sd)
    assert np.all(learned.known == 0)
    assert np.all(learned.widen > 1)
