"""The frost page in a real browser: past springs, a what-if night, a count after a frost."""

import re

import numpy as np
import pytest

from cropload import example_records
from cropload.frost.cover import frost_cover
from cropload.frost.worth import late_cut_worth
from cropload.vine.weather.settings import CASES
from tests.browser.page_checks import AnswerFirst

pytestmark = pytest.mark.browser
NOTEBOOK, READY = "frost_cover", ".cl-frost"
expect = pytest.importorskip("playwright.sync_api").expect
PLANS = ["2x12+2x2", "2x14+2x2", "2x16+2x2"]


class TestFirstScreen(AnswerFirst):
    def wanted(self, page, width):
        """What must be in sight at first."""
        found = [page.locator(".cl-matters").first]
        count = 3 if width > 1000 else 1
        found += [page.locator(".cl-lv-crop svg").nth(at) for at in range(1, count + 1)]
        found += [page.get_by_label(f"level {at} canes", exact=True) for at in range(1, count + 1)]
        return found


def kept(page):
    """Crop left of each level on the night, as the table says it [%]."""
    cells = page.locator("td:has(.cl-bar)").all_inner_texts()
    return [int(re.search(r"\d+", cell)[0]) for cell in cells]


def test_a_changed_number_changes_row_and_late_cut_to_what_is_computed_apart(opened, guard):
    opened.set_viewport_size({"width": 1280, "height": 800})
    plans = ["2x13+2x2", *PLANS[1:]]
    direct = frost_cover(example_records(), "Mill Meadow", plans, case=CASES)
    opened.get_by_label("level 1 buds per cane", exact=True).fill("13")
    row = direct.frame.iloc[0]
    ends = f"{row['mean_crop_p10']:.1f}-{row['mean_crop_p90']:.1f}"
    cell = opened.locator(".cl-lv-shoots .cl-lv-text").nth(0)
    expect(cell).to_contain_text(re.compile(rf"{row['mean_crop_p50']:.1f}.*\({ends}\)"))
    price = opened.get_by_label("A late final cut costs [EUR per ha]")
    price.fill("340")
    price.press("Enter")
    found = late_cut_worth(direct, 340 / 1700).iloc[0]
    above = f"above {100 * found['break_even_p50']:.0f} frost years in 100"
    opened.get_by_text(above).first.wait_for()
    assert guard.passed > 10
    assert guard.blocked == []


def test_a_night_and_a_count_from_the_keyboard(opened):
    opened.set_viewport_size({"width": 1280, "height": 800})
    fold = opened.get_by_role("button", name="one night")
    fold.focus()
    opened.keyboard.press("Enter")
    low = opened.get_by_label("Low in the block [°C]")
    low.wait_for()
    opened.locator("td:has(.cl-bar)").last.wait_for()
    before = kept(opened)
    assert len(before) == 3
    low.fill("-4")
    low.press("Enter")
    opened.wait_for_function(
        "before => [...document.querySelectorAll('td:has(.cl-bar)')]"
        ".every((cell, at) => parseInt(cell.innerText) !== before[at])",
        arg=before,
    )
    assert (np.array(kept(opened)) < before).all()
    opened.get_by_role("button", name="after a frost").click()
    opened.get_by_label("Dead shoots counted").fill("90")
    opened.get_by_label("Living shoots counted").fill("90")
    opened.get_by_label("Living shoots counted").press("Enter")
    opened.get_by_role("button", name="Update the forecast").click()
    opened.get_by_text("90 of 180 shoots are dead: 50 %").first.wait_for()
    assert opened.get_by_text("Traceback").count() == 0
