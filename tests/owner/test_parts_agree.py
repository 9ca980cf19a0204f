"""A block in parts weighs the same for the home page, the winery, the owner and the comparison."""

import numpy as np
import pytest
from season_records import SEASON, small_estate

from cropload import compare_blocks, compare_plans, compare_scenarios, forecast, intake_schedule
from cropload.owner.panels.opening_scenarios import opening_scenarios
from cropload.owner.scenario_input import read_scenario_lines
from cropload.pages.home_answer import home_table

#: Draws, and how far apart answers may lie: only some know how far nodes differ (a spread).
DRAWS, NEAR = 2000, 0.01

PARTS = [
    {"block": "Alder", "part": part, "vines": vines, "plan": plan, "pruning_weight_kg": kg}
    for part, vines, plan, kg in (("strong", 400, "2x14+2x2", 0.9), ("weak", 600, "2x8+2x2", 0.4))
]


@pytest.fixture(scope="module")
def records():
    return small_estate(parts=PARTS)


@pytest.fixture(scope="module")
def told(records):
    return forecast(records, SEASON, draws=DRAWS)


def of_alder(frame, name="tonnes_p50"):
    return frame.loc[frame["block"] == "Alder", name].iloc[0]


def test_home_has_the_tonnes_of_the_forecast(records, told):
    row = home_table(records, told, draws=DRAWS)
    assert of_alder(row) == of_alder(told.frame_by("block"))
    assert of_alder(row, "plan") == "strong 2x14+2x2; weak 2x8+2x2"
    assert of_alder(row, "planned")


def test_compare_has_the_tonnes_of_the_forecast(records, told):
    middle = pytest.approx(of_alder(told.frame_by("block")), rel=NEAR)
    blocks = compare_blocks(records, season=SEASON, draws=DRAWS)
    assert of_alder(blocks.frame) == middle
    found = compare_plans(records, "Alder", "last,2x10+2x2", SEASON, draws=DRAWS)
    assert found["tonnes_p50"].iloc[0] == of_alder(blocks.frame)
    assert found["plan"].iloc[0] == of_alder(blocks.frame, "plan")


def test_the_owner_has_the_tonnes_of_the_forecast(records, told):
    lines = ["today=Alder:last,Fir:last", "same=Alder:2x10+2x2,Fir:last"]
    scenarios = read_scenario_lines(lines, records, SEASON)
    found = compare_scenarios(records, scenarios, SEASON, draws=DRAWS)
    assert of_alder(found.frame) == pytest.approx(of_alder(told.frame_by("block")), rel=NEAR)
    assert of_alder(found.frame, "buds_per_vine") == pytest.approx(0.4 * 32 + 0.6 * 20)
    # As text, which is what the page keeps.
    text = {"today": {"Alder": "last"}, "same": {"Alder": "2x10+2x2"}}
    again = compare_scenarios(records, text, SEASON, draws=DRAWS)
    assert of_alder(again.frame) == of_alder(found.frame)


def test_the_winery_gets_the_tonnes_of_the_forecast(told):
    got = intake_schedule(told, dict.fromkeys(told.blocks, f"{SEASON}-09-20"))
    names, tonnes = got.sums("block")
    middle = np.median(tonnes.sum(axis=0)[list(names).index("Alder")])
    assert middle == pytest.approx(of_alder(told.frame_by("block")))


def test_the_owners_page_opens_with_what_is_on_record(records):
    opened = opening_scenarios(records, SEASON, ["Alder", "Fir"])
    assert opened["today"] == {"Alder": "last", "Fir": "2x10+2x2"}


def test_prunings_weighed_by_part_judge_each_part(records):
    """The mean of the prunings is (0.4 x 0.9 + 0.6 x 0.4) = 0.6 kg: 1.5 and 0.667 times that."""
    found = compare_blocks(records, season=SEASON, draws=DRAWS)
    (note,) = [note for note in found.notes if "by part" in note]
    plans = compare_plans(records, "Alder", "2x14+2x2,2x8+2x2", SEASON, draws=DRAWS)
    strong, weak = plans["ravaz_p50"]
    assert f"strong {strong / 1.5:.1f} kg/kg (" in note
    assert f"weak {weak * 1.5:.1f} kg/kg (" in note
