"""Pruning plans: what can be written, what is turned away, and that text and plan agree."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload.errors import CroploadError
from cropload.vine.plan import PlanError, PruningPlan, parse_plans


@st.composite
def plans(draw):
    canes = draw(st.integers(0, 8))
    spurs = draw(st.integers(0 if canes else 1, 30))
    return PruningPlan(
        canes,
        draw(st.integers(4, 40)) if canes else 0,
        spurs,
        draw(st.integers(1, 3)) if spurs else 0,
    )


@given(plans())
def test_text_and_plan_are_one(plan):
    assert PruningPlan.parse(str(plan)) == plan
    assert PruningPlan.parse(f"  {str(plan).replace('x', ' X ')} ") == plan


@given(plans(), st.floats(0.5, 6))
def test_buds_per_metre_times_length_is_the_load(plan, metres):
    assert plan.buds_per_metre(metres) * metres == pytest.approx(plan.buds)


@given(plans())
def test_words_name_every_number(plan):
    words = plan.words()
    for pieces, buds in ((plan.canes, plan.buds_per_cane), (plan.spurs, plan.buds_per_spur)):
        if pieces:
            assert str(pieces) in words
            assert str(buds) in words
    assert ("cane" in words) == bool(plan.canes)
    assert ("spur" in words) == bool(plan.spurs)


# 24 two-bud spurs are 48 nodes: Kliewer & Dokoozlian 2005, AJEV 56:170, Table 4.
# One 10-node cane and one 2-bud spur are 12 nodes, as are six 2-bud spurs: Pinot noir, Oregon,
# ASEV Catalyst 4(1).
@pytest.mark.parametrize(
    ("text", "canes", "spurs", "buds"),
    [
        ("24x2", 0, 24, 48),
        ("0x0+24x2", 0, 24, 48),
        ("1x10+1x2", 1, 1, 12),
        ("6x2", 0, 6, 12),
        ("3x8+3x2", 3, 3, 30),
        ("3x8", 3, 0, 24),
        ("3x8+0x0", 3, 0, 24),
        ("3×8 + 3*2", 3, 3, 30),
    ],
)
def test_known_layouts(text, canes, spurs, buds):
    plan = PruningPlan.parse(text)
    assert (plan.canes, plan.spurs, plan.buds) == (canes, spurs, buds)


BAD = [
    "3x", "x8", "0x0", "0x0+0x0", "0x8", "3x0", "-1x8", "3x-8", "3x8+", "+3x2", "3x8+3x",
    "3x8+3x2+1x2", "3x8 3x2", "3.5x8", "3x8.5", "3,8", "three x 8", "", "  ", "x", "+", "3x8+3x9",
    "999x999",
    "12345x2", "3x8;3x2", "=3x8", "<b>3x8</b>", "nan", None, 3, "3x8+-1x2", "3x2+3x2", "１x",
]  # fmt: skip


@pytest.mark.parametrize("text", BAD)
def test_a_plan_that_cannot_be_says_what_and_how(text):
    with pytest.raises(PlanError) as caught:
        PruningPlan.parse(text)
    message = str(caught.value)
    assert isinstance(caught.value, CroploadError)
    assert message.count("\n") == 0
    assert str(text).strip()[:6] in message


@pytest.mark.parametrize(
    "numbers",
    [(-1, 8), (3, -8), (3, 8, -1), (3, 8, 3, -2), (3, 8, 3, 4), (3, 3), (0, 0), (1.5, 8),
     (True, 8), (float("nan"), 8), (float("inf"), 8), ("3", 8), (None, 8), (200, 8)],
)  # fmt: skip
def test_numbers_no_vine_can_carry(numbers):
    with pytest.raises(PlanError):
        PruningPlan(*numbers)


@pytest.mark.parametrize("metres", [0, -1.5, float("nan")])
def test_canopy_must_have_a_length(metres):
    with pytest.raises(PlanError, match="above 0 m"):
        PruningPlan(3, 8).buds_per_metre(metres)


def test_several_plans_are_read_once_each_in_their_order():
    read = parse_plans("3x8+3x2, 2x8 ,3x8+3x2")
    assert [str(plan) for plan in read] == ["3x8+3x2", "2x8"]
    assert parse_plans(PruningPlan(2, 8)) == [PruningPlan(2, 8)]


def test_every_bad_plan_is_named_at_once():
    with pytest.raises(PlanError) as caught:
        parse_plans(["3x", "2x8", "0x0"])
    assert "'3x'" in str(caught.value)
    assert "0x0" in str(caught.value)


@pytest.mark.parametrize("nothing", ["", [], (), None, 5])
def test_no_plan_at_all(nothing):
    with pytest.raises(PlanError):
        parse_plans(nothing)


def test_plans_can_be_sorted_and_used_as_keys():
    plans = [PruningPlan(3, 8), PruningPlan(2, 8), PruningPlan(2, 8, 0, 2)]
    assert sorted(plans)[0] == PruningPlan(2, 8)
    assert len(set(plans)) == 2
