"""What every page without code is held to in a real browser."""

import pytest

#: Width and height of the screens looked at: laptop, office laptop, tablet, phone.
SCREENS = [(1280, 800), (1024, 768), (820, 1180), (390, 844)]

_CLIPPED = """() => [...document.querySelectorAll('.cl-page *')].filter(each => {
    const style = getComputedStyle(each);
    return each.clientWidth && style.overflowX !== 'visible' && each.tabIndex < 0 &&
      each.scrollWidth > each.clientWidth + 1 && each.tagName !== 'svg';
  }).map(each => each.className + ' ' + each.textContent.slice(0, 40))"""
#: The smallest letters of pictures are 9 points in an image measured in points.
_SMALL = """() => [...document.querySelectorAll('.cl-page .cl-figure img')]
  .filter(each => each.getBoundingClientRect().width)
  .map(each => 9 * 96 / 72 * each.getBoundingClientRect().width / each.naturalWidth)
  .filter(size => size < 10.9)"""
_WORDS = "document.querySelector('.cl-page').innerText.split(/\\s+/).filter(x => x).length"


def check_screen(page, width, height, wanted):
    """Hold a page to its first screen: what is wanted is on it, nothing clipped or too small."""
    page.set_viewport_size({"width": width, "height": height})
    page.evaluate("window.scrollTo(0, 0)")
    for each in wanted:
        at = each.bounding_box()
        assert at["y"] >= 0
        assert at["y"] + at["height"] <= height
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(_CLIPPED) == []
    assert page.evaluate(_SMALL) == []


def check_access(page, width):
    """Hold a page to the rules of access, and to few words before anything is unfolded."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page.set_viewport_size({"width": width, "height": 844})
    found = axe.run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate(_WORDS) <= 300
