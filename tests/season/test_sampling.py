"""How many vines to count, how to share the work, and which vines."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from length import repeats
from scipy import stats

from cropload import handbook
from cropload.beliefs.counting import mean_from_sample
from cropload.errors import CroploadError
from cropload.season.sampling import cv_of_counts, sample_size, sample_size_for_proportion
from cropload.season.two_step import two_step_plan
from cropload.season.vine_picking import pick_vines


def estate(**block):
    first = {"block": "Low", "variety": "Riesling", "vines": 1210, "rows": 12.0}
    first |= {"missing_pct": 0.0, "headlands": 0.0} | block
    other = {"block": "Top", "variety": "Riesling", "vines": 400, "rows": np.nan}
    third = {"block": "Mill", "variety": "Lemberger", "vines": 400, "rows": 4.0}
    blocks = pd.DataFrame([first, other, third])
    rng = np.random.default_rng(1)
    counts = pd.DataFrame(
        {
            "season": np.repeat([2025, 2026], 20),
            "date": pd.to_datetime(["2025-06-01"] * 20 + ["2026-06-01"] * 20),
            "block": "Low",
            "row": "1",
            "vine": [str(v) for v in range(40)],
            "clusters": np.r_[rng.normal(40, 8, 20), rng.normal(20, 4, 20)].round(),
            "shoots": np.nan,
        }
    )
    return SimpleNamespace(blocks=blocks, counts=counts)


# ---- how many vines


@given(st.floats(0.02, 1.5), st.floats(0.02, 0.5), st.integers(2, 5000) | st.none())
def test_the_sample_size_is_the_smallest_that_reaches_the_error(cv, error, population):
    def half_range(n):
        left = 1 if population is None else 1 - n / population
        return stats.t.ppf(0.975, n - 1) * cv / np.sqrt(n) * np.sqrt(left)

    n = sample_size(cv, error, population=population)
    assert half_range(n) <= error * (1 + 1e-9)
    assert n == 2 or half_range(n - 1) > error


def test_no_more_vines_than_the_block_has():
    assert sample_size(0.4, 0.001, population=30) == 30
    assert sample_size(0.0, 0.1) == 2


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-0.1, 0.1), "coefficient of variation must be a number zero or more"),
        ((0.3, 0), "wanted error must be a number above zero"),
        ((0.3, 0.1, 95), "between 0 and 1"),
        ((0.3, 0.1, 0.95, 0), "number of vines must be a number above zero"),
        ((float("nan"), 0.1), "coefficient of variation"),
        (("wide", 0.1), "coefficient of variation"),
    ],
)
def test_a_wrong_question_gets_one_clear_message(arguments, message):
    with pytest.raises(CroploadError, match=message):
        sample_size(*arguments)


def test_a_share_lies_between_none_and_all():
    with pytest.raises(CroploadError, match="between 0 and 1"):
        sample_size_for_proportion(0.05, 5)


# ---- how much vines differ


def test_a_blocks_own_counts_tell_its_spread_and_seasons_are_not_mixed():
    records = estate()
    found = cv_of_counts(records, "Low", "clusters")
    halves = records.counts["clusters"].to_numpy().reshape(2, 20)
    squared = [stats.variation(half, ddof=1) ** 2 for half in halves]
    assert found.cv == pytest.approx(np.mean(squared) ** 0.5)
    assert found.cv < stats.variation(records.counts["clusters"], ddof=1) - 0.1
    assert (found.vines, found.came_from) == (40, "block Low, own counts")


def test_a_block_without_counts_borrows_from_its_variety_and_then_from_the_handbook():
    records = estate()
    assert cv_of_counts(records, "Top", "clusters").came_from.startswith("variety Riesling")
    for block, column in (("Mill", "clusters"), ("Low", "shoots")):
        found = cv_of_counts(records, block, column)
        assert found.came_from == f"handbook sampling.cv_{column}"
        assert found.cv == handbook.value(f"sampling.cv_{column}")
        assert "grade: assumption" in found.detail


def test_unknown_blocks_and_columns_are_named():
    with pytest.raises(CroploadError, match="Did you mean 'Mill'"):
        cv_of_counts(estate(), "Mil", "clusters")
    with pytest.raises(CroploadError, match="Did you mean 'clusters'"):
        cv_of_counts(estate(), "Low", "cluster")


# ---- counting many, weighing few


def test_the_two_step_plan_is_the_cheapest_of_all_pairs():
    cost = {"minutes_count": 1.0, "minutes_weigh": 6.0}
    spread = {"cv_clusters": 0.4, "cv_weight": 0.2, "cv_weight_within": 0.4, "clusters_a_vine": 4}
    plan = two_step_plan(0.15, population=600, **spread, **cost)
    n1, n2 = np.meshgrid(np.arange(2, 200), np.arange(2, 100), indexing="ij")
    first = 0.4**2 / n1 * (1 - n1 / 600)
    second = 0.2**2 / n2 * (1 - n2 / 600) + 0.4**2 / (4 * n2)
    df = (first + second) ** 2 / (first**2 / (n1 - 1) + second**2 / (n2 - 1))
    half = stats.t.ppf(0.975, df) * np.sqrt(first + second)
    minutes = np.where(half <= 0.15, n1 + 6.0 * n2, np.inf)
    assert plan.minutes == minutes.min()
    assert plan.error == pytest.approx(half[plan.vines_counted - 2, plan.vines_weighed - 2])
    assert plan.vines_counted > 2 * plan.vines_weighed
    assert plan.minutes < plan.one_step_minutes
    assert plan.clusters_weighed == 4 * plan.vines_weighed


def test_dear_weighing_moves_the_work_to_counting():
    cheap, dear = two_step_plan(0.1, minutes_weigh=1.0), two_step_plan(0.1, minutes_weigh=20.0)
    assert dear.vines_weighed < cheap.vines_weighed
    assert dear.vines_counted > cheap.vines_counted


def test_the_two_ways_stand_side_by_side():
    plan = two_step_plan(0.1, population=600)
    few, both = plan.frame.to_dict("records")
    assert few["hours"] == plan.minutes / 60
    assert both["hours"] == plan.one_step_minutes / 60
    assert both["vines_counted"] == both["vines_weighed"]
    text = " ".join(str(plan).split())
    assert f"Count clusters on {plan.vines_counted} vines" in text
    assert "both on the same vines" in text


def test_an_error_out_of_reach_says_what_would_help():
    with pytest.raises(CroploadError, match="weigh more than 1 clusters"):
        two_step_plan(0.02, population=30, clusters_a_vine=1)


# ---- which vines


def test_the_same_seed_and_block_pick_the_same_vines_whatever_else_is_there():
    one = pick_vines(estate(), "Low", 40, seed=7)
    records = estate()
    records.blocks = records.blocks.iloc[[2, 0]]
    pd.testing.assert_frame_equal(one.frame, pick_vines(records, "Low", 40, seed=7).frame)
    assert not one.frame.equals(pick_vines(estate(), "Low", 40, seed=8).frame)


def test_every_row_gets_its_share_and_picks_are_even_along_it():
    picked = pick_vines(estate(), "Low", 60, seed=2)
    assert picked.frame.groupby("row").size().between(4, 6).all()
    assert picked["row"].nunique() == 12
    for _, row in picked.frame.groupby("row"):
        gaps = np.diff(np.sort(row["vine"]))
        assert gaps.max() - gaps.min() <= 1
    assert picked.design == "stratified"


@pytest.mark.long
def test_every_vine_has_the_same_chance():
    # 1210 vines in 12 rows are 10 rows of 101 and 2 of 100; 121 picks give each a chance of 0.1.
    seen, times, records = np.zeros((13, 102)), repeats(600, 3), estate()
    for seed in range(times):
        picked = pick_vines(records, "Low", 121, seed=seed)
        np.add.at(seen, (picked["row"], picked["vine"]), 1)
    share = seen[1:, 1:101] / times
    assert share.mean() == pytest.approx(0.1, abs=0.001)
    row_ends = np.r_[share[:, 0], share[:, -1]]
    assert row_ends.mean() == pytest.approx(0.1, abs=4 * (0.09 / 24 / times) ** 0.5)
    assert share.max() < 0.1 + 6 * (0.09 / times) ** 0.5
    assert (seen[1:11, 101] > 0).all()
    assert (seen[11:, 101] == 0).all()


def test_the_walk_goes_up_one_row_and_down_the_next():
    picked = pick_vines(estate(), "Low", 60, seed=2)
    turns = [np.sign(np.diff(row["vine"])) for _, row in picked.frame.groupby("row", sort=False)]
    assert [set(turn) for turn in turns] == [{1}, {-1}] * 6
    assert picked["row"].is_monotonic_increasing


def test_headlands_and_known_missing_places_are_left_out():
    missing = [(row, vine) for row in range(1, 13) for vine in range(20, 80)]
    picked = pick_vines(estate(headlands=3.0), "Low", 100, missing=missing, seed=1)
    assert picked["vine"].between(4, 98).all()
    assert not picked["vine"].between(20, 79).any()
    assert not picked.frame.duplicated(["row", "vine"]).any()
    assert len(picked) == 100


def test_unlisted_missing_vines_are_made_up_for_by_more_places():
    picked = pick_vines(estate(missing_pct=20.0), "Low", 40)
    assert (len(picked), picked.wanted) == (50, 40)
    assert "about 20 % of the places have no vine" in picked.notes[0]


def test_a_short_walk_visits_a_few_rows_and_names_its_design():
    picked = pick_vines(estate(), "Low", 40, rows_to_walk=4, seed=3)
    assert picked["row"].nunique() == 4
    assert (np.diff(sorted(picked["row"].unique())) >= 2).all()
    assert picked.design == "row-cluster"


def test_what_was_picked_goes_straight_into_the_mean():
    picked = pick_vines(estate(), "Low", 40, seed=3)
    values = 30 + picked["row"]
    sample = mean_from_sample(values, picked.places, design=picked.design, strata=picked["row"])
    assert sample.mean == pytest.approx(36.5, abs=0.1)
    assert sample.population == 1210


@pytest.mark.parametrize(
    ("block", "count", "options", "message"),
    [
        ("Lo", 40, {}, "Did you mean 'Low'"),
        ("Top", 40, {}, "is not recorded. Fill column rows of table blocks."),
        ("Low", 0, {}, "whole number of 1 or more, not 0"),
        ("Low", 2.5, {}, "whole number"),
        ("Low", 5000, {}, "1210 places to pick from"),
        ("Low", 40, {"rows": 2000}, "cannot have 2000 rows"),
        ("Low", 40, {"headland_vines": 60}, "0 places to pick from"),
        ("Low", 40, {"seed": -1}, "The seed must be a whole number of 0 or more"),
        ("Low", 40, {"missing": [("A3", 1)]}, "row of a missing vine must be a whole number"),
    ],
)
def test_an_impossible_pick_gets_one_clear_message(block, count, options, message):
    with pytest.raises(CroploadError, match=message):
        pick_vines(estate(), block, count, **options)
