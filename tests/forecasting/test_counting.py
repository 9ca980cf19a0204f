"""From a sample of vines to a mean with its error, and to an observation of a logarithm."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import DescrStatsW

from cropload import handbook
from cropload.errors import CroploadError
from cropload.forecasting.counting import (
    grouped_log_means,
    log_mean_and_variance,
    mean_from_sample,
)

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


# ---- observations of a logarithm


def test_the_log_observation_gives_back_the_mean_and_error_of_a_log_normal():
    # Closed form: if the sample mean is log-normal about x, exp(centre - v/2) is its mean.
    centre, variance = log_mean_and_variance(40.0, 16, 14.0)
    observed = stats.lognorm(s=np.sqrt(variance), scale=np.exp(centre - variance))
    assert observed.mean() == pytest.approx(40, rel=1e-9)
    assert observed.std() / observed.mean() == pytest.approx(14 / 40 / 4, rel=1e-9)


def test_the_log_centre_is_right_on_average_over_repeated_samples():
    rng = np.random.default_rng(5)
    true, cv, n = 30.0, 0.5, 5
    spread = np.sqrt(np.log1p(cv**2))
    vines = true * np.exp(rng.normal(-(spread**2) / 2, spread, (40_000, n)))
    centre, variance = log_mean_and_variance(
        vines.mean(axis=1), np.full(40_000, n), cv=np.full(40_000, cv), dof=1e9
    )
    assert centre.mean() == pytest.approx(np.log(true), abs=0.01)
    assert variance.mean() == pytest.approx(centre.var(), rel=0.1)


def test_an_expected_spread_and_the_sample_share_the_say_by_their_degrees_of_freedom():
    _, variance = log_mean_and_variance(10.0, 5, 4.0, cv=0.2, dof=12)
    squared = (12 * 0.2**2 + 4 * 0.4**2) / 16
    assert variance == pytest.approx(np.log1p(squared / 5))
    _, alone = log_mean_and_variance(10.0, 1, np.nan, cv=0.2, dof=12)
    assert alone == pytest.approx(np.log1p(0.04))


def test_all_zeros_after_hail_stand_for_half_a_cluster_in_the_whole_sample():
    centre, variance = log_mean_and_variance(
        np.array([0.0, 0.0]), np.array([40, 1]), np.array([0.0, np.nan]), [900, 1], cv=0.3, dof=12
    )
    assert centre == pytest.approx(np.log([0.5 / 40, 0.5]))
    assert variance == pytest.approx([2.0, 2.0])


def test_a_single_cluster_on_many_vines_is_no_surer_than_yes_and_no_can_be():
    _, variance = log_mean_and_variance(1 / 40, 40, 40**-0.5, cv=0.3, dof=1000)
    assert variance == pytest.approx(np.log1p((1 - 1 / 40) / (1 / 40) / 40))


def test_no_vine_counted_is_no_observation():
    centre, variance = log_mean_and_variance(np.nan, 0, cv=0.3, dof=12)
    assert np.isnan(centre)
    assert variance == np.inf


def test_one_vine_without_an_expected_spread_is_refused():
    with pytest.raises(CroploadError, match="One vine alone"):
        log_mean_and_variance(10.0, 1)


def counts_of_two_blocks():
    return pd.DataFrame(
        {
            "block": ["Low", "Low", "Low", "Top", "Top", "Bare", "Hail", *["Hail"] * 5],
            "clusters": [30.0, 40.0, np.nan, 20.0, 24.0, np.nan, 0.0, *[0.0] * 5],
        }
    )


def test_groups_are_reduced_to_means_with_a_pooled_spread():
    table = grouped_log_means(counts_of_two_blocks(), "block", "clusters", {"Low": 900, "Top": 50})
    assert list(table.index) == ["Hail", "Low", "Top"]
    assert table.loc["Low", ["mean", "n"]].tolist() == [35, 2]
    expected = handbook.entry("sampling.cv_clusters")
    own = {"Low": (50**0.5 / 35) ** 2, "Top": (8**0.5 / 22) ** 2}
    dof = expected.extra["dof"]
    pooled = (dof * expected.value**2 + own["Low"] + own["Top"]) / (dof + 2)
    low = (dof * pooled + own["Low"]) / (dof + 1)
    assert table.loc["Low", "cv"] == pytest.approx(low**0.5)
    assert table.loc["Low", "log_variance"] == pytest.approx(np.log1p(low / 2 * (1 - 2 / 900)))
    assert table.loc["Hail", "log_variance"] == 2.0
    assert table["event"].tolist() == [True, False, False]


def test_the_table_of_groups_is_what_each_group_alone_would_say():
    rng = np.random.default_rng(3)
    frame = pd.DataFrame(
        {
            "block": rng.choice(["a", "b", "c"], 400),
            "season": rng.choice([2024, 2025], 400),
            "shoots": rng.poisson(20, 400).astype(float),
        }
    )
    table = grouped_log_means(frame, ["block", "season"], "shoots", pd.Series({"a": 500.0}))
    for (block, season), row in table.iterrows():
        mine = frame[(frame["block"] == block) & (frame["season"] == season)]
        sample = mean_from_sample(mine["shoots"])
        assert (row["mean"], row["n"]) == (pytest.approx(sample.mean), sample.n)
        assert row["sd"] / row["mean"] == pytest.approx(sample.cv)
        # Many vines: the sample's own spread speaks louder than the pooled one.
        assert row["cv"] == pytest.approx(sample.cv, rel=0.15)
    assert table.loc["a", "population"].eq(500).all()
    assert table.loc["b", "population"].isna().all()


def test_an_unknown_column_is_named_with_a_near_one():
    with pytest.raises(CroploadError, match="Did you mean 'clusters'"):
        grouped_log_means(counts_of_two_blocks(), "block", "cluster")
    frame = counts_of_two_blocks().rename(columns={"clusters": "berries"})
    with pytest.raises(CroploadError, match="no spread between vines for 'berries'"):
        grouped_log_means(frame, "block", "berries")
