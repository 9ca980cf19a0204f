"""The owner's page in a real browser: a row a scenario, a plan changed, the report handed out."""

import re

import pytest

from cropload import example_records
from cropload.owner.panels.opening_scenarios import opening_scenarios
from cropload.owner.scenarios import compare_scenarios
from tests.browser.page_checks import AnswerFirst

pytestmark = pytest.mark.browser
NOTEBOOK, READY = "owner_scenarios", ".cl-figure img"
expect = pytest.importorskip("playwright.sync_api").expect


class TestFirstScreen(AnswerFirst):
    def wanted(self, page, width):
        """What must be in sight at first."""
        found = [page.locator(".cl-matters").first]
        if width > 500:
            found.append(page.get_by_role("rowheader", name="Home Terrace"))
        if width > 1000:
            found.append(page.locator(".cl-if-wide img").first)
            found.append(page.get_by_role("button", name="open the report"))
        return found


def test_a_changed_plan_changes_what_is_brought_to_what_is_computed_apart(opened, guard):
    opened.set_viewport_size({"width": 1280, "height": 800})
    records = example_records()
    scenarios = opening_scenarios(records, 2027)
    scenarios["longer"]["Mill Meadow"] = "2x16+2x2"
    found = compare_scenarios(records, scenarios, 2027).decision.changed.set_index("block")
    assert found.loc["Mill Meadow", "plan"] == "2x16+2x2"
    opened.get_by_role("button", name="scenarios: blocks and plans").click()
    box = opened.get_by_label("Mill Meadow, scenario 2", exact=True)
    box.fill("2x16+2x2")
    box.press("Enter")
    row = opened.get_by_role("row").filter(has_text=re.compile("^Mill Meadow"))
    expect(row.first).to_contain_text("2x16+2x2")
    middle = found.loc["Mill Meadow", "money_all_p50"]
    expect(row.first).to_contain_text(f"+{round(middle, -2):,.0f}")


def test_an_hour_less_than_today_takes_changes_what_to_do(opened):
    opened.set_viewport_size({"width": 1280, "height": 800})
    opened.get_by_role("button", name="costs and prices").click()
    opened.get_by_role("button", name="what you can bear").click()
    times = ("Time of pruning a vine [min/vine]", "2")
    for label, value in (times, ("Pruning hours there are", "1")):
        box = opened.get_by_label(label, exact=True)
        box.fill(value)
        box.press("Enter")
    told = opened.get_by_text("No choice among these plans keeps 1 pruning hours")
    told.first.wait_for()


def test_nothing_is_asked_outside(opened, guard):
    assert guard.passed > 10
    assert guard.blocked == []


def test_the_report_opens_in_a_tab(opened):
    opened.set_viewport_size({"width": 1280, "height": 800})
    with opened.expect_popup() as popup:
        opened.get_by_role("button", name="open the report").click()
    popup.value.get_by_text("Quillfoot").first.wait_for()
    popup.value.close()
