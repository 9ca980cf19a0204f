"""The seasons after the coming one: the vines stay what they are, each year has its own weather."""

import numpy as np

from cropload.beliefs.spreads import variances
from cropload.random_streams import stream
from cropload.vine.growth import COMPONENTS


def later_states(estate, blocks, draws, seed, seasons):
    """Draw the state of some blocks in each of the seasons after the coming one.

    Parameters
    ----------
    estate : Estate
        What is believed before the coming season, none of which has been counted.
    blocks : sequence of int
        Places of the blocks.
    draws, seed : int
        As in ``Estate.draw`` [1]; the coming season is the one it draws.
    seasons : int
        Later seasons [1].

    Yields
    ------
    ndarray, shape (state, blocks, draws)
        Natural logs, as from ``Estate.draw`` [1].

    Notes
    -----
    Every season is as uncertain as the coming one. What a block, a variety and the estate are, and
    how vines answer to the load, is one draw in all of them; what the weather brings to all, to a
    variety or to a block alone is drawn anew. A trend goes no further than the coming season.
    Valid while nothing of the coming season is measured: then its effects are still as the spreads
    have them, and stand apart from all else that is believed.
    """
    beliefs, k = estate.beliefs, len(COMPONENTS)
    blocks = np.asarray(blocks, int)
    responses = beliefs.response_draws(draws, seed)
    spread = variances(beliefs.learned.spreads, beliefs.shared.seasons, beliefs.learned.widen)
    all_sd, own_sd = (
        np.sqrt(spread.season[-1])[:, None],
        np.sqrt(spread.variety_season[-1])[:, None],
    )
    lasting = _lasting(beliefs, blocks, draws, seed)
    residual = np.sqrt(beliefs.residual[blocks])[..., None]
    for later in range(1, seasons + 1):
        again = lasting.copy()
        everyone = all_sd * stream(seed, "season", f"{later} on").standard_normal((k, draws))
        for v in np.unique(beliefs.variety[blocks]):
            name = estate.varieties[v]
            own = stream(seed, f"variety {name}", f"{later} on").standard_normal((k, draws))
            again[:k, beliefs.variety[blocks] == v] += (everyone + own_sd * own)[:, None]
        for at, block in enumerate(blocks):
            rng = stream(seed, beliefs.names[block], f"{later} on")
            again[:, at] += residual[at] * rng.standard_normal((len(again), draws))
        yield estate.trended(blocks, again, responses)


def lasting_state(estate, blocks, draws, seed):
    """Return what lasts of the state of some blocks, without what any one season brings.

    Parameters and shape as of `later_states`.
    """
    lasting = _lasting(estate.beliefs, np.asarray(blocks, int), draws, seed)
    return estate.trended(blocks, lasting, estate.beliefs.response_draws(draws, seed))


def _lasting(beliefs, blocks, draws, seed):
    """Return the state of blocks less what the coming season brings them, trends left apart."""
    lasting = beliefs.draw(blocks, draws, seed)
    for at, block in enumerate(blocks):
        lasting[:, at] -= _of_the_season(beliefs, block, draws, seed)
        shared = beliefs.season_draws(beliefs.variety[block], draws, seed)
        lasting[: len(shared), at] -= shared
    return lasting


def _of_the_season(beliefs, block, draws, seed):
    """Draw which part of a block's own draws is the coming season's alone, (state, draws) [1].

    Own draws are the sum of what lasts and of the residual: the residual is drawn given the sum.
    """
    whole, residual = beliefs.own_covariance[block], np.diag(beliefs.residual[block])
    size = len(whole)
    rng = stream(seed, beliefs.names[block])
    own = np.linalg.cholesky(whole + 1e-14 * np.eye(size)) @ rng.standard_normal((size, draws))
    gain = np.linalg.solve(whole, residual).T
    left = residual - gain @ residual
    values, vectors = np.linalg.eigh((left + left.T) / 2)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    extra = stream(seed, beliefs.names[block], "lasting").standard_normal((size, draws))
    return gain @ own + root @ extra
