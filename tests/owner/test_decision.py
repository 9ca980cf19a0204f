"""The decision: two blocks and two plans by hand, and what gets better and worse by area."""

import pytest
from two_blocks import BALANCE, BANDS, PLANS, by_hand, row

from cropload.errors import CroploadError
from cropload.owner.decision import MIX, same_plans, turns_of
from cropload.owner.mix import Limits
from cropload.vine.bands import NO_DENSITY


def test_two_blocks_and_two_plans_by_hand():
    found = by_hand()
    # A: 2 t more are 1800 less 200 of cost, then 1.5 t 1150, then 1 t 700 a season; seasons count
    # 1, 0.8, 0.64, 0.512, 0.4096: 1600 + 920 + 700 x 1.5616. The bad draw loses 1100 a season.
    good, bad = 1600 + 0.8 * 1150 + 700 * 1.5616, -1100 * 3.3616
    assert (good, bad) == pytest.approx((3613.12, -3697.76))
    a, b = found.blocks.to_dict("records")
    assert (a["plan_before"], a["plan"], a["chosen"]) == ("2x10", "2x12", True)
    assert [a[f"money_{when}_p50"] for when in ("first", "second", "settled", "all")] == (
        pytest.approx([1600, 1150, 700, 3613.12])
    )
    assert a["money_all_mean"] == pytest.approx(0.9 * good + 0.1 * bad)
    assert a["chance_worse"] == pytest.approx(0.1)
    assert a["cost_if_worse"] == pytest.approx(3697.76)
    assert a["worst_change"] == pytest.approx(-1100)
    assert a["crop_all_p50"] == pytest.approx(2 + 1.5 + 3)
    assert a["crop_all_mean"] == pytest.approx(0.9 * 6.5 - 0.1 * 5)
    # B: 1 t more earns 900 and costs 1000; the bad draw loses 4 t, 4600 in all.
    assert not b["chosen"]
    assert b["money_first_p50"] == pytest.approx(-100)
    assert b["money_all_mean"] == pytest.approx(3.3616 * (0.9 * -100 + 0.1 * -4600))
    assert (b["chance_worse"], b["worst_change"]) == (1, -4600)
    # So longer wood here, today's plan there.
    assert found.picks == {"A": "longer", "B": "today"}
    assert (found.chosen, found.names) == (MIX, ("today", "longer", MIX))
    both, mix = found.row("longer"), found.row()
    assert mix["money_all_mean"] == pytest.approx(a["money_all_mean"])
    assert both["money_all_mean"] == pytest.approx(a["money_all_mean"] + b["money_all_mean"])
    assert both["cost_if_worse"] == pytest.approx(3.3616 * (1100 + 4600))
    # 30 t at 900 less 4000; the bad draw of A leaves 9 t at 900 less 1200, and B 15000.
    assert found.worst["today"] == pytest.approx(23_000)
    assert found.worst[MIX] == pytest.approx(8100 - 1200 + 15_000)


def test_undiscounted_seasons_add_up():
    a = by_hand(discount=0.0).blocks.iloc[0]
    assert a["money_all_p50"] == pytest.approx(1600 + 1150 + 3 * 700)


def test_a_worst_year_that_is_not_borne_keeps_todays_plan_and_tells_its_cost():
    found = by_hand(limits=Limits(worst_year=22_500))
    assert found.picks == {"A": "today", "B": "today"}
    assert found.chosen == "today"
    assert found.mix.costs == (("worst year", pytest.approx(0.9 * 3613.12 - 369.776)),)


def test_pruning_hours_are_vines_times_minutes():
    # Today 4000 vines at 1 + 20 x 0.1 = 3 minutes are 200 h; longer wood in A adds 0.4 minutes
    # for each of 1000 vines, 6 h 40.
    for hours, plan in ((206, "today"), (207, "longer")):
        assert by_hand(limits=Limits(hours=hours), minutes=(1, 0.1)).picks["A"] == plan

    with pytest.raises(CroploadError, match="needs how long pruning takes"):
        by_hand(limits=Limits(hours=206))


def test_a_ceiling_holds_the_mean_crop_of_what_it_names():
    # A bears 10.8 t/ha with longer wood, in the mean of ten draws.
    for name in ("A", "Riesling"):
        for most, plan in ((10.9, "longer"), (10.7, "today")):
            assert by_hand(limits=Limits(ceilings={name: most})).picks["A"] == plan
    with pytest.raises(CroploadError, match="No block or variety compared is called 'Rieslin'"):
        by_hand(limits=Limits(ceilings={"Rieslin": 9}))


@pytest.mark.parametrize(("share", "plan"), [(0.2, "today"), (0.25, "longer")])
def test_balance_is_weighed_by_area_and_told(share, plan):
    """A is a quarter of the area."""
    found = by_hand(longer={"shoots_per_m_p50": 16.0}, limits=Limits(area_out=share))
    assert found.picks["A"] == plan
    assert bool(found.turns) == (plan == "longer")
    if plan == "today":
        assert [name for name, _ in found.mix.costs] == ["density"]
    else:
        [turn] = found.turns
        assert (turn.block, turn.about, turn.better) == ("A", "density", False)


def test_no_plan_is_told_apart_from_another_scenario_with_the_same():
    plans = {"today": PLANS["today"], "longer": PLANS["today"] | {"A": "2x12"}}
    found = by_hand(plans=plans)
    assert found.blocks["block"].tolist() == ["A"]
    assert found.chosen == "longer"
    assert same_plans(("x", "y"), {"x": {"A": 1}, "y": {"A": 1}}) == {"y": "x"}


@pytest.mark.parametrize(
    ("before", "after", "better"),
    [
        ({}, {"shoots_per_m_p50": 14.9}, None),
        ({}, {"shoots_per_m_p50": 16.0}, False),
        ({"shoots_per_m_p50": 17.0}, {"shoots_per_m_p50": 16.0}, True),
        ({"shoots_per_m_p50": 8.0}, {"shoots_per_m_p50": 16.0}, True),
        ({"shoots_per_m_p50": 16.01}, {"shoots_per_m_p50": 16.02}, None),
        ({}, {"ravaz_settled_p50": 3.0}, False),
        ({}, {"places_short_5_winters": 1.2}, False),
        ({}, {"places_short_5_winters": 0.9}, True),
        ({"frost_mean_share_p50": 0.90}, {"frost_mean_share_p50": 0.93}, True),
        ({}, {"frost_mean_share_p50": 0.93}, None),
    ],
)
def test_what_gets_better_is_what_comes_nearer(before, after, better):
    turns = turns_of(row(**after), row(**before), BANDS["A"])
    assert [turn.better for turn in turns] == ([] if better is None else [better])


def test_without_a_band_nothing_gets_better_or_worse():
    assert turns_of(row(shoots_per_m_p50=40.0), row(), (NO_DENSITY, BALANCE)) == []
