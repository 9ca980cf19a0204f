"""Money of scenarios, against sums done by hand."""

from types import SimpleNamespace

import numpy as np
import pytest
from helpers import block_row, make_records
from hypothesis import given
from hypothesis import strategies as st
from season_records import small_estate

from cropload import compare_plans
from cropload.errors import CroploadError
from cropload.owner.costs import Costs, Unsure
from cropload.owner.money import (
    Contract,
    ScenarioDraws,
    contracts_for,
    currency_of,
    money_frame,
    pay_for,
    read_scenarios,
    scenario_draws,
)
from cropload.winery.contracts import Terms

BLOCKS = [
    block_row("North", "Riesling", vines=1000, missing_pct=10, area_ha=0.5),
    block_row("South", "Riesling", vines=2000, area_ha=1.5),
    block_row("West", "Pinot noir", vines=500, area_ha=0.4),
]
AREA, BEARING = np.array([0.5, 1.5, 0.4]), np.array([900.0, 2000.0, 500.0])


def priced(*prices):
    return make_records(blocks=BLOCKS, prices=list(prices))


def drawn(tonnes, buds, blocks=("North", "South")):
    """Return scenarios and their crop set by hand, (scenarios, blocks, draws) [t]."""
    tonnes = np.array(tonnes, float)
    facts = SimpleNamespace(
        names=("North", "South", "West"),
        varieties=("Riesling", "Riesling", "Pinot noir"),
        area_ha=AREA,
        bearing=BEARING,
        place=("North", "South", "West").index,
    )
    found = ScenarioDraws(
        names=tuple(f"s{at}" for at in range(len(tonnes))),
        blocks=blocks,
        plans={},
        buds=np.array(buds, float),
        drawn=SimpleNamespace(
            blocks=np.array([("North", "South", "West").index(b) for b in blocks]),
            log_components=tonnes,
        ),
        estate=SimpleNamespace(facts=facts),
    )
    return found, tonnes


def scenario_money(records, given, costs):
    """Return the money of scenarios, each with its own plan in every block, and who pays."""
    found, tonnes = given
    pay = pay_for(records, found, costs)
    picks = np.repeat(np.arange(len(tonnes))[:, None], len(found.blocks), axis=1)
    return SimpleNamespace(frame=money_frame(pay, found.names, tonnes, picks), notes=pay.notes)


def test_margin_is_revenue_less_every_cost():
    # 4 t + 6 t at 1000 = 10,000. Cost: vines 900 x (0.5 + 0.01 x 20) + 2000 x (0.5 + 0.01 x 30)
    # = 630 + 1600; 2.0 ha x (100 + 50 + 25) = 350; 10 t x 80 = 800; together 3,380.
    found = drawn([[[4.0] * 100, [6.0] * 100]], [[20, 30]])
    costs = Costs(0.5, 0.01, 100, 80, 50, 25)
    row = scenario_money(
        priced({"variety": "Riesling", "price_per_t": 1000}), found, costs
    ).frame.iloc[0]
    assert row["revenue_p50"] == pytest.approx(10_000)
    assert row["cost_p50"] == pytest.approx(3_380)
    assert row["margin_mean"] == pytest.approx(6_620)
    assert row["margin_p10"] == pytest.approx(6_620)


def test_fruit_above_a_cap_earns_the_price_above_it():
    # Cap 3 t/ha on 2 ha = 6 t: 6 x 1000 + 4 x 300 = 7,200, and 4 t above.
    terms = {"variety": "Riesling", "price_per_t": 1000, "cap_t_ha": 3, "price_above_cap": 300}
    found = drawn([[[4.0] * 100, [6.0] * 100]], [[20, 30]])
    row = scenario_money(priced(terms), found, Costs()).frame.iloc[0]
    assert row["revenue_p50"] == pytest.approx(7_200)
    assert row["above_cap_t"] == pytest.approx(4)


def test_blocks_of_one_contract_fill_its_cap_together():
    # 1 t and 9 t against 8 t: the short block makes room for the other one.
    terms = {"variety": "Riesling", "price_per_t": 100, "cap_t": 8}
    row = scenario_money(priced(terms), drawn([[[1.0] * 100, [9.0] * 100]], [[1, 1]]), Costs())
    assert row.frame["revenue_p50"].iloc[0] == pytest.approx(800)


def test_a_contract_in_tonnes_is_shared_by_area_with_blocks_not_looked_at():
    # South alone has 1.5 of the 2.0 ha, so 6 of the 8 t.
    terms = {"variety": "Riesling", "price_per_t": 100, "cap_t": 8}
    found = drawn([[[9.0] * 100]], [[1]], ("South",))
    money = scenario_money(priced(terms), found, Costs())
    assert money.frame["revenue_p50"].iloc[0] == pytest.approx(600)
    assert "75 % of it is counted here" in money.notes[0]


def test_a_contract_of_a_block_goes_before_its_variety():
    records = priced(
        {"variety": "Riesling", "price_per_t": 100, "cap_t": 8},
        {"block": "North", "price_per_t": 500},
    )
    contracts, notes = contracts_for(
        records, ("North", "South"), drawn([[[1.0]]], [[1]])[0].estate.facts, Unsure(0, 1)
    )
    assert {(c.name, c.blocks, c.terms.steps[0][1], c.terms.most) for c in contracts} == {
        ("North", ("North",), 500, np.inf),
        ("Riesling", ("South",), 100, 8),
    }
    assert not notes


def test_a_block_apart_is_the_estate_with_that_block_alone_changed():
    # Cap 8 t at 100, 30 above: North leaves 2 t for 5, which with South's 5 is 2 above the cap.
    terms = {"variety": "Riesling", "price_per_t": 100, "cap_t": 8, "price_above_cap": 30}
    found, tonnes = drawn([[[2.0] * 100, [5.0] * 100], [[5.0] * 100, [6.0] * 100]], [[1, 1]] * 2)
    pay = pay_for(priced(terms), found, Costs(picking_per_t=10))
    apart = pay.apart(tonnes)
    # North: 8 x 100 + 2 x 30 - 7 x 100 - 3 x 10 = 130; South: 800 - 700 - 10 = 90.
    assert apart[1, :, 0].tolist() == pytest.approx([130, 90])
    assert not apart[0].any()
    # Both together: 8 x 100 + 3 x 30 - 700 - 4 x 10 = 150, less than the sum of the two.
    both = pay.margin(tonnes, np.array([[0, 0], [1, 1], [1, 0]]))
    assert (both[1:, 0] - both[0, 0]).tolist() == pytest.approx([150, 130])


def test_the_worst_year_in_ten_is_the_mean_of_the_worst_tenth():
    crop = [[[float(at) for at in range(100)], [0.0] * 100]]
    money = scenario_money(
        priced({"variety": "Riesling", "price_per_t": 10}), drawn(crop, [[1, 1]]), Costs()
    )
    assert money.frame["margin_worst"].iloc[0] == pytest.approx(45)


def test_chance_of_a_loss_counts_the_seasons_in_which_costs_are_higher():
    found = drawn([[[1.0] * 25 + [3.0] * 75, [0.0] * 100]], [[1, 1]])
    # 2.0 ha at 100 cost 200; a tonne earns 100: a loss in the quarter of seasons with 1 t.
    money = scenario_money(
        priced({"variety": "Riesling", "price_per_t": 100}), found, Costs(other_per_ha=100)
    )
    assert money.frame["chance_loss"].iloc[0] == pytest.approx(0.25)


@given(st.floats(0, 100), st.floats(0.1, 50), st.floats(0, 2000), st.floats(0, 2000))
def test_a_crop_never_earns_more_than_all_of_it_at_the_better_price(tonnes, cap, price, above):
    terms = Terms(0.0, cap, np.inf, ((0.0, price),), above)
    earned = Contract("c", ("b",), terms).revenue(np.array(tonnes))
    best, worst = max(price, above), min(price, above)
    assert worst * tonnes - 1e-6 <= earned <= best * tonnes + 1e-6


def test_missing_price_names_blocks_and_the_mend():
    found = drawn([[[1.0] * 100] * 2], [[1, 1]], ("North", "West"))
    with pytest.raises(CroploadError, match=r"West.*Add a row to table contracts.*Pinot noir"):
        scenario_money(priced({"variety": "Riesling", "price_per_t": 100}), found, Costs())


@pytest.mark.parametrize(
    ("terms", "told"),
    [
        ({"price_per_t": -1}, "price_per_t"),
        ({"price_per_t": 100, "cap_t": 0}, "cap_t"),
        ({"price_per_t": 100, "cap_t_ha": 0}, "cap_t_ha"),
    ],
)
def test_impossible_terms_are_refused(terms, told):
    found = drawn([[[1.0] * 100] * 2], [[1, 1]])
    with pytest.raises(CroploadError, match=told):
        scenario_money(priced({"variety": "Riesling"} | terms), found, Costs())


def test_prices_in_two_currencies_are_refused():
    records = priced(
        {"variety": "Riesling", "price_per_t": 1, "currency": "EUR"},
        {"variety": "Pinot noir", "price_per_t": 1, "currency": "USD"},
    )
    with pytest.raises(CroploadError, match="EUR, USD"):
        currency_of(records)


@pytest.mark.parametrize("bad", [-1, float("nan"), float("inf"), "0.5", True, None])
def test_impossible_costs_are_refused_all_at_once(bad):
    with pytest.raises(CroploadError) as told:
        Costs(pruning_per_vine=bad, picking_per_t=bad)
    assert "pruning_per_vine" in str(told.value)
    assert "picking_per_t" in str(told.value)


def test_faults_of_scenarios_come_together():
    scenarios = {"a": {"Nrth": "3x8", "South": "zz"}, "b": {"South": "3x8"}}
    with pytest.raises(CroploadError) as told:
        read_scenarios(priced(), scenarios)
    assert "Did you mean 'North'" in str(told.value)
    assert "'zz' cannot be read" in str(told.value)


@pytest.mark.parametrize(
    ("scenarios", "told"),
    [
        ({}, "No scenario"),
        ({"a": {}}, "has no block"),
        ({"a": {"North": "3x8"}, "b": {"South": "3x8"}}, "differ in the blocks"),
        ({"a": {"North": "3x8", "north": "3x9"}}, "twice"),
    ],
)
def test_scenarios_that_cannot_be_are_refused(scenarios, told):
    with pytest.raises(CroploadError, match=told):
        read_scenarios(priced(), scenarios)


def test_crops_of_scenarios_are_those_of_the_comparison_of_plans():
    records = small_estate()
    scenarios = {
        "a": {"Fir": "2x10+2x2", "Alder": "2x8+2x2"},
        "b": {"Alder": "2x12+2x2", "Fir": "2x8+2x2"},
    }
    found = scenario_draws(records, scenarios, 2026, draws=400)
    for at, name in enumerate(found.names):
        for place, block in enumerate(found.blocks):
            alone = compare_plans(
                records, block, scenarios[name][block], 2026, draws=400
            ).frame.iloc[0]
            for settled, column in ((False, "tonnes"), (True, "tonnes_settled")):
                crop = found.drawn.tonnes(settled)[at, place]
                assert np.quantile(crop, 0.9) == pytest.approx(alone[f"{column}_p90"], rel=0.01)


def test_crops_without_a_load_are_compared_and_surer_with_the_plan_they_were_grown_on():
    records = make_records(
        blocks=[block_row("North")],
        harvest=[{"season": 2025, "block": "North", "date": "2025-09-20", "tonnes": 4.0}],
    )
    scenarios = {"a": {"North": "3x8"}, "b": {"North": "3x6"}}
    bare = scenario_draws(records, scenarios, 2026, draws=400).drawn.tonnes()
    found = scenario_draws(records, scenarios, 2026, draws=400, reference_plans={"north": "3x8"})
    assert found.drawn.tonnes().shape == (2, 1, 400)
    # Of the crops that are not lost.
    crops = [np.log(drawn[0][drawn[0] > 0]) for drawn in (found.drawn.tonnes(), bare)]
    assert crops[0].std() < crops[1].std()


def test_a_contract_of_a_grower_pays_in_steps_and_owes_for_too_little():
    """North bears 3 t: 2 t at 1,000 and 1 t at 800, less 200 for 1 t missing of 4 t."""
    contract = {"contract": "All", "grower": "Ash", "least_t": 4, "shortfall_per_t": 200}
    steps = [contract | {"price_per_t": 1000}, {"contract": "All", "price_per_t": 800, "from_t": 2}]
    blocks = [block | {"grower": "Ash"} for block in BLOCKS]
    records = make_records(blocks=blocks, contracts=steps)
    facts = drawn([[[1.0]]], [[1]])[0].estate.facts
    (found,), notes = contracts_for(records, tuple(b["block"] for b in blocks), facts, Unsure(0, 1))
    assert found.revenue(np.array([3.0])) == pytest.approx(2 * 1000 + 1 * 800 - 1 * 200)
    assert "Price steps and what is owed under the contract All are counted." in notes
