"""Scenarios side by side: their figures are those of the parts."""

import numpy as np
import pytest
from owner_cases import COSTS, compared, prices, scenarios, weather
from season_records import small_estate

from cropload import compare_plans, frost_cover
from cropload.errors import CroploadError
from cropload.owner.money import money_frame, pay_for, scenario_draws
from cropload.owner.scenarios import compare_scenarios


def test_figures_of_a_block_are_those_of_the_comparison_of_plans():
    records = small_estate()
    found = compared(records)
    alone = compare_plans(records, "Fir", "2x10+2x2,2x12+2x2,2x8+2x2", 2026, draws=400).frame
    mine = found.blocks[found.blocks["block"] == "Fir"].reset_index(drop=True)
    for column in alone.columns:
        if alone[column].dtype.kind == "f":
            np.testing.assert_allclose(mine[column], alone[column], err_msg=column)
    assert mine["density_word"].tolist() == alone["density_word"].tolist()


def test_totals_are_sums_of_draws_and_chances_are_counted():
    records = small_estate()
    found = compared(records)
    drawn = scenario_draws(records, scenarios(), 2026, draws=400).drawn
    settled = drawn.tonnes(True).sum(1)
    rows = found.totals.set_index("scenario").loc[["today", "longer", "shorter"]]
    np.testing.assert_allclose(rows["tonnes_settled_mean"], settled.mean(1))
    own = found.decision.blocks
    whole = found.decision.estate.set_index("scenario")
    for name in ("longer", "shorter"):
        # Without a contract's cap the blocks' means add up.
        parts = own.loc[own["scenario"] == name, "crop_settled_mean"].sum()
        assert whole.loc[name, "crop_settled_mean"] == pytest.approx(parts)


def test_money_is_that_of_the_money_module():
    records = small_estate(prices=prices())
    found = compared(records)
    drawn = scenario_draws(records, scenarios(), 2026, draws=400)
    pay = pay_for(records, drawn, COSTS)
    decision = found.decision
    own = money_frame(pay, decision.names, drawn.drawn.tonnes(True), decision.rows)
    assert found.money_settled["margin_mean"].tolist() == own["margin_mean"].tolist()
    assert decision.by == "margin"
    assert decision.worst == dict(zip(own["scenario"], own["margin_worst"], strict=True))


def test_without_prices_the_crop_decides_and_the_report_says_so():
    found = compared(small_estate())
    assert found.decision.by == "crop"
    assert found.money_settled is None
    assert "No prices" in found.money_missing


def test_a_block_without_a_price_leaves_money_out_with_the_reason():
    found = compared(small_estate(prices=prices()[:1]))
    assert found.money_settled is None
    assert "No price is on record for Fir" in found.money_missing


def test_frost_is_that_of_the_frost_cover():
    rows = [
        {"season": s, "block": "Fir", "stage": "budburst", "date": f"{s}-04-{day}"}
        for s, day in ((2023, 14), (2024, 17), (2025, 12))
    ]
    records = small_estate(weather=weather(), dates=rows)
    found = compared(records)
    cover = frost_cover(records, "Fir", "2x10+2x2,2x12+2x2,2x8+2x2", 2026, draws=400)
    fir = found.blocks[found.blocks["block"] == "Fir"]
    expected = cover.frame["mean_crop_p50"]
    np.testing.assert_allclose(fir["t_ha_settled_with_frost_p50"], expected)
    assert (fir["frost_mean_share_p50"] < 1).all()
    assert "budburst" in found.frost_missing["Alder"]
    assert found.blocks.loc[found.blocks["block"] == "Alder", "frost_mean_share_p50"].isna().all()


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"today": {"Fir": "2x8"}}, "2 to 5 scenarios, not 1"),
        ({f"s{n}": {"Fir": "2x8"} for n in range(6)}, "2 to 5 scenarios, not 6"),
        ({"today": {"Fir": "2x8"}, " ": {"Fir": "2x9"}}, "no name"),
        ({"today": {"Fir": "2x8"}, "b": {"Fri": "2x9"}}, "Did you mean 'Fir'"),
    ],
)
def test_scenarios_that_cannot_be_are_refused(given, told):
    with pytest.raises(CroploadError, match=told):
        compare_scenarios(small_estate(), given, 2026)
