"""The season in a real browser: a count is typed in, and the tonnes on the screen follow."""

import re
from dataclasses import replace

import pytest

from cropload import example_records, forecast
from cropload.beliefs.history import learned_before
from cropload.season.panels.entered_rows import added
from cropload.season.words import forecast_sentence

pytestmark = pytest.mark.browser

DAY = "2026-07-12"
COUNTS = [23, 31, 18, 27, 25, 22, 20, 30]


def sentences(records, day):
    """What the notebook must say of a block and of the estate, computed apart from it."""
    learned = learned_before(example_records(), 2026)
    found = forecast(records, 2026, day, learned=learned)
    return forecast_sentence(found, "block", "Upper Knoll"), forecast_sentence(found)


def with_counts():
    """The sample's records with the counts that are typed in below."""
    rows = [
        {"season": 2026, "date": DAY, "block": "Upper Knoll", "row": "typed", "vine": str(vine),
         "clusters": clusters}
        for vine, clusters in enumerate(COUNTS)
    ]  # fmt: skip
    records = example_records()
    return replace(records, counts=added(records.counts, rows))


def test_a_count_typed_in_moves_the_tonnes_to_what_forecast_computes(page, guard, lab):
    # Tall, because the lab draws only the cells that are on the screen.
    page.set_viewport_size({"width": 1280, "height": 9000})
    page.goto(f"{lab}/lab/tree/counting_and_forecast.ipynb?reset")
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name=re.compile("^Run All Cells")).first.click()
    page.get_by_role("heading", name="Thinning").wait_for()
    day = page.get_by_label("or another day")
    day.fill(DAY)
    day.press("Enter")
    _, before = sentences(example_records(), DAY)
    page.get_by_text(before).first.wait_for()
    page.get_by_label("Counted block").select_option("Upper Knoll")
    box = page.get_by_label("One number a vine")
    box.focus()
    page.keyboard.type(" ".join(map(str, COUNTS)))
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    block, estate = sentences(with_counts(), DAY)
    assert estate != before
    page.get_by_text(block).first.wait_for()
    page.get_by_text(estate).first.wait_for()
    assert page.get_by_text(before).count() == 0
    assert page.get_by_text("Traceback").count() == 0
    assert page.locator(".cl-error").all_inner_texts() == []
    assert page.locator("img[alt*='80 % range, equal tails']").count() >= 2
    assert guard.passed > 20
    assert guard.blocked == []
