"""One command opens the pages, each also a notebook, on this machine alone."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest

from cropload.records.example import shipped

pytestmark = pytest.mark.browser
SAMPLE = shipped("sample_data") / "quillfoot"

# A page that says what its address says, and what a record says now beside what it said when the
# page was rendered.
LISTENS = """
from pathlib import Path
import ipywidgets
from cropload.show.address import Address, page_link
address, record = Address(), Path("record.txt")
rendered = record.read_text()
Path("rendered_ahead").touch()
said = ipywidgets.HTML("nobody has opened the page")
def show(query):
    block = query.get("block", "none")
    said.value = f"<p>block {block}; rendered {rendered}, now {record.read_text()}</p>"
address.on_open(show)
field = ipywidgets.Text(description="Block")
field.observe(lambda change: address.say(block=change.new, units="us"), "value")
home = ipywidgets.HTML(page_link("home", "to home", block="A & B"))
ipywidgets.VBox([address, said, field, home])
"""
HOME = """
import ipywidgets
from cropload.show.address import Address, page_link
address, said = Address(), ipywidgets.HTML()
address.on_open(lambda query: setattr(said, "value", f"<p>home: {query.get('block', 'none')}</p>"))
link = page_link("pruning_levels", "to the block", block="Long Acre", units="us")
ipywidgets.VBox([address, said, ipywidgets.HTML(link)])
"""


@contextmanager
def opened(folder, home):
    """Give the address that the one command prints."""
    environment = os.environ | {
        "HOME": str(home),
        "JUPYTER_CONFIG_DIR": str(home / "config"),
        "JUPYTER_DATA_DIR": str(home / "data"),
        "IPYTHONDIR": str(home / "ipython"),
    }
    door = subprocess.Popen(
        [sys.executable, "-m", "cropload", "open", str(folder), "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=environment,
    )
    try:
        line = door.stdout.readline()
        yield re.search(r"http://127\.0\.0\.1:\d+/\?token=\w{32,}", line)[0]
    finally:
        door.send_signal(signal.SIGTERM)
        door.wait(60)
        door.stdout.close()


@pytest.fixture(scope="module")
def vineyard(tmp_path_factory):
    """The sample estate, opened."""
    home = tmp_path_factory.mktemp("vineyard")
    shutil.copytree(SAMPLE, home / "work")
    with opened(home / "work", home) as address:
        yield address


@pytest.fixture(scope="module")
def two_pages(tmp_path_factory):
    """Two small pages that know their address, opened; the folder and where."""
    home = tmp_path_factory.mktemp("two")
    folder = home / "work"
    folder.mkdir()
    shutil.copy(SAMPLE / "blocks.csv", folder)
    (folder / "record.txt").write_text("old")
    for name, source in (("home", HOME), ("pruning_levels", LISTENS)):
        (folder / f"{name}.ipynb").write_text(json.dumps(notebook(source)))
    with opened(folder, home) as address:
        yield folder, address


def wait_for(file):
    deadline = time.monotonic() + 90
    while not file.exists():
        assert time.monotonic() < deadline, f"{file.name} never came"
        time.sleep(0.1)


def notebook(source):
    cell = {"cell_type": "code", "execution_count": None, "id": "one", "metadata": {}}
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    return {
        "cells": [cell | {"outputs": [], "source": source}],
        "metadata": {"kernelspec": kernel, "title": "A page"},
        "nbformat": 4,
        "nbformat_minor": 5,
    }


def test_the_first_page_shows_tonnes_by_itself(page, guard, vineyard):
    page.goto(vineyard)
    blocks = page.get_by_role("table", name="Every block")
    blocks.get_by_text("Long Acre").wait_for()
    # The crop of the estate with its range.
    assert re.search(r"all\s+\d+\.\d \(\d+\.\d-\d+\.\d\)", blocks.inner_text())
    assert "Run All" not in page.locator("body").inner_text()
    assert "token" not in page.url
    assert page.title() != ""
    assert guard.passed
    assert guard.blocked == []


def test_as_a_notebook_leads_to_the_lab(page, guard, vineyard, context):
    with context.expect_page() as other:
        page.get_by_role("link", name="as a notebook").click()
    lab = other.value
    lab.locator(".jp-Notebook").filter(visible=True).first.wait_for()
    name = page.url.rpartition("/")[2]
    assert re.match(rf"http://127\.0\.0\.1:\d+/lab/tree/{name}", lab.url)
    lab.close()
    assert guard.blocked == []


def test_nothing_opens_without_the_token(chromium, vineyard):
    stranger = chromium.new_context()
    page = stranger.new_page()
    page.goto(vineyard.partition("?")[0])
    assert page.title() == "cropload: token needed"
    page.get_by_label("Token").fill("wrong")
    page.get_by_role("button", name="Open").click()
    page.get_by_role("alert").wait_for()
    answer = stranger.request.get(vineyard.partition("?")[0] + "voila/api/contents/")
    assert answer.status == 403
    stranger.close()


def test_a_page_rendered_ahead_hears_its_address_and_what_changed_since(page, guard, two_pages):
    folder, address = two_pages
    page.goto(address)
    page.get_by_text("home: none").wait_for()
    wait_for(folder / "rendered_ahead")
    (folder / "record.txt").write_text("new")
    page.get_by_role("link", name="to the block").click()
    page.get_by_text("block Long Acre; rendered old, now new").wait_for()
    assert page.url.endswith("/pruning_levels.ipynb?block=Long+Acre&units=us")
    page.get_by_label("Block").fill("Home Terrace")
    page.get_by_label("Block").press("Tab")
    page.wait_for_url("**/pruning_levels.ipynb?block=Home+Terrace&units=us")
    page.get_by_role("link", name="to home").click()
    page.get_by_text("home: A & B").wait_for()
    page.go_back()
    page.get_by_text("block Home Terrace;").wait_for()
    assert guard.blocked == []


@pytest.mark.parametrize("width", [1280, 390])
def test_the_frame_of_a_page_is_in_reach_of_everyone(page, two_pages, width):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page.set_viewport_size({"width": width, "height": 844})
    page.goto(two_pages[1])
    page.get_by_text("home: none").wait_for()
    found = axe.run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.set_viewport_size({"width": 1280, "height": 900})


def run_all(page, name):
    """Run a notebook of the lab once its kernel is there; a command's promise is not waited for."""
    page.wait_for_function(
        """name => {
          const shown = window.jupyterapp?.shell?.currentWidget;
          return shown?.context?.path === name && shown.context.isReady
            && shown.sessionContext.isReady && shown.sessionContext.session?.kernel
            && shown.sessionContext.session.kernel.status === "idle";
        }""",
        arg=name,
    )
    page.evaluate("void window.jupyterapp.commands.execute('notebook:run-all-cells')")


def test_links_work_in_the_lab_too(page, guard, two_pages):
    page.goto(two_pages[1].replace("/?", "/as_notebook/home.ipynb?"))
    run_all(page, "home.ipynb")
    page.get_by_role("link", name="to the block").click()
    run_all(page, "pruning_levels.ipynb")
    page.get_by_text("block Long Acre; rendered new, now new").wait_for()
    assert guard.blocked == []
