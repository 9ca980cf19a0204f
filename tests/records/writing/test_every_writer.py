"""Whatever adds to the user's tables: nothing is lost, whatever stands in its way."""

import errno
import os
from concurrent.futures import ThreadPoolExecutor

import pytest

from cropload import answer_doubt, correct, read_records, record_event
from cropload.beliefs.learned import Entry, write_learned
from cropload.errors import CroploadError
from cropload.records.importing.importing import import_workbook
from cropload.records.writing import gate
from cropload.records.writing.append import append_tables
from cropload.records.writing.scenarios import keep_scenario
from cropload.season.forecast_log import HEAD, append_log
from cropload.season.take import take_sheets

TABLES = {
    "blocks": "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,7.5,1000\n",
    "counts": "season,date,block,row,vine,clusters,counter\n2026,2026-06-12,North,1,1,30,\n",
    "harvest": "season,block,date,tonnes\n2025,North,2025-09-20,5.5\n",
    "scenarios": "scenario,block,plan,season,date,note\n",
    "events": "block,date,kind,share_pct,of,dead,alive,counts_that_day,note\n",
    "corrections": "table,key,column,old,new,date,why\n",
    "answered": "rule,block,season,who,why,date,rows\n",
}
SHEET = "season,date,block,row,vine,clusters,counter\n2026,2026-06-12,North,1,2,31,=me\n"
MORE = TABLES["harvest"] + "2024,North,2024-09-20,5.1\n"
COUNT = {"season": 2026, "date": "2026-06-12", "block": "North", "row": 1, "clusters": 9}
#: What a spreadsheet program would reckon with.
NAME = '=HYPERLINK("x")'


def _import(folder, files):
    return import_workbook([files / "harvest.csv", files / "counts.csv"], folder).write()


def _several(folder, _):
    rows = {
        "counts": [COUNT | {"vine": 3}],
        "harvest": [{"season": 2024, "block": "North", "date": "2024-09-20", "tonnes": 5.1}],
    }
    append_tables(folder, rows)


WRITERS = {
    "scenarios": lambda f, _: keep_scenario(read_records(f), "s", {"North": "2x8"}, 2027, NAME),
    "events": lambda f, _: record_event(read_records(f), "North", "2026-06-20", "hail", note=NAME),
    "corrections": lambda f, _: correct(f, "harvest", "2025", "tonnes", 5.4, why=NAME),
    "answered": lambda f, _: answer_doubt(f, "blocks-vine-spacing-m", NAME, who="AB"),
    "counts": lambda f, files: take_sheets([files / "sheet.csv"], f),
    "learned": lambda f, _: write_learned(
        f, [Entry("component", "recovery", 2025, 3, "Riesling", 0.9, 0.1)], "2026-11-01"
    ),
    "forecasts": lambda f, _: append_log(
        f,
        [{name: {str: NAME, int: 2026, float: 1.0}[kind] for name, kind in HEAD.items()}],
        [],
    ),
    "several": _several,
    "import": _import,
}
#: One of each way to the disk; the others go the way of "answered".
DOORS = ("answered", "counts", "learned", "forecasts", "several", "import")


@pytest.fixture
def place(tmp_path):
    folder, files = tmp_path / "mine", tmp_path / "files"
    folder.mkdir()
    files.mkdir()
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text)
    (files / "sheet.csv").write_text(SHEET)
    (files / "harvest.csv").write_text(MORE)
    (files / "counts.csv").write_text(SHEET.replace(",counter", "").replace(",=me", ""))
    return folder, files


def held(folder):
    return {
        str(file.relative_to(folder)): file.read_bytes()
        for file in folder.rglob("*")
        if file.is_file()
    }


def added(before, after):
    """Return the names of files that grew or came; every byte that was there still is."""
    assert all(after[name].startswith(data) for name, data in before.items())
    return {name for name, data in after.items() if data != before.get(name)}


@pytest.mark.parametrize("name", WRITERS)
def test_a_writer_adds_and_what_looks_like_a_formula_is_none(place, name):
    folder, files = place
    before = held(folder)
    WRITERS[name](folder, files)
    after = held(folder)
    new = added(before, after)
    assert new
    for file in new:
        if file.endswith(".csv"):
            cells = after[file].decode("utf-8-sig").replace("\n", ",").split(",")
            assert not [cell for cell in cells if cell.lstrip('"').startswith("=")], file
    assert read_records(folder).blocks["block"].tolist() == ["North"]


@pytest.mark.parametrize("name", DOORS)
@pytest.mark.parametrize("step", ["_part", "_give_names"])
def test_a_disk_that_is_full_for_the_last_file_leaves_all_as_they_were(place, name, step):
    folder, files = place
    before, real = held(folder), gate._commit

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def commit(jobs):
        left, taken = len(jobs), getattr(gate, step)

        def one(*given):
            nonlocal left
            left -= 1
            if left:
                return taken(*given)
            # From now on nothing more can be written.
            gate._part = full
            return full()

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(gate, "_part", gate._part)
            patch.setattr(gate, step, one)
            return real(jobs)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(gate, "_commit", commit)
        with pytest.raises(CroploadError, match="No space left"):
            WRITERS[name](folder, files)
    assert held(folder) == before


def test_what_cannot_be_brought_back_is_told(place):
    folder, files = place
    real = os.replace
    with pytest.MonkeyPatch.context() as patch:
        taken = []

        def replace(old, new):
            taken.append(new)
            if len(taken) > 1:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            return real(old, new)

        patch.setattr(os, "replace", replace)
        with pytest.raises(CroploadError, match=r"counts\.csv could not be brought back"):
            _several(folder, files)
    assert len(taken) == 3


@pytest.mark.parametrize("name", DOORS)
def test_a_read_only_folder_is_refused_in_words(place, name):
    folder, files = place
    before, mode = held(folder), folder.stat().st_mode
    folder.chmod(mode & ~0o222)
    try:
        with pytest.raises(CroploadError, match=r"read-only|cannot be made"):
            WRITERS[name](folder, files)
    finally:
        folder.chmod(mode)
    assert held(folder) == before


@pytest.mark.parametrize("name", DOORS)
def test_a_link_is_followed_and_stays_one(place, name):
    folder, files = place
    real = folder.parent / "real"
    real.mkdir()
    for file in list(folder.iterdir()):
        file.rename(real / file.name)
        (folder / file.name).symlink_to(real / file.name)
    before = held(real)
    WRITERS[name](folder, files)
    assert added(before, held(real)) or name in ("learned", "forecasts")
    assert all(file.is_symlink() for file in folder.iterdir() if file.name in before)


@pytest.mark.parametrize("name", DOORS)
def test_what_another_program_writes_meanwhile_is_never_lost(place, name):
    folder, files = place
    real = gate._commit

    def meddled(jobs):
        jobs[-1].target.write_bytes((jobs[-1].old or b"") + b"of another program\n")
        return real(jobs)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(gate, "_commit", meddled)
        with pytest.raises(CroploadError, match=r"changed by another program|exists"):
            WRITERS[name](folder, files)
    assert any(b"of another program" in data for data in held(folder).values())


def test_two_hands_at_once_lose_nothing(place):
    folder, files = place
    names = ("scenarios", "events", "corrections", "answered", "counts", "several")
    with ThreadPoolExecutor(6) as pool:
        for done in [pool.submit(WRITERS[name], folder, files) for name in names]:
            done.result()
    records = read_records(folder)
    assert len(records.counts) == 3
    assert [len(getattr(records, name)) for name in names[:4]] == [1, 1, 1, 1]
