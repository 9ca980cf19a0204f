"""The frost notebook in a real browser: past springs, a what-if night, a count after a frost."""

import re

import numpy as np
import pytest

from cropload import example_records
from cropload.frost.cover import frost_cover
from cropload.show.wording import range_of

pytestmark = pytest.mark.browser


@pytest.fixture
def notebook(page, lab):
    """The notebook ``frost_cover`` after all its cells were run."""
    page.goto(f"{lab}/lab/tree/frost_cover.ipynb?reset")
    page.get_by_role("heading", name="Longer wood against spring frost").first.wait_for()
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name=re.compile("^Run All Cells")).first.click()
    page.get_by_label("Block", exact=True).scroll_into_view_if_needed()
    return page


def kept(notebook):
    """Crop left of each level on the night, as the table says it [%]."""
    cells = notebook.locator("td:has(.cl-bar)").all_inner_texts()
    return [int(re.search(r"\d+", cell)[0]) for cell in cells]


def test_springs_a_night_and_a_count_from_the_keyboard(notebook, guard):
    plans = ["2x12+2x2", "2x14+2x2", "2x16+2x2"]
    direct = frost_cover(example_records(), "Mill Meadow", plans).frame
    crop = f"{range_of(direct.iloc[0], 'mean_crop', 't_ha')} t/ha in the mean"
    notebook.get_by_text(crop).first.wait_for()
    picture = notebook.locator("img[alt*='What each spring left']").first
    picture.scroll_into_view_if_needed()
    assert "worst year in ten" in picture.get_attribute("alt")

    notebook.get_by_role("tab", name="One night").click()
    low = notebook.get_by_label("Low in the block [°C]")
    low.wait_for()
    notebook.locator("td:has(.cl-bar)").last.wait_for()
    before = kept(notebook)
    assert len(before) == 3
    low.fill("-4")
    low.press("Enter")
    notebook.wait_for_function(
        "before => [...document.querySelectorAll('td:has(.cl-bar)')]"
        ".every((cell, at) => parseInt(cell.innerText) !== before[at])",
        arg=before,
    )
    assert (np.array(kept(notebook)) < before).all()

    notebook.get_by_role("tab", name="After a frost").click()
    notebook.get_by_label("Dead shoots counted").fill("90")
    notebook.get_by_label("Living shoots counted").fill("90")
    notebook.get_by_label("Living shoots counted").press("Enter")
    notebook.get_by_role("button", name="Update the forecast").click()
    notebook.get_by_text("90 of 180 shoots are dead: 50 %").first.wait_for()

    assert notebook.get_by_text("What is known, and what is not").count() == 1
    assert notebook.get_by_text("Traceback").count() == 0
    assert guard.passed > 20
    assert guard.blocked == []
