"""Past springs in crop and money: on as many draws as the rest, and the same in every block."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import table

from cropload import example_records
from cropload.frost.replay import replay_frost
from cropload.frost.years import block_frost_years, block_weather
from cropload.owner.money import scenario_draws
from cropload.owner.scenarios import compare_scenarios
from cropload.owner.springs import past_springs

DRAWS = 1000
PLANS = {
    "today": {"Long Acre": "3x8+3x2", "Mill Meadow": "2x12+2x2", "Fox Hollow": "2x8+2x2"},
    "longer": {"Long Acre": "3x10+3x2", "Mill Meadow": "2x14+2x2", "Fox Hollow": "2x8+2x2"},
}


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture(scope="module")
def found(records):
    return compare_scenarios(records, PLANS, 2027, draws=DRAWS)


@pytest.fixture(scope="module")
def drawn(records):
    return scenario_draws(records, PLANS, 2027, draws=DRAWS)


@pytest.fixture(scope="module")
def springs(records, drawn):
    return past_springs(records, drawn, 2027, DRAWS, 0)


def test_the_frost_table_and_its_neighbour_agree(records, found):
    """Crop with frost over crop without is the mean share that the springs left, in each block."""
    for block in ("Long Acre", "Mill Meadow"):
        years = block_frost_years(block_weather(records, block), case="laid_down", draws=DRAWS)
        rows = found.frame[found.frame["block"] == block]
        for row in rows.to_dict("records"):
            left = replay_frost(years, [row["plan"]]).crop_left[0]
            ratio = row["t_ha_settled_with_frost_p50"] / row["t_ha_settled_p50"]
            assert ratio == pytest.approx(left.mean(), abs=0.012)
            assert row["frost_worst_in_ten_p50"] < row["frost_mean_share_p50"]


def test_frost_is_in_the_sums_and_the_money(records, found):
    free = compare_scenarios(records, PLANS, 2027, draws=DRAWS, frost=False)
    share = found.money_settled["revenue_p50"] / free.money_settled["revenue_p50"]
    assert share.between(0.9, 0.97).all()
    assert (found.totals["tonnes_settled_mean"] < free.totals["tonnes_settled_mean"]).all()
    assert "budburst" in found.frost_missing["Fox Hollow"]
    assert (
        found.frame.loc[found.frame["block"] == "Fox Hollow", "frost_mean_share_p50"].isna().all()
    )


def test_as_many_draws_as_the_crops_and_the_same_spring_in_every_block(drawn, springs):
    shares = springs.shares(drawn, 0)
    assert shares.shape == (2, 3, DRAWS)
    assert (shares[:, 2] == 1).all()
    # The spring that took most of Mill Meadow took most of Long Acre too.
    acre, meadow = shares[0, :2]
    hard = meadow < np.quantile(meadow, 0.05)
    assert acre[hard].mean() < acre[~hard].mean() - 0.1
    left = springs.replays["Mill Meadow", drawn.plans["today"]["Mill Meadow"]].crop_left[0]
    assert meadow.mean() == pytest.approx(left.mean(), abs=0.02)
    later = springs.shares(drawn, 0, 1)
    assert later.mean() == pytest.approx(shares.mean(), abs=0.02)
    assert abs(np.corrcoef(later[0, 1], shares[0, 1])[0, 1]) < 0.2


def test_a_blocks_springs_do_not_depend_on_its_company(records, springs, drawn):
    alone = {name: {"Mill Meadow": plans["Mill Meadow"]} for name, plans in PLANS.items()}
    here = scenario_draws(records, alone, 2027, draws=DRAWS)
    own = past_springs(records, here, 2027, DRAWS, 0).shares(here, 0)
    np.testing.assert_array_equal(own[:, 0], springs.shares(drawn, 0)[:, 1])


def test_a_frosted_harvest_teaches_no_crop_without_frost_once_its_frost_is_told(records, found):
    """Spring 2021 of the invented estate killed half the shoots of Mill Meadow."""
    assert found.frost_twice == {"Mill Meadow": [2021]}
    assert any("counts twice" in note for note in found.notes)
    frost = {"block": "Mill Meadow", "date": "2021-05-09", "kind": "frost", "share_pct": 45}
    told = replace(records, events=table("events", [frost | {"of": "crop"}]))
    again = compare_scenarios(told, PLANS, 2027, draws=DRAWS)
    assert again.frost_twice == {}
    assert not any("counts twice" in note for note in again.notes)

    def middle(answer):
        row = answer.frame[answer.frame["block"] == "Mill Meadow"].iloc[0]
        return row["t_ha_settled_p50"]

    assert middle(again) > 1.02 * middle(found)
