"""What a range is, in the one place that says so: numpy's quantiles are the reference."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtri

from cropload import handbook
from cropload.beliefs import ranges


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


@pytest.mark.parametrize("spread", [1.5, 3.0, 8.0])
def test_ranges_of_whole_days_hold_their_level_on_average(spread):
    """Against scipy's normal: first and last day held whole, over middles within a day."""
    from scipy.stats import norm

    rng = np.random.default_rng(3)
    held, outward = [], []
    for middle in np.linspace(100, 101, 41):
        days = np.rint(middle + spread * rng.standard_normal(20_000)).astype(int)
        low, _, high = ranges.whole_days(days)
        held.append(np.diff(norm(middle, spread).cdf([low - 0.5, high + 0.5]))[0])
        first, _, last = np.round(ranges.quantiles(days.astype(float)))
        outward.append(np.diff(norm(middle, spread).cdf([first - 0.5, last + 0.5]))[0])
    # A spread of a day and a half is four days wide: few ranges to choose from.
    assert np.mean(held) == pytest.approx(0.80, abs=0.02)
    assert np.mean(outward) > np.mean(held)


def test_a_day_that_is_known_is_a_range_of_one_day():
    days = np.array([[250] * 100, [250] * 95 + [251] * 5])
    np.testing.assert_array_equal(ranges.whole_days(days), [[250, 250]] * 3)


@given(st.integers(0, 10_000), st.floats(0.2, 20))
def test_days_come_in_order_and_turn_with_the_calendar(seed, spread):
    days = np.rint(spread * np.random.default_rng(seed).standard_normal((3, 999))).astype(int)
    low, middle, high = ranges.whole_days(days)
    assert np.all((low <= middle) & (middle <= high))
    np.testing.assert_array_equal(ranges.whole_days(-days), [-high, -middle, -low])


def test_the_reach_of_a_range_is_scipys_to_the_last_digit():
    assert ranges.reach() == ndtri((1 + ranges.level()) / 2)
