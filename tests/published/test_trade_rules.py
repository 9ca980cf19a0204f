"""Rules of the trade: common practice, no source. What is computed keeps to them."""

import numpy as np
import pytest

from cropload import handbook
from cropload.pruning.vine_shape import bearing_wood
from cropload.vine.plan import PruningPlan
from cropload.vine.weather.kill import KillCurve
from cropload.vine.wood import replacement_wood, spur_shoots

BURST = handbook.value("prior.shoots_per_bud")


def test_a_two_bud_renewal_spur_gives_next_winters_cane_and_next_spur():
    # Common practice, no source.
    both, *_ = spur_shoots(BURST, 2)
    assert both > 0.75
    assert spur_shoots(BURST, 1)[0] == 0


@pytest.mark.parametrize("buds", [6, 7, 8])
def test_canes_of_six_to_eight_buds_with_such_spurs_renew_themselves(buds):
    # Common practice, no source.
    plan = PruningPlan.parse(f"3x{buds}+3x2")
    wood = replacement_wood(plan.canes, plan.spurs, plan.buds_per_spur, BURST)
    allowed = handbook.value("words.wood_short") * plan.canes
    assert np.asarray(wood.places_lost_by_winter)[0] < allowed


def test_the_tip_pushes_first_and_the_base_is_left_after_a_frost():
    # Common practice, no source: the tip stands in leaf when the base has just burst.
    assert handbook.value("frost.delay_laid_down") > 0
    curve = KillCurve.from_handbook()
    tip, base = 9, 4
    assert curve.killed(-1.9, tip) > curve.killed(-1.9, base)


def test_canes_and_renewal_spurs_alternate_along_the_arm():
    # Common practice, no source: beside each cane the spur that renews it.
    plan = PruningPlan.parse("4x8+4x2")
    pieces = bearing_wood(plan, plan.canes, plan.spurs, 1.8, "cane", 300.0).pieces
    for side in (-1, 1):
        of_side = [piece for piece in pieces if piece.points[0][0] * side > 0]
        order = [p.kind for p in sorted(of_side, key=lambda piece: abs(piece.points[0][0]))]
        assert order == ["spur", "cane", "spur", "cane"]
