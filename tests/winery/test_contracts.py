"""Contracts: room left and excess against closed forms, who delivers to which, and bad terms."""

import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_cases import GROWERS, correlated_lognormals, growers_estate, made_forecast
from scipy import stats

from cropload import forecast, read_records
from cropload.errors import CroploadError
from cropload.winery.contracts import Terms, check_contracts, contract_book, contract_table


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
    assert row["most_t"] == pytest.approx(2 * 2.0 * 5.0)


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
    step=st.floats(0, 1e4),
    beyond=st.floats(0, 1e4),
    most=st.floats(1, 1e4),
)
def test_pay_is_never_below_zero_and_grows_with_the_crop(tonnes, price, step, beyond, most):
    terms = Terms(0.0, most, np.inf, ((0.0, price), (most / 2, step)), beyond)
    now, more = terms.pay(np.array([tonnes, tonnes + 1.0]))
    assert 0 <= now <= more + 1e-6


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ({"price_per_t": -1.0}, "it is 0 or more"),
        ({"price_per_t": np.nan}, "is missing"),
        ({"price_above_cap": -5.0}, "it is 0 or more"),
        ({"cap_t": 0.0}, "Leave it blank"),
        ({"cap_t_ha": -2.0}, "Leave it blank"),
        ({"block": "Block 0"}, "one of the two"),
        ({"price_per_t": "much"}, "no number"),
    ],
)
def test_terms_that_cannot_be_get_one_clear_message(row, told):
    with pytest.raises(CroploadError, match=told):
        check_contracts(terms(**row))


def test_the_same_contract_twice_is_said():
    with pytest.raises(CroploadError, match="two contracts for Anyvine"):
        check_contracts(pd.concat([terms(), terms()]))


#: Twelve growers, each with one block of 2 ha that bears 10, 11, ... 21 t in every season.
CROP = {f"Grower {at}": 10.0 + at for at in range(12)}
BOOK = """\
contract,grower,variety,blocks,group,from_t,price_per_t,least_t,most_t,most_t_ha,ceiling_kg_ha,\
ceiling_hl_ha,ceiling_kg_per_hl,price_beyond,shortfall_per_t,excess_per_t
plain,Grower 0,,,,,1000,,,,,,,,,
short,Grower 1,,,,,1000,12,,,,,,,300,
steps,Grower 2,,,,,1000,,,,,,,,,
steps,,,,,5,800,,,,,,,,,
steps,,,,,10,600,,,,,,,,,
most,Grower 3,,,,,1000,,12,,,,,400,,
excess,Grower 4,,,,,1000,,12,,,,,400,,150
by area,Grower 5,,,,,1000,,,7,,,,,,
lawful,Grower 6,,,,,1000,,,,7500,,,,,
by wine,Grower 7,,,,,1000,,,,,50,140,,,
group,,,,old vines,,1000,40,,,,,,,200,
rest,,Anyvine,,,,900,30,50,,,,,100,50,20
"""
#: The same by hand: crop, pay, owed.
BY_HAND = {
    "plain": (10, 10 * 1000, 0),
    "short": (11, 11 * 1000, 1 * 300),
    "steps": (12, 5 * 1000 + 5 * 800 + 2 * 600, 0),
    "most": (13, 12 * 1000 + 1 * 400, 0),
    "excess": (14, 12 * 1000 + 2 * 400, 2 * 150),
    "by area": (15, 14 * 1000, 0),  # 7 t/ha x 2 ha
    "lawful": (16, 15 * 1000, 0),  # 7,500 kg/ha x 2 ha
    "by wine": (17, 14 * 1000, 0),  # 50 hl/ha x 140 kg/hl x 2 ha
    "group": (18 + 19, 37 * 1000, 3 * 200),
    "rest": (20 + 21, 41 * 900, 0),
}


def test_a_book_of_twelve_growers_is_what_it_is_by_hand():
    made = made_forecast(np.repeat(np.array(list(CROP.values()))[:, None], 100, axis=1))
    blocks = pd.DataFrame({"block": made.blocks, "variety": made.varieties, "grower": list(CROP)})
    blocks["group"] = ["steep", *[""] * 7, "old vines; steep", "old vines", "", ""]
    found = contract_table(made, pd.read_csv(io.StringIO(BOOK)), blocks).frame
    assert set(found["contract"]) == set(BY_HAND)
    for row in found.to_dict("records"):
        crop, pay, owed = BY_HAND[row["contract"]]
        told = row["tonnes_p50"], row["revenue_mean"], row["penalty_mean"]
        assert told == pytest.approx((crop, pay, owed)), row["contract"]
    rows = found.set_index("contract")
    assert rows.loc["short", ["chance_short", "short_mean_t"]].tolist() == [1.0, 1.0]
    assert rows.loc["excess", ["chance_excess", "excess_mean_t"]].tolist() == [1.0, 2.0]
    assert rows.loc["lawful", ["ceiling_t", "chance_ceiling"]].tolist() == [15.0, 1.0]
    assert rows.loc["rest", ["chance_short", "chance_excess"]].tolist() == [0.0, 0.0]


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("A,,,,9,,,,", "neither of which grower"),
        ("A,,,,9,,,,,old wines", "'old wines' is the group of no row"),
        ("A,Ash,,,9,20,10,,", "above most_t"),
        ("A,Ash,,,9,,,50,", "without ceiling_kg_per_hl"),
        ("A,,,Ash 1; Nowhere,9,,,,", "'Nowhere' is the block of no row"),
        ("A,,,ash 1; Nowhere; Ash 1,9,,,,", "'ash 1', 'Nowhere' is the block of no row"),
        ("A,Ash,,,9,,,,\nB,Ash,,,8,,,,", "contract 'A' takes too"),
        ("A,Ash,,,9,,,,\nA,Birch,,,8,,,,", "differs between the rows"),
        ("A,Ash,,,,,,,", "must be filled in"),
    ],
)
def test_contracts_that_cannot_be_are_faults_of_the_file(tmp_path, row, told):
    head = "contract,grower,variety,blocks,price_per_t,least_t,most_t,ceiling_hl_ha,from_t,group"
    with pytest.raises(CroploadError) as fault:
        read_records(growers_estate(tmp_path, contracts=[head, row]))
    assert told in " ".join(str(fault.value).split())


def test_a_block_of_both_tables_and_an_unknown_term_are_faults(tmp_path):
    mine, old = ["contract,grower,price_per_t", "A,Ash,9"], ["variety,price_per_t", "Merlot,9"]
    with pytest.raises(CroploadError, match="which table prices"):
        read_records(growers_estate(tmp_path, contracts=mine, prices=old))
    (tmp_path / "prices.csv").unlink()
    mine = ["contract,grower,price_per_t,min_t", "A,Ash,9,30"]
    with pytest.raises(CroploadError, match="Did you mean 'least_t'"):
        read_records(growers_estate(tmp_path, contracts=mine))


def test_two_growers_of_one_variety_have_a_contract_each(tmp_path):
    head = "contract,grower,variety,price_per_t,least_t,currency"
    rows = [f"{grower},{grower},Riesling,{1000 + at},20,EUR" for at, grower in enumerate(GROWERS)]
    records = read_records(growers_estate(tmp_path, contracts=[head, *rows]))
    now = forecast(records, 2027, draws=200)
    found = contract_table(now, contract_book(records), records.blocks).frame
    blocks = records.blocks.set_index("block")
    for row in found.to_dict("records"):
        mine = [
            at
            for at, name in enumerate(now.blocks)
            if (blocks.loc[name, "grower"], now.varieties[at]) == (row["contract"], "Riesling")
        ]
        crops = [sum(now.draws[at, season] for at in mine) for season in range(200)]
        price = 1000 + GROWERS.index(row["contract"])
        assert row["chance_short"] == pytest.approx(np.mean([crop < 20 for crop in crops]))
        assert row["revenue_mean"] == pytest.approx(price * np.mean(crops))
    assert len(found) == 6
