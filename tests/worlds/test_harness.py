"""The harness itself: scores that must come out even, and worlds that are what they say."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

pytest.importorskip("scoringrules")

from helpers import make_records
from worlds import harness
from worlds.baselines import baselines
from worlds.generators import WORLDS


@pytest.fixture(scope="module")
def rng():
    return np.random.default_rng(20)


def test_the_pit_of_the_right_forecast_is_even_also_where_crops_are_nil(rng):
    def crops(*shape):
        return np.where(rng.random(shape) < 0.3, 0.0, rng.lognormal(1.0, 0.3, shape))

    drawn = np.repeat(crops(1, 4000), 2000, axis=0)
    scores = harness._scores(drawn, crops(2000, 1), rng)
    assert stats.kstest(scores["pit"], "uniform").pvalue > 0.01


def test_ranges_are_of_the_draws_that_bear_and_crps_of_all_of_them(rng):
    drawn = np.r_[np.zeros(300), np.linspace(2, 4, 701)][None]
    found = harness._ranges(drawn, np.array([0]))
    assert found["middle"] == pytest.approx(3)
    assert (found["low80"], found["high80"]) == pytest.approx((2.2, 3.8))
    assert found["all_low80"] == 0
    assert found["said_lost"] == pytest.approx(300 / 1001)
    truth = np.array([[3.0]])
    by_hand = np.abs(drawn - 3).mean() - np.abs(drawn - drawn.T).mean() / 2
    assert harness._scores(drawn, truth, rng)["crps"] == pytest.approx(by_hand, rel=1e-9)


def test_the_interval_of_a_share_is_that_of_independent_hits_where_estates_are_independent(rng):
    inside = pd.Series((rng.random(4000) < 0.8).astype(float))
    share, half = harness.share_inside(inside, pd.Series(np.arange(4000)))
    assert half == pytest.approx(196 * np.sqrt(0.16 / 4000), rel=0.05)
    ten_times = inside.repeat(10).reset_index(drop=True)
    _, same = harness.share_inside(ten_times, pd.Series(np.arange(4000).repeat(10)))
    assert same == pytest.approx(half, rel=0.01)
    assert share == pytest.approx(80, abs=2)


def test_baselines_agree_where_nothing_varies_and_leave_a_nil_crop_out():
    level = {"North": 3.0, "South": 5.0, "West": 8.0}
    harvest = [
        {"season": year, "block": block, "tonnes": tonnes, "date": f"{year}-09-20"}
        for year in (2022, 2023, 2024)
        for block, tonnes in level.items()
    ]
    harvest[4]["tonnes"] = 0.0
    # Season by season a little, so that the mixed model has something to fit.
    for row in harvest:
        row["tonnes"] *= 1 + 0.001 * (row["season"] - 2023)
    found = baselines(make_records(harvest=harvest), 2025, list(level))
    for name in harness.BASELINES:
        assert found[name].to_numpy() == pytest.approx(list(level.values()), rel=0.003)
    assert found["bearing"].to_list() == pytest.approx([1, 2 / 3, 1])


@pytest.mark.parametrize("world", WORLDS)
def test_a_world_is_a_plausible_estate_and_the_same_from_the_same_seed(world):
    first, again = (WORLDS[world](np.random.default_rng(3)) for _ in range(2))
    pd.testing.assert_frame_equal(first.truth, again.truth)
    records = first.records
    assert 8 <= len(records.blocks) <= 12
    assert 2 <= records.blocks["variety"].nunique() <= 3
    assert records.harvest["season"].max() == first.season - 1
    assert set(first.truth.index) == set(records.blocks["block"])
    crops = records.harvest.merge(records.blocks, on="block")
    per_ha = (crops["tonnes"] / crops["area_ha"])[crops["tonnes"] > 0]
    assert 3 < per_ha.median() < 30
    assert (records.pruning.empty) == (world == "no_plan")


def test_seeds_for_tuning_and_for_the_report_draw_other_estates():
    frames = [harness.run(["two_seasons"], 1, seeds, draws=100) for seeds in harness.SEEDS]
    truths = np.array([frame["truth"].iloc[0] for frame in frames])
    assert len(np.unique(truths)) == len(harness.SEEDS)


def test_a_falling_world_falls_and_a_low_counter_counts_low():
    falls, ratios = [], []
    for seed in range(12):
        drawn = WORLDS["drift"](np.random.default_rng(seed))
        first = drawn.records.harvest.query("season == 2018").set_index("block")["tonnes"]
        change = np.log(drawn.truth.mean(axis=1) / first)[drawn.group == "falling"]
        falls.append(change.mean() / 8)
        counts = WORLDS["low_counter"](np.random.default_rng(seed)).records.counts
        means = counts.groupby("counter")["clusters"].mean()
        if len(means) == 2:
            ratios.append(np.log(means["K2"] / means["K1"]))
    assert np.mean(falls) == pytest.approx(-0.06, abs=0.01)
    assert np.mean(ratios) == pytest.approx(np.log(0.88), abs=0.06)
