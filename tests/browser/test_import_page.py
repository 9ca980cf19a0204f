"""The page of an import in a real browser: choose a workbook, answer, write the folder."""

import re
import shutil
import zipfile
from pathlib import Path

import numpy as np
import pytest

from cropload import read_records
from tests.browser.page_checks import AnswerFirst, settle
from tests.records.importing.messy_books import MUST_ASK

pytestmark = pytest.mark.browser
NOTEBOOK, READY = "import_records", ".widget-upload"
expect = pytest.importorskip("playwright.sync_api").expect
#: Larger than what a server of pages takes unless it is told otherwise: 10 MB.
LARGE = 12_000_000


@pytest.fixture(scope="module")
def theirs(tmp_path_factory):
    """A workbook whose slips do not say in which tons they are."""
    (case,) = [each for each in MUST_ASK if each.name == "tonnes_or_tons"]
    return case.write(tmp_path_factory.mktemp("theirs"))


@pytest.fixture(scope="module")
def opened(opened, theirs):
    """The page once a workbook was chosen, its question open."""
    opened.get_by_label("Into folder").fill("~/my_season")
    opened.get_by_label("Into folder").press("Tab")
    choose(opened, theirs)
    opened.get_by_label("short tons").wait_for()
    settle(opened)
    return opened


def choose(page, files):
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="choose workbooks or tables").press("Enter")
    chooser.value.set_files(files)


class TestFirstScreen(AnswerFirst):
    def wanted(self, page, width):
        """What must be in sight at first."""
        return [
            page.locator(".cl-matters"),
            page.get_by_label("short tons"),
            page.get_by_role("button", name="write my_season"),
        ]


def test_a_question_is_answered_from_the_keyboard_and_the_folder_written(opened, guard):
    write = opened.get_by_role("button", name="write my_season")
    expect(write).to_be_disabled()
    opened.get_by_label("t: 6.31 is 6.31 t (likely)").focus()
    opened.keyboard.press("ArrowDown")
    expect(opened.get_by_label("short tons")).to_be_checked()
    expect(write).to_be_enabled()
    # The arrow keys go on from the answer: it was not drawn anew.
    expect(opened.get_by_label("short tons")).to_be_focused()
    settle(opened)
    fold = opened.get_by_role("button", name="[Slips]")
    fold.press("Enter")
    expect(opened.get_by_role("table")).to_contain_text("short tons")
    write.press("Enter")
    said = opened.get_by_text("Done: Written to").inner_text()
    folder = Path(re.search("Written to (.+?my_season): 4 rows of blocks", said)[1])
    expect(opened.locator(".cl-matters")).to_contain_text("Nothing of it is new.")
    expect(write).to_be_disabled()
    found = read_records(folder)
    assert len(found.blocks) == 4
    # 6.31 short tons of 2,000 lb, a pound being 0.45359237 kg (NIST Handbook 44, appendix C).
    tonnes = dict(zip(found.harvest["ticket"], found.harvest["tonnes"], strict=True))
    assert tonnes["7701"] == pytest.approx(6.31 * 2000 * 0.45359237 / 1000)
    assert guard.blocked == []


def test_a_large_file_reaches_the_page(opened, theirs, tmp_path):
    large = tmp_path / "with_photos.xlsx"
    shutil.copy(theirs[0], large)
    with zipfile.ZipFile(large, "a") as book:
        book.writestr("xl/media/photo.png", np.random.default_rng(0).bytes(LARGE))
    choose(opened, large)
    opened.get_by_text("with_photos.xlsx: 4 rows of blocks").wait_for()
