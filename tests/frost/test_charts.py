"""Figures and words of spring frost: they show what was replayed, and tell it without pictures."""

import numpy as np
import pytest

from cropload.frost import charts as frost_figures
from cropload.frost import frost_map
from cropload.frost import words as frost_wording
from cropload.frost.cover import frost_cover, one_case
from cropload.records.example import example_records
from cropload.show import wording
from cropload.show.drawing import blank, svg
from cropload.units import US
from cropload.vine.weather.settings import CASES

PLANS = "2x10+2x2,2x14+2x2"


@pytest.fixture(scope="module")
def replay():
    return frost_cover(example_records(), "Mill Meadow", PLANS, case=CASES, draws=300)


@pytest.fixture(scope="module")
def laid_down(replay):
    return one_case(replay, "laid_down")


def texts(ax):
    return [text.get_text() for text in ax.texts]


def test_each_cell_is_what_that_spring_left_of_that_plan(laid_down):
    ax = frost_figures.plot_years(laid_down, blank(2).add_subplot())
    left = np.median(laid_down.crop_left, axis=2)
    assert texts(ax) == [f"{100 * value:.0f}" for value in left.ravel()]
    assert np.asarray(ax.images[0].get_array()) == pytest.approx(100 * left)
    bold = [text.get_fontweight() == "bold" for text in ax.texts]
    assert bold == (left.ravel() < 0.7).tolist()


def test_crops_are_those_of_the_table_in_the_units_asked_for(laid_down):
    table = laid_down.frame
    metric = texts(frost_figures.crop_rows(laid_down).plot())
    row = table.iloc[0]
    assert metric[0] == (
        f"{row['frost_free_p50']:.1f} ({row['frost_free_p10']:.1f}-{row['frost_free_p90']:.1f})"
    )
    us = frost_figures.crop_rows(laid_down, US).plot()
    assert "ton/ac" in us.get_xlabel()
    # 1 t/ha is 0.446 short tons an acre.
    assert texts(us)[0].startswith(f"{0.44609 * row['frost_free_p50']:.1f} (")


@pytest.mark.parametrize("years", [3, 20, 45])
def test_a_record_of_any_length_is_drawn_with_nothing_outside(laid_down, years):
    from dataclasses import replace

    at = np.arange(years) % 20
    long = replace(
        laid_down,
        seasons=tuple(range(1980, 1980 + years)),
        crop_left=laid_down.crop_left[:, at],
        crop=laid_down.crop[:, at],
    )
    drawn = frost_figures.years_figure(long)
    strips = drawn.axes[:-1]
    assert len(strips) == -(-years // 20)
    assert sum(len(texts(ax)) for ax in strips) == 2 * years
    for ax in drawn.axes:
        box = ax.get_position()
        assert 0 <= box.x0 < box.x1 <= 1
        assert 0 <= box.y0 < box.y1 <= 1
    assert svg(drawn).lstrip().startswith("<?xml")


def test_the_same_replay_gives_the_same_picture(laid_down):
    first, second = (svg(frost_figures.years_figure(laid_down)) for _ in range(2))
    assert first == second


def test_words_hold_the_springs_that_hurt_and_no_other(laid_down):
    words = frost_figures.years_text(laid_down)
    left = np.median(laid_down.crop_left[0], axis=1)
    for season, value in zip(laid_down.seasons, left, strict=True):
        assert (f"{season} {100 * value:.0f}" in words) == (value < 0.995)
    assert "80 % range, equal tails" in words


def test_the_cases_are_shown_apart(replay):
    for case in CASES:
        one = one_case(replay, case)
        assert set(one.cases) == {case}
        assert frost_wording.CASE_WORDS[case] in frost_figures.years_text(one)
    sentences = frost_wording.year_sentences(replay)
    assert len(sentences) == 4
    assert all(
        frost_wording.CASE_WORDS[case] in line
        for case, line in zip(replay.cases, sentences, strict=True)
    )


def test_longer_canes_laid_down_are_said_to_gain_little(replay):
    line = frost_wording.shelter_sentences(replay)[0]
    assert "2x14+2x2 (laid down in winter)" in line
    assert "That is little" in line
    late = frost_wording.shelter_sentences(replay)[1]
    assert "cost of the late cut is not in this figure" in late


def test_chances_are_never_bare_numbers(replay):
    for line, row in zip(
        frost_wording.year_sentences(replay), replay.frame.to_dict("records"), strict=True
    ):
        chance = wording.ranged((row["chance_low"], None, row["chance_high"]), wording.chance)
        assert f"the chance of that in a year is {chance}" in line


def test_a_plan_that_differs_in_nothing_keeps_no_more():
    same = frost_cover(example_records(), "Mill Meadow", "2x10,3x10", draws=200)
    assert "keeps no more from frost" in frost_wording.shelter_sentences(same)[0]


def test_stages_on_the_map_follow_the_heat():
    # 12 C in the mean is 2.5 to 3 degree days above 10 C a day by the sine; at 4 burst, never
    # below the winter bud (2), and more leaves with every day.
    stages = frost_map.first_bud_stages([-60, -5, 0, 10, 40])
    assert stages[0] == 2
    assert 2 < stages[1] < 4
    assert stages[2] == 4
    assert (np.diff(stages) > 0).all()


def test_map_words_name_where_two_plans_differ_most():
    left = np.ones((2, 3, 4))
    left[:, 1, 2] = 0.5, 0.8
    days, cold = (0, 10, 20), (-1.0, -2.0, -3.0, -4.0)
    words = frost_map.map_text(left, ["2x8", "2x12"], days, cold, "laid_down")
    assert "They differ most on day 10 at -3.0 °C: 2x8 keeps 50.0 % and 2x12 80.0 %." in words
    same = frost_map.map_text(left[:1].repeat(2, 0), ["a", "b"], days, cold, "laid_down")
    assert same.endswith("They do not differ on any night.")
    drawn = frost_map.map_figure(left, ["2x8", "2x12"], days, cold, "laid_down", US)
    assert "°F" in drawn.axes[0].get_ylabel()
    assert np.asarray(drawn.axes[0].images[0].get_array()) == pytest.approx(100 * left[0].T)


def test_evidence_names_a_grade_that_can_be_looked_up():
    from cropload import handbook

    lines = frost_wording.evidence()
    keys = [key for _, _, keys in lines for key in keys]
    assert set(keys) <= set(handbook.keys("frost."))
    text = " ".join(f"{heading} {words}" for heading, words, _ in lines)
    for phrase in ("an assumption", "none in the UK", "Not known", "1 or 2 in 100"):
        assert phrase in text


def test_cautions_are_the_usual_ones():
    # As handbooks of frost protection give them; common practice, no source.
    text = " ".join(f"{head} {words}" for head, words in frost_wording.CAUTIONS)
    for phrase in ("inversion", "noise", "until the ice has melted", "fire", "Night work"):
        assert phrase in text
    assert "Local codes" in frost_wording.SUPPORT
