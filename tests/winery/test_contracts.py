"""Contracts: room left and excess against closed forms, who delivers to which, and bad terms."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_cases import correlated_lognormals, made_forecast
from scipy import stats

from cropload.errors import CroploadError
from cropload.winery.contracts import check_prices, contract_table, revenue


def terms(**row):
    return pd.DataFrame([{"variety": "Anyvine", "price_per_t": 1000.0} | row])


def test_room_and_excess_are_those_of_the_lognormal():
    """scipy.stats.lognorm: chances on both sides of a cap and the partial expectations."""
    made = made_forecast(correlated_lognormals(1, 200_000, sigma=0.3, correlation=0.0))
    row = contract_table(made, terms(cap_t=1.2)).frame.iloc[0]
    law = stats.lognorm(0.3)
    assert row["chance_room"] == pytest.approx(law.cdf(1.2), abs=0.005)
    assert row["chance_excess"] == pytest.approx(law.sf(1.2), abs=0.005)
    room = law.expect(lambda x: 1.2 - x, ub=1.2) / law.cdf(1.2)
    over = law.expect(lambda x: x - 1.2, lb=1.2) / law.sf(1.2)
    assert row["room_mean_t"] == pytest.approx(room, rel=0.02)
    assert row["excess_mean_t"] == pytest.approx(over, rel=0.02)


def test_a_contract_worked_by_hand():
    """12 t at 1,000 up to 10 t and 400 above: 10,000 + 800."""
    made = made_forecast(np.full((1, 100), 12.0))
    row = contract_table(made, terms(cap_t=10.0, price_above_cap=400.0)).frame.iloc[0]
    assert row["revenue_p50"] == pytest.approx(10_800)
    assert (row["chance_excess"], row["excess_mean_t"]) == (1.0, 2.0)


def test_the_lower_of_two_caps_counts_and_area_makes_one():
    made = made_forecast(np.full((2, 100), 12.0))
    row = contract_table(made, terms(cap_t=30.0, cap_t_ha=5.0)).frame.iloc[0]
    assert row["cap_t"] == pytest.approx(2 * 2.0 * 5.0)


def test_without_a_cap_there_is_no_room_to_tell():
    row = contract_table(made_forecast(np.full((1, 100), 12.0)), terms()).frame.iloc[0]
    assert np.isnan(row["chance_room"])
    assert row["revenue_p50"] == pytest.approx(12_000)


def test_a_block_with_its_own_contract_does_not_count_for_its_variety():
    made = made_forecast(np.full((2, 100), [[3.0], [5.0]]))
    both = pd.DataFrame(
        [
            {"block": "", "variety": "Anyvine", "price_per_t": 1000.0},
            {"block": "Block 1", "variety": "", "price_per_t": 2000.0},
        ]
    )
    found = contract_table(made, both).frame.set_index("contract")["tonnes_p50"]
    assert found.to_dict() == {"Anyvine": 3.0, "Block 1": 5.0}


def test_unknown_names_and_fruit_without_a_contract_are_told():
    found = contract_table(made_forecast(np.ones((1, 100))), terms(variety="Anyvin"))
    told = " ".join(found.notes)
    assert found.frame.empty
    assert "Did you mean 'Anyvine'" in told
    assert "No contract takes Block 0" in told


@given(
    tonnes=st.floats(0, 1e4),
    price=st.floats(0, 1e4),
    above=st.floats(0, 1e4),
    cap=st.floats(1, 1e4),
)
def test_revenue_is_never_below_zero_and_grows_with_the_crop(tonnes, price, above, cap):
    now, more = revenue(np.array([tonnes, tonnes + 1.0]), price, cap, above)
    assert 0 <= now <= more + 1e-6


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ({"price_per_t": -1.0}, "price is 0 or more"),
        ({"price_per_t": np.nan}, "is missing"),
        ({"price_above_cap": -5.0}, "price is 0 or more"),
        ({"cap_t": 0.0}, "Leave it blank"),
        ({"cap_t_ha": -2.0}, "Leave it blank"),
        ({"block": "Block 0"}, "one of the two"),
        ({"price_per_t": "much"}, "no number"),
    ],
)
def test_terms_that_cannot_be_get_one_clear_message(row, told):
    with pytest.raises(CroploadError, match=told):
        check_prices(terms(**row))


def test_the_same_contract_twice_is_said():
    with pytest.raises(CroploadError, match="two contracts for variety 'Anyvine'"):
        check_prices(pd.concat([terms(), terms()]))
