"""Answers after harvest: readable wherever they are shown, and told alike on every face."""

from dataclasses import replace

import pytest

from cropload import (
    accept,
    bud_fertility,
    example_records,
    learn,
    review_season,
    split_miss,
    vine_trend,
)
from cropload.review.accepting import lesson_effect
from cropload.review.scores import level_scores
from cropload.show.html import escape
from cropload.units import METRIC, US


@pytest.fixture(scope="module")
def answers():
    records = example_records()
    review = review_season(records, 2025, moments=["clusters"], draws=300)
    lessons = learn(records)
    return {
        "review": review,
        "scores": level_scores([review], "variety"),
        "split": split_miss(records, 2025, review.forecasts["clusters"]),
        "lessons": lessons,
        "effect": lesson_effect(records, lessons, ["counter"], draws=300),
        "trend": vine_trend(records),
        "fertility": bud_fertility(records),
    }


NAMES = ["review", "scores", "split", "lessons", "effect", "trend", "fertility"]


@pytest.mark.parametrize("name", NAMES)
def test_an_answer_prints_in_eighty_columns_and_shows_in_a_notebook(answers, name):
    found = answers[name]
    for units in (METRIC, US):
        lines = found.text(units).splitlines()
        assert len(lines) > 3
        assert max(map(len, lines)) <= 80
    html = found._repr_html_()
    assert html.count("<table") == len(found.tables())
    assert escape(found.table().caption) in html


@pytest.mark.parametrize("name", NAMES)
def test_a_cell_reads_alike_in_the_terminal_and_on_a_page(answers, name):
    for table in answers[name].tables(US):
        _, _, rows = table.cells(US)
        text = " ".join(table.text(US, 300).split())
        page = table.html(US)
        for row in rows:
            assert all(" ".join(cell.split()) in text for cell in row)
            assert all(f">{escape(cell)}<" in page for cell in row)


@pytest.mark.parametrize("name", [name for name in NAMES if name != "effect"])
def test_an_answer_can_be_drawn(answers, name):
    drawn = answers[name].plot()
    assert getattr(drawn, "figure", drawn).axes


@pytest.mark.parametrize("name", ["trend", "fertility"])
def test_vines_and_buds_are_drawn_on_the_axes_that_are_given(answers, name):
    from matplotlib import pyplot

    mine = pyplot.figure().subplots()
    assert answers[name].plot(mine) is mine
    assert mine.lines


def test_what_acceptance_did_is_told_and_unpacks_into_both_files(answers, tmp_path):
    records, lessons = replace(example_records(), path=tmp_path), answers["lessons"]
    done = accept(records, lessons, ["counter"])
    path, before = done
    assert (path, before) == (tmp_path / "learned.toml", None)
    assert str(done).startswith("Accepted: 2 lessons, used for seasons after 2026")
    assert done["outcome"].tolist() == ["accepted", "accepted"]
    again = accept(records, lessons, ["counter"])
    assert str(again).startswith("Nothing is new")
    assert set(again["outcome"]) == {"in force already"}
