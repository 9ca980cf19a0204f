"""Shares of a crop by leaf: the rule of the trade, and what it means where a year is not known."""

import numpy as np
import pytest

from cropload import handbook
from cropload.vine.young import (
    LOG_OF_NOTHING,
    crop_share,
    first_bearing_leaf,
    leaf,
    leaf_word,
    log_share,
    share_spread,
)


def test_the_year_of_planting_is_the_first_leaf():
    # Common practice, no source: a vine planted this spring is in its first leaf.
    np.testing.assert_array_equal(leaf([2024, 2025, 2026, 2030], 2024), [1, 2, 3, 7])


def test_a_southern_planting_is_told_by_its_first_harvest_year():
    # Planted in October 2024, picked for the first time (third leaf) in autumn 2027.
    assert leaf(2027, 2025) == first_bearing_leaf()


def test_the_rule_of_the_trade_no_crop_then_a_third_then_two_thirds():
    # Common practice, no source: no crop in the first two leaves, about a third in the third, two
    # thirds to three quarters in the fourth, all of it from the fifth.
    none, none_yet, third, fourth, *rest = crop_share([1, 2, 3, 4, 5, 6, 40])
    assert none == none_yet == 0
    assert third == pytest.approx(1 / 3, abs=0.05)
    assert 2 / 3 <= fourth <= 3 / 4
    assert rest == [1, 1, 1]


def test_an_unknown_year_is_a_grown_vine_and_one_not_planted_yet_bears_nothing():
    np.testing.assert_array_equal(crop_share([np.nan, 0, -3]), [1, 0, 0])
    np.testing.assert_array_equal(share_spread([np.nan, 0, -3]), [0, 0, 0])
    assert log_share(np.nan) == 0


def test_the_log_of_nothing_is_a_number_whose_exponential_is_exactly_nothing():
    assert log_share(2) == LOG_OF_NOTHING
    assert np.exp(LOG_OF_NOTHING + 20) == 0


def test_logs_and_shares_agree():
    leaves = np.arange(3, 9)
    np.testing.assert_allclose(np.exp(log_share(leaves)), crop_share(leaves))


def test_doubt_falls_as_the_vine_grows_and_is_gone_with_the_last_step():
    spread = share_spread(np.arange(first_bearing_leaf(), 12))
    assert (np.diff(spread) <= 0).all()
    assert spread[0] > 0
    assert (spread[crop_share(np.arange(first_bearing_leaf(), 12)) == 1] == 0).all()


def test_both_lists_of_the_handbook_are_as_long():
    assert len(handbook.value("young.share")) == len(handbook.value("young.spread"))


def test_leaves_in_words():
    assert [leaf_word(n) for n in (1, 4, 11)] == ["first leaf", "fourth leaf", "leaf 11"]
