"""The straight lines, against the slopes of the chain itself."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from one_vine import flat, logs, stage_logs, state

from cropload import handbook
from cropload.vine.growth import (
    COMPONENTS,
    RESPONSES,
    STAGES,
    LoadState,
    exponents,
    grow,
    load_lines,
    response_shift,
    settled_move,
    stage_rows,
)
from cropload.vine.plan_shape import PlanShape

STAGE = {name: place for place, name in enumerate(STAGES)}

#: Each component's spread about its centre when nothing is measured, from the handbook.
SPREADS = np.array([handbook.entry(f"prior.{name}").spread for name in COMPONENTS])


@given(st.integers(0, 10_000))
def test_rows_are_the_slopes_of_the_chain_at_the_centre(seed):
    rng = np.random.default_rng(seed)
    centre = logs() + SPREADS * rng.normal(size=len(COMPONENTS))
    usual, carried, buds = rng.uniform(10, 60, 3)
    shape, at = PlanShape(np.log(buds), *rng.normal(0, 0.1, 2)), state(usual, carried)
    e = exponents()
    rows, offset = lines(centre, shape, at)
    value = measured(centre, shape, at, e)
    np.testing.assert_allclose(rows @ centre + offset, value, atol=1e-10)
    step = 1e-5
    for place in range(len(COMPONENTS)):
        moved = np.zeros(len(COMPONENTS))
        moved[place] = step
        slope = measured(centre + moved, shape, at, e) - measured(centre - moved, shape, at, e)
        np.testing.assert_allclose(rows[:, place], slope / (2 * step), atol=1e-7)


def lines(centre, shape, at):
    one = PlanShape(
        *(np.atleast_1d(a) for a in (shape.log_buds, shape.log_burst, shape.log_fertility))
    )
    load = LoadState(*(np.atleast_1d(getattr(at, f)) for f in LoadState.__dataclass_fields__))
    rows, offset = stage_rows(centre[None], one, load)
    return rows[0], offset[0]


def measured(x, shape, at, e):
    """The log of what each stage would measure, from ``grow`` alone."""
    return stage_logs(grow(x, shape, at, e), x, shape.log_buds)


def test_one_spread_away_the_straight_line_is_within_one_percent_of_the_crop():
    """The accuracy that ``stage_rows`` states, for ordinary loads."""
    rng = np.random.default_rng(4)
    e, shape, at = exponents(), flat(24), state(24)
    rows, offset = lines(logs(), shape, at)
    away = logs() + SPREADS * rng.normal(size=(2000, len(COMPONENTS)))
    off = away @ rows[STAGE["harvest"]] + offset[STAGE["harvest"]]
    off = off - np.array([measured(x, shape, at, e)[STAGE["harvest"]] for x in away])
    assert np.quantile(np.abs(off), 0.8) < 0.01


@given(st.integers(0, 10_000))
def test_shift_is_the_slope_of_the_chain_in_the_responses(seed):
    """What one response's normal moves, seen through the rows, is what ``grow`` gives."""
    rng = np.random.default_rng(seed)
    usual, carried, buds = rng.uniform(12, 50, 3)
    shape, at = flat(buds), state(usual, carried)
    rows, _ = lines(logs(), shape, at)
    shift = response_shift(
        logs()[None],
        PlanShape(*(np.atleast_1d(v) for v in (shape.log_buds, 0.0, 0.0))),
        LoadState(*(np.atleast_1d(getattr(at, f)) for f in LoadState.__dataclass_fields__)),
    )[0]
    step = 1e-5
    for place in range(len(RESPONSES)):
        normals = np.zeros((5, 1))
        normals[place] = step
        moved = [
            measured(logs()[:, None], shape, at, exponents(sign * normals))[:, 0]
            for sign in (1, -1)
        ]
        slope = (moved[0] - moved[1]) / (2 * step)
        np.testing.assert_allclose(rows @ shift[:, place], slope, atol=1e-6)


@given(st.integers(0, 10_000), st.booleans())
def test_a_load_nobody_wrote_down_moves_what_is_measured_by_its_slope(seed, its_own):
    """The load carried is the unknown one, and the season's too where it has no plan."""
    rng = np.random.default_rng(seed)
    usual, carried, buds = rng.uniform(10, 60, 3)
    shape, at, e, step = flat(buds), state(usual, carried), exponents(), 1e-5

    def moved(by):
        kept = replace(at, log_carried=at.log_carried + by)
        return measured(logs(), replace(shape, log_buds=shape.log_buds + its_own * by), kept, e)

    slope = (moved(step) - moved(-step)) / (2 * step)
    one = PlanShape(*(np.atleast_1d(v) for v in (shape.log_buds, 0.0, 0.0)))
    load = LoadState(*(np.atleast_1d(getattr(at, f)) for f in LoadState.__dataclass_fields__))
    found = load_lines(logs()[None], one, load, np.array([its_own]))
    np.testing.assert_allclose(found[0], slope, atol=1e-7)


def test_components_told_at_another_load_are_those_of_vines_settled_on_it():
    """A vine told at 20 buds and settled on 40 grows as one told at 40; prunings are left out."""
    e, told = exponents(), state(20)
    clusters = 1 + e.burst_settled + e.fertility_settled
    settled = LoadState(told.log_reference, np.log(40), told.log_clusters_reference)
    anew = LoadState(np.log(40), np.log(40), told.log_clusters_reference + clusters * np.log(2))
    one = measured(logs(), flat(40), settled, e)
    other = measured(logs() + settled_move(np.log(2)), flat(40), anew, e)
    kept = [STAGE[name] for name in STAGES if name != "pruning_weight"]
    # The share of the clusters on non-count shoots moves too, and with it a little of the weight.
    np.testing.assert_allclose(other[kept], one[kept], atol=0.01)
    assert other[STAGE["shoots"]] - one[STAGE["shoots"]] == pytest.approx(0, abs=1e-12)
