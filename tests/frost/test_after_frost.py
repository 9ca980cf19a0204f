"""A count of dead shoots after a frost: primary and secondary crop apart, and the forecast."""

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.frost.after_frost import after_frost
from tests.helpers import block_row, make_records, steady_counts

MANY = 1_000_000


@pytest.fixture(scope="module")
def records():
    return make_records(
        blocks=[block_row("North", "Chardonnay"), block_row("South", "Chardonnay")],
        pruning=[
            {"season": year, "block": name, "plan": "2x10"}
            for year in range(2021, 2025)
            for name in ("North", "South")
        ],
        harvest=[
            {"season": year, "block": name, "tonnes": 3.0 + 0.2 * (year % 3)}
            for year in range(2021, 2024)
            for name in ("North", "South")
        ],
    )


@pytest.fixture(scope="module")
def early(records):
    return forecast(records, 2024, draws=2000)


def test_a_third_killed_gives_the_published_crop_index(early):
    # Friend et al. (2011), Chardonnay: 33 % killed and secondary shoots of 0.32 give 0.776.
    found = after_frost(early, "North", 0.33 * MANY, MANY, share_of_primary=0.32)
    bears = early.draws[0] > 0
    index = found.forecast.draws[0, bears] / early.draws[0, bears]
    assert np.median(index) == pytest.approx(0.776, abs=0.0005)
    assert found.total[1] / found.before[1] == pytest.approx(0.776, abs=0.002)
    assert found.primary[1] / found.before[1] == pytest.approx(0.67, abs=0.002)
    assert found.secondary[1] / found.before[1] == pytest.approx(0.33 * 0.32, abs=0.002)


def test_only_the_frozen_block_changes(early):
    found = after_frost(early, "North", 60, 120)
    assert (found.forecast.draws[1] == early.draws[1]).all()
    # In a few draws the crop is lost whatever the frost did.
    bears = early.draws > 0
    assert (found.forecast.draws[0] < early.draws[0])[bears[0]].all()
    growth = found.forecast.growth
    per_vine = growth.kg_picked * (early.bearing / 1000)[:, None]
    assert per_vine[bears] == pytest.approx(found.forecast.draws[bears])
    assert (growth.clusters[0] / early.growth.clusters[0])[bears[0]] == pytest.approx(
        found.forecast.draws[0, bears[0]] / early.draws[0, bears[0]]
    )
    # The forecast that was given stays as it was.
    whole = early.growth.kg_picked[0] * early.bearing[0] / 1000
    assert early.draws[0, bears[0]] == pytest.approx(whole[bears[0]])
    table = found.forecast.frame_by("estate")
    assert table["tonnes_p50"][0] == pytest.approx(np.median(found.forecast.draws.sum(0)), rel=1e-6)
    assert any("60 of 120 shoots" in note for note in found.forecast.notes)


def test_the_change_is_explained_as_an_event_and_adds_up(early):
    found = after_frost(early, "North", 60, 120).forecast
    explained = found.explain(early)
    change = (found.centre_tonnes() - early.centre_tonnes()).sum()
    assert explained["change_t"].sum() == pytest.approx(change)
    assert explained.now_t == pytest.approx(found.frame_by("estate")["tonnes_p50"][0])
    frost = explained.frame.query("component == 'events' and change_t != 0")
    assert frost["block"].tolist() == ["North"]
    assert frost["change_t"].iloc[0] == pytest.approx(change)
    both = after_frost(found, "South", 30, 120).forecast
    rows = both.explain(early).frame.query("component == 'events' and change_t != 0")
    assert rows["block"].tolist() == ["North", "South"]


def test_the_share_of_killed_shoots_is_a_wilson_range(early):
    # Vine by vine and alike: no spread between vines, so shoots count one by one.
    found = after_frost(early, "North", [4, 4, 4, 4], [10, 10, 10, 10])
    assert found.shoots_alike == 1
    low, high = proportion_confint(16, 40, alpha=0.2, method="wilson")
    assert found.killed == pytest.approx((low, 0.4, high))
    # Totals alone: as wide as half the shoots, the handbook's likeness of shoots of one vine.
    totals = after_frost(early, "North", 16, 40)
    low, high = proportion_confint(8, 20, alpha=0.2, method="wilson")
    assert totals.killed == pytest.approx((low, 0.4, high))


def test_vines_that_differ_widen_the_share_as_the_ratio_estimator_says(early):
    dead, seen = np.array([10, 0, 9, 1, 10, 2]), np.array([10, 10, 10, 10, 10, 10])
    found = after_frost(early, "North", dead, seen)
    # Equal vines: the variance of the mean of the vines' shares, by numpy, against p (1 - p) / n.
    share = dead.sum() / seen.sum()
    by_vine = np.var(dead / seen, ddof=1) / 6
    assert found.shoots_alike == pytest.approx(by_vine / (share * (1 - share) / seen.sum()))
    spread = np.subtract(*found.killed[::-2])
    assert spread > np.subtract(*after_frost(early, "North", [5] * 6, [10] * 6).killed[::-2])


def test_more_dead_shoots_never_leave_more_and_none_leave_all(early):
    totals = [after_frost(early, "North", dead, 200).total[1] for dead in (0, 50, 100, 150, 200)]
    assert totals == sorted(totals, reverse=True)
    assert totals[0] == pytest.approx(after_frost(early, "North", 0, 200).before[1], rel=0.02)
    gone = after_frost(early, "North", MANY, MANY, share_of_primary=0.0)
    assert gone.total[2] < 0.001


def test_the_second_crop_is_late_and_shoots_are_judged_after_a_week(early):
    found = after_frost(early, "North", 60, 120, frost_date="2024-05-09", counted_on="2024-05-12")
    # Two to four weeks: common practice, no source.  A week or more: AWRI.
    assert found.late_days == (14, 28)
    assert str(found.judge_from.date()) == "2024-05-16"
    text = " ".join(found.notes)
    assert "Counted 3 days after the frost: wait 7 days or more" in text
    assert "breaking out frosted shoots gained nothing" in text
    assert "2 to 4 weeks" in text
    later = after_frost(early, "North", 60, 120, frost_date="2024-05-09", counted_on="2024-05-20")
    assert "Counted" not in " ".join(later.notes)
    assert found["part"].tolist()[1:3] == ["primary shoots", "secondary shoots"]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((10, 5), "10 dead shoots of 5 seen"),
        ((0, 0), "No shoot was seen"),
        ((-1, 5), "whole number"),
        ((2.5, 5), "whole number"),
        (("many", 5), "whole number"),
        (([1, 2], [3]), "2 counts of dead shoots and 1"),
        (([1, 5, 2], [3, 4, 5]), "on vine 2"),
    ],
)
def test_bad_counts_get_one_clear_message(early, given, words):
    with pytest.raises(CroploadError, match=words):
        after_frost(early, "North", *given)


def test_other_bad_input_gets_one_clear_message(early, records):
    with pytest.raises(CroploadError, match="no block 'Nord'"):
        after_frost(early, "Nord", 1, 2)
    with pytest.raises(CroploadError, match="before the frost"):
        after_frost(early, "North", 1, 2, frost_date="2024-05-09", counted_on="2024-05-01")
    with pytest.raises(CroploadError, match="not a date"):
        after_frost(early, "North", 1, 2, frost_date="soon")
    with pytest.raises(CroploadError, match="between 0 and 1"):
        after_frost(early, "North", 1, 2, share_of_primary=32)
    once = after_frost(early, "North", 60, 120).forecast
    with pytest.raises(CroploadError, match="holds a frost in North already"):
        after_frost(once, "North", 60, 120)


def test_a_count_after_the_frost_is_not_taken_off_twice():
    held = make_records(
        blocks=[block_row("North")],
        pruning=[{"season": 2024, "block": "North", "plan": "2x10"}],
        counts=steady_counts(2024, "North", clusters=20.0),
    )
    counted = forecast(held, 2024, draws=200)
    with pytest.raises(CroploadError, match="holds the frost already"):
        after_frost(counted, "North", 60, 120, frost_date="2024-05-09")
    assert "must not be taken off again" in " ".join(after_frost(counted, "North", 60, 120).notes)
    before = forecast(held, 2024, "2024-05-08", draws=200)
    assert after_frost(before, "North", 60, 120, frost_date="2024-05-09").total[1] > 0


def test_a_picked_block_is_left_alone():
    held = make_records(
        blocks=[block_row("North")],
        harvest=[{"season": 2024, "block": "North", "tonnes": 4.0, "date": "2024-09-20"}],
    )
    with pytest.raises(CroploadError, match="is picked"):
        after_frost(forecast(held, 2024, draws=200), "North", 1, 2)
