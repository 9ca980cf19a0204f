"""Balanced pruning: published formulas, worked examples, and their metric twins."""

import pytest
from scipy import constants

from cropload import handbook
from cropload.vine.balanced_pruning import balanced_buds, balanced_table, parse_formula

POUND = constants.pound


@pytest.mark.parametrize(
    ("name", "first", "further"),
    [
        ("american", 30, 10),  # Smith 2023, Ohio State
        ("french_hybrids", 20, 10),  # Smith 2023
        ("new_hybrids", 20, 20),  # Smith 2023
        ("vinifera", 20, 20),  # Smith 2023
        ("pinot_noir_oregon", 14, 10),  # trade press, Oregon
        ("cynthiana", 50, 10),  # Main and Morris 2008, AJEV 59:179
    ],
)
@pytest.mark.parametrize("pounds", [1, 2, 3, 5])
def test_formulas_per_pound(name, first, further, pounds):
    found = parse_formula(name).buds(pounds * POUND)
    assert found == pytest.approx(first + (pounds - 1) * further)


def test_three_pounds_of_prunings_leave_fifty_buds():
    # West Virginia Department of Agriculture, worked example of 30+10.
    assert balanced_buds(3 * POUND, 30, 10, POUND) == pytest.approx(50)
    assert balanced_table("30+10", "us", 3, 3, 1)["buds"].tolist() == [50]


@pytest.mark.parametrize(
    ("metric", "per_pound"),
    [
        ("concord_metric", "30+10"),  # Bates 2021, AJEV 72(1): 33+11 per 500 g
        ("keller_metric", "50+10"),  # Keller, trade press: 55 for 500 g, 22 per further kg
    ],
)
def test_metric_twins_are_the_pound_formulas_rounded(metric, per_pound):
    twin, pound = parse_formula(metric), parse_formula(per_pound)
    scale = twin.unit_kg / pound.unit_kg
    assert twin.first == pytest.approx(pound.first * scale, abs=0.5)
    assert twin.further == pytest.approx(pound.further * scale, abs=0.5)


@pytest.mark.parametrize(
    ("metric", "per_pound", "apart"),
    [("concord_metric", "30+10", 2), ("keller_metric", "50+10", 4)],
)
def test_metric_twins_leave_a_little_more_past_the_first_unit(metric, per_pound, apart):
    """500 g is more than a pound, so the generous first unit is larger; the handbook says so."""
    twin, pound = parse_formula(metric), parse_formula(per_pound)
    for kilograms in (0.6, 1.0, 1.5, 2.0):
        assert twin.buds(kilograms) - pound.buds(kilograms) == pytest.approx(apart, abs=0.2)
    assert twin.buds(0.4) == pytest.approx(pound.buds(0.4), abs=0.2)
    assert f"about {apart} buds more" in handbook.entry(f"balanced.{metric}").note


def test_the_formula_with_a_further_kilogram():
    # Keller: 55 for the first 500 g and 22 for each further kilogram.
    formula = parse_formula("keller_metric")
    assert formula.buds(0.5) == pytest.approx(55)
    assert formula.buds(1.5) == pytest.approx(77)
    assert formula.buds(2.5) == pytest.approx(99)


def test_the_cap_of_four_to_six_buds_per_foot_of_spacing():
    # Smith 2023, Ohio State: with vines 8 ft apart, 32 to 48 buds.
    table = balanced_table("american", "us", 1, 4, 1, vine_spacing_m=8 * constants.foot)
    assert table.cap_buds == (32, 48)
    assert table["buds_high_cap"].tolist() == [30, 40, 48, 48]


def test_uk_charge_is_prunings_in_grams_over_thirty_to_forty():
    # Plumpton College: 600 g leave 15 to 20 buds.
    light, heavy = handbook.band("charge.uk")
    assert (600 / heavy, 600 / light) == pytest.approx((15, 20))
    assert (light, heavy) == handbook.band("band.cane_weight_g.cool_uk")
