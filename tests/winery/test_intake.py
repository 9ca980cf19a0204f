"""Tonnes by period: sums keep what blocks share, nothing is lost, bad input gets one message."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intake_cases import SEASON, correlated_lognormals, made_forecast
from length import repeats

from cropload import example_records, forecast
from cropload.beliefs.dates.harvest_dates import harvest_dates
from cropload.errors import CroploadError
from cropload.winery.intake import intake_schedule
from cropload.winery.schedule import NO_DATE, OUTSIDE

SAME_DAY = "2026-09-16"


@pytest.fixture(scope="module")
def records():
    return example_records()


def one_day(draws, **more):
    made = made_forecast(draws, **more)
    return intake_schedule(made, dict.fromkeys(made.blocks, SAME_DAY))


def closed_form(blocks, sigma, correlation):
    """Mean and variance of a sum of log-normals of median 1 with equally correlated logs.

    E = exp(s^2/2) each, Cov = exp(s^2) (exp(r s^2) - 1): the moments of the multivariate
    log-normal (textbook; for instance Johnson, Kotz and Balakrishnan, from memory).
    """
    mean = blocks * np.exp(sigma**2 / 2)
    own, pair = (np.exp(sigma**2) * np.expm1(r * sigma**2) for r in (1.0, correlation))
    return mean, blocks * own + blocks * (blocks - 1) * pair


@pytest.mark.parametrize("correlation", [0.0, 0.3, 0.8])
def test_a_sum_of_correlated_lognormals_has_the_mean_and_variance_of_its_closed_form(correlation):
    draws = correlated_lognormals(6, 200_000, sigma=0.3, correlation=correlation)
    total = one_day(draws).sums("estate")[1][0, 0]
    mean, variance = closed_form(6, 0.3, correlation)
    assert total.mean() == pytest.approx(mean, rel=0.005)
    assert total.var() == pytest.approx(variance, rel=0.03)


def test_independence_narrows_a_total_as_the_textbook_says_and_is_wrong_by_that_factor():
    """Standard deviation of n like parts: sqrt(n) of one when independent; with correlation r
    of the parts it is larger by sqrt(1 + (n - 1) r)."""
    draws = correlated_lognormals(10, 40_000, sigma=0.2, correlation=0.5)
    made = made_forecast(draws)
    dates = dict.fromkeys(made.blocks, SAME_DAY)
    true = intake_schedule(made, dates).sums("estate")[1][0, 0].std()
    wrong = intake_schedule(made, dates, independent=True).sums("estate")[1][0, 0].std()
    correlation = np.corrcoef(draws)[np.triu_indices(10, 1)].mean()
    assert wrong == pytest.approx(draws.std(axis=1).mean() * np.sqrt(10), rel=0.03)
    assert true / wrong == pytest.approx(np.sqrt(1 + 9 * correlation), rel=0.03)
    assert true / wrong > 2.2


def test_shuffled_blocks_keep_their_own_draws_and_say_so():
    draws = correlated_lognormals(3, 500, sigma=0.2, correlation=0.9)
    made = made_forecast(draws)
    found = intake_schedule(made, dict.fromkeys(made.blocks, SAME_DAY), independent=True)
    assert np.allclose(np.sort(found.draws[0], axis=1), np.sort(draws, axis=1))
    assert "too sure" in " ".join(found.notes)


@pytest.mark.long
@settings(max_examples=repeats(100, 4))
@given(
    days=st.lists(st.integers(-30, 60), min_size=3, max_size=3),
    share=st.floats(0.05, 0.95),
    period=st.sampled_from(["day", "week"]),
    by=st.sampled_from(["block", "variety", "estate"]),
)
def test_no_tonne_is_lost_or_counted_twice(days, share, period, by):
    draws = correlated_lognormals(3, 100, sigma=0.4, correlation=0.2)
    made = made_forecast(draws, varieties=["A", "B", "A"])
    date = [pd.Timestamp(2026, 9, 1) + pd.Timedelta(days=day) for day in days]
    picks = {"Block 0": date[0], "Block 1": [(date[1], share), (date[2], 1 - share)]}
    found = intake_schedule(made, picks, period=period)
    per_draw = found.sums(by)[1].sum((0, 1)) + found.undated.sum(0)
    assert np.allclose(per_draw, draws.sum(0))
    assert found.frame_by(by)["tonnes_mean"].sum() == pytest.approx(draws.sum(0).mean())


def test_the_chance_of_any_fruit_is_the_share_of_draws_with_some(records):
    made = made_forecast(np.ones((1, 4)))
    periods = [("2026-09-01", "2026-09-02"), ("2026-09-14", "2026-09-15")]
    found = intake_schedule(made, {"Block 0": "2026-09-14"}, period=periods).frame_by("estate")
    assert found["chance_any"].tolist() == [0.0, 1.0]
    now, dates = (f(records, 2027, draws=200) for f in (forecast, harvest_dates))
    weeks = intake_schedule(now, dates)
    table = weeks.frame_by("variety")
    some = (weeks.sums("variety")[1] > 0).mean(axis=2)
    assert table["chance_any"].to_numpy()[: some.size] == pytest.approx(some.ravel())
    assert ((some > 0) & (some < 1)).any()


def test_days_add_up_to_weeks_that_begin_on_monday():
    made = made_forecast(correlated_lognormals(2, 300, sigma=0.2, correlation=0.2))
    picks = {"Block 0": "2026-09-13", "Block 1": [("2026-09-14", 0.5), ("2026-09-20", 0.5)]}
    weeks = intake_schedule(made, picks)
    days = intake_schedule(made, picks, period="day")
    assert set(weeks.periods["period_start"].dt.day_name()) == {"Monday"}
    assert np.allclose(
        weeks.sums("estate")[1][:, 0],
        [days.sums("estate")[1][:1, 0].sum(0), days.sums("estate")[1][1:, 0].sum(0)],
    )


def test_a_week_may_begin_on_another_day():
    made = made_forecast(np.ones((1, 100)))
    found = intake_schedule(made, {"Block 0": "2026-09-16"}, week_starts="sunday")
    assert found.periods["period"].tolist() == ["2026-09-13 to 2026-09-19"]


def test_a_split_pick_shares_the_same_draw():
    draws = correlated_lognormals(1, 1000, sigma=0.3, correlation=0.0)
    picks = {"Block 0": [("2026-09-14", 0.25), ("2026-09-28", 0.75)]}
    found = intake_schedule(made_forecast(draws), picks).draws[:, 0]
    assert np.allclose(found[0], 0.25 * draws[0])
    assert np.allclose(found[2], 0.75 * draws[0])
    assert not found[1].any()


def test_a_block_without_a_date_is_kept_apart_and_shown():
    made = made_forecast(np.full((2, 100), [[3.0], [5.0]]))
    table = intake_schedule(made, {"Block 0": SAME_DAY}).frame_by("block")
    apart = table[table["period"] == NO_DATE]
    assert apart["block"].tolist() == ["Block 1"]
    assert apart["tonnes_p50"].tolist() == [5.0]
    assert table[table["period"] != NO_DATE]["tonnes_mean"].sum() == pytest.approx(3.0)


def test_own_periods_may_overlap_and_what_they_miss_is_shown():
    made = made_forecast(np.full((3, 100), [[1.0], [2.0], [4.0]]))
    picks = {"Block 0": "2026-09-10", "Block 1": "2026-09-12", "Block 2": "2026-09-30"}
    periods = [("2026-09-08", "2026-09-11"), ("2026-09-09", "2026-09-15")]
    table = intake_schedule(made, picks, period=periods).frame_by("estate")
    assert table["tonnes_p50"].tolist() == [1.0, 3.0, 4.0]
    assert table["period"].iloc[-1] == OUTSIDE


def test_what_is_picked_stands_at_its_date_in_every_draw(records):
    now = forecast(records, SEASON, "2026-10-03", draws=500)
    dates = harvest_dates(records, SEASON, "2026-10-03", draws=500)
    found = intake_schedule(now, dates).frame_by("block").set_index(["block", "period_start"])
    quarry = found.loc[("Quarry Bank", pd.Timestamp(2026, 9, 28))]
    assert quarry[["tonnes_p10", "tonnes_p50", "tonnes_p90"]].tolist() == pytest.approx([10.91] * 3)
    # 40 % of Long Acre was picked on 2 October; the rest is still a range, in later weeks.
    long_acre = found.loc["Long Acre"]
    assert long_acre["tonnes_p50"].iloc[2] == pytest.approx(6.51)
    assert (long_acre["tonnes_p90"] - long_acre["tonnes_p10"]).iloc[3:].max() > 1
    total = found["tonnes_mean"].sum()
    assert total == pytest.approx(now.draws.sum(0).mean())


def test_an_observed_stage_makes_fewer_weeks_likely(records):
    def weeks(day):
        now, dates = forecast(records, SEASON, day), harvest_dates(records, SEASON, day)
        table = intake_schedule(now, dates).frame_by("estate")
        return int((table["tonnes_mean"] > 0.5).sum())

    assert weeks("2026-08-31") < weeks("2026-03-01")


def test_moved_picks_leave_what_is_picked():
    made = made_forecast(np.full((2, 100), [[4.0], [2.0]]), picked=[1.0, 0], share=[0.25, 0])
    found = intake_schedule(made, {"Block 0": "2026-09-14", "Block 1": "2026-09-14"}, period="day")
    moved = found.moved({"Block 0": 7})
    early, late = moved.span
    assert late - early == 7
    assert moved.undated[0].tolist() == found.undated[0].tolist() == [1.0] * 100


@pytest.mark.parametrize(
    ("picks", "told"),
    [
        ({"Blok 0": SAME_DAY}, "Did you mean 'Block 0'"),
        ({"Block 0": "soon"}, "is not a date"),
        ({"Block 0": 20260916}, "is not a date"),
        ({"Block 0": "2025-09-16"}, "not in season 2026"),
        ({"Block 0": [("2026-09-16", 0.5), ("2026-09-20", 0.4)]}, "add up to 0.9"),
        ({"Block 0": [("2026-09-16", -1)]}, "must be above 0"),
        ({"Block 0": [("2026-09-16", "half")]}, "must be above 0"),
        ({"Block 0": ["2026-09-16"]}, "pairs of a date and a share"),
        (["Block 0"], "one entry a block"),
    ],
)
def test_a_picking_date_that_cannot_be_gets_one_clear_message(picks, told):
    with pytest.raises(CroploadError, match=told):
        intake_schedule(made_forecast(np.ones((1, 100))), picks)


@pytest.mark.parametrize(
    ("period", "told"),
    [
        ("weeks", "Did you mean 'week'"),
        ([("2026-09-10", "2026-09-01")], "ends before it starts"),
        ([("2026-09-10", None)], "no last day|no first or no last day"),
        ([("2026-09-10", "then")], "no date that can be read"),
        (7, "Periods are"),
        (pd.DataFrame({"period_start": ["2026-09-01"]}), "no column period_end"),
    ],
)
def test_periods_that_cannot_be_get_one_clear_message(period, told):
    made = made_forecast(np.ones((1, 100)))
    with pytest.raises(CroploadError, match=told):
        intake_schedule(made, {"Block 0": SAME_DAY}, period=period)


def test_a_word_for_a_group_that_is_none_is_said():
    with pytest.raises(CroploadError, match="by block, variety, grower, site or estate"):
        one_day(np.ones((1, 100))).frame_by("region")


def test_a_forecast_and_dates_of_different_days_are_not_mixed(records):
    late = forecast(records, SEASON, "2026-10-03")
    with pytest.raises(CroploadError, match="same as_of"):
        intake_schedule(late, harvest_dates(records, SEASON, "2026-09-01"))
    with pytest.raises(CroploadError, match="draws"):
        intake_schedule(late, harvest_dates(records, SEASON, "2026-10-03", draws=100))
    with pytest.raises(CroploadError, match="same season"):
        intake_schedule(late, harvest_dates(records, 2025))


def test_a_date_in_the_past_without_a_pick_on_record_is_pointed_out():
    made = made_forecast(np.ones((1, 100)), as_of="2026-09-20")
    found = intake_schedule(made, {"Block 0": SAME_DAY})
    assert "not after 2026-09-20" in " ".join(found.notes)
