"""Scenarios side by side: their figures are those of the parts, and the choice is reasoned."""

import numpy as np
import pytest
from owner_cases import COSTS, compared, prices, scenarios, weather
from season_records import small_estate

from cropload import compare_plans, frost_cover
from cropload.errors import CroploadError
from cropload.owner.money import scenario_draws, scenario_money
from cropload.owner.scenario_choice import choose_scenario
from cropload.owner.scenarios import compare_scenarios


def block(name="A", **figures):
    """Return a row of one block, inside its bands unless said otherwise."""
    return {
        "block": name,
        "density_word": "inside",
        "shoots_per_m_p50": 13.0,
        "balance_settled_word": "inside",
        "ravaz_settled_p50": 7.0,
        "places_short_5_winters": 1.0,
        "frost_mean_share_p50": float("nan"),
    } | figures


def chosen(today, other, means=(100.0, 120.0)):
    names = ("today", "other")
    blocks = dict(zip(names, ([today], [other]), strict=True))
    return choose_scenario(names, blocks, dict(zip(names, means, strict=True)), "margin")


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
    np.testing.assert_allclose(found.totals["tonnes_settled_mean"], settled.mean(1))
    np.testing.assert_allclose(
        found.totals["chance_less_settled"].iloc[1:], (settled[1:] < settled[0]).mean(1)
    )


def test_money_is_that_of_the_money_module():
    records = small_estate(prices=prices())
    found = compared(records)
    drawn = scenario_draws(records, scenarios(), 2026, draws=400)
    own = scenario_money(records, drawn, COSTS, settled=True).frame
    assert found.money_settled["margin_mean"].tolist() == own["margin_mean"].tolist()
    assert found.choice.by == "margin"
    assert found.choice.means == dict(zip(own["scenario"], own["margin_mean"], strict=True))


def test_without_prices_the_crop_decides_and_the_report_says_so():
    found = compared(small_estate())
    assert found.choice.by == "crop"
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
    found = compared(records, frost_draws=200)
    cover = frost_cover(records, "Fir", "2x10+2x2,2x12+2x2,2x8+2x2", 2026, draws=200)
    fir = found.blocks[found.blocks["block"] == "Fir"]
    expected = cover.frame["mean_crop_p50"]
    np.testing.assert_allclose(fir["t_ha_settled_with_frost_p50"], expected)
    assert (fir["frost_mean_share_p50"] < 1).all()
    assert "budburst" in found.frost_missing["Alder"]
    assert found.blocks.loc[found.blocks["block"] == "Alder", "frost_mean_share_p50"].isna().all()


def test_more_money_wins_while_every_block_stays_in_its_bands():
    choice = chosen(block(), block(shoots_per_m_p50=14.0))
    assert (choice.chosen, choice.leader) == ("other", "other")
    assert choice.objections["other"] == ()


@pytest.mark.parametrize(
    ("before", "after", "refused"),
    [
        ({}, {"density_word": "above", "shoots_per_m_p50": 16.0}, True),
        ({}, {"balance_settled_word": "below", "ravaz_settled_p50": 3.0}, True),
        (
            {"density_word": "above", "shoots_per_m_p50": 16.0},
            {"density_word": "above", "shoots_per_m_p50": 17.0},
            True,
        ),
        (
            {"density_word": "above", "shoots_per_m_p50": 17.0},
            {"density_word": "above", "shoots_per_m_p50": 16.0},
            False,
        ),
        (
            {"density_word": "below", "shoots_per_m_p50": 8.0},
            {"density_word": "above", "shoots_per_m_p50": 16.0},
            True,
        ),
        (
            {"density_word": "above", "shoots_per_m_p50": 16.01},
            {"density_word": "above", "shoots_per_m_p50": 16.02},
            False,
        ),
    ],
)
def test_balance_goes_before_money(before, after, refused):
    choice = chosen(block(**before), block(**after))
    assert choice.leader == "other"
    assert choice.chosen == ("today" if refused else "other")


def test_wood_and_frost_are_arguments_that_decide_nothing():
    today = block(frost_mean_share_p50=0.95)
    choice = chosen(today, block(places_short_5_winters=1.5, frost_mean_share_p50=0.90))
    assert choice.chosen == "other"
    assert [o.about for o in choice.objections["other"]] == ["wood", "frost"]


def test_what_is_out_of_its_band_today_already_is_said_of_the_chosen():
    out = block(density_word="above", shoots_per_m_p50=16.0)
    choice = chosen(out, block(density_word="above", shoots_per_m_p50=17.0))
    assert [o.about for o in choice.standing] == ["density"]


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
