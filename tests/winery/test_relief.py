"""Moves that relieve a period, against plain enumeration and against a general-purpose solver."""

from itertools import product

import numpy as np
import pytest
from intake_cases import capacity, correlated_lognormals, made_forecast
from scipy.optimize import Bounds, LinearConstraint, milp

from cropload.errors import CroploadError
from cropload.winery import relief
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


def enumerate_all(draws, days, limits, level, window, length=3):
    """Try every move of every block: fewest blocks moved, then fewest tonnes times days."""
    best = None
    for steps in product(range(-window, window + 1), repeat=len(days)):
        period = (np.array(days) + steps) // length
        sums = np.array([draws[period == p].sum(0) for p in range(len(limits))])
        if ((sums > np.array(limits)[:, None]).mean(1) > level).any():
            continue
        cost = float(draws.mean(1) @ np.abs(steps))
        key = (np.count_nonzero(steps), round(cost, 9))
        best = key if best is None or key < best else best
    return best


@pytest.mark.parametrize("seed", range(6))
def test_the_exact_search_finds_what_plain_enumeration_finds(seed):
    rng = np.random.default_rng(seed)
    draws = rng.uniform(2, 6, (4, 1)) * correlated_lognormals(
        4, 200, sigma=0.25, correlation=0.5, seed=seed
    )
    days = list(rng.integers(3, 9, 4))
    limits = [7.0, 9.0, 9.0, 7.0]
    found = relieve(on_days(draws, days), day_limits(limits), chance=0.2, windows=3)
    expected = enumerate_all(draws, days, limits, 0.2, 3)
    if expected is None:
        assert not found.reached
        return
    assert found.reached
    moved = found.frame.set_index("block")["days"]
    cost = sum(draws[int(name[-1])].mean() * abs(step) for name, step in moved.items())
    assert (len(moved), round(cost, 6)) == (expected[0], pytest.approx(expected[1], abs=1e-5))
    if len(moved):
        assert found.method == relief.EXACT


@pytest.mark.parametrize("seed", range(4))
def test_with_certain_tonnes_the_fewest_moves_are_those_of_a_mixed_integer_program(seed):
    """scipy.optimize.milp: one binary for each block and period, one move counted for leaving."""
    rng = np.random.default_rng(seed)
    tonnes, days = rng.integers(2, 7, 7).astype(float), rng.integers(3, 6, 7)
    limits = np.array([10.0, 12.0, 10.0])
    inside = np.zeros((3, 21))
    for period in range(3):
        inside[period, period::3] = tonnes
    one = np.kron(np.eye(7), np.ones(3))
    cost = np.tile([1.0, 0.0, 1.0], 7)
    answer = milp(
        cost,
        constraints=[LinearConstraint(inside, ub=limits), LinearConstraint(one, 1, 1)],
        integrality=np.ones(21),
        bounds=Bounds(0, 1),
    )
    found = relieve(
        on_days(np.repeat(tonnes[:, None], 100, 1), days),
        day_limits(limits),
        chance=0.0,
        windows=3,
        effort=200_000,
    )
    assert found.reached == answer.success
    if answer.success:
        assert len(found.frame) == round(answer.fun)


def test_moving_makes_the_chance_what_the_moved_schedule_says():
    draws = 4 * correlated_lognormals(4, 1000, sigma=0.2, correlation=0.6)
    found = relieve(
        on_days(draws, [4, 4, 5, 7]), day_limits([10, 10, 10, 10]), chance=0.1, windows=4
    )
    assert found.reached
    assert found.before["chance_over"].max() > 0.1 >= found.after["chance_over"].max()
    assert np.allclose(found.schedule.totals("estate")[1], draws.sum(0))


def test_the_greedy_search_reaches_the_level_where_the_exact_one_is_not_allowed():
    draws = np.full((12, 100), 2.0)
    found = relieve(
        on_days(draws, [4] * 12), day_limits([10, 10, 10]), chance=0.1, windows=3, effort=60
    )
    assert found.method == relief.GREEDY
    many = relieve(on_days(draws, [4] * 12), day_limits([10, 10, 10]), chance=0.1, windows=3)
    assert many.reached
    assert len(many.frame) == 7


def test_many_blocks_are_relieved_one_move_after_another():
    draws = correlated_lognormals(60, 300, sigma=0.2, correlation=0.3)
    found = relieve(on_days(draws, [4] * 60), day_limits([35, 35, 35]), chance=0.2, windows=3)
    assert found.reached
    assert found.method == relief.GREEDY


def test_a_level_that_no_move_can_reach_is_said_and_proved():
    found = relieve(on_days(np.full((1, 100), 20.0), [4]), day_limits([10, 10, 10]), windows=3)
    assert not found.reached
    assert "No moves inside the windows reach it" in found.heading()
    assert "Splitting it over two periods" in found.heading()


def test_nothing_moves_when_nothing_is_too_full():
    found = relieve(on_days(np.full((2, 100), 2.0), [4, 4]), day_limits([10, 10, 10]))
    assert found.reached
    assert found.frame.empty
    assert found.method == relief.NEEDLESS


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


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"chance": 1.5}, "from 0 to below 1"),
        ({"chance": -0.1}, "from 0 to below 1"),
        ({"windows": {"Blok 0": 3}}, "Did you mean 'Block 0'"),
        ({"windows": (2, 5)}, "days earlier"),
        ({"windows": 0.5}, "whole"),
        ({"windows": 90}, "at most 60"),
    ],
)
def test_what_cannot_be_asked_gets_one_clear_message(more, told):
    with pytest.raises(CroploadError, match=told):
        relieve(on_days(np.ones((1, 100)), [4]), day_limits([10]), **more)
