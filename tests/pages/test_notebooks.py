"""Notebooks beside the records keep up with the package, and are never taken from their user."""

import json
import shutil

import pytest

from cropload import workbook
from cropload.pages import notebooks as n
from cropload.records.example import shipped

NAME = "pruning_levels.ipynb"


@pytest.fixture
def folder(tmp_path):
    """A folder with records, and no notebook yet."""
    shutil.copy(shipped("sample_data") / "quillfoot" / "blocks.csv", tmp_path)
    return tmp_path


def changed(path, **more):
    """Change the last code cell of a notebook, or its metadata, as a user or an older version."""
    book = json.loads(path.read_text("utf-8"))
    if "code" in more:
        book["cells"][-1]["source"] = [more["code"]]
    if "setting" in more:
        for cell in book["cells"]:
            if cell["cell_type"] == "code" and "FOLDER = " in "".join(cell["source"]):
                cell["source"] = [more["setting"]]
                break
    if "version" in more:
        book["metadata"]["cropload"] = {"version": more["version"]}
    path.write_text(json.dumps(book), "utf-8")
    return n.fingerprint(path.read_bytes())


@pytest.fixture
def released(monkeypatch, tmp_path_factory):
    """A list of released versions that a test can add to."""
    place = tmp_path_factory.mktemp("released") / "released.json"
    versions = json.loads(n.RELEASED.read_text("utf-8"))

    def add(version):
        versions[NAME].insert(0, version)
        place.write_text(json.dumps(versions), "utf-8")
        monkeypatch.setattr(n, "RELEASED", place)

    return add


def test_every_shipped_notebook_is_the_latest_released_one():
    versions = json.loads(n.RELEASED.read_text("utf-8"))
    for source in n.notebooks():
        now = n.fingerprint(source.read_bytes())
        assert versions[source.name][-1] == now, f"add {now} to {n.RELEASED.name}"


def test_a_notebook_imports_from_the_workbook_alone():
    for source in n.notebooks():
        for cell in json.loads(source.read_text("utf-8"))["cells"]:
            for line in "".join(cell["source"]).splitlines():
                if cell["cell_type"] == "code" and "import" in line:
                    assert line.startswith("from cropload.workbook import "), source.name


def test_an_unchanged_notebook_of_an_earlier_version_is_brought_up_to_date(folder, released):
    n.bring_notebooks(folder)
    released(changed(folder / NAME, code="old()", setting='FOLDER = "mine"'))
    brought = n.bring_notebooks(folder)
    assert [file.name for file in brought.refreshed] == [NAME]
    assert "Brought up to date: pruning_levels.ipynb." in brought.sentences()
    book = (folder / NAME).read_text("utf-8")
    assert "old()" not in book
    assert 'FOLDER = \\"mine\\"' in book
    assert n.bring_notebooks(folder) == ([], [], [])


def test_outputs_metadata_and_the_setting_are_no_change(folder):
    n.bring_notebooks(folder)
    before = n.fingerprint((folder / NAME).read_bytes())
    assert changed(folder / NAME, setting="FOLDER = None  # the sample", version="x") == before


def test_a_changed_notebook_of_this_version_stays_alone(folder):
    n.bring_notebooks(folder)
    changed(folder / NAME, code="mine()")
    assert n.bring_notebooks(folder) == ([], [], [])
    assert "mine()" in (folder / NAME).read_text("utf-8")


@pytest.mark.parametrize("old", ["an earlier version", "no version", "no notebook"])
def test_a_changed_one_of_an_earlier_version_stays_with_a_fresh_one_beside_it(folder, old):
    n.bring_notebooks(folder)
    changed(folder / NAME, code="mine()", version="0123456789abcdef")
    if old == "no version":
        book = json.loads((folder / NAME).read_text("utf-8"))
        del book["metadata"]["cropload"]
        (folder / NAME).write_text(json.dumps(book), "utf-8")
    if old == "no notebook":
        (folder / NAME).write_text("mine()", "utf-8")
    before = (folder / NAME).read_bytes()
    brought = n.bring_notebooks(folder)
    fresh = folder / "pruning_levels_fresh.ipynb"
    assert brought.beside == [fresh]
    assert "pruning_levels_fresh.ipynb" in brought.sentences()[0]
    assert (folder / NAME).read_bytes() == before
    assert n.fingerprint(fresh.read_bytes()) == n.fingerprint(
        (shipped("notebooks") / NAME).read_bytes()
    )
    assert n.bring_notebooks(folder) == ([], [], [])


@pytest.mark.parametrize("room", ["views.panels", "decisions.compare", "forecasting"])
def test_an_old_import_says_in_one_line_what_to_import_now(room):
    with pytest.raises(ImportError, match=r"from cropload\.workbook import") as told:
        __import__(f"cropload.{room}")
    assert "\n" not in str(told.value)


def test_an_old_part_of_the_workbook_says_in_one_line_what_to_write_now():
    for old, page in workbook._GONE.items():
        with pytest.raises(ImportError, match=f"write `from cropload.workbook import {page}`"):
            getattr(workbook, old)
        assert page in workbook.__all__
