"""Small grids, and what they say written out densely: every cell's components at once."""

import numpy as np

from cropload.beliefs.measurements import Measurements
from cropload.beliefs.spreads import Spreads, variances


def small_grid(rng, blocks=5, seasons=4, stages=3, k=3, varieties=2, absent=0.3, own=2):
    """Return measurements of a few blocks; each has ``own`` numbers beside its k components."""
    rows = rng.normal(size=(blocks, seasons, stages, k + own))
    values = rng.normal(size=(blocks, seasons, stages))
    precision = np.where(
        rng.random((blocks, seasons, stages)) < absent,
        0.0,
        rng.uniform(1, 50, (blocks, seasons, stages)),
    )
    mean = np.concatenate([rng.normal(size=(blocks, k)), np.zeros((blocks, own))], axis=1)
    response = rng.normal(size=(blocks, seasons, k + own, 2))
    response[..., k:, :] = 0.0
    variety = np.arange(blocks) % varieties
    more = {
        "own": rng.uniform(0.1, 0.4, (blocks, own)),
        "scatter": rng.uniform(0.5, 2, (blocks, seasons)),
    }
    return Measurements(rows, values, precision, mean, variety, response, **more)


def small_spreads(rng, k=3):
    sd = rng.uniform(0.1, 0.5, (4, k))
    return Spreads(sd, np.full((4, k), 10.0), rng.uniform(0.2, 0.6, k), rng.uniform(0.2, 0.6, k))


def dense_prior(grid, spreads, widen=None):
    """Return the prior covariance of every cell's state, then of the responses."""
    blocks, seasons, _, state = grid.rows.shape
    k = grid.components
    found = variances(spreads, seasons, widen)

    def covariance(one, t, other, u):
        total = np.zeros(state)
        same = grid.variety[one] == grid.variety[other]
        total[:k] += found.estate + same * found.variety
        total[:k] += (one == other) * found.block
        total[k:] += (one == other) * grid.own[one]
        if t == u:
            total[:k] += found.season[t] + same * found.variety_season[t]
            total[:k] += (one == other) * found.residual[t] * grid.scatter[one, t]
        return np.diag(total)

    cells = [(i, t) for i in range(blocks) for t in range(seasons)]
    effects = np.block([[covariance(*c, *d) for d in cells] for c in cells])
    responses = grid.response.shape[-1]
    return np.block(
        [
            [effects, np.zeros((len(effects), responses))],
            [np.zeros((responses, len(effects))), np.eye(responses)],
        ]
    )


def dense_lines(grid):
    """Return design, values, noise and prior mean of all that was measured, cell by cell."""
    blocks, seasons, stages, state = grid.rows.shape
    cells = [(i, t) for i in range(blocks) for t in range(seasons)]
    # The load responses are unknowns of their own: they move what is measured, not the component.
    shift = np.concatenate([grid.response[i, t] for i, t in cells])
    design = np.zeros((len(cells) * stages, len(cells) * state))
    for at, (i, t) in enumerate(cells):
        design[at * stages : (at + 1) * stages, at * state : (at + 1) * state] = grid.rows[i, t]
    design = np.hstack([design, design @ shift])
    mean = np.concatenate([*(grid.mean[i] for i, _ in cells), np.zeros(shift.shape[1])])
    keep = grid.precision.ravel() > 0
    noise = np.diag(1 / grid.precision.ravel()[keep])
    return design[keep], grid.values.ravel()[keep], noise, mean
