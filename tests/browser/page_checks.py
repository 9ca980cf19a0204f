"""What holds for every page in a browser: answer in sight, nothing clipped, few words."""

import pytest

#: Width and height of the screens looked at: laptop, office laptop, tablet, phone.
SCREENS = [(1280, 800), (1024, 768), (820, 1180), (390, 844)]

_CLIPPED = """() => [...document.querySelectorAll('.cl-page *')].filter(each => {
    const style = getComputedStyle(each);
    return each.clientWidth && style.overflowX !== 'visible' &&
      each.scrollWidth > each.clientWidth + 1 && each.tagName !== 'svg';
  }).map(each => each.className + ' ' + each.textContent.slice(0, 40))"""
#: Whether no part of a page says that its answer is being worked out.
_SETTLED = "() => !document.querySelector('.cl-stale')"
_WORDS = "document.querySelector('.cl-page').innerText.split(/\\s+/).filter(x => x).length"
#: Least size of letters of pictures as shown [px]: drawn at 9 points, or in px in an inline SVG.
_LETTERS = """() => {
  const sizes = [...document.querySelectorAll('.cl-page .cl-figure img')]
    .filter(each => each.offsetWidth).map(each => 9 * each.offsetWidth / each.naturalWidth * 4 / 3);
  const texts = [...document.querySelectorAll('.cl-page svg text')]
    .filter(each => each.getBoundingClientRect().height)
    .map(each => parseFloat(getComputedStyle(each).fontSize));
  return Math.min(...sizes, ...texts);
}"""


def settle(page):
    """Wait until every answer of a page is worked out: what is redrawn cannot be pressed."""
    page.wait_for_function(_SETTLED)


def check_answer_first(page, wanted, width, height):
    """Check that what is wanted lies in the first viewport, without any sideways scroll."""
    settle(page)
    page.set_viewport_size({"width": width, "height": height})
    page.evaluate("window.scrollTo(0, 0)")
    page.wait_for_timeout(400)
    for each in wanted:
        at = each.bounding_box()
        assert at["y"] >= 0
        assert at["y"] + at["height"] <= height
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def check_legible(page, width, height):
    """Check that nothing is clipped and that letters of pictures can be read."""
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_timeout(400)
    assert page.evaluate(_CLIPPED) == []
    assert page.evaluate(_LETTERS) >= 10.9


def check_short(page, most=300):
    """Check how many words a page shows before anything is unfolded."""
    page.set_viewport_size({"width": 1280, "height": 800})
    page.wait_for_timeout(400)
    assert page.evaluate(_WORDS) <= most


def check_no_barrier(page, width):
    """Check with axe that no rule of accessibility is broken."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page.set_viewport_size({"width": width, "height": 844})
    found = axe.run(page)
    assert found.violations_count == 0, found.generate_report()


class AnswerFirst:
    """The tests of a page's first screen; a module derives its own, with what is ``wanted``."""

    def wanted(self, page, width):
        """Return what must be in sight at first."""
        raise NotImplementedError

    @pytest.mark.parametrize(("width", "height"), SCREENS)
    def test_the_answer_is_on_the_first_screen_and_can_be_read(self, opened, width, height):
        check_answer_first(opened, self.wanted(opened, width), width, height)
        check_legible(opened, width, height)

    def test_the_page_is_short_before_anything_is_unfolded(self, opened):
        check_short(opened)

    @pytest.mark.parametrize("width", [1280, 390])
    def test_no_barrier_is_found(self, opened, width):
        check_no_barrier(opened, width)
