"""The forecast's targets in worlds that are not our model: the short form.

The long form is ``python tests/worlds/harness.py all --seeds report``.  Ten estates a world tell
little of one season, but each is held against 25 that may come; every tolerance is the
95 % interval that the estates themselves show, so that a target is missed only beyond chance.
"""

from functools import cache

import numpy as np
import pytest

pytest.importorskip("scoringrules")

from worlds.generators import WORLDS
from worlds.harness import BASELINES, clustered, run, summary

pytestmark = pytest.mark.simulation

ESTATES = 10
#: Shares inside the 80 % range that will do [%].
LEAST, MOST = 75, 88
COUNTED = [
    (world, stage)
    for world in ("steady", "plan_change", "low_counter", "lag_days", "no_plan")
    for stage in ("clusters", "lag")
    if (world, stage) != ("no_plan", "lag")
]


@cache
def happened(world):
    return run([world], ESTATES, "short")


def rows_of(world, stage="before", who="block", group=None):
    rows = happened(world)
    rows = rows[(rows["stage"] == stage) & (rows["who"] == who)]
    return rows if group is None else rows[rows["group"] == group]


def of(rows):
    """Return the one row of the summary."""
    return summary(rows.assign(who="asked")).iloc[0]


def squares(rows, name):
    return np.log(rows[name] / rows["truth"]) ** 2


def assert_error_below(rows, rival, times):
    """The log RMSE is at most ``times`` the rival's, over seasons not lost."""
    rows = rows[rows["truth"] > 0]
    more, error = clustered(
        squares(rows, "middle") - times**2 * squares(rows, rival), rows["replicate"]
    )
    ours, theirs = (np.sqrt(squares(rows, name).mean()) for name in ("middle", rival))
    assert more <= error, f"log RMSE {ours:.3f} against {rival} {theirs:.3f}"


def assert_share(rows, least=LEAST, most=MOST):
    found = of(rows)
    share, half = found["in80"], found["in80+-"]
    assert least - half <= share <= most + half, f"{share:.0f} +- {half:.0f} % inside"


def assert_bias_within(rows, limit):
    rows = rows[rows["truth"] > 0]
    bias, error = clustered(np.log(rows["middle"] / rows["truth"]), rows["replicate"])
    assert abs(bias) <= limit + error, f"bias {bias:+.3f} (ln)"


@pytest.mark.parametrize("world", WORLDS)
def test_the_80_percent_range_holds_75_to_88_percent_of_the_crops(world):
    assert_share(rows_of(world))


@pytest.mark.parametrize("world", WORLDS)
def test_the_80_percent_range_of_the_total_holds_75_to_88_percent(world):
    assert_share(rows_of(world, who="total"))


@pytest.mark.parametrize("who", ["block", "total"])
@pytest.mark.parametrize(("world", "stage"), COUNTED)
def test_the_range_keeps_its_word_after_each_stage(world, stage, who):
    assert_share(rows_of(world, stage, who))


@pytest.mark.parametrize("rival", BASELINES)
@pytest.mark.parametrize("world", WORLDS)
def test_no_baseline_is_better_by_more_than_2_percent(world, rival):
    assert_error_below(rows_of(world), rival, 1.02)


@pytest.mark.parametrize("world", ["plan_change", "drift", "drift_noisy", "load_response"])
def test_the_plain_mean_is_beaten_by_3_percent_where_blocks_drift_or_plans_change(world):
    assert_error_below(rows_of(world), "mean", 0.97)


@pytest.mark.parametrize(("world", "stage"), COUNTED)
def test_counting_and_weighing_make_the_forecast_better(world, stage):
    rows = rows_of(world, stage)
    before = rows_of(world, {"clusters": "before", "lag": "clusters"}[stage])
    before = before[before["future"] == 0]
    fall = squares(rows, "middle").to_numpy() - squares(before, "middle")
    assert fall.mean() < 0


@pytest.mark.xfail(
    strict=True,
    reason="followed to about two thirds: a steady estate must lose nothing by it, and does not",
)
def test_a_fall_of_five_to_seven_percent_a_year_is_followed():
    assert_bias_within(rows_of("drift", group="falling"), 0.06)


def test_a_fall_is_followed_under_noise_at_least_half_of_the_way():
    rows = rows_of("drift_noisy", group="falling")
    half, error = clustered(
        np.log(rows["middle"] / rows["truth"]) - np.log(rows["mean"] / rows["truth"]) / 2,
        rows["replicate"],
    )
    assert half <= error


def test_blocks_that_do_not_fall_are_not_pulled_along():
    for world in ("drift", "drift_noisy"):
        assert_bias_within(rows_of(world, group="ordinary"), 0.05)


def test_a_volatile_block_has_a_range_of_its_own_and_the_others_keep_theirs():
    assert_share(rows_of("volatile", group="volatile"), least=72, most=100)
    assert_share(rows_of("volatile", group="ordinary"))


@pytest.mark.parametrize("group", ["strong", "weak"])
def test_a_block_answers_to_its_load_in_its_own_way(group):
    assert_bias_within(rows_of("load_response", group=group), 0.10)


@pytest.mark.parametrize("group", ["early", "late"])
def test_weights_of_an_early_and_of_a_late_day_after_flowering_are_read_right(group):
    assert_bias_within(rows_of("lag_days", "lag", group=group), 0.03)


@pytest.mark.parametrize("group", ["prone", "ordinary"])
@pytest.mark.parametrize("world", ["loss_unmarked", "loss_marked"])
def test_the_chance_of_a_nil_crop_is_told(world, group):
    rows = rows_of(world, group=group)
    more, error = clustered(rows["said_lost"] - (rows["truth"] <= 0), rows["replicate"])
    assert abs(more) <= 0.05 + error, f"said and true differ by {100 * more:+.0f} points"


@pytest.mark.parametrize("world", ["loss_unmarked", "loss_marked"])
def test_the_forecast_of_a_block_that_loses_crops_is_even_over_all_seasons(world):
    """The randomised PIT: each fifth of the forecast's distribution comes true a fifth of times."""
    rows = rows_of(world, group="prone")
    for fifth in range(5):
        here = (rows["pit"] > fifth / 5) & (rows["pit"] <= (fifth + 1) / 5)
        share, error = clustered(here.astype(float), rows["replicate"])
        assert abs(share - 0.2) <= 0.06 + error, f"fifth {fifth + 1}: {100 * share:.0f} %"


@pytest.mark.parametrize("group", ["small", "large"])
def test_a_block_without_a_plan_on_record_is_not_pulled_to_a_guess(group):
    rows = rows_of("no_plan", group=group)
    pull, error = clustered(np.log(rows["middle"] / rows["shrunk"]), rows["replicate"])
    assert abs(pull) <= 0.05 + error, f"pulled by {pull:+.3f} (ln) off the shrunk mean"
