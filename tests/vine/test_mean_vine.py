"""The mean vine of a block in parts: by hand, and its straight lines against its own slopes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from one_vine import logs, stage_logs, state

from cropload.vine.growth import (
    COMPONENTS,
    Growth,
    LoadState,
    exponents,
    grow,
    load_lines,
    response_shift,
    stage_rows,
)
from cropload.vine.mean_vine import mean_growth, mean_lines
from cropload.vine.plan import DividedPlan, PlanError, PruningPlan, parse_plans
from cropload.vine.plan_shape import NodeProfile, PlanShape, plan_shapes

STRONG, WEAK = PruningPlan.parse("3x10+3x2"), PruningPlan.parse("2x8+2x2")


def split(strong=1000.0, weak=3000.0):
    return DividedPlan(("strong", "weak"), (STRONG, WEAK), (strong, weak))


def test_two_parts_worked_by_hand():
    """1,000 vines with 40 clusters of 100 g, 3,000 with 20 of 120 g, of which all is picked.

    Clusters of the mean vine: (40 + 3 x 20) / 4 = 25. Their fruit: (4,000 + 3 x 2,400) / 4 =
    2,800 g, so a cluster weighs 112 g. Common practice, no source.
    """
    parts = Growth(
        shoots=np.array([[30.0], [18.0]]),
        noncount_shoots=np.array([[4.0], [0.0]]),
        log_clusters=np.log([[40.0], [20.0]]),
        log_cluster_weight_g=np.log([[100.0], [120.0]]),
        log_kg_picked=np.log([[4.0], [2.4]]),
        log_pruning_weight_kg_per_m=np.log([[0.6], [0.2]]),
    )
    found = mean_growth(parts, split().shares)
    told = {
        "shoots": 21.0,
        "noncount_shoots": 1.0,
        "clusters": 25.0,
        "cluster_weight_g": 112.0,
        "kg_picked": 2.8,
        "kg_on_vine": 2.8,
        "pruning_weight_kg_per_m": 0.3,
    }
    for name, value in told.items():
        assert getattr(found, name) == pytest.approx([value]), name


def test_a_plan_of_parts_stands_where_a_plan_does():
    assert split().buds == (36 + 3 * 20) / 4
    assert split().buds_per_metre(1.5) == pytest.approx(16.0)
    assert parse_plans([split(), "3x8"]) == [split(), PruningPlan.parse("3x8")]
    assert parse_plans("3x8, Last ", split()) == [PruningPlan.parse("3x8"), split()]
    with pytest.raises(PlanError, match="on record, and none is here"):
        parse_plans("last")
    with pytest.raises(PlanError, match="vines above 0"):
        split(weak=0.0)


@given(st.floats(1, 1e4), st.floats(1, 1e4))
def test_parts_on_one_plan_have_its_shape(some, others):
    profile = NodeProfile.from_handbook()
    alike = DividedPlan(("strong", "weak"), (STRONG, STRONG), (some, others))
    both = plan_shapes([alike, STRONG], profile)
    for values in (both.log_buds, both.log_burst, both.log_fertility):
        assert values[0] == pytest.approx(values[1], abs=1e-12)


@given(st.integers(0, 10_000))
def test_lines_of_the_mean_vine_are_its_slopes(seed):
    rng = np.random.default_rng(seed)
    about = logs() + 0.2 * rng.normal(size=len(COMPONENTS))
    buds, usual, carried = rng.uniform(10, 60, 2), *rng.uniform(20, 40, 2)
    shares = split(*rng.uniform(1, 9, 2)).shares
    burst, fertility = rng.normal(0, 0.1, (2, 2))

    def shape(more=0.0):
        return PlanShape(np.log(buds) + more, burst, fertility)

    def load(more=0.0):
        one = state(usual, carried)
        return LoadState(
            np.full(2, one.log_reference),
            np.full(2, one.log_carried + more),
            np.full(2, one.log_clusters_reference),
            np.zeros(2),
        )

    def measured(x, more=0.0):
        """What a sample of the whole block measures where all loads are ``more`` than told."""
        found = mean_growth(grow(x[:, None], shape(more), load(more), exponents()), shares)
        mean = np.average(buds, weights=[share for share, _ in shares])
        return stage_logs(found, x, np.log(mean) + more)

    both = np.tile(about, (2, 1))
    rows, offset = stage_rows(both, shape(), load())
    unknown = load_lines(both, shape(), load(), np.ones(2, bool))
    shift = response_shift(both, shape(), load())
    rows, offset, unknown, _ = mean_lines(about, (rows, offset, unknown, shift), shares)
    np.testing.assert_allclose(rows @ about + offset, measured(about), atol=1e-10)
    step = 1e-5
    for place in range(len(COMPONENTS)):
        moved = step * np.eye(len(COMPONENTS))[place]
        slope = (measured(about + moved) - measured(about - moved)) / (2 * step)
        np.testing.assert_allclose(rows[:, place], slope, atol=1e-6)
    slope = (measured(about, step) - measured(about, -step)) / (2 * step)
    np.testing.assert_allclose(unknown, slope, atol=1e-6)
