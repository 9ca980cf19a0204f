"""Training: the plans put forward, the longest cane that fits, the spans searched."""

import pytest

from cropload.pruning.plan_layouts import layouts, usual_layout
from cropload.records.tables import TABLES
from cropload.vine.plan import PruningPlan
from cropload.vine.training import (
    TRAININGS,
    cane_length_m,
    first_levels,
    longest_cane,
    plan_of_buds,
)


def levels(last, usual=20, training="", longest=99):
    plans, _ = first_levels(PruningPlan.parse(last) if last else None, usual, training, longest)
    return [str(plan) for plan in plans]


def test_the_records_know_the_same_trainings():
    assert TABLES["blocks"]["training"].choices == TRAININGS


def test_a_cane_of_sixty_buds_is_some_five_metres_long():
    """Internodes of 76 to 102 mm (Hellman, eXtension)."""
    assert cane_length_m(60) == pytest.approx((4.56, 5.34, 6.12))


@pytest.mark.parametrize(("spacing", "buds"), [(0.9, 11), (1.2, 15), (1.3, 17), (0.2, 4)])
def test_the_longest_cane_fits_between_two_vines(spacing, buds):
    assert longest_cane(spacing) == buds
    assert cane_length_m(buds)[0] <= spacing or buds == 4


@pytest.mark.parametrize(
    ("training", "first"),
    [("", "2x12+2x2"), ("cane", "2x12+2x2"), ("cordon", "14x2"), ("head", "14x2"),
     ("minimal hedge", "14x2")],
)  # fmt: skip
def test_a_block_without_a_plan_opens_as_it_is_trained(training, first):
    assert str(plan_of_buds(28, training)) == first


@pytest.mark.parametrize("spacing", [0.8, 1.0, 1.2, 1.5])
@pytest.mark.parametrize("last", ["", "1x8+1x2", "1x14+1x2", "2x12+2x2"])
@pytest.mark.parametrize("training", ["", *TRAININGS])
def test_no_plan_put_forward_has_a_cane_longer_than_the_vine_has_room_for(training, last, spacing):
    longest = longest_cane(spacing)
    before = PruningPlan.parse(last) if last else None
    opened, names = first_levels(before, 30, training, longest)
    searched = layouts(**usual_layout(before, training, longest, 30))
    own = [plan for plan, name in zip(opened, names, strict=True) if name != "as last winter"]
    assert searched
    for plan in (*own, *searched):
        assert plan.buds_per_cane <= longest


def test_where_longer_canes_do_not_fit_the_heavier_level_has_a_cane_more():
    assert levels("1x15+1x2", longest=15) == ["1x15+1x2", "1x13+1x2", "2x9+2x2"]
    assert levels("2x10", longest=11) == ["2x10", "2x8", "3x8"]


def test_without_training_and_with_room_levels_are_two_buds_a_cane_apart():
    assert levels("2x10+2x2") == ["2x10+2x2", "2x8+2x2", "2x12+2x2"]
    assert levels("14x2", training="cordon") == ["14x2", "12x2", "16x2"]


def test_levels_of_a_hedge_differ_by_more_than_a_spur_or_two():
    assert levels("100x2", training="minimal hedge") == ["100x2", "80x2", "120x2"]


def test_a_search_goes_by_the_training_where_the_last_plan_is_of_another_kind():
    spurs = usual_layout(PruningPlan.parse("2x10+2x2"), "cordon", 15, None)
    assert spurs["canes"] == (0, 0)
    assert spurs["spurs"] == (2, 24)
    canes = usual_layout(PruningPlan.parse("12x2"), "cane", 11, None)
    assert canes["canes"][1] >= 2
    assert canes["buds_per_cane"] == (6, 11)


def test_a_search_without_training_is_as_wide_as_ever_on_ordinary_vines():
    assert usual_layout(None, "", longest_cane(1.2)) == {
        "canes": (1, 4),
        "buds_per_cane": (6, 14),
        "spurs": (0, 6),
        "buds_per_spur": 2,
    }


def test_a_hedge_is_searched_around_its_own_load():
    assert usual_layout(None, "minimal hedge", 15, 240)["spurs"] == (40, 200)
