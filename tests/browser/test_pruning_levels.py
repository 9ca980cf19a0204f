"""The main job in a real browser: the notebook opens, a number changes, the tonnes follow."""

import re

import pytest

from cropload import compare_plans, example_records
from cropload.show import wording

pytestmark = pytest.mark.browser
expect = pytest.importorskip("playwright.sync_api").expect


@pytest.fixture(scope="module")
def opened(page, lab):
    """The notebook ``pruning_levels`` after all its cells were run."""
    page.goto(f"{lab}/lab/tree/pruning_levels.ipynb?reset")
    page.get_by_role("heading", name="Pruning levels").first.wait_for()
    page.get_by_text("Python 3 (ipykernel) | Idle").wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name=re.compile("^Run All Cells")).first.click()
    page.get_by_label("Block", exact=True).scroll_into_view_if_needed()
    return page


@pytest.fixture
def notebook(opened):
    """The same with the levels that the block opens with, whatever a test before has set."""
    opened.set_viewport_size({"width": 1280, "height": 900})
    usual = opened.get_by_text(tonnes_text("Long Acre", "3x8+3x2"))
    blocks = opened.get_by_label("Block", exact=True)
    blocks.select_option("Fox Hollow")
    expect(usual).to_have_count(0, timeout=90_000)
    blocks.select_option("Long Acre")
    usual.first.wait_for()
    expect(opened.get_by_label("Level 1 buds per cane")).to_have_value("8", timeout=90_000)
    # The picture is drawn last; nothing moves on the page after it.
    opened.get_by_alt_text(re.compile("3x8")).first.wait_for(state="attached")
    return opened


def tonnes_text(block, plan):
    """What the panel must say of a plan's crop, computed apart from the panel."""
    row = compare_plans(example_records(), block, plan).frame.iloc[0]
    return (
        f"In the first season about {wording.amount('t_ha', row['t_ha_p50'])} "
        f"({wording.amount('tonnes', row['tonnes_p50'])} in the block)"
    )


def test_tonnes_follow_a_number_changed_from_the_keyboard(notebook, guard):
    before = tonnes_text("Long Acre", "3x8+3x2")
    box = notebook.get_by_label("Level 1 buds per cane")
    assert box.input_value() == "8"
    box.focus()
    notebook.keyboard.press("ControlOrMeta+a")
    notebook.keyboard.type("11")
    notebook.keyboard.press("Enter")
    after = tonnes_text("Long Acre", "3x11+3x2")
    assert after != before
    notebook.get_by_text(after).first.wait_for()
    assert notebook.get_by_text(before).count() == 0
    assert guard.passed > 20
    assert guard.blocked == []


def test_code_is_hidden_except_for_the_one_line_to_change(notebook):
    shown = [
        cell.inner_text()
        for cell in notebook.locator(".jp-CodeCell .jp-InputArea-editor").all()
        if cell.is_visible()
    ]
    assert len(shown) == 1
    assert re.search(r"FOLDER = None", shown[0])


def test_impossible_number_is_told_as_a_message_and_not_clamped(notebook):
    box = notebook.get_by_label("Level 1 canes")
    box.focus()
    notebook.keyboard.press("ControlOrMeta+a")
    notebook.keyboard.type("1200")
    notebook.keyboard.press("Enter")
    alert = notebook.get_by_role("alert").filter(has_text="Level 1: canes is 1200")
    alert.wait_for()
    assert box.input_value() == "1200"
    assert notebook.get_by_text("Traceback").count() == 0


def test_figure_has_a_text_alternative_with_the_numbers(notebook):
    picture = notebook.locator("img[alt*='80 % range, equal tails']")
    picture.first.wait_for(state="attached")
    words = picture.first.get_attribute("alt")
    assert "first season " in words
    assert "t/ha" in words


def test_the_number_follows_a_slider_while_it_is_dragged_and_the_tonnes_when_it_rests(notebook):
    notebook.get_by_text(tonnes_text("Long Acre", "3x8+3x2")).first.wait_for()
    box = notebook.get_by_label("Level 1 buds per cane")
    slider = box.locator("xpath=ancestor::*[.//*[contains(@class, 'noUi-base')]][1]")
    base, handle = slider.locator(".noUi-base"), slider.locator(".noUi-handle")
    assert base.bounding_box()["width"] >= 150
    handle.hover()
    at = handle.bounding_box()
    x, y = at["x"] + at["width"] / 2, at["y"] + at["height"] / 2
    notebook.mouse.down()
    notebook.mouse.move(x + 40, y, steps=8)
    # Still held: the box tells where the slider is, no longer the 8 it began with.
    buds = round(float(handle.get_attribute("aria-valuenow")))
    assert buds > 8
    expect(box).to_have_value(str(buds))
    notebook.mouse.up()
    notebook.get_by_text(tonnes_text("Long Acre", f"3x{buds}+3x2")).first.wait_for()


@pytest.mark.parametrize("width", [900, 1280])
def test_no_table_picture_or_title_is_cut_off(notebook, width):
    notebook.set_viewport_size({"width": width, "height": 900})
    notebook.locator(".cl-table").first.wait_for(state="attached")
    notebook.locator(".cl-figure img").first.wait_for(state="attached")
    cut = """() => [...document.querySelectorAll(
        '.jp-OutputArea .cl-wide, .jp-OutputArea .cl-figure, .widget-tab .lm-TabBar-tabLabel')]
        .filter(each => each.scrollWidth > each.clientWidth + 1)
        .map(each => each.textContent.slice(0, 40))"""
    assert notebook.evaluate(cut) == []


def test_guard_stops_and_records_what_would_leave_the_machine(context, guard, lab):
    page = context.new_page()
    # A place of its own: the lab leaves for another one where a second page shows the same.
    page.goto(f"{lab}/lab/workspaces/guard")
    # The pages of the server's interface forbid requests themselves; the lab itself does not.
    answer = page.evaluate(
        "() => fetch('http://outside.invalid/x').then(() => 'reached', () => 'stopped')"
    )
    assert answer == "stopped"
    page.evaluate("() => { new WebSocket('ws://outside.invalid/socket'); }")
    page.evaluate(
        "() => new Promise(done => { const i = new Image(); i.onerror = done; "
        "i.src = 'https://outside.invalid/i.png'; })"
    )
    assert guard.blocked == [
        "http://outside.invalid/x",
        "ws://outside.invalid/socket",
        "https://outside.invalid/i.png",
    ]
