"""The load response: its exponents, and the load a vine has carried before each season."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload import handbook
from cropload.vine.growth import RESPONSES, carried_load, exponent_spreads, exponents

NAN = np.nan


def test_centres_are_the_handbooks():
    e = exponents()
    for field in fields(e):
        response, phase = field.name.split("_")
        assert getattr(e, field.name) == handbook.value(f"load.{response}.{phase}")


def test_draws_have_the_handbooks_centre_and_spread_and_share_their_row():
    normals = np.random.default_rng(1).standard_normal((len(RESPONSES), 50_000))
    e = exponents(normals)
    for response in RESPONSES:
        first, settled = getattr(e, f"{response}_first"), getattr(e, f"{response}_settled")
        entry = handbook.entry(f"load.{response}.first")
        assert first.mean() == pytest.approx(entry.value, abs=4 * entry.spread / np.sqrt(50_000))
        assert first.std() == pytest.approx(entry.spread, rel=0.02)
        assert np.corrcoef(first, settled)[0, 1] == pytest.approx(1)


def test_spreads_are_one_step_of_the_normals():
    spread, centre, moved = exponent_spreads(), exponents(), exponents(np.ones((5, 1)))
    for field in fields(centre):
        step = getattr(moved, field.name)[0] - getattr(centre, field.name)
        assert step == pytest.approx(getattr(spread, field.name))


def loads(*buds):
    return np.log(np.array(buds, float))


def test_a_new_load_is_carried_in_full_from_the_third_season_on():
    carried = np.exp(carried_load(loads(20, 20, 40, 40, 40, 40)))
    # Season 1 on the new load: the old one; season 2: half-way (geometric); season 3: the new one.
    np.testing.assert_allclose(carried, [20, 20, 20, np.sqrt(800), 40, 40])


def test_unknown_seasons_are_passed_over_not_guessed():
    carried = carried_load(np.log([[20, NAN, 40, NAN, 40], [NAN, NAN, NAN, 30, NAN]]))
    np.testing.assert_allclose(np.exp(carried[0]), [20, 20, 20, np.sqrt(800), np.sqrt(800)])
    np.testing.assert_allclose(np.exp(carried[1]), [NAN, NAN, NAN, 30, 30])


@given(st.lists(st.floats(1, 5), min_size=1, max_size=8))
def test_what_was_carried_lies_within_the_loads_so_far(logs):
    carried = carried_load(np.array(logs))
    for season in range(1, len(logs)):
        before = logs[:season]
        assert min(before) - 1e-9 <= carried[season] <= max(before) + 1e-9
    assert carried[0] == logs[0]


@given(st.floats(1, 5), st.integers(1, 8))
def test_a_load_that_never_changes_is_the_load_carried(log_load, seasons):
    np.testing.assert_allclose(carried_load(np.full(seasons, log_load)), log_load)
