"""The drawing of vines in a browser: a click on a bud and the arrow keys choose its number."""

import json
from pathlib import Path

import pytest

from cropload.pruning.panels import vine_drawing
from cropload.pruning.vine_drawing import vines_html
from cropload.vine.plan import PruningPlan

pytestmark = pytest.mark.browser

SCRIPT = Path(vine_drawing.__file__).with_suffix(".js").read_text("utf-8")
#: What the script finds in place of a kernel: it keeps what is chosen, and can draw anew.
MODEL = """
const held = {html: %s, least: {cane: 4, spur: 1}, most: {cane: 40, spur: 3}};
window.sent = [];
window.calls = {};
const model = {
  get: (name) => held[name],
  set: (name, value) => { window.sent.push(value); },
  save_changes: () => {},
  on: (name, call) => { window.calls[name] = call; },
};
"""


@pytest.fixture
def drawn(chromium):
    page = chromium.new_page(viewport={"width": 820, "height": 900})
    plans = [PruningPlan.parse(text) for text in ("3x8+3x2", "2x10+2x2")]
    html = vines_html(plans, 1.8, "cane", titles=["as last winter", "longer"])
    script = SCRIPT.replace("export default { render };", "")
    model = MODEL % json.dumps(html)
    page.set_content('<div id="here"></div>')
    page.evaluate(f"{{{model}\n{script}\nrender({{model, el: document.getElementById('here')}});}}")
    yield page
    page.close()


def test_a_click_on_a_bud_sends_its_number(drawn):
    drawn.locator('figure[data-level="1"] .cl-bud[data-cane="1"][data-bud="7"]').click()
    drawn.locator('figure[data-level="0"] .cl-bud[data-spur="1"][data-bud="1"]').click()
    assert drawn.evaluate("sent") == [
        {"level": 1, "buds_per_cane": 7},
        {"level": 0, "buds_per_spur": 1},
    ]


def test_a_bud_too_low_for_a_cane_is_the_least_a_cane_has(drawn):
    drawn.locator('figure[data-level="1"] .cl-bud[data-cane="1"][data-bud="2"]').click()
    assert drawn.evaluate("sent") == [{"level": 1, "buds_per_cane": 4}]


def test_arrow_keys_send_one_number_and_the_focus_stays(drawn):
    canes = drawn.get_by_role("slider", name="as last winter: 3x8+3x2, buds per cane")
    canes.focus()
    for _ in range(3):
        drawn.keyboard.press("ArrowRight")
    assert canes.get_attribute("aria-valuenow") == "11"
    drawn.wait_for_function("sent.length")
    assert drawn.evaluate("sent") == [{"level": 0, "buds_per_cane": 11}]
    drawn.evaluate("calls['change:html']()")
    assert drawn.evaluate("document.activeElement.getAttribute('aria-label')").startswith("as last")


def test_letters_are_11_px_on_a_phone_and_nothing_scrolls_sideways(chromium):
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    plans = [PruningPlan.parse(text) for text in ("2x14+2x2", "3x8+3x2")]
    page.set_content(vines_html(plans, 1.8, "cane"))
    high = page.evaluate(
        "[...document.querySelectorAll('svg text')].map((text) => parseFloat("
        "text.getAttribute('font-size')) * text.getScreenCTM().d)"
    )
    assert high
    assert min(high) >= 11 - 0.01
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.close()
