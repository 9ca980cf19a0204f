"""What one plan bears beyond another, on the draws that both share."""

import numpy as np
import pytest

from cropload import compare_plans, example_records
from cropload.beliefs.plan_draws import plan_draws
from cropload.pruning.compare import estate_for
from cropload.pruning.plan_rows import difference_columns
from cropload.vine.plan import parse_plans

BLOCK, PLANS = "Long Acre", "3x6+3x2,3x10+3x2,3x6+4x2"


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture(scope="module")
def drawn(records):
    estate = estate_for(records, BLOCK, 2027)
    return plan_draws(estate, [estate.facts.place(BLOCK)], parse_plans(PLANS), draws=2000, seed=3)


def test_ranges_are_those_of_the_differences_of_the_draws(drawn):
    rows = difference_columns(drawn, 0)
    for settled, ending in ((False, ""), (True, "_settled")):
        crop = drawn.t_ha(settled)[:, 0]
        for row, plan in zip(rows, crop, strict=True):
            wanted = np.quantile(plan - crop[0], [0.1, 0.5, 0.9])
            found = [row[f"t_ha{ending}_change_{end}"] for end in ("p10", "p50", "p90")]
            np.testing.assert_allclose(found, wanted, atol=1e-9)
        for row, plan in zip(rows[1:], crop[1:], strict=True):
            assert row[f"chance_more{ending}"] == (plan > crop[0]).mean()


def test_the_first_plan_differs_by_nothing_from_itself(drawn):
    first = difference_columns(drawn, 0)[0]
    assert first["t_ha_change_p10"] == first["tonnes_settled_change_p90"] == 0
    assert np.isnan(first["chance_more"])


def test_a_difference_is_far_better_known_than_two_crops_apart(records):
    """Common draws: the variance of a difference lacks what both share (textbook identity)."""
    found = compare_plans(records, BLOCK, PLANS)
    more = found.frame.iloc[1]
    width = more["t_ha_change_p90"] - more["t_ha_change_p10"]
    apart = np.hypot(
        *(row["t_ha_p90"] - row["t_ha_p10"] for _, row in found.frame.iloc[:2].iterrows())
    )
    assert width < 0.5 * apart
    assert more["chance_more"] > 0.9
    middle = more["t_ha_p50"] - found["t_ha_p50"].iloc[0]
    assert more["t_ha_change_p50"] == pytest.approx(middle, rel=0.1)


def test_tonnes_are_those_of_the_block(records):
    found = compare_plans(records, BLOCK, PLANS)
    ratio = found["tonnes_p50"] / found["t_ha_p50"]
    np.testing.assert_allclose(found["tonnes_change_p90"], found["t_ha_change_p90"] * ratio)
