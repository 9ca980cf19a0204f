"""Scores against closed forms, numerical integration and general-purpose libraries."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from cropload.review import scores

CASES = [(1.0, 0.05, 2.5), (1.2, 0.3, 3.0), (0.3, 0.6, 5.0), (3.0, 0.2, 0.7)]


def integral(centre, spread, truth):
    """The definition: the squared gap between the distribution and a step at the truth."""
    cdf = stats.lognorm(spread, scale=np.exp(centre)).cdf
    below, _ = integrate.quad(lambda x: cdf(x) ** 2, 0, truth, limit=200)
    top = max(truth, np.exp(centre + 12 * spread))
    above, _ = integrate.quad(
        lambda x: (1 - cdf(x)) ** 2, truth, top, limit=400, points=[max(truth, np.exp(centre))]
    )
    return below + above


@pytest.mark.parametrize("case", CASES)
def test_closed_form_is_the_integral_that_defines_the_score(case):
    """Definition: Matheson and Winkler 1976; Gneiting and Raftery 2007, JASA 102:359."""
    assert scores.log_normal_crps(*case) == pytest.approx(integral(*case), rel=1e-6)


@pytest.mark.parametrize("case", CASES)
def test_closed_form_agrees_with_a_general_purpose_library(case):
    library = pytest.importorskip("scoringrules")
    centre, spread, truth = case
    assert scores.log_normal_crps(*case) == pytest.approx(
        float(library.crps_lognormal(truth, centre, spread)), rel=1e-9
    )


def test_draws_agree_with_a_general_purpose_library():
    library = pytest.importorskip("scoringrules")
    draws = np.random.default_rng(1).lognormal(2.0, 0.3, (5, 400))
    truth = np.array([5.0, 6.0, 7.4, 9.0, 20.0])
    assert scores.crps(draws, truth) == pytest.approx(library.crps_ensemble(truth, draws))


def test_draws_near_the_closed_form_of_their_distribution():
    draws = np.random.default_rng(2).lognormal(1.2, 0.3, 40_000)
    assert scores.crps(draws, 3.0) == pytest.approx(scores.log_normal_crps(1.2, 0.3, 3.0), rel=0.02)


def test_a_single_number_scores_its_absolute_error():
    assert scores.crps(np.full((1, 7), 4.0), np.array([5.5])) == pytest.approx([1.5])


@given(
    st.lists(st.floats(0.01, 1e4), min_size=2, max_size=30),
    st.floats(0.01, 1e4),
    st.floats(0.1, 10),
)
def test_score_is_never_negative_and_scales_with_the_unit(values, truth, factor):
    """Short tons or tonnes: the score is in the unit of the crop."""
    found = scores.crps(np.array(values), truth)
    assert found >= -1e-9 * max(values)
    assert scores.crps(np.array(values) * factor, truth * factor) == pytest.approx(
        found * factor, rel=1e-6, abs=1e-6
    )


def test_the_true_spread_scores_better_than_a_narrower_or_a_wider_one():
    """A proper score: nobody gains by sounding surer, or less sure, than he is."""
    truths = np.random.default_rng(3).lognormal(2.0, 0.2, 4000)
    mean = {s: scores.log_normal_crps(2.0, s, truths).mean() for s in (0.1, 0.2, 0.4)}
    assert mean[0.2] < mean[0.1]
    assert mean[0.2] < mean[0.4]


def test_bias_and_weighted_miss_by_hand():
    """12 and 8 t forecast, 10 and 10 t picked: no bias, a miss of 4 t in 20."""
    assert scores.bias([12, 8], [10, 10]) == pytest.approx(0.0)
    assert scores.weighted_miss([12, 8], [10, 10]) == pytest.approx(0.2)


def test_a_small_block_does_not_rule_the_weighted_miss():
    assert scores.weighted_miss([99, 2], [100, 1]) == pytest.approx(2 / 101)


def test_nothing_picked_has_no_percentage():
    assert np.isnan(scores.bias([1.0], [0.0]))
    assert np.isnan(scores.weighted_miss([], []))
