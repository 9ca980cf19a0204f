"""Vines and crop per area against published tables; tolerance half the last printed digit."""

import pytest

from cropload.units import ACRE_HA, FOOT_M, US, vines_per_hectare

# BC Wine Grape Council, Best Practices Guide, "Crop Estimation": vine x row spacing in feet.
# Its metre columns are rounded and do not give its own vines/ha, so feet are used.
BC_GUIDE_SPACING = [
    (3, 7, 2074, 5126),
    (4, 7, 1556, 3844),
    (3, 8, 1815, 4485),
    (4, 8, 1361, 3364),
]


@pytest.mark.parametrize(("vine_ft", "row_ft", "per_acre", "per_hectare"), BC_GUIDE_SPACING)
def test_bc_guide_spacing(vine_ft, row_ft, per_acre, per_hectare):
    vines = vines_per_hectare(row_ft * FOOT_M, vine_ft * FOOT_M)
    assert vines == pytest.approx(per_hectare, abs=0.5)
    assert vines * ACRE_HA == pytest.approx(per_acre, abs=0.5)


def test_605_vines_to_the_acre():
    # Wine-grape-growing handbook, chapter 30: 8 ft x 9 ft gives 605 vines/ac.
    assert vines_per_hectare(9 * FOOT_M, 8 * FOOT_M) * ACRE_HA == pytest.approx(605, abs=0.5)


def test_row_of_a_hundredth_acre():
    # Lake Erie Regional Grape Program: 1/100 acre at 7.5 ft rows is 58.1 ft of row.
    row_m = ACRE_HA * 10_000 / 100 / (7.5 * FOOT_M)
    assert row_m / FOOT_M == pytest.approx(58.1, abs=0.05)


def test_short_ton_per_acre():
    # 1 short ton/ac = 2.24170 t/ha (2,000 lb of 0.45359237 kg on 0.40468564224 ha).
    assert US.to_metric("t_ha", 1.0) == pytest.approx(2.24170, abs=0.000005)


def test_fruit_per_foot_of_row():
    # Cortell, "Fruit by the Foot", Oregon Wine Press: 0.99 lb/ft of row with rows 10 ft and 5 ft
    # apart is 2.16 and 4.31 short tons/ac.
    for row_ft, tons in ((10, 2.16), (5, 4.31)):
        kg_per_m = 0.99 / US.convert("pruning_weight_kg_per_m", 1.0)
        t_ha = kg_per_m * 10_000 / (row_ft * FOOT_M) / 1000
        assert US.convert("t_ha", t_ha) == pytest.approx(tons, abs=0.005)
