"""Scores by level and over several seasons, against pandas and scoringrules."""

import numpy as np
import pytest

from cropload import example_records, review_season
from cropload.errors import CroploadError
from cropload.review.scores import level_scores

MOMENTS = ["pruning", "clusters"]


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture(scope="module")
def reviews(records):
    return [review_season(records, year, moments=MOMENTS, draws=400) for year in (2025, 2026)]


def test_blocks_of_one_season_are_the_review_itself(reviews):
    table = level_scores(reviews[1:])
    for name in ("bias", "weighted_miss", "inside", "seen", "width_share", "crps_t",
                 "last_season_miss", "count_x_last_weight_beside"):  # fmt: skip
        assert table[name].tolist() == pytest.approx(reviews[1].frame[name].tolist(), nan_ok=True)


def test_varieties_and_estate_add_up_to_the_scale(records, reviews):
    season = records.harvest[records.harvest["season"] == 2026]
    variety = records.blocks.set_index("block")["variety"]
    want = season.groupby(season["block"].map(variety))["tonnes"].sum()
    crops = reviews[1].frame_by("variety")
    crops = crops[crops["moment"] == "clusters"].set_index("name")
    for name, tonnes in want.items():
        assert crops.loc[name, "picked_t"] == pytest.approx(tonnes)
    estate = reviews[1].frame_by("estate").set_index("moment").loc["clusters"]
    assert estate["picked_t"] == pytest.approx(want.sum())
    assert estate["block_mean"] == pytest.approx(crops["block_mean"].sum())


def test_a_guess_without_a_range_is_scored_by_its_absolute_error(reviews):
    scoringrules = pytest.importorskip("scoringrules")
    row = level_scores(reviews[:1]).frame.set_index("moment").loc["clusters"]
    crops = reviews[0].blocks
    there = crops[(crops["moment"] == "clusters") & crops["count_x_last_weight"].notna()]
    # One draw is a forecast of one number; scoringrules scores it.
    score = scoringrules.crps_ensemble(
        there["picked_t"].to_numpy(), there[["count_x_last_weight"]].to_numpy()
    )
    assert row["count_x_last_weight_crps_t"] == pytest.approx(float(np.mean(score)))
    assert row["count_x_last_weight_seen"] == len(there) < row["seen"]
    assert row["count_x_last_weight_beside_crps_t"] == pytest.approx(there["crps_t"].mean())


def test_a_variety_is_guessed_only_when_each_of_its_blocks_is(reviews):
    # Nothing was ever counted in Upper Knoll, a Chardonnay.
    crops = reviews[1].frame_by("variety").set_index(["moment", "name"])
    assert np.isnan(crops.loc[("clusters", "Chardonnay"), "count_x_last_weight"])
    assert crops.loc[("clusters", "Riesling"), "count_x_last_weight"] > 0


def test_seasons_are_pooled_crop_by_crop(records, reviews):
    together = level_scores(reviews).frame.set_index("moment").loc["clusters"]
    alone = [level_scores([each]).frame.set_index("moment").loc["clusters"] for each in reviews]
    assert together["seen"] == sum(each["seen"] for each in alone) == 14
    assert together["seasons"] == 2
    picked = [records.harvest.query("season == @y")["tonnes"].sum() for y in (2025, 2026)]
    misses = [each["weighted_miss"] for each in alone]
    assert together["weighted_miss"] == pytest.approx(np.average(misses, weights=picked))


def test_another_level_is_one_message(reviews):
    with pytest.raises(CroploadError, match="not by 'row'"):
        reviews[0].frame_by("row")
