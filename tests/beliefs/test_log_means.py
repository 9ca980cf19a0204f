"""From sample means to an observation of a logarithm."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from cropload import handbook
from cropload.beliefs.counting import mean_from_sample
from cropload.beliefs.log_means import grouped_log_means, log_mean_and_variance
from cropload.errors import CroploadError


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
