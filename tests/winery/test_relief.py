"""Moves that leave less fruit without a place, against every choice tried one by one."""

import re
from itertools import product

import numpy as np
import pandas as pd
import pytest
from intake_cases import capacity, correlated_lognormals, growers_estate, made_forecast

from cropload import forecast, harvest_dates, read_records
from cropload.errors import CroploadError
from cropload.winery.intake import intake_schedule
from cropload.winery.relief import relieve

FIRST = np.datetime64("2026-09-01")


def on_days(draws, days, **more):
    made = made_forecast(draws, **more)
    dates = (str(FIRST + day) for day in days)
    return intake_schedule(made, dict(zip(made.blocks, dates, strict=True)))


def day_limits(limits, length=3):
    rows = []
    for place, limit in enumerate(limits):
        start = FIRST + place * length
        rows.append((str(start), str(start + length - 1), limit))
    return capacity(*rows)


def over(draws, days, limits, length=3):
    """Mean tonnes over the limits, season by season, and whether each day is named by one."""
    period = np.array(days) // length
    sums = np.array([draws[period == at].sum(0) for at in range(len(limits))])
    excess = np.maximum(sums - np.array(limits)[:, None], 0).sum(0).mean()
    return float(excess), bool(((period >= 0) & (period < len(limits))).all())


def enumerate_all(draws, days, limits, worth, window):
    """The least that any choice of days comes to, every one of them tried."""
    best = np.inf
    for steps in product(range(-window, window + 1), repeat=len(days)):
        value, named = over(draws, np.array(days) + steps, limits)
        if named:
            best = min(best, value + worth * float(draws.mean(1) @ np.abs(steps)))
    return best


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("worth", [0.0, 0.05])
def test_the_moves_found_are_the_best_of_all_choices(seed, worth):
    rng = np.random.default_rng(seed)
    draws = rng.uniform(2, 6, (4, 1)) * correlated_lognormals(
        4, 100, sigma=0.25, correlation=0.5, seed=seed
    )
    days, limits = rng.integers(3, 9, 4), [5.0, 7.0, 4.0, 6.0]
    found = relieve(on_days(draws, days), day_limits(limits), windows=3, worth=worth)
    steps = np.zeros(4, int)
    for name, step in zip(found.frame["block"], found.frame["days"], strict=True):
        steps[int(name[-1])] = step
    excess, named = over(draws, days + steps, limits)
    assert named
    assert found.fits[1].elsewhere_mean == pytest.approx(excess)
    assert found.fits[0].elsewhere_mean == pytest.approx(over(draws, days, limits)[0])
    value = excess + worth * float(draws.mean(1) @ np.abs(steps))
    least = enumerate_all(draws, days, limits, worth, 3)
    assert value == pytest.approx(least, abs=2e-3)
    # All 100 seasons are in the program, so its bound holds for the whole.
    bound = float(re.search(r"comes below ([\d.]+) t", found.method)[1])
    assert bound <= least + 0.006


def test_forty_blocks_are_left_better_in_every_season_counted_anew(tmp_path):
    records = read_records(growers_estate(tmp_path))
    now, dates = (f(records, 2027, draws=200) for f in (forecast, harvest_dates))
    schedule = intake_schedule(now, dates, capacity=records.capacity)
    found = relieve(schedule, records.capacity)
    assert 0 < len(found.frame) < 40
    assert found.fits[1].elsewhere_mean < found.fits[0].elsewhere_mean
    assert found.fits[1].outside_mean <= found.fits[0].outside_mean + 1e-9
    moved = dict(zip(found.frame["block"], found.frame["days"], strict=True))
    weeks = records.capacity[(records.capacity["variety"] == "") & records.capacity["limit_t"]]
    wide = records.capacity.query("variety == 'Riesling'").iloc[0]
    elsewhere = []
    for season in range(200):
        total, of_riesling = np.zeros(len(weeks)), 0.0
        for at, block in enumerate(now.blocks):
            day = _off_sundays(int(dates.draws[at, season]))
            if moved.get(block):
                day = _off_sundays(day + moved[block])
            day = pd.Timestamp(0) + pd.Timedelta(days=day)
            tonnes = now.draws[at, season]
            inside = (weeks["period_start"] <= day) & (day <= weeks["period_end"])
            total += tonnes * inside.to_numpy()
            if now.varieties[at] == "Riesling" and wide.period_start <= day <= wide.period_end:
                of_riesling += tonnes
        excess = np.maximum(total - weeks["limit_t"].to_numpy(), 0).sum()
        elsewhere.append(excess + max(of_riesling - wide.limit_t, 0))
    assert found.fits[1].elsewhere_mean == pytest.approx(np.mean(elsewhere))


def _off_sundays(day):
    """The day, or the Saturday before where it is a Sunday from 12 September to 24 October."""
    date = pd.Timestamp(0) + pd.Timedelta(days=day)
    closed = date.day_name() == "Sunday" and "2027-09-12" <= str(date.date()) <= "2027-10-24"
    return day - closed


def test_a_block_stays_when_moving_it_saves_too_little():
    draws = np.full((2, 100), 6.0)
    schedule = on_days(draws, [4, 5])
    cheap = relieve(schedule, day_limits([10, 10, 10]), windows=3, worth=0.0)
    assert cheap.fits[1].elsewhere_mean == 0
    # 2 t over are saved by 6 t moved by a day: worth it below a third of a tonne.
    assert len(relieve(schedule, day_limits([10, 10, 10]), windows=3, worth=0.32).frame) == 1
    assert relieve(schedule, day_limits([10, 10, 10]), windows=3, worth=0.34).frame.empty


def test_many_blocks_are_relieved():
    draws = correlated_lognormals(60, 300, sigma=0.2, correlation=0.3)
    found = relieve(on_days(draws, [4] * 60), day_limits([35, 35, 35]), windows=3)
    assert found.fits[1].elsewhere_mean < 0.02 * found.fits[0].elsewhere_mean
    assert found.fits[1].chance_any < 0.05 < found.fits[0].chance_any


def test_a_pick_too_big_for_any_period_is_said():
    found = relieve(on_days(np.full((1, 100), 20.0), [4]), day_limits([10, 10, 10]), windows=3)
    assert found.frame.empty
    assert "no move of a few days that is worth it brings that down" in found.heading()
    assert "Splitting it over two periods" in found.heading()


def test_nothing_moves_when_nothing_is_too_full():
    found = relieve(on_days(np.full((2, 100), 2.0), [4, 4]), day_limits([10, 10, 10]))
    assert found.frame.empty
    assert "Nothing needs to move" in found.heading()


def test_windows_hold_blocks_where_they_must_stay():
    draws = np.full((3, 100), 4.0)
    found = relieve(
        on_days(draws, [4, 4, 4]),
        day_limits([10, 10, 10]),
        windows={"Block 0": (0, 0), "Block 1": (0, 0), "Block 2": (-7, 0)},
    )
    assert found.frame[["block", "days"]].to_numpy().tolist() == [["Block 2", -2]]


def test_no_pick_is_moved_into_the_past():
    schedule = on_days(np.full((3, 100), 4.0), [4, 4, 4], as_of="2026-09-04")
    found = relieve(schedule, day_limits([10, 10, 10]), windows=7)
    assert (found.frame["date_then"] > np.datetime64("2026-09-04")).all()
    assert (found.frame["days"] > 0).all()


def bill_by_hand(crops, days, steps, limits, hl, costs):
    """What seasons cost in the mean: each limit and the tank booked for by trying every amount."""
    over = np.zeros((len(limits) + 1, crops.shape[1]))
    for season in range(crops.shape[1]):
        comes = np.zeros(40)
        for crop, day, step in zip(crops[:, season], days, steps, strict=True):
            comes[day + step] += crop
        for at, limit in enumerate(limits):
            over[at, season] = max(comes[3 * at : 3 * at + 3].sum() - limit, 0)
        put = np.zeros(40)  # at 100 kg a hectolitre, two days in the tank
        for day in range(40):
            room = hl / 10 - (put[day - 1] if day else 0)
            put[day] = min(comes[day], room)
            over[-1, season] += comes[day] - put[day]
    cost = costs["move"] * float(crops.mean(1) @ np.abs(steps))
    for fruit in over:
        ways = [
            costs["outside"] * room + costs["short"] * np.maximum(fruit - room, 0).mean()
            for room in [0.0, *fruit]
        ]
        cost += min(ways)
    return cost


@pytest.mark.parametrize("seed", range(2))
def test_the_cheapest_moves_are_the_best_of_all_choices(seed):
    crops = np.array([[5.0], [4.0], [6.0]]) * correlated_lognormals(
        3, 60, sigma=0.3, correlation=0.5, seed=seed
    )
    days, limits, hl = [3, 4, 4], [5.0, 7.0, 4.0], 60.0
    costs = {"move": 4.0, "outside": 30.0, "short": 100.0}
    tanks = pd.DataFrame({"volume_hl": [hl], "days_held": [2], "kg_per_hl": [100.0]})
    schedule, seen = on_days(crops, days), []
    found = relieve(
        schedule, day_limits(limits), windows=2, costs=costs, tanks=tanks,
        progress=lambda done, total: seen.append((done, total)),
    )  # fmt: skip
    steps = np.zeros(3, int)
    for name, step in zip(found.frame["block"], found.frame["days"], strict=True):
        steps[int(name[-1])] = step
    mine = [
        bill_by_hand(crops, days, each, limits, hl, costs) for each in (np.zeros(3, int), steps)
    ]
    assert [bill.total for bill in found.bills] == pytest.approx(mine)
    choices = product(range(-2, 3), repeat=3)
    least = min(bill_by_hand(crops, days, each, limits, hl, costs) for each in choices)
    assert mine[1] == pytest.approx(least, rel=0.01)
    # The 24 seasons of the program are not all 60, so its bound is one of its own seasons.
    bound, here = map(
        float, re.search(r"below ([\d.]+),.*comes to ([\d.]+)", found.method).groups()
    )
    assert 0 < bound <= here + 0.01
    assert seen[-1] == (3, 3)
    assert "booked elsewhere" in found.heading()


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"costs": {"shrt": 3.0}}, "Did you mean 'short'"),
        ({"costs": {"move": 3.0}}, "must be above 0"),
        ({"costs": {"short": 100.0, "move": -1.0}}, "cost of move"),
        ({"costs": {"short": 100.0, "move": 1e308}}, "cost of move"),
        ({"costs": {"short": 100.0}, "worth": 0.1}, "give one of"),
        ({"worth": -0.1}, "worth"),
        ({"windows": {"Blok 0": 3}}, "Did you mean 'Block 0'"),
        ({"windows": (2, 5)}, "days earlier"),
        ({"windows": 0.5}, "whole"),
        ({"windows": 90}, "at most 60"),
    ],
)
def test_what_cannot_be_asked_gets_one_clear_message(more, told):
    with pytest.raises(CroploadError, match=told):
        relieve(on_days(np.ones((1, 100)), [4]), day_limits([10]), **more)
