"""Words of what was learned: no more is said than is known."""

from dataclasses import replace

import pandas as pd
import pytest

from cropload.beliefs.learned import Entry
from cropload.review import lesson_words as words
from cropload.review.learning import Lessons
from cropload.review.vine_trend import NOT_CLEAR, TOO_FEW, WEAKER


def trend(*rows):
    """Rows of a trend: block, figure, label and the chances of weaker, holding and stronger."""
    names = ["block", "figure", "label", "chance_weaker", "chance_holding", "chance_stronger"]
    return pd.DataFrame(rows, columns=names).assign(words=lambda t: "the " + t["figure"])


def test_headline_gives_the_chances_and_the_other_figures():
    told = words.trend_sentence(
        trend(
            ("Alder", "wood", WEAKER, 0.91, 0.08, 0.01),
            ("Birch", "wood", NOT_CLEAR, 0.51, 0.40, 0.09),
            ("Cedar", "wood", TOO_FEW, 0.9, 0.1, 0.0),
            ("estate", "wood", NOT_CLEAR, 0.3, 0.7, 0.0),
            ("estate", "index", WEAKER, 0.95, 0.05, 0.0),
        ),
        "wood",
    )
    assert "Getting weaker: Alder (91 %)." in told
    assert "Not clear: Birch (weaker 51 %, holding 40 %, stronger 9 %)." in told
    assert "Too few seasons to say: Cedar." in told
    assert "All blocks together: not clear (weaker 30 %, holding 70 %, stronger under 1 %)." in told
    assert told.endswith("by other figures: the index, getting weaker (95 %).")
    assert "no block can be called" not in told


def test_headline_says_so_when_nothing_is_clear():
    told = words.trend_sentence(trend(("Birch", "wood", NOT_CLEAR, 0.54, 0.4, 0.06)), "wood")
    assert "no block can be called weaker or stronger yet" in told
    assert "etting weaker" not in told


@pytest.mark.parametrize("count", [12, 40])
def test_headline_of_many_blocks_stays_short(count):
    rows = [(f"B{at}", "wood", NOT_CLEAR, 0.5, 0.4, 0.1) for at in range(count)]
    told = words.trend_sentence(trend(*rows), "wood")
    assert told.count("weaker 50 %") == 12
    assert ("28 more" in told) == (count == 40)


def test_a_load_response_is_told_as_what_ten_per_cent_more_buds_change():
    low, middle, high = -0.68, -0.45, -0.22
    row = {"topic": "load", "before": middle, "before_low": low, "before_high": high}
    # Arithmetic: 1.1 to the power of each, less one.
    assert words.figure_range(row, "before") == "-4.2 % (-6.3 % to -2.1 %)"
    ratio = row | {"topic": "counting_bias"}
    assert words.figure_range(ratio, "before") == "-0.45 (-0.68 to -0.22)"
    assert words.lesson_name("load:noncount") == "load response: shoots from old wood"


def lesson(**changes):
    row = {"key": "increase_factor:Riesling", "topic": "component", "before_from": "handbook"}
    for part, middle in (("before", 2.0), ("now", 1.91), ("after", 1.92)):
        row |= {f"{part}_low": middle - 0.1, part: middle, f"{part}_high": middle + 0.1}
    return row | changes


def test_what_a_forecast_uses_now_is_told_beside_the_figure_before():
    assert words.now_text(lesson()) == "as after"
    assert words.now_text(lesson(now=2.0)) == "as before"
    other = lesson(now=1.5, now_low=1.4, now_high=1.6, key="increase_factor:Merlot")
    assert words.now_text(other) == "1.50 (1.40-1.60)"


def lessons_of(*rows):
    """Lessons as ``learn`` gives them, of rows alone."""
    table = pd.DataFrame([lesson(**row) for row in rows])
    table = table.assign(words="weight at harvest / at lag phase", seasons=2, said="moved")
    return Lessons(table, through=2025, profiles=pd.DataFrame(), entries={})


def test_one_source_and_one_use_are_told_once_and_several_in_each_row():
    (table,) = lessons_of({}, {"key": "increase_factor:Merlot"}).tables()
    assert table.caption.endswith("before: handbook; now: as after")
    assert [column.title for column in table.columns] == [
        "of", "seasons", "before", "after", "it has",
    ]  # fmt: skip
    other = {"key": "increase_factor:Merlot", "before_from": "accepted, up to 2024", "now": 1.5}
    (table,) = lessons_of({}, other | {"now_low": 1.4, "now_high": 1.6}).tables()
    _, _, cells = table.cells()
    assert cells[1] == [
        "Merlot", "2", "2.00 (1.90-2.10)", "1.92 (1.82-2.02)", "accepted, up to 2024",
        "1.50 (1.40-1.60)", "moved",
    ]  # fmt: skip


def test_lessons_of_one_season_are_named_when_accepted():
    one = Entry("component", "recovery", 2025, 1, "Riesling", 0.9, 0.03)
    told = words.alone_words([one, replace(one, variety="Merlot", seasons=3)])
    assert "1 lesson rests on one season alone" in told
    assert "recovery: Riesling" in told
    assert "Merlot" not in told
    assert words.alone_words([replace(one, seasons=2)]) == ""
    assert words.entry_figure(replace(one, value=1.1)) == "1.000"
