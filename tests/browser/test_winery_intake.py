"""The winery notebook in a real browser: intake by period, a picking date entered, moves found."""

import re

import pytest

from cropload import example_records
from cropload.beliefs.dates.harvest_dates import harvest_dates
from cropload.beliefs.forecast import forecast
from cropload.winery import words as intake_words
from cropload.winery.capacity import capacity_table
from cropload.winery.intake import intake_schedule

pytestmark = pytest.mark.browser


@pytest.fixture
def notebook(page, lab):
    """The notebook ``winery_intake`` after all its cells were run."""
    page.goto(f"{lab}/lab/tree/winery_intake.ipynb?reset")
    page.get_by_role("heading", name="Winery intake").first.wait_for()
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name=re.compile("^Run All Cells")).first.click()
    page.get_by_label("Season (year of harvest)").scroll_into_view_if_needed()
    return page


def total():
    """Start of what the panel must say of the coming season, computed apart from it."""
    records = example_records()
    found = forecast(records, 2027)
    schedule = intake_schedule(found, harvest_dates(records, 2027))
    text = intake_words.intake_sentence(schedule, capacity_table(schedule, records.capacity))
    return re.match(r"In all about [\d.,]+ t \([\d.,]+ to [\d.,]+", text)[0]


def test_intake_dates_and_moves_from_the_keyboard(notebook, guard):
    status = notebook.get_by_role("status").filter(has_text="in the tank").first
    status.wait_for()
    status.scroll_into_view_if_needed()
    said = total()
    assert status.inner_text().startswith(said)
    picture = notebook.locator("img[alt^='Intake of season 2027']").first
    picture.scroll_into_view_if_needed()
    assert "chance of more" in picture.get_attribute("alt")

    box = notebook.get_by_label("Picking date, or dates with shares")
    box.scroll_into_view_if_needed()
    before = picture.get_attribute("alt")
    box.fill("2027-09-03")
    box.press("Enter")
    notebook.get_by_role("button", name="Use as picking date").click()
    notebook.get_by_text("Home Terrace is picked on 2027-09-03").wait_for()
    notebook.wait_for_function(
        "before => document.querySelector(\"img[alt^='Intake of season 2027']\").alt !== before",
        arg=before,
    )
    # A date alone moves the crop between periods; the crop of the season stays what it was.
    assert status.inner_text().startswith(said)

    box.fill("soon")
    box.press("Enter")
    notebook.get_by_role("button", name="Use as picking date").click()
    notebook.get_by_role("alert").filter(has_text="soon").wait_for()

    search = notebook.get_by_role("button", name="Find blocks to move")
    search.scroll_into_view_if_needed()
    search.click()
    notebook.get_by_text("Chance of going over each limit").first.wait_for()

    notebook.get_by_label("Units", exact=True).first.select_option("US (short ton, ton/ac)")
    notebook.get_by_text("short tons").first.wait_for()
    assert notebook.get_by_text("Traceback").count() == 0
    assert guard.passed > 20
    assert guard.blocked == []
