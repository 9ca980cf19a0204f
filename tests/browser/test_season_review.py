"""The season review in a real browser: another season, another moment, lessons ticked."""

import re

import pytest

from cropload import example_records, review_season
from cropload.review.accepting import lesson_effect
from cropload.review.learning import learn
from cropload.review.lesson_words import effect_sentence
from cropload.review.scores import level_scores
from cropload.review.split_miss import split_miss
from cropload.review.words import block_sentence, score_sentence

pytestmark = pytest.mark.browser

DRAWS = 4000


def sentence(records, season, moment):
    """What the notebook must say of one moment, computed apart from it."""
    table = level_scores([review_season(records, season, draws=DRAWS)])
    row = table[table["moment"] == moment].iloc[0]
    return score_sentence(row, [season])


def test_a_season_a_moment_and_ticks_are_answered(page, guard, lab):
    records = example_records()
    # Tall, because the lab draws only the cells that are on the screen.
    page.set_viewport_size({"width": 1280, "height": 12000})
    page.goto(f"{lab}/lab/tree/season_review.ipynb?reset")
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name=re.compile("^Run All Cells")).first.click()
    page.get_by_text(sentence(records, 2026, "clusters")).first.wait_for()
    page.get_by_text("buds at each node are enough").first.wait_for()

    page.get_by_label("Season (year of harvest)").select_option("2025")
    page.get_by_text(sentence(records, 2025, "clusters")).first.wait_for()
    found = review_season(records, 2025, draws=DRAWS)
    told = block_sentence(split_miss(records, 2025, found.forecasts["lag"]), "Long Acre")
    assert page.get_by_text(told).count() == 0
    page.get_by_label("Forecast made").nth(1).select_option(
        f"after lag weights, {found.days['lag']:%Y-%m-%d}"
    )
    page.get_by_text(told).first.wait_for()

    page.get_by_role("button", name="Tick none").click()
    page.get_by_text("0 of 25 are ticked").first.wait_for()
    page.get_by_label("node profile: Riesling").check()
    page.get_by_role("button", name="Show what the ticked ones change").click()
    effect = lesson_effect(records, learn(records), ["profile:Riesling"], draws=DRAWS)
    page.get_by_text(effect_sentence(effect)).first.wait_for()
    page.get_by_role("button", name="Accept the ticked lessons").click()
    page.get_by_text("make a folder of your own first").first.wait_for()

    page.get_by_label("Units").select_option("US (short ton, lb/ft, lb)")
    page.get_by_text("by season of growth [lb/ft]").first.wait_for()
    page.get_by_label("Figure", exact=True).first.select_option("weight of one cane")
    page.locator("img[alt*='Weight of one cane by season']").first.wait_for()

    assert page.get_by_text("Traceback").count() == 0
    # The refusal to write into the sample is the only message.
    assert len(page.locator(".cl-error").all_inner_texts()) == 1
    assert page.locator("img[alt*='80 % range, equal tails']").count() >= 3
    assert guard.passed > 20
    assert guard.blocked == []
