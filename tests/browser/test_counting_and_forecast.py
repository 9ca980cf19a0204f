"""The season page in a real browser: a count is typed in, and the tonnes on the screen follow."""

import re
from dataclasses import replace

import pytest

from cropload import example_records, forecast
from cropload.beliefs.history import learned_before
from cropload.season.panels.entered_rows import added
from tests.browser.page_checks import (
    SCREENS,
    check_answer_first,
    check_legible,
    check_no_barrier,
    check_short,
)

pytestmark = pytest.mark.browser
expect = pytest.importorskip("playwright.sync_api").expect

DAY = "2026-07-13"
COUNTS = [23, 31, 18, 27, 25, 22, 20, 30]


@pytest.fixture(scope="module")
def shown(page, pages):
    page.goto(f"{pages}/voila/render/counting_and_forecast.ipynb")
    page.get_by_text(re.compile("Due now")).first.wait_for()
    return page


def answer(records):
    """What the page must say of the estate, computed apart from it."""
    learned = learned_before(example_records(), 2026)
    row = forecast(records, 2026, DAY, learned=learned).frame_by("estate").iloc[0]
    ends = f"{row['tonnes_p10']:.1f} to {row['tonnes_p90']:.1f}"
    return re.compile(rf"{row['tonnes_p50']:.1f} t \({ends}; 8 in 10\)")


def with_counts():
    """The sample's records with the counts that are typed in below."""
    rows = [
        {"season": 2026, "date": DAY, "block": "Upper Knoll", "row": "typed", "vine": str(vine),
         "clusters": clusters}
        for vine, clusters in enumerate(COUNTS)
    ]  # fmt: skip
    records = example_records()
    return replace(records, counts=added(records.counts, rows))


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_answer_and_picture_are_on_the_first_screen(shown, width, height):
    wanted = [shown.locator(".cl-number"), shown.locator(".cl-matters")]
    if width > 1000:
        wanted += [shown.locator(".cl-figure img").first, shown.get_by_label("Crew hours")]
        wanted += [shown.get_by_role("button", name="enter", exact=True)]
    check_answer_first(shown, wanted, width, height)
    check_legible(shown, width, height)


@pytest.mark.parametrize("width", [1280, 390])
def test_no_barrier_is_found_and_the_page_is_short(shown, width):
    check_no_barrier(shown, width)
    check_short(shown)


def test_a_count_typed_in_moves_the_tonnes_to_what_forecast_computes(shown, guard):
    shown.set_viewport_size({"width": 1280, "height": 800})
    number = shown.locator(".cl-number")
    expect(number).to_contain_text(answer(example_records()))
    shown.get_by_label("Block", exact=True).select_option("Upper Knoll")
    shown.get_by_label("What", exact=True).select_option("clusters per vine")
    shown.get_by_label("One number a vine").focus()
    shown.keyboard.type(" ".join(map(str, COUNTS)))
    shown.keyboard.press("Tab")
    shown.keyboard.press("Enter")
    shown.get_by_text("8 rows not saved yet").wait_for()
    expect(number).to_contain_text(answer(with_counts()))
    shown.get_by_role("button", name="take the last entry back").click()
    expect(number).to_contain_text(answer(example_records()))
    assert shown.locator(".cl-error").count() == 0
    assert shown.get_by_text("Traceback").count() == 0
    assert guard.passed > 10
    assert guard.blocked == []


def test_a_sheet_to_print_opens_beside_the_page(shown):
    shown.get_by_role("button", name=re.compile("count sheets")).click()
    with shown.context.expect_page() as opened:
        shown.get_by_role("button", name="the sheet to print").click()
    expect(opened.value.get_by_text("Home Terrace").first).to_be_visible()
    opened.value.close()
    shown.get_by_role("button", name=re.compile("count sheets")).click()


def test_two_sheets_are_chosen_at_once_and_speak(shown):
    shown.get_by_role("button", name=re.compile("count sheets")).click()
    head = "season;date;block;row;vine;clusters;counter\n"
    files = [
        {"name": f"{block}.csv", "mimeType": "text/csv",
         "buffer": f"{head}2026;13.07.2026;{block};1;999;{clusters};AB\n".encode()}
        for block, clusters in (("Upper Knoll", "25"), ("Long Acre", "many"))
    ]  # fmt: skip
    with shown.expect_file_chooser() as chooser:
        shown.get_by_role("button", name=re.compile("choose filled-in sheets")).click()
    chooser.value.set_files(files)
    shown.get_by_text("Long Acre.csv, column clusters").wait_for()
    shown.get_by_role("button", name="use these counts").click()
    shown.get_by_text("1 vine of Upper Knoll is in the forecast").wait_for()
    shown.get_by_role("button", name="take the last entry back").click()
    expect(shown.get_by_text("not saved yet")).to_have_count(0)
    shown.get_by_role("button", name=re.compile("count sheets")).click()
