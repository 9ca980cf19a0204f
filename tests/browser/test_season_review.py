"""The review page in a real browser: another moment, another season, lessons looked at."""

import re

import pytest

from cropload import example_records, review_season
from tests.browser.page_checks import (
    SCREENS,
    check_answer_first,
    check_legible,
    check_no_barrier,
    check_short,
    settle,
)

pytestmark = pytest.mark.browser
expect = pytest.importorskip("playwright.sync_api").expect


@pytest.fixture(scope="module")
def shown(page, pages):
    page.goto(f"{pages}/voila/render/season_review.ipynb")
    page.get_by_role("heading", name="What should change", exact=True).wait_for()
    return page


def answer(season, moment):
    """What the page must say of the estate, computed apart from it."""
    row = review_season(example_records(), season, moments=[moment]).frame_by("estate").iloc[0]
    return re.compile(rf"{row['tonnes_p50']:.1f} t forecast .*{row['picked_t']:.1f} t came over")


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_answer_and_picture_are_on_the_first_screen(shown, width, height):
    wanted = [shown.locator(".cl-number"), shown.locator(".cl-matters")]
    if width > 1000:
        wanted += [shown.locator(".cl-figure img").first, shown.locator(".cl-causes")]
    check_answer_first(shown, wanted, width, height)
    check_legible(shown, width, height)


@pytest.mark.parametrize("width", [1280, 390])
def test_no_barrier_is_found_and_the_page_is_short(shown, width):
    check_no_barrier(shown, width)
    check_short(shown)


def test_a_moment_and_a_season_are_answered(shown, guard):
    shown.set_viewport_size({"width": 1280, "height": 800})
    number = shown.locator(".cl-number")
    expect(number).to_contain_text(answer(2026, "clusters"))
    moments = shown.get_by_label("Forecast made")
    moments.select_option("before picking, 2026-09-16")
    expect(number).to_contain_text(answer(2026, "picking"))
    shown.get_by_label("Harvest", exact=True).select_option("2025")
    expect(number).to_contain_text(answer(2025, "picking"))
    expect(shown.get_by_text("No cause stands out in 2026")).to_have_count(0)
    shown.get_by_role("button", name=re.compile("lessons to accept")).click()
    shown.get_by_label("counter: crew A").wait_for()
    settle(shown)
    shown.get_by_role("button", name="accept the ticked lessons").click()
    expect(shown.get_by_role("alert")).to_contain_text("stay as they are")
    assert shown.get_by_text("Traceback").count() == 0
    assert guard.passed > 10
    assert guard.blocked == []
