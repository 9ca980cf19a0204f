"""The panel of owner's scenarios, worked without a browser."""

import base64
import re

import openpyxl
import pytest
from helpers import block_row
from season_records import block_rows, small_estate

from cropload.owner.panels.owner_scenarios import OwnerScenarios

PRICES = [
    {"variety": v, "price_per_t": 1000, "currency": "EUR"} for v in ("Riesling", "Pinot noir")
]


@pytest.fixture(scope="module")
def records():
    return small_estate(prices=PRICES)


@pytest.fixture
def panel(records, tmp_path):
    return OwnerScenarios(
        records, blocks=["Alder", "Fir"], season=2026, results_folder=tmp_path, draws=200
    )


def test_opens_with_last_plan_longer_and_shorter_wood(panel):
    plans = {
        name: {b: str(p) for b, p in of.items()} for name, of in panel.boxes.scenarios().items()
    }
    assert list(plans) == ["today", "longer", "shorter"]
    assert plans["today"] == {"Alder": "2x10+2x2", "Fir": "2x10+2x2"}
    assert plans["longer"]["Alder"] == "2x12+2x2"
    assert plans["shorter"]["Fir"] == "2x8+2x2"
    assert panel.found.names == ("today", "longer", "shorter")


def test_a_changed_plan_changes_the_answer(panel):
    before = panel.found.totals["tonnes_p50"].tolist()
    panel.boxes.plans["Fir"][1].value = "2x14+2x2"
    panel.compare_button.click()
    after = panel.found.totals["tonnes_p50"].tolist()
    assert after[0] == before[0]
    assert after[1] > before[1]
    assert "2x14+2x2" in panel.table.value


def test_costs_come_off_what_is_left(panel):
    before = panel.found.money_settled["margin_mean"]
    panel.costs.boxes["other_per_ha"].value = 1000.0
    panel.compare_button.click()
    # Two blocks of 1,000 vines at 2.5 m x 1.5 m are 0.75 ha.
    assert (before - panel.found.money_settled["margin_mean"]).tolist() == pytest.approx(
        [750.0] * 3
    )


def test_us_units_keep_the_money(panel):
    panel.costs.boxes["other_per_ha"].value = 1000.0
    panel.costs.boxes["picking_per_t"].value = 100.0
    panel.unit_choice.value = "us"
    # 1 ha = 2.4711 ac and 1 t = 1.1023 short tons, so an acre and a short ton cost less.
    assert panel.costs.boxes["other_per_ha"].value == pytest.approx(404.686, abs=0.001)
    assert panel.costs.boxes["picking_per_t"].value == pytest.approx(90.718, abs=0.001)
    assert "per ac" in panel.costs.boxes["other_per_ha"].description
    assert panel.costs.terms().other_per_ha == pytest.approx(1000.0)
    assert panel.costs.terms().picking_per_t == pytest.approx(100.0)
    assert "short ton" in panel.table.value


def test_further_blocks_and_scenarios_get_their_boxes(panel):
    panel.boxes.blocks["Elder"].value = True
    panel.boxes.count.value = 5
    panel.compare_button.click()
    assert panel.found.block_names == ("Alder", "Elder", "Fir")
    assert len(panel.found.names) == 5


def test_faults_are_told_together_and_never_raised(panel):
    panel.boxes.plans["Alder"][0].value = "many"
    panel.boxes.names[1].value = "today"
    panel.compare_button.click()
    assert "Not possible" in panel.message.value
    assert "Alder, scenario 1" in panel.message.value
    assert "Two scenarios are called" in panel.message.value
    assert panel.results.layout.display == "none"
    panel.html_button.click()
    assert "nothing to keep" in panel.kept.value


def test_no_block_is_told(panel):
    for box in panel.boxes.blocks.values():
        box.value = False
    panel.compare_button.click()
    assert "Tick one or more" in panel.message.value


def test_unknown_block_is_told(records):
    assert "no block" in OwnerScenarios(records, blocks=["Nowhere"]).message.value


def test_buttons_write_new_files_and_never_over_old_ones(panel, tmp_path):
    for _ in range(2):
        panel.html_button.click()
        panel.excel_button.click()
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == [
        "owner_report_2026.html",
        "owner_report_2026.xlsx",
        "owner_report_2026_2.html",
        "owner_report_2026_2.xlsx",
    ]
    assert "money" in openpyxl.load_workbook(tmp_path / names[1]).sheetnames
    assert "Done" in panel.kept.value


def test_figure_has_its_numbers_in_words(panel):
    assert 'alt="What each scenario leaves over' in panel.figure.value
    assert "first season" in panel.figure.value


def test_names_of_blocks_are_escaped():
    odd = "<script>alert(1)</script>"
    records = small_estate(blocks=[*block_rows(), block_row(odd, "Riesling")])
    panel = OwnerScenarios(records, blocks=["Alder", odd], season=2026, draws=100)
    shown = panel.table.value + panel.answer.value + panel.reasons.value
    assert "<script>" not in shown
    assert "&lt;script&gt;" in shown


def test_the_letters_of_the_figure_are_about_as_large_as_those_of_the_page(panel):
    # Drawn in units of a small phone's width; the page's letters are 13 px, the figure's 9 to 10.5.
    drawn = float(re.search(r'viewBox="0 0 (\d+)', svg_of(panel))[1])
    shown = float(re.search(r"max-width: ([\d.]+)px", panel.figure.value)[1])
    assert 9 * shown / drawn >= 11
    assert 10.5 * shown / drawn <= 14.5


def svg_of(panel):
    data = re.search(r"base64,([^\"]+)", panel.figure.value)[1]
    return base64.b64decode(data).decode()
