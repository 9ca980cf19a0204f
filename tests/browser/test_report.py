"""The owner's report in a real browser: on a screen, on a phone, on paper, and read aloud."""

import pytest
from owner_cases import EMOJI, FORMULA, SCRIPT, odd_estate, reported, scenarios

pytestmark = pytest.mark.browser

LONG = "A block with a very long name that goes on and on, " * 2


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A plain report, and one with awkward names of blocks and scenarios."""
    folder = tmp_path_factory.mktemp("report")
    names = (SCRIPT, FORMULA, EMOJI)
    awkward = {f"{LONG} {n}": plans for n, plans in enumerate(scenarios(names).values())}
    pages = {"plain": reported(), "awkward": reported(odd_estate(), awkward, "us")}
    for name, report in pages.items():
        (folder / f"{name}.html").write_text(report.html(), encoding="utf-8")
    return folder


@pytest.fixture(params=["plain", "awkward"])
def address(files, request):
    return (files / f"{request.param}.html").as_uri()


@pytest.fixture
def lone(chromium):
    """Open a page at a width, and remember every request but the page itself."""
    opened = []

    def at(address, width):
        context = chromium.new_context(viewport={"width": width, "height": 844})
        opened.append(context)
        page = context.new_page()
        asked = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address)
        return page, [url for url in asked if url != address]

    yield at
    for context in opened:
        context.close()


@pytest.mark.parametrize("width", [1280, 390])
def test_no_accessibility_rule_is_broken(address, lone, width):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page, _ = lone(address, width)
    found = axe.run(page)
    assert found.violations_count == 0, found.generate_report()


def test_the_accessibility_check_finds_what_is_broken(lone):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page, _ = lone("data:text/html,<img src='data:,'><p>x</p>", 390)
    assert axe.run(page).violations_count > 0


@pytest.mark.parametrize("width", [1280, 390])
def test_page_and_tables_fit_the_screen(address, lone, width):
    page, asked = lone(address, width)
    assert asked == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    if width == 390:
        # Each row of a table stands as a list there, so that nothing scrolls sideways.
        wide = "[...document.querySelectorAll('.cl-wide')].filter(b => b.scrollWidth > 390)"
        assert page.evaluate(f"{wide}.length") == 0


def test_a_phone_has_the_answer_in_few_screens(files, lone):
    page, _ = lone((files / "plain.html").as_uri(), 390)
    assert page.evaluate("document.documentElement.scrollHeight") < 6000
    page.get_by_text("Frost", exact=True).click()
    assert page.locator("#frost").evaluate("d => d.open")


def test_a_mark_of_the_picture_answers_the_pointer(files, lone):
    page, _ = lone((files / "plain.html").as_uri(), 1280)
    mark = page.locator(".first .mark").first
    assert mark.locator("title").text_content().startswith("longer")
    mark.hover()
    assert mark.evaluate("m => getComputedStyle(m).fillOpacity") == "0.14"


def test_recommendation_and_figure_fill_the_first_printed_page(address, lone):
    page, _ = lone(address, 794)
    page.emulate_media(media="print")
    first = page.locator(".first").bounding_box()
    # A4 at 96 dots an inch is 1123 high; its margins take 29 mm, 110 dots.
    assert first["height"] < 1123 - 110
    assert page.locator(".first svg").is_visible()
    # The blocks begin a page of their own, and the folded appendix is printed.
    assert page.locator(".blocks").evaluate("b => getComputedStyle(b).breakBefore") == "page"
    assert page.locator("#crop table").first.bounding_box()["height"] > 0


def test_script_in_a_name_does_not_run(files, lone):
    page, _ = lone((files / "awkward.html").as_uri(), 1280)
    assert page.locator("script").count() == 0
    assert page.get_by_text(SCRIPT).first.is_visible()
