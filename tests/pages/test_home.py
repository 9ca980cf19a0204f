"""The home page: every block in one table, where the season stands, what is due."""

import datetime
import re
from html import unescape

import pytest
from helpers import block_row, make_records, sample_copy

from cropload import compare_blocks, example_records, forecast, harvest_dates, intake_schedule
from cropload.frost.cover import frost_cover, one_case
from cropload.frost.worth import wood_worth
from cropload.owner.panels.opening_scenarios import opening_scenarios
from cropload.owner.scenarios import compare_scenarios
from cropload.pages.home import Home
from cropload.pages.home_answer import home_table, standing
from cropload.pages.home_questions import QUESTIONS, SLOW, WORKING, question_lines
from cropload.records.scenarios import last_plans
from cropload.season.due import due
from cropload.units import METRIC, US
from cropload.vine.weather.settings import CASES
from cropload.winery.fit import fit_of


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture(scope="module")
def made(records):
    return forecast(records, 2027, draws=500)


@pytest.fixture(scope="module")
def table(records, made):
    return home_table(records, made, draws=500)


def text_of(html):
    return " ".join(re.sub("<[^>]+>", " ", re.sub("(?s)<style.*?</style>", "", html)).split())


def test_the_table_holds_what_the_questions_compute(records, made, table):
    compared = compare_blocks(records, season=2027, draws=500).frame
    assert list(table["block"]) == list(compared["block"])
    assert list(table["plan"]) == list(compared["plan"])
    assert list(table["density_word"]) == list(compared["density_word"])
    crops = made.frame_by("block").set_index("block")["tonnes_p50"]
    assert list(table["tonnes_p50"]) == [crops[block] for block in table["block"]]


def test_a_plan_of_the_season_takes_the_place_of_the_one_carried(tmp_path):
    from cropload import read_records

    folder = sample_copy(tmp_path / "own", "blocks", "pruning", "harvest")
    with open(folder / "pruning.csv", "a", encoding="utf-8") as file:
        file.write("2027,Quarry Bank,2x9+2x2,,,2026-12-01\n")
    records = read_records(folder)
    found = home_table(records, forecast(records, 2027, draws=100), draws=100)
    row = found.set_index("block").loc["Quarry Bank"]
    assert (row["plan"], bool(row["planned"])) == ("2x9+2x2", True)
    assert found["planned"].sum() == 1
    assert "1 of 8 blocks have a plan" in standing(due(records, "2026-12-02", season=2027))


def test_where_the_season_stands_and_what_is_due_are_those_of_due(records, monkeypatch):
    monkeypatch.setattr("cropload.clock.today", lambda: datetime.date(2026, 11, 29))
    page = Home(records, draws=500)
    found = due(records, "2026-11-29", made=page.forecast())
    told = unescape(text_of(page.standing.text.value))
    assert told == f"{standing(found)} {found.heading()}"
    assert "Sunday 29 November 2026; harvest 2027: no block has a plan yet." in told
    # Prunings of all blocks but one are on record for 2027.
    assert "Due now: choose a plan in 8 blocks, weigh prunings in Upper Knoll; next:" in told


def test_a_season_that_was_picked_has_nothing_due(records):
    found = due(records, "2026-12-01", season=2026)
    assert found.heading() == "Nothing is due now."
    assert "harvest 2026: 7 of 8 blocks picked" in standing(found)


def test_six_questions_in_the_order_of_the_year_have_a_line_each(records, made, table):
    lines = question_lines(records, made, table, METRIC, {})
    assert [page for page, *_ in lines] == list(QUESTIONS)
    assert {page for page, _, told in lines if told == WORKING} == set(SLOW)
    assert all(told for *_, told in lines)


def answered(page):
    """The line of each question, once a browser shows the page."""
    page.address.opened({})
    items = re.findall("(?s)<li>(.*?)</li>", page.questions.text.value)
    assert page.questions.message.value == ""
    return dict(zip(QUESTIONS, (text_of(each.split("<br>")[1]) for each in items), strict=True))


def test_frost_owner_and_winery_say_what_their_own_answers_compute(records, made):
    """The line of each question against the answer, asked for apart as its page asks for it."""
    page = Home(records, draws=500)
    told = answered(page)
    table = records.blocks.set_index("block")["frost_offset_c"]
    block = str(table.idxmin())
    carried = last_plans(records, 2027)[block]
    worth = []
    for more in (2, 4):
        canes, rest = carried.split("+")
        number, buds = map(int, canes.split("x"))
        plans = [carried, f"{number}x{buds + more}+{rest}"]
        worth.append(
            wood_worth(
                one_case(frost_cover(records, block, plans, case=CASES, draws=500), CASES[0])
            ).iloc[1]
        )
    best = max(worth, key=lambda row: row["change_p50"])
    ends = f"({best['change_p10']:.1f} to {best['change_p90']:.1f})"
    want = f"{best['plan']} in {block}: {best['change_p50']:+.1f} t/ha a year {ends}"
    assert told["frost_cover"].startswith(want)
    scenarios = opening_scenarios(records, 2027)
    decision = compare_scenarios(records, scenarios, 2027, draws=500).decision
    change = decision.row()
    low, middle, high = (round(change[f"money_all_{end}"], -2) for end in ("p10", "p50", "p90"))
    assert unescape(told["owner_scenarios"]) == (
        f"another plan in {len(decision.changed)} of 8 blocks: EUR {middle:,.0f} "
        f"({low:,.0f}-{high:,.0f}) more over five seasons"
    )
    schedule = intake_schedule(
        made, harvest_dates(records, 2027, draws=500), period=records.capacity
    )
    over = fit_of(schedule, records.capacity).chance_any
    total = made.frame_by("estate").iloc[0]["tonnes_p50"]
    assert told["winery_intake"].startswith(
        f"{total:.1f} t expected; over some limit in {10 * over:.0f} of 10 years"
    )
    page.desk.units = US
    shown = text_of(page.questions.text.value)
    assert "ton/ac a year" in shown
    assert WORKING not in shown


def test_the_page_shows_blocks_that_open_and_the_estate_whole():
    page = Home(draws=500)
    text = text_of(page.blocks.text.value)
    total = page.forecast().frame_by("estate").iloc[0]
    assert f"all {total['tonnes_p50']:.1f} (" in text
    assert 'href="pruning_levels.ipynb?block=Long%20Acre"' in page.blocks.text.value
    assert "Quillfoot (invented)" in page.bar.estate.value
    words = [page.standing.text.value, page.blocks.text.value, page.questions.text.value]
    assert len(" ".join(map(text_of, words)).split()) < 300


def test_names_are_escaped(tmp_path):
    (tmp_path / "blocks.csv").write_text(
        "block,variety,row_spacing_m,vine_spacing_m,vines\n<b>x</b>,<i>,2,1.2,1000\n", "utf-8"
    )
    page = Home(tmp_path, draws=100)
    assert "<b>x</b>" not in page.blocks.text.value
    assert "&lt;b&gt;x&lt;/b&gt;" in page.blocks.text.value
    assert "Load unknown" not in page.message.value


def test_an_estate_of_blocks_alone_has_a_home():
    page = Home(make_records(blocks=[block_row("A"), block_row("B")]), draws=100)
    assert page.message.value == ""
    assert [part.message.value for part in page.desk.parts] == [""] * len(page.desk.parts)
    assert "which plan is carried?" in page.blocks.text.value
    told = answered(page)
    assert told["frost_cover"] == "no weather on record yet: table weather would tell"
    assert "no limit of intake is on record for 2027" in told["winery_intake"]
    assert "prices would tell" in told["owner_scenarios"]


def test_the_page_for_the_phone_is_handed_out():
    page = Home(example_records(), draws=100)
    page._phone()
    name, data = page.pocket.press()
    assert name == "pocket_2027.html"
    assert data.startswith(b"<!doctype html>")


def test_a_quiet_line_leads_to_the_page_that_brings_a_workbook(records):
    assert 'href="import_records.ipynb"' in Home(records, draws=100).children[-1].value
