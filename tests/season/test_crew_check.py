"""Buds counted on pruned vines against the plan."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from cropload import handbook
from cropload.beliefs.counting import mean_from_sample
from cropload.errors import CroploadError
from cropload.season.crew_check import check_buds, crew_check
from cropload.season.crew_verdict import verdict_of, vines_to_check
from cropload.vine.plan import PruningPlan


def vines(mean, spread=1.0, count=40):
    """Return ``count`` bud counts with exactly this mean and near this spread."""
    wave = np.tile([-1, 1], count // 2) * spread
    return mean + wave


def test_a_crew_on_plan_is_told_so_with_the_range_of_the_mean():
    check = check_buds(vines(24.2), PruningPlan(3, 6, 3, 2))
    assert check.verdict == "on plan"
    assert check.planned_buds == 24
    assert check.buds == mean_from_sample(vines(24.2))
    assert (check.share_off, check.vines_to_tell) == (0, None)


@pytest.mark.parametrize(("mean", "word"), [(28, "long"), (21, "short")])
def test_a_crew_surely_off_is_long_or_short(mean, word):
    assert check_buds(vines(mean), "3x6+3x2").verdict == word


def test_a_range_across_the_edge_is_too_few_vines_and_says_how_many_would_tell():
    check = check_buds(vines(25.6, 4, 10), 24)
    assert check.verdict == "too few vines to tell"
    assert check.vines_to_tell > 10
    # The promise holds: with that many vines of the same mean and spread, the word is clear.
    spread = 4 * (10 / 9) ** 0.5 / (check.vines_to_tell / (check.vines_to_tell - 1)) ** 0.5
    more = vines(25.6, spread, 2 * (check.vines_to_tell // 2) + 2)
    assert check_buds(more, 24).verdict == "long"


@pytest.mark.parametrize("cv", [0.05, 0.12, 0.20])
@pytest.mark.parametrize("planned", [10, 16, 30])
@pytest.mark.parametrize("count", [2, 3, 5, 9, 17])
def test_a_crew_on_plan_is_seldom_called_long_or_short(planned, cv, count):
    """By simulation: whole buds about the plan; a 95 % range leaves it out once in twenty."""
    rng = np.random.default_rng([planned, count, int(100 * cv)])
    words = [words_of(rng, planned, planned, cv, count) for _ in range(600)]
    # 5 % and three standard errors of 600 checks.
    assert np.isin(words, ["long", "short"]).mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 600)
    if count == 2:
        assert set(words) == {"too few vines to tell"}


@pytest.mark.parametrize("cv", [0.06, 0.12, 0.20])
def test_a_count_sheet_has_the_vines_that_tell_a_tenth(cv):
    """By simulation: with its vines each word is reached with the chance that is promised."""
    count, rng = vines_to_check(cv), np.random.default_rng(int(1000 * cv))
    power = handbook.value("sampling.crew_power") - 3 * np.sqrt(0.8 * 0.2 / 600)
    for left, word in ((30, "on plan"), (33, "long"), (27, "short")):
        words = [words_of(rng, 30, left, cv, count) for _ in range(600)]
        assert words.count(word) / 600 >= power
        if word != "on plan":
            # A crew a tenth off is told to be on plan no more often than the range misses.
            assert words.count("on plan") / 600 <= 0.05


def test_fewer_vines_than_the_sheet_has_do_not_keep_its_promise():
    rng = np.random.default_rng(3)
    count = int(0.6 * vines_to_check(0.12))
    words = [words_of(rng, 30, 30, 0.12, count) for _ in range(600)]
    assert words.count("on plan") / 600 < 0.7
    assert vines_to_check(0.24) > 3 * vines_to_check(0.12)
    assert vines_to_check(0.12, 0.05) > 3 * vines_to_check(0.12)
    assert vines_to_check(0.5, population=20) <= 20
    assert vines_to_check(5.0, population=2) == 2


def test_a_range_that_leaves_out_the_plan_is_long_or_short():
    # Nine vines, range 16.5 to 18.9 against 16: long, though it may be by 3 % only.
    nine = np.array([16, 16, 17, 17, 18, 18, 18, 19, 20.5])
    check = check_buds(nine, 16)
    assert 16 < check.buds.low < 1.05 * 16
    assert check.verdict == "long"
    # Surely within a twentieth is on plan, be it as surely a little over.
    assert check_buds(vines(24.6, 0.5), 24).verdict == "on plan"


def test_one_vine_is_too_few_to_tell():
    check = check_buds([24], 24)
    assert check.verdict == "too few vines to tell"
    assert "24.0 buds a vine against 24 planned, 1 vine counted" in " ".join(str(check).split())


def test_a_vine_is_off_past_a_tenth_and_not_at_it():
    check = check_buds([18, 17, 20, 22, 23, 20, 20, 20, 20, 20], 20)
    assert (check.share_off, check.share_long, check.share_short) == pytest.approx((0.2, 0.1, 0.1))


def test_each_row_has_its_own_mean_and_word():
    buds = np.r_[vines(24, 0.5, 10), vines(30, 0.5, 10)]
    check = check_buds(buds, 24, rows=["10"] * 10 + ["2"] * 10, rows_in_block=2)
    assert check.frame["row"].tolist() == ["2", "10"]
    assert check.frame["verdict"].tolist() == ["long", "on plan"]
    assert check.frame["share_off"].tolist() == [1, 0]
    assert check.buds.design == "stratified"


def test_a_few_rows_of_many_give_a_wider_range_than_the_same_vines_by_row():
    buds = np.r_[vines(22, 1, 10), vines(24, 1, 10), vines(27, 1, 10)]
    rows = np.repeat(["1", "2", "3"], 10)
    few, all_rows = (check_buds(buds, 24, rows=rows, rows_in_block=n).buds for n in (30, 3))
    assert (few.design, all_rows.design) == ("row-cluster", "stratified")
    assert few.high - few.low > 5 * (all_rows.high - all_rows.low)


def test_one_row_is_said_to_be_one_row():
    check = check_buds(vines(24), 24, rows=["4"] * 40, rows_in_block=30)
    assert "one row's work" in " ".join(str(check).split())


def test_the_crop_follows_from_a_number_or_a_function():
    buds = vines(26)
    by_number = check_buds(buds, 24, t_ha_per_bud=0.2)
    by_function = check_buds(buds, 24, t_ha_per_bud=lambda extra: 0.2 * extra)
    assert by_number.t_ha == pytest.approx(by_function.t_ha)
    assert by_number.t_ha[1] == pytest.approx(0.4)
    assert by_number.t_ha[0] == pytest.approx(0.2 * (by_number.buds.low - 24))
    assert "+0.4 t/ha" in " ".join(str(by_number).split())
    assert check_buds(buds, 24).t_ha is None


def words_of(rng, planned, left, cv, count):
    """Return the word on vines with whole buds about a mean."""
    buds = np.rint(rng.normal(left, cv * planned, count)).clip(0)
    return verdict_of(mean_from_sample(buds), planned)


# ---- from records

#: These records hold no history that would tell the crop.
NO_CROP = {"t_ha_per_bud": 0.0}


def records(**changes):
    counts = pd.DataFrame(
        {
            "season": 2027,
            "date": pd.Timestamp("2027-01-15"),
            "block": "Low",
            "row": np.repeat(["1", "2"], 10),
            "vine": [str(v) for v in range(10)] * 2,
            "buds": vines(24, 1, 20),
        }
    )
    blocks = pd.DataFrame([{"block": "Low", "vines": 900, "missing_pct": 2.0, "rows": 2.0}])
    pruning = pd.DataFrame([{"season": 2027, "block": "Low", "plan": "3x6+3x2"}])
    return SimpleNamespace(**{"counts": counts, "blocks": blocks, "pruning": pruning} | changes)


def test_the_plan_and_the_vines_come_from_the_records():
    check = crew_check(records(), "Low", 2027, **NO_CROP)
    assert (check.verdict, check.planned_buds, check.buds.n) == ("on plan", 24, 20)
    assert check.buds.population == pytest.approx(882)


def test_a_vine_pruned_again_counts_as_it_was_last():
    first = records().counts
    again = first.iloc[:10].assign(date=pd.Timestamp("2027-01-20"), buds=30.0)
    both = records(counts=pd.concat([first, again], ignore_index=True))
    assert crew_check(both, "Low", 2027, **NO_CROP).frame["buds_per_vine"].tolist() == [30, 24]
    earlier = crew_check(both, "Low", 2027, date="2027-01-16", **NO_CROP)
    assert earlier.frame["buds_per_vine"].tolist() == [24, 24]


def test_a_vine_twice_on_a_day_is_named():
    first = records().counts
    twice = records(counts=pd.concat([first, first.iloc[[3]]], ignore_index=True))
    with pytest.raises(CroploadError, match=r"Vine 3 in row 1 .* twice on 2027-01-15"):
        crew_check(twice, "Low", 2027, **NO_CROP)


@pytest.mark.parametrize(
    ("block", "season", "options", "message"),
    [
        ("Lo", 2027, {}, "Did you mean 'Low'"),
        ("Low", 2026, {}, "No buds are counted"),
        ("Low", 2027, {"plan": 0}, "at least one bud"),
        ("Low", 2027, {"plan": "3x"}, "3x"),
    ],
)
def test_what_cannot_be_checked_gets_one_clear_message(block, season, options, message):
    with pytest.raises(CroploadError, match=message):
        crew_check(records(), block, season, **options, **NO_CROP)


def test_a_missing_plan_is_asked_for():
    no_plan = records(pruning=pd.DataFrame({"season": [2027], "block": ["Low"], "plan": [""]}))
    with pytest.raises(CroploadError, match="No plan is recorded"):
        crew_check(no_plan, "Low", 2027, **NO_CROP)
    assert crew_check(no_plan, "Low", 2027, plan=24, **NO_CROP).verdict == "on plan"


def test_where_a_season_has_no_plan_the_last_one_is_taken_and_said():
    rows = {"season": [2025, 2026, 2027, 2028], "block": "Low"}
    plans = pd.DataFrame(rows | {"plan": ["2x6+2x2", "3x6+3x2", "", "4x9"]})
    check = crew_check(records(pruning=plans), "Low", 2027, **NO_CROP)
    assert check.planned_buds == 24
    assert check.notes[-1] == (
        "No plan for 2027 is on record: the last one, 3x6+3x2 of 2026, is taken as unchanged."
    )
