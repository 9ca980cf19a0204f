"""The main job in a real browser: the page opens at the answer, a number changes, tonnes follow."""

import contextlib
import re

import pytest

from cropload import compare_plans, example_records
from tests.browser.page_checks import SCREENS

pytestmark = pytest.mark.browser
playwright = pytest.importorskip("playwright.sync_api")
expect = playwright.expect
BOX = "level 1 buds per cane"


@pytest.fixture(scope="module")
def opened(page, pages):
    page.goto(f"{pages}/voila/render/pruning_levels.ipynb")
    page.get_by_label("level 1 canes", exact=True).wait_for()
    return page


@pytest.fixture
def shown(opened):
    """The page on a laptop with the levels that Long Acre opens with."""
    opened.set_viewport_size({"width": 1280, "height": 800})
    opened.get_by_label("Block", exact=True).select_option("Long Acre")
    undo = opened.get_by_role("button", name="undo")
    opened.get_by_text("Sauvignon blanc").first.wait_for()
    for _ in range(9):
        if undo.is_disabled():
            break
        # It may be disabled meanwhile: then there is nothing left to undo.
        with contextlib.suppress(playwright.TimeoutError):
            undo.click(timeout=5000)
        opened.wait_for_timeout(300)
    expect(opened.get_by_label(BOX, exact=True)).to_have_value("8")
    return opened


def crop_text(plan):
    """What the row must say of a plan's crop, computed apart from the page."""
    row = compare_plans(example_records(), "Long Acre", plan).frame.iloc[0]
    ends = f"{row['t_ha_p10']:.1f}-{row['t_ha_p90']:.1f}"
    return re.compile(rf"{row['t_ha_p50']:.1f} t/ha \({ends}\)")


def crop(page, level=1):
    return page.locator(".cl-lv-crop .cl-lv-text").nth(level)


def test_tonnes_follow_a_number_changed_from_the_keyboard(shown, guard):
    expect(crop(shown)).to_contain_text(crop_text("3x8+3x2"))
    shown.get_by_label(BOX, exact=True).focus()
    shown.keyboard.press("ArrowUp")
    expect(crop(shown)).to_contain_text(crop_text("3x9+3x2"))
    shown.keyboard.press("ControlOrMeta+a")
    shown.keyboard.type("11")
    expect(crop(shown)).to_contain_text(crop_text("3x11+3x2"))
    assert guard.passed > 10
    assert guard.blocked == []


def test_tonnes_follow_a_slider_while_it_is_dragged(shown):
    slider = shown.get_by_label(f"{BOX}, slider", exact=True)
    at = slider.bounding_box()
    middle = at["y"] + at["height"] / 2
    shown.mouse.move(at["x"] + at["width"] * 0.3, middle)
    shown.mouse.down()
    shown.mouse.move(at["x"] + at["width"] * 0.8, middle, steps=6)
    # Still held: box and tonnes tell where the slider is.
    buds = slider.input_value()
    assert int(buds) > 10
    expect(shown.get_by_label(BOX, exact=True)).to_have_value(buds)
    expect(crop(shown)).to_contain_text(crop_text(f"3x{buds}+3x2"))
    shown.mouse.up()
    shown.get_by_role("button", name="undo").click()
    expect(crop(shown)).to_contain_text(crop_text("3x8+3x2"))


def test_an_impossible_number_is_told_in_its_row_and_not_clamped(shown):
    box = shown.get_by_label("level 1 canes", exact=True)
    box.fill("1200")
    alert = shown.get_by_role("alert").filter(has_text="canes is 1200")
    alert.wait_for()
    assert box.input_value() == "1200"
    assert crop(shown, 2).is_visible()
    assert shown.get_by_text("Traceback").count() == 0


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_the_answer_is_on_the_first_screen(shown, width, height):
    shown.set_viewport_size({"width": width, "height": height})
    shown.evaluate("window.scrollTo(0, 0)")
    levels = 3 if width > 1000 else 1
    wanted = [shown.locator(".cl-matters")]
    for level in range(1, levels + 1):
        wanted += [crop(shown, level), shown.locator(".cl-lv-crop svg").nth(level)]
        wanted += [shown.get_by_label(f"level {level} canes, slider", exact=True)]
    for each in wanted:
        at = each.bounding_box()
        assert at["y"] >= 0
        assert at["y"] + at["height"] <= height
    assert shown.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_nothing_is_clipped_and_letters_can_be_read(shown, width, height):
    shown.set_viewport_size({"width": width, "height": height})
    clipped = """() => [...document.querySelectorAll('.cl-page *')].filter(each => {
        const style = getComputedStyle(each);
        return each.clientWidth && style.overflowX !== 'visible' &&
          each.scrollWidth > each.clientWidth + 1 && each.tagName !== 'svg';
      }).map(each => each.className + ' ' + each.textContent.slice(0, 40))"""
    assert shown.evaluate(clipped) == []
    small = """() => [...document.querySelectorAll('.cl-page text, .cl-page .cl-lv-text')]
      .filter(each => each.getBoundingClientRect().height)
      .filter(each => {
        const svg = each.ownerSVGElement;
        const scale = svg && svg.viewBox.baseVal && svg.viewBox.baseVal.width
          ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
        return parseFloat(getComputedStyle(each).fontSize) * scale < 10.9;
      }).length"""
    assert shown.evaluate(small) == 0


def test_the_page_is_short_before_anything_is_unfolded(shown):
    words = "document.querySelector('.cl-page').innerText.split(/\\s+/).filter(x => x).length"
    assert shown.evaluate(words) <= 250


@pytest.mark.parametrize("width", [1280, 390])
def test_no_barrier_is_found(shown, width):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    shown.set_viewport_size({"width": width, "height": 844})
    found = axe.run(shown)
    assert found.violations_count == 0, found.generate_report()


def test_at_twice_the_size_nothing_needs_scrolling_sideways(shown):
    # 200 % on a laptop of 1280 is a page of 640.
    shown.set_viewport_size({"width": 640, "height": 400})
    assert shown.evaluate("document.documentElement.scrollWidth") <= 640


def test_a_fold_opens_from_the_keyboard(shown):
    fold = shown.get_by_role("button", name="all figures")
    fold.focus()
    shown.keyboard.press("Enter")
    shown.get_by_role("table", name=re.compile("CROP at the scale")).wait_for()
    fold.press("Enter")


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
