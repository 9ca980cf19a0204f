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
        found.append(page.get_by_role("rowheader", name="today, recommended"))
        if width > 1000:
            found.append(page.locator(".cl-if-wide img").first)
            found.append(page.get_by_role("button", name="open the report"))
        return found


def test_a_changed_plan_changes_the_difference_to_what_is_computed_apart(opened, guard):
    opened.set_viewport_size({"width": 1280, "height": 800})
    records = example_records()
    scenarios = opening_scenarios(records, 2027)
    scenarios["longer"]["Long Acre"] = "3x12+3x2"
    found = compare_scenarios(records, scenarios, 2027, frost=False).totals.iloc[1]
    opened.get_by_role("button", name="scenarios: blocks and plans").click()
    box = opened.get_by_label("Long Acre, scenario 2", exact=True)
    box.fill("3x12+3x2")
    box.press("Enter")
    row = opened.get_by_role("row").filter(has_text=re.compile("^longer"))
    expect(row.first).to_contain_text(f"+{found['change_settled_p50']:.1f}")
    assert guard.passed > 10
    assert guard.blocked == []


def test_the_report_opens_in_a_tab(opened):
    opened.set_viewport_size({"width": 1280, "height": 800})
    with opened.expect_popup(timeout=90_000) as popup:
        opened.get_by_role("button", name="open the report").click()
    popup.value.get_by_text("Quillfoot").first.wait_for()
    popup.value.close()
