"""The page of an owner's scenarios, worked without a browser."""

import io
import re

import numpy as np
import openpyxl
import pytest
from helpers import LEARNT_FROM, block_row, sample_copy
from season_records import block_rows, small_estate

from cropload.owner.costs import Costs, Span
from cropload.owner.money import scenario_draws
from cropload.owner.panels import opening_scenarios as opening
from cropload.owner.panels.owner_scenarios import OwnerScenarios

PRICES = [
    {"variety": v, "price_per_t": 1000, "currency": "EUR"} for v in ("Riesling", "Pinot noir")
]


@pytest.fixture(scope="module")
def records():
    return small_estate(prices=PRICES)


@pytest.fixture
def page(records):
    return OwnerScenarios(records, blocks=["Alder", "Fir"], season=2026, draws=200)


def unfold(page, words):
    """Open a fold and return what lies in it."""
    for fold in page.children[-1].children:
        if fold.words == words:
            if not fold.is_open:
                fold.turn()
            return fold.inside.children[0]
    raise AssertionError(words)


@pytest.fixture
def boxes(page):
    return unfold(page, "scenarios: blocks and plans")


@pytest.fixture
def costs(page):
    return unfold(page, "costs and prices")


def test_opens_with_last_plan_longer_and_shorter_wood(page, boxes):
    assert page.scenarios == {
        "today": {"Alder": "2x10+2x2", "Fir": "2x10+2x2"},
        "longer": {"Alder": "2x12+2x2", "Fir": "2x12+2x2"},
        "shorter": {"Alder": "2x8+2x2", "Fir": "2x8+2x2"},
    }
    assert boxes.chosen() == page.scenarios
    assert page.found.names == ("today", "longer", "shorter")


def test_kept_scenarios_stand_beside_today(records, monkeypatch):
    kept = {"mix": {"Alder": "2x14+2x2"}, "elsewhere": {"Elder": "2x8+2x2"}}
    monkeypatch.setattr(opening, "kept_scenarios", lambda records, season, **_: kept)
    page = OwnerScenarios(records, blocks=["Alder", "Fir"], season=2026, draws=200)
    assert page.scenarios == {
        "today": {"Alder": "2x10+2x2", "Fir": "2x10+2x2"},
        "mix": {"Alder": "2x14+2x2", "Fir": "2x10+2x2"},
    }
    assert page.found.names == ("today", "mix")


def test_differences_are_of_the_same_seasons(page, records):
    drawn = scenario_draws(records, page.scenarios, 2026, draws=200, seed=0)
    crop = sum(season.sum(1) for season in drawn.drawn.tonnes_by_season())
    # One price and no cost: money is the crop times it, draw by draw.
    want = np.quantile(1000 * (crop[1] - crop[0]), [0.1, 0.5, 0.9])
    row = page.found.decision.row("longer")
    ends = [row[f"money_all_{end}"] for end in ("p10", "p50", "p90")]
    assert ends == pytest.approx(want.tolist())
    # Far narrower than two ranges held against each other.
    assert want[2] - want[0] < 500 * np.ptp(np.quantile(crop[1], [0.1, 0.9]))


def test_the_page_lists_the_blocks_to_change_and_says_so_in_words(page):
    unfold(page, "what you can bear").boxes["area_out"].value = "100"
    told = page.sentence.text.value
    assert "Prune Alder to 2x12+2x2 and Fir to 2x12+2x2" in told
    assert "more than &#x27;today&#x27; over five seasons" in told
    assert page.rows.table.value.count("2x12+2x2") == 2


def test_what_the_owner_bears_changes_the_choice(page, costs):
    limits = unfold(page, "what you can bear")
    limits.boxes["area_out"].value = "100"
    assert page.found.decision.chosen == "longer"
    costs.boxes["minutes_per_bud"].value = "0.1"
    # 2 x 1000 vines of 24 buds at 0.1 min are 80 h, and 93 h with longer wood.
    limits.boxes["hours"].value = "87"
    assert sorted(page.found.decision.picks.values()) == ["longer", "today"]
    assert "More than 87 pruning hours would bring up to EUR" in page.sentence.text.value
    limits.boxes["hours"].value = "many"
    assert "is not a number" in limits.message.value
    limits.boxes["hours"].value = ""
    limits.boxes["ceilings"].value = "Alder=0.1"
    assert "No choice among these plans keeps the ceiling of Alder" in page.sentence.text.value
    limits.boxes["ceilings"].value = ""
    before = page.found.decision.row("longer")["money_all_mean"]
    limits.boxes["discount"].value = "10"
    assert page.found.decision.row("longer")["money_all_mean"] < before


def test_a_changed_plan_changes_the_answer(page, boxes):
    before = page.found.totals["tonnes_p50"].tolist()
    told = page.rows.picture.value
    boxes.plans["Fir"][1].value = "2x14+2x2"
    after = page.found.totals["tonnes_p50"].tolist()
    assert after[0] == before[0]
    assert after[1] > before[1]
    assert page.rows.picture.value != told
    assert "2x14+2x2" in unfold(page, "block by block").text.value


def test_costs_come_off_what_is_left(page, costs):
    before = page.found.money_settled["margin_mean"]
    costs.boxes["other_per_ha"].value = "1000"
    # Two blocks of 1,000 vines at 2.5 m x 1.5 m are 0.75 ha.
    fall = before - page.found.money_settled["margin_mean"]
    assert fall.tolist() == pytest.approx([750.0] * len(fall))
    costs.boxes["other_per_ha"].value = "-1"
    assert "must be a number of 0 or more" in costs.message.value
    costs.boxes["other_per_ha"].value = "900 to 1100"
    assert "is neither a number nor a range like 0.9-1.3" in costs.message.value
    assert page.costs.other_per_ha == 1000


def test_a_cost_of_one_block_stands_beside_that_of_all(page, costs):
    costs.boxes["other_per_ha"].value = "1000"
    costs.whose.value = "Fir"
    assert costs.boxes["other_per_ha"].value == ""
    costs.boxes["other_per_ha"].value = "900-1100"
    assert page.costs == Costs(other_per_ha=1000.0, of={"Fir": {"other_per_ha": Span(900, 1100)}})
    costs.whose.value = ""
    assert costs.boxes["other_per_ha"].value == "1000"
    costs.whose.value = "Fir"
    costs.boxes["other_per_ha"].value = ""
    assert page.costs == Costs(other_per_ha=1000.0)


def test_what_it_hangs_on_is_told_and_drawn_for_the_plan_chosen(page):
    why = unfold(page, "why: what it hangs on")
    why.desk.settle()
    assert "When each plan leaves more than" in why.turns.value
    assert why.which.value == page.found.why.asked
    why.which.value = "shorter"
    assert "beside &#x27;today&#x27; over five seasons" in why.picture.value
    assert "What moves &#x27;shorter&#x27;" in why.picture.value


def test_us_units_keep_the_money(page, costs):
    costs.boxes["other_per_ha"].value = "1000"
    costs.boxes["picking_per_t"].value = "100"
    page.desk.open_with(units="us")
    # 1 ha = 2.4711 ac and 1 t = 1.1023 short tons, so an acre and a short ton cost less.
    assert float(costs.boxes["other_per_ha"].value) == pytest.approx(404.686, abs=0.001)
    assert float(costs.boxes["picking_per_t"].value) == pytest.approx(90.718, abs=0.001)
    assert "per ac" in costs.boxes["other_per_ha"].description
    assert page.costs.other_per_ha == pytest.approx(1000.0)
    assert page.costs.picking_per_t == pytest.approx(100.0)
    assert "short ton" in page.rows.table.value


def test_further_blocks_and_scenarios_get_their_boxes(page, boxes):
    boxes.blocks["Elder"].value = True
    boxes.count.value = 5
    assert page.found.block_names == ("Alder", "Elder", "Fir")
    assert len(page.found.names) == 5


def test_faults_are_told_together_and_the_last_answer_stays(page, boxes):
    boxes.plans["Alder"][0].value = "many"
    boxes.names[1].value = "today"
    assert "Not possible" in boxes.message.value
    assert "Alder, scenario 1" in boxes.message.value
    assert "Two scenarios are called" in boxes.message.value
    boxes.plans["Alder"][0].value = "2x10+2x2"
    boxes.names[1].value = "longer"
    assert boxes.message.value == ""
    assert page.found.names == ("today", "longer", "shorter")


def test_no_block_is_told(page, boxes):
    for box in boxes.blocks.values():
        box.value = False
    assert "Tick one or more" in boxes.message.value


def test_unknown_block_is_told(records):
    page = OwnerScenarios(records, blocks=["Nowhere"], season=2026, draws=100)
    assert "Nowhere" in page.rows.message.value
    page.children[-3].children[0].press()
    assert "nothing to report" in page.told.value


def test_the_report_is_handed_out_and_nothing_is_written(page, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    name, data = page.report_file("html")
    assert name == "owner_report_2026.html"
    assert "today" in data.decode()
    _, book = page.report_file("xlsx")
    assert "money" in openpyxl.load_workbook(io.BytesIO(book)).sheetnames
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def own_page(tmp_path):
    """A page of a folder of one's own, in which it can keep things."""
    from cropload import read_records

    folder = sample_copy(tmp_path / "mine", *LEARNT_FROM, "contracts")

    def opened():
        records = read_records(folder)
        return OwnerScenarios(records, blocks=["Long Acre"], season=2027, draws=100)

    return folder, opened


def pressed(part, words):
    """Press the button with some words in a part of the page."""
    for each in part.children:
        if getattr(each, "description", "") == words:
            return each.click()
        if hasattr(each, "children") and pressed(each, words) is not False:
            return None
    return False


def test_what_is_typed_is_kept_and_opened_again_and_the_next_report_says_what_changed(own_page):
    folder, opened = own_page
    page = opened()
    costs = unfold(page, "costs and prices")
    before = page.found.money_settled["revenue_p50"]
    settings = unfold(page, "report: settings, keep it")
    pressed(settings, "keep this report")
    assert "is kept" in settings.body.children[-1].children[1].value
    costs.boxes["picking_per_t"].value = "90-140"
    prices = page.children[-1].children
    fold = next(each for each in prices if each.words == "costs and prices")
    boxes = fold.inside.children[2].boxes
    assert boxes["Sauvignon blanc"].value == "1250"
    boxes["Sauvignon blanc"].value = "2500"
    assert (page.found.money_settled["revenue_p50"] > 1.3 * before).all()
    pressed(fold.inside, "keep costs, prices and limits")
    again = opened()
    assert again.costs == page.costs
    assert again.prices == {"Sauvignon blanc": "2500"}
    assert unfold(again, "costs and prices").boxes["picking_per_t"].value == "90-140"
    told = again.report_file("html")[1].decode()
    assert "price of Sauvignon blanc 2500 (before 1250)" in told
    settings = unfold(again, "report: settings, keep it")
    settings.texts["vineyard"].value = "Ours"
    settings.choices["language"].value = "fr"
    settings.appendix["crop"].value = False
    pressed(settings, "keep these settings")
    told = again.report_file("html")[1].decode()
    assert '<html lang="fr">' in told
    assert "Ours" in told
    assert 'id="crop"' not in told
    assert (folder / "report.1.toml").exists()


def test_frost_is_in_the_report_only_when_it_is_wanted(page):
    wanted = page.report_file("html")[1].decode()
    unfold(page, "spring frost").value = False
    left_out = page.report_file("html")[1].decode()
    assert "was not asked for" in left_out
    assert "was not asked for" not in wanted


def test_picture_has_its_numbers_in_words_and_plainly(page):
    alt = re.search('alt="([^"]*)"', page.rows.picture.value)[1]
    assert "Left over beside &#x27;today&#x27;, five seasons [EUR], 8 in 10" in alt
    assert re.search(r"longer( \(recommended\))?: \+", alt)


def test_without_prices_crop_is_compared(records):
    page = OwnerScenarios(small_estate(), blocks=["Alder", "Fir"], season=2026, draws=200)
    assert "Crop beside" in page.rows.picture.value
    assert "EUR" not in page.rows.table.value
    fold = next(f for f in page.children[-1].children if f.words == "costs and prices")
    fold.turn()
    assert "No prices are on record" in fold.inside.children[1].text.value


def test_names_of_blocks_are_escaped():
    odd = "<script>alert(1)</script>"
    records = small_estate(blocks=[*block_rows(), block_row(odd, "Riesling")])
    page = OwnerScenarios(records, blocks=["Alder", odd], season=2026, draws=100)
    shown = page.rows.table.value + page.sentence.text.value
    shown += unfold(page, "block by block").text.value
    assert "<script>" not in shown
    assert "&lt;script&gt;" in shown
