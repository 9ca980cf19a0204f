"""What a range is, in the one place that says so: numpy's quantiles are the reference."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload import handbook
from cropload.forecasting import ranges


def test_the_default_range_is_eighty_percent_equal_tails_and_says_so():
    assert ranges.level() == handbook.value("interval.level") == 0.8
    assert ranges.label() == "80 % range, equal tails"


@given(st.integers(0, 10_000), st.sampled_from([100, 101, 999, 4000]), st.integers(1, 4))
def test_quantiles_are_numpys(seed, draws, rows):
    values = np.random.default_rng(seed).lognormal(size=(rows, 2, draws))
    expected = np.quantile(values, [0.1, 0.5, 0.9], axis=-1)
    np.testing.assert_allclose(ranges.quantiles(values), expected, rtol=1e-12)


def test_quantiles_of_a_log_normal_are_those_of_scipy():
    from scipy.stats import lognorm

    draws = lognorm(s=0.3, scale=8).rvs(400_000, random_state=np.random.default_rng(1))
    np.testing.assert_allclose(
        ranges.quantiles(draws), lognorm(s=0.3, scale=8).ppf([0.1, 0.5, 0.9]), rtol=0.004
    )


def test_the_draws_are_left_as_they_were():
    values = np.random.default_rng(2).normal(size=500)
    before = values.copy()
    ranges.quantiles(values)
    np.testing.assert_array_equal(values, before)


def test_columns_are_named_by_their_ends():
    found = ranges.columns("t_ha", np.arange(101.0))
    assert found == pytest.approx({"t_ha_p10": 10, "t_ha_p50": 50, "t_ha_p90": 90})
