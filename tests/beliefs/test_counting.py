"""From a sample of vines to a mean with its error."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import DescrStatsW

from cropload.beliefs.counting import mean_from_sample
from cropload.errors import CroploadError

COUNTS = [31, 42, 28, 36, 50, 44, 39, 25, 33, 47]


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_a_simple_sample_has_the_t_range_of_statsmodels(confidence):
    ours = mean_from_sample(COUNTS, confidence=confidence)
    theirs = DescrStatsW(np.array(COUNTS, dtype=float))
    assert (ours.low, ours.high) == pytest.approx(theirs.tconfint_mean(1 - confidence), rel=1e-12)
    assert ours.standard_error == pytest.approx(theirs.std_mean, rel=1e-12)
    assert ours.cv == pytest.approx(stats.variation(COUNTS, ddof=1), rel=1e-12)
    assert (ours.n, ours.df) == (10, 9)


def test_every_possible_sample_of_a_tiny_block_averages_to_the_right_error():
    # Sampling without replacement is exact: over all samples the mean of the squared standard
    # errors equals the variance of the sample means (Cochran 1977, theorem 2.4).
    block = [4.0, 9.0, 1.0, 7.0, 12.0, 6.0]
    samples = [mean_from_sample(s, 6) for s in itertools.combinations(block, 3)]
    means = np.array([s.mean for s in samples])
    assert means.mean() == pytest.approx(np.mean(block))
    assert np.mean([s.standard_error**2 for s in samples]) == pytest.approx(means.var())


def test_every_possible_sample_by_row_averages_to_the_right_error():
    rows = {1: [4.0, 9.0, 1.0], 2: [7.0, 12.0, 6.0, 8.0]}
    sizes = {row: len(vines) for row, vines in rows.items()}
    samples = [
        mean_from_sample([*a, *b], sizes, design="stratified", strata=[1, 1, 2, 2])
        for a in itertools.combinations(rows[1], 2)
        for b in itertools.combinations(rows[2], 2)
    ]
    means = np.array([s.mean for s in samples])
    assert means.mean() == pytest.approx(np.mean(rows[1] + rows[2]))
    assert np.mean([s.standard_error**2 for s in samples]) == pytest.approx(means.var())


def test_every_possible_choice_of_whole_equal_rows_averages_to_the_right_error():
    rows = [[4.0, 9.0, 1.0], [7.0, 12.0, 6.0], [2.0, 3.0, 5.0], [8.0, 8.0, 9.0]]
    samples = [
        mean_from_sample([*a, *b], 12, design="row-cluster", clusters=[1, 1, 1, 2, 2, 2])
        for a, b in itertools.combinations(rows, 2)
    ]
    means = np.array([s.mean for s in samples])
    assert means.mean() == pytest.approx(np.mean(rows))
    assert np.mean([s.standard_error**2 for s in samples]) == pytest.approx(means.var())
    assert samples[0].df == 1


def test_rows_weigh_by_their_vines_and_not_by_how_many_were_counted():
    sample = mean_from_sample(
        [10, 10, 10, 10, 20, 20], {1: 100, 2: 300}, design="stratified", strata=[1, 1, 1, 1, 2, 2]
    )
    assert sample.mean == pytest.approx(17.5)
    assert sample.population == 400


def test_row_labels_of_the_records_are_text_and_still_match_numbered_rows():
    values, rows = [10, 12, 20, 22], ["2", "2", "10", "10"]
    by_text = mean_from_sample(values, {"2": 50, "10": 50}, design="stratified", strata=rows)
    by_number = mean_from_sample(values, {2: 50, 10: 50}, design="stratified", strata=rows)
    assert by_text == by_number
    with_name = mean_from_sample(
        values, {"2": 50, "10": 50, "end": 0.5}, design="stratified", strata=rows
    )
    assert with_name.mean == pytest.approx(16.0, rel=0.01)


def test_rows_with_one_vine_are_joined_with_their_neighbour():
    one_each = mean_from_sample([10, 14, 20, 26], design="stratified", strata=[1, 2, 3, 4])
    in_pairs = mean_from_sample([10, 14, 20, 26], design="stratified", strata=[1, 1, 2, 2])
    assert one_each == in_pairs
    lone_last = mean_from_sample([10, 14, 20], design="stratified", strata=[1, 2, 3])
    assert lone_last.df == 2


def test_equal_weights_change_nothing_and_a_weight_of_two_leans_the_mean():
    assert mean_from_sample(COUNTS, weights=[3] * 10) == mean_from_sample(COUNTS)
    assert mean_from_sample([10, 40], weights=[2, 1]).mean == pytest.approx(20)


def test_a_whole_block_counted_has_no_error():
    sample = mean_from_sample(COUNTS, 10)
    assert (sample.standard_error, sample.low, sample.high) == (0, sample.mean, sample.mean)


def test_blanks_are_vines_not_counted_and_never_zeros():
    assert mean_from_sample([30, None, 40, float("nan")]).mean == 35
    assert mean_from_sample(["30", "", 40]).n == 2


def test_one_vine_gives_a_mean_without_a_range():
    sample = mean_from_sample([30], 900)
    assert sample.mean == 30
    assert np.isnan([sample.standard_error, sample.low, sample.high, sample.cv]).all()
    assert "one vine gives no range" in str(sample)


@pytest.mark.parametrize(
    ("values", "options", "message"),
    [
        ([], {}, "no counted vine"),
        ([None, None], {}, "no counted vine"),
        ([3, -1], {}, "below zero"),
        ([3, float("inf")], {}, "infinite"),
        ([3, "many"], {}, "must be numbers or blanks"),
        ([3, 4, 5], {"population": 2}, "cannot be larger"),
        ([3, 4], {"design": "stratifed"}, "Did you mean 'stratified'"),
        ([3, 4], {"design": "stratified"}, "needs the row"),
        ([3, 4], {"design": "row-cluster", "clusters": [1]}, "2 values but 1"),
        ([3, 4], {"design": "stratified", "strata": [1, None]}, "has no row"),
        ([3, 4], {"design": "stratified", "strata": [1, 2], "population": {1: 9}}, "row 2"),
        ([3, 4], {"weights": [1, 0]}, "above zero"),
        ([3, 4], {"confidence": 95}, "between 0 and 1"),
    ],
)
def test_a_wrong_sample_gets_one_clear_message(values, options, message):
    with pytest.raises(CroploadError, match=message):
        mean_from_sample(values, **options)


@given(
    st.lists(st.floats(0.1, 100), min_size=2, max_size=30),
    st.floats(0.5, 20),
)
def test_the_range_scales_with_the_unit_and_holds_the_mean(values, factor):
    one, other = mean_from_sample(values), mean_from_sample(np.array(values) * factor)
    assert other.mean == pytest.approx(factor * one.mean)
    assert other.high == pytest.approx(factor * one.high)
    assert one.low <= one.mean <= one.high
