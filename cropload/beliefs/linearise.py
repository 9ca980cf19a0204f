"""Straight lines: where the chain is made straight, and how the load response moves them."""

import numpy as np

from cropload.vine.growth import COMPONENTS, STAGES, LoadState, PlanShape
from cropload.vine.load_response import exponents
from cropload.vine.stage_lines import response_shift, stage_rows


def load_shift(mean, shape, state):
    """Return how what is not known of the load response moves each component, by the load alone.

    Parameters
    ----------
    mean : ndarray, shape (n, components)
        Prior means of the logs [1].
    shape, state
        As in ``stage_rows``.

    Returns
    -------
    ndarray, shape (n, components, responses)
        As from ``response_shift`` [1].

    Notes
    -----
    The clusters that weight answers to are those of the plan, against those of the usual load.
    Were they the clusters counted, their sampling error would stand on both sides, and thousands
    of blocks would seem to know a response that none of them has shown.
    """
    usual = state.log_reference
    flat = PlanShape(usual, np.zeros_like(usual), np.zeros_like(usual))
    rows, offset = stage_rows(mean, flat, LoadState(usual, usual, usual), exponents())
    stage = STAGES.index("clusters")
    counted = np.einsum("nk,nk->n", rows[:, stage], mean) + offset[:, stage]
    clusters = counted - mean[:, COMPONENTS.index("counting_bias")]
    return response_shift(mean, shape, LoadState(usual, state.log_carried, clusters), exponents())


def straight_about(mean, centre, precision, variety):
    """Return where the chain is made straight for each block.

    Parameters
    ----------
    mean, centre : ndarray, shape (blocks, components)
        Logs of the components: prior means, and what is believed at first [1].
    precision : ndarray, shape (blocks, seasons, stages)
        As in ``Grid``.
    variety : ndarray of int, shape (blocks,)
        Index of the variety.

    Returns
    -------
    ndarray, shape (blocks, components)

    Notes
    -----
    Only the share of the clusters on non-count shoots bends, so only shoots and non-count shoots
    matter. Where a block's were counted its own are taken, elsewhere the mean over the blocks of
    its variety with any record: a point of its own for every block would let each one's errors in,
    thousands of times.
    """
    about = mean.copy()
    measured = (precision > 0).any((1, 2))
    members = [np.flatnonzero(variety == v) for v in range(int(variety.max()) + 1)]
    for name, stage in (("shoots_per_bud", "shoots"), ("noncount_shoots", "noncount_shoots")):
        at = COMPONENTS.index(name)
        for places in members:
            if len(places):
                some = places[measured[places]]
                about[places, at] = centre[some if len(some) else places, at].mean()
        seen = (precision[:, :, STAGES.index(stage)] > 0).any(1)
        about[seen, at] = centre[seen, at]
    return about
