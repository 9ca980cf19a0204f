"""The home page: every block in one table, where the season stands, what is due."""

import datetime
import re

import pandas as pd
import pytest
from helpers import block_row, make_records, sample_copy

from cropload import compare_blocks, example_records, forecast
from cropload.pages.home import Home
from cropload.pages.home_answer import due, home_table, question_lines, standing, usual_day
from cropload.units import METRIC


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
    assert "1 of 8 blocks have a plan" in standing(records, 2027, datetime.date(2026, 12, 2))


@pytest.mark.parametrize(
    ("day", "what"),
    [
        ("2026-12-10", ["weigh prunings", "choose a plan"]),
        ("2027-05-20", ["count shoots"]),
        ("2027-07-20", ["count clusters"]),
        ("2027-09-01", ["weigh clusters"]),
        ("2027-11-01", ["enter what the scale said"]),
    ],
)
def test_what_is_due_follows_the_day(records, day, what):
    now, following = due(records, 2027, pd.Timestamp(day))
    assert [each.what for each in now] == what
    assert following is None or following.day > pd.Timestamp(day)


def test_what_is_done_is_no_longer_due(records):
    now, _ = due(records, 2027, pd.Timestamp("2026-11-29"))
    # Prunings of all blocks but one are on record for 2027.
    assert now[0].words() == "weigh prunings in Upper Knoll"
    assert now[1].words() == "choose a plan in 8 blocks"
    assert due(records, 2026, pd.Timestamp("2026-12-01")) == ([], None)


def test_the_usual_day_is_the_estates_own_and_holds_in_the_south():
    rows = [
        {"season": year, "block": "A", "stage": "budburst", "date": f"{year - 1}-10-0{day}"}
        for year, day in ((2024, 3), (2025, 5), (2026, 9))
    ]
    southern = make_records(blocks=[block_row("A")], dates=rows)
    assert usual_day(southern, "budburst", 2027) == pd.Timestamp("2026-10-05")
    assert usual_day(southern, "flowering", 2027) is None
    assert due(make_records(blocks=[block_row("A")]), 2027, pd.Timestamp("2026-12-01"))[1] is None


def test_six_questions_in_the_order_of_the_year_have_a_line_each(records, made, table):
    lines = question_lines(records, made, table, METRIC)
    assert [page for page, *_ in lines] == [
        "pruning_levels",
        "frost_cover",
        "owner_scenarios",
        "counting_and_forecast",
        "winery_intake",
        "season_review",
    ]
    assert all(told for *_, told in lines)


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
