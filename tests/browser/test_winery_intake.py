"""The winery page in a real browser: whether it fits, a picking date entered, moves found."""

import pytest

from cropload import example_records, forecast, harvest_dates, intake_schedule
from cropload.winery.capacity import capacity_table
from cropload.winery.fit import fit_of
from cropload.winery.words import fit_sentence
from tests.browser.page_checks import AnswerFirst

pytestmark = pytest.mark.browser
NOTEBOOK, READY = "winery_intake", "img[alt^='Intake of season 2027']"


class TestFirstScreen(AnswerFirst):
    def wanted(self, page, width):
        """What must be in sight at first."""
        found = [page.locator(".cl-matters").first]
        found.append(page.get_by_label("Periods"))
        if width > 1000:
            found.append(page.locator(".cl-if-wide img").first)
            found.append(page.get_by_text("Contracts at risk"))
        return found


def said(picks=None):
    """What the page must say, computed apart from it."""
    records = example_records()
    dates = harvest_dates(records, 2027, picks=picks or {})
    schedule = intake_schedule(forecast(records, 2027), dates, period=records.capacity)
    limits = capacity_table(schedule, records.capacity)
    return fit_sentence(fit_of(schedule, records.capacity), limits)


def test_a_picking_date_from_the_keyboard_changes_whether_it_fits(opened, guard):
    opened.set_viewport_size({"width": 1280, "height": 800})
    opened.get_by_text(said()).wait_for()
    opened.get_by_role("button", name="picking dates").click()
    box = opened.get_by_label("or dates with shares")
    box.fill("2027-09-03")
    box.press("Enter")
    opened.get_by_role("button", name="use as picking date").click()
    opened.get_by_text("Home Terrace is picked on 2027-09-03").wait_for()
    opened.get_by_text(said({"Home Terrace": "2027-09-03"})).wait_for()
    box.fill("soon")
    box.press("Enter")
    opened.get_by_role("button", name="use as picking date").click()
    opened.get_by_role("alert").filter(has_text="soon").wait_for()
    opened.get_by_label("Units", exact=True).select_option("US")
    opened.get_by_text("short ton").first.wait_for()
    assert opened.get_by_text("Traceback").count() == 0
    assert guard.passed > 10
    assert guard.blocked == []
