"""Chances of causes, held against the density of the multivariate t itself."""

from itertools import combinations

import numpy as np
import pytest
from scipy.stats import multivariate_t

from cropload.review.cause_weights import _WEIGHT, Tried, _sets, weighed


def test_chances_are_those_of_all_sets_by_their_marginal_density():
    """Normal sizes and a scaled inverse chi-square scatter make what is seen multivariate t.

    That marginal: Gelman and others, Bayesian Data Analysis, 3rd ed., section 14.2 (from memory).
    """
    rng = np.random.default_rng(17)
    x, spread = rng.standard_normal((12, 3)), np.array([0.5, 1.0, 2.0])
    y = 1.5 * x[:, 1] + rng.standard_normal(12)
    odds = np.array([0.3, 0.1, 0.2])
    pairs = np.triu(np.ones((3, 3), bool), 1)
    pairs[0, 2] = False
    chance, size, _ = _sets(x, y, 12, spread, odds, pairs)
    weights = {}
    for some in (s for n in range(3) for s in combinations(range(3), n) if s != (0, 2)):
        at = list(some)
        shape = np.eye(12) + (x[:, at] * spread[at] ** 2) @ x[:, at].T
        density = multivariate_t.logpdf(y, np.zeros(12), shape, _WEIGHT)
        weights[some] = np.exp(density) * np.prod(odds[at])
    whole = sum(weights.values())
    expected = [sum(w for some, w in weights.items() if at in some) / whole for at in range(3)]
    assert chance == pytest.approx(expected, rel=1e-6)
    assert size[1] == pytest.approx(1.5, abs=0.8)


def test_levels_say_nothing_and_a_loss_that_adds_is_none():
    block = np.repeat(np.eye(4), 5, axis=0)
    column = np.tile([0.0, 0, 0, 0, 1], 4) * (np.repeat(np.arange(4), 5) == 2)
    noise = 0.05 * np.random.default_rng(3).standard_normal(20)
    sd, kinds = np.full(20, 0.1), np.full(20, "crop")

    def chance(size, takes=False):
        tried = [Tried("own season", "C", column, 0.4, 0.2, takes)]
        y = noise + size * column + block @ [5.0, 1, 2, 9]
        return float(weighed(y, sd, kinds, block, tried)[0][0])

    assert chance(0.0) < 0.2
    assert chance(0.6) > 0.95
    assert chance(-0.6) > 0.95
    assert chance(-0.6, takes=True) == 0
