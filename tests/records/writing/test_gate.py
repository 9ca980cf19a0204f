"""What the gate refuses, what it keeps, and what it says when a disk does not play along."""

import ast
import errno
import os
import stat
import threading
from pathlib import Path

import pytest

import cropload
from cropload.errors import CroploadError
from cropload.records.writing import gate, locks
from cropload.records.writing.gate import (
    Result,
    changing,
    check_results,
    make_folder,
    write_new,
    write_results,
)

PACKAGE = Path(cropload.__file__).parent
DOORS = {PACKAGE / "records" / "writing" / name for name in ("gate.py", "locks.py")}
#: Steps that a full disk can refuse.
STEPS = ("open", "write", "fsync", "link", "replace")


def result(path, data=b"new\n", endings=(".csv",)):
    return Result(path, endings, data)


def replaced(path):
    write_results([result(path, b"old, new")], replace=True)


def several(path):
    more = result(path.with_name("new.csv"))
    write_results([result(path, b"old, new"), more], replace=True)


def added_to(path):
    with changing(path) as change:
        change.put(b"old, new", change.read())


def held_in(folder):
    return {file.name: file.read_bytes() for file in folder.iterdir()}


# ------------------------------------------------------------------ one way


WRITING = {
    "write_text", "write_bytes", "touch", "mkdir", "makedirs", "to_csv", "to_excel", "to_html",
    "to_json", "to_pickle", "symlink_to", "hardlink_to", "rename", "unlink", "rmdir", "mkstemp",
    "mkdtemp", "NamedTemporaryFile", "TemporaryDirectory", "TemporaryFile", "copyfile", "copytree",
    "copy2", "move", "rmtree", "ExcelWriter", "savez", "savetxt", "tofile", "FileHandler",
}  # fmt: skip
OF_OS = {"open", "replace", "link", "remove", "symlink", "fdopen", "truncate", "write", "mkfifo"}
#: A picture into a text in memory, a workbook into bytes, a date, and the null device.
INTO_MEMORY = {"drawing.py: savefig(stream)", "workbook_append.py: to_excel(cell, epoch)",
               "workbook_append.py: ZipFile(stream, 'w')", "books.py: ZipFile(stream, 'w')",
               "importing.py: to_csv(index=False)", "keep.py: to_csv(index=False)",
               "cli.py: os.open(os.devnull, os.O_WRONLY)",
               "mix.py: os.open(os.devnull, os.O_WRONLY)"}  # fmt: skip


def writes(call):
    """Whether a call can make, change or take away a file."""
    name = getattr(call.func, "attr", getattr(call.func, "id", ""))
    of = getattr(getattr(call.func, "value", None), "id", "")
    if (name in WRITING and name not in ("rename", "move")) or name == "savefig":
        return True
    if of in ("os", "shutil") and name in OF_OS | {"rename", "copy", "move"}:
        return True
    if name not in ("open", "ZipFile"):
        return False
    modes = [*call.args, *(word.value for word in call.keywords)]
    texts = [each.value for each in modes if isinstance(each, ast.Constant)]
    return any(
        isinstance(text, str) and set(text) & set("wax+") and len(text) < 4 for text in texts
    )


def test_no_other_file_of_the_package_writes():
    found = set()
    # The wheel carries the scripts that made the sample, which are no part of the package.
    for path in (each for each in PACKAGE.rglob("*.py") if "_shipped" not in each.parts):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and writes(node) and path not in DOORS:
                shown = ast.unparse(node)
                found.add(f"{path.name}: {shown}")
    assert {each for each in found if not _in_memory(each)} == set()


def _in_memory(shown):
    file, call = shown.split(": ", 1)
    return any(
        file == known.split(": ")[0] and known.split(": ")[1].rstrip(")") in call
        for known in INTO_MEMORY
    )


def test_the_test_above_sees_what_writes():
    for text in ("open(p, 'wb')", "p.open('a')", "p.write_text(t)", "os.replace(a, b)",
                 "f.to_csv(p)", "fig.savefig(p)", "p.mkdir()", "open(p, mode='x')"):  # fmt: skip
        assert writes(ast.parse(text).body[0].value), text
    for text in ("open(p)", "p.open('rb')", "text.replace(a, b)", "frame.rename(columns=c)"):
        assert not writes(ast.parse(text).body[0].value), text


# ------------------------------------------------------------------ names


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("NUL.csv", "device"),
        ("con.csv", "device"),
        ("Lpt1.tar.csv", "device"),
        ("COM¹.csv", "device"),
        ("a\n.csv", "control character"),
        ("a\x1b[2J.csv", "control character"),
        ("a\0.csv", "control character"),
        ("plans.csv.", "ends in a dot"),
        ("plans.csv ", "ends in a blank"),
        ("plans.txt", "must end in .csv"),
        ("plans", "must end in .csv"),
        ("a" * 300 + ".csv", "shorter name"),
    ],
)
def test_names_that_cannot_be_are_refused(tmp_path, name, words):
    with pytest.raises(CroploadError, match=words) as told:
        write_results([result(tmp_path / name)])
    assert "\x1b" not in str(told.value)
    assert "\0" not in str(told.value)
    assert held_in(tmp_path) == {}


@pytest.mark.parametrize(
    "name", ["console.csv", "comb.csv", "nul-hypothesis.csv", "Ürzig.CSV", "a.b.csv"]
)
def test_names_that_only_look_alike_are_taken(tmp_path, name):
    write_results([result(tmp_path / name)])
    assert held_in(tmp_path) == {name: b"new\n"}


def test_a_folder_is_refused_by_the_same_names(tmp_path):
    with pytest.raises(CroploadError, match="device"):
        make_folder(tmp_path / "aux" / "season")
    assert held_in(tmp_path) == {}


def test_a_link_that_leads_nowhere_or_in_circles_is_told(tmp_path):
    (tmp_path / "a.csv").symlink_to(tmp_path / "b.csv")
    (tmp_path / "b.csv").symlink_to(tmp_path / "a.csv")
    with pytest.raises(CroploadError, match=r"a\.csv"):
        write_results([result(tmp_path / "a.csv")])
    (tmp_path / "gone.csv").symlink_to(tmp_path / "nowhere.csv")
    with pytest.raises(CroploadError, match="not overwritten"):
        write_results([result(tmp_path / "gone.csv")])


def test_a_device_is_no_plain_file(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(CroploadError, match="no plain file"):
        write_results([result(tmp_path / "pipe.csv")], replace=True)


# ------------------------------------------------------------------ what is replaced


def test_every_version_that_is_replaced_stays_under_a_number(tmp_path):
    path = tmp_path / "plans.csv"
    path.write_bytes(b"0")
    (tmp_path / "plans.7.csv").write_bytes(b"mine")
    told = [write_results([result(path, data)], replace=True) for data in (b"1", b"2", b"2")]
    assert [kept and kept.name for [(_, kept)] in told] == ["plans.8.csv", "plans.9.csv", None]
    assert held_in(tmp_path) == {
        "plans.csv": b"2", "plans.7.csv": b"mine", "plans.8.csv": b"0", "plans.9.csv": b"1",
    }  # fmt: skip


def test_mode_and_link_are_kept(tmp_path):
    real = tmp_path / "there"
    real.mkdir()
    (real / "real.csv").write_bytes(b"old")
    (real / "real.csv").chmod(0o640)
    (tmp_path / "plans.csv").symlink_to(real / "real.csv")
    write_results([result(tmp_path / "plans.csv")], replace=True)
    assert (tmp_path / "plans.csv").is_symlink()
    assert held_in(real) == {"real.csv": b"new\n", "real.1.csv": b"old"}
    assert {stat.S_IMODE(file.stat().st_mode) for file in real.iterdir()} == {0o640}


@pytest.mark.parametrize("write", [replaced, added_to])
def test_a_hard_link_is_neither_broken_nor_written_through(tmp_path, write):
    path, other = tmp_path / "plans.csv", tmp_path / "other.csv"
    path.write_bytes(b"old")
    os.link(path, other)
    with pytest.raises(CroploadError, match="hard link"):
        write(path)
    assert held_in(tmp_path) == {"plans.csv": b"old", "other.csv": b"old"}
    assert path.samefile(other)


def test_several_files_are_written_all_or_none(tmp_path):
    (tmp_path / "b.csv").write_bytes(b"old")
    with pytest.raises(CroploadError, match="not overwritten"):
        write_results([result(tmp_path / "a.csv"), result(tmp_path / "b.csv")])
    for names in (("r.csv", "r.csv"), ("r.csv", "R.csv"), ("r.csv", "x/../r.csv")):
        (tmp_path / "x").mkdir(exist_ok=True)
        with pytest.raises(CroploadError, match="same file"):
            write_results([result(tmp_path / name) for name in names])
    (tmp_path / "x").rmdir()
    with pytest.raises(CroploadError, match="exists"):
        write_new({tmp_path / "a.csv": b"1", tmp_path / "b.csv": b"2"})
    assert held_in(tmp_path) == {"b.csv": b"old"}


def test_all_faults_of_several_files_are_told_at_once(tmp_path):
    (tmp_path / "a.csv").write_bytes(b"old")
    (tmp_path / "b.csv").write_bytes(b"old")
    with pytest.raises(CroploadError) as told:
        check_results([result(tmp_path / "a.csv"), result(tmp_path / "b.csv")])
    assert "a.csv exists" in str(told.value)
    assert "b.csv exists" in str(told.value)


# ------------------------------------------------------------------ disks and locks


def refusing(monkeypatch, number, code):
    """Let the step of a number, and all like it after, fail; return the steps taken."""
    taken = []

    def step_of(name, real):
        def step(*given, **more):
            taken.append(name)
            if len(taken) == number:
                raise OSError(code, os.strerror(code))
            return real(*given, **more)

        return step

    for name in STEPS:
        monkeypatch.setattr(os, name, step_of(name, getattr(os, name)))
    return taken


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS])
@pytest.mark.parametrize("write", [replaced, several, added_to])
def test_a_step_that_fails_changes_nothing_and_names_the_file(tmp_path, write, code):
    failed, number, steps = 0, 0, None
    while steps is None or number <= len(steps):
        number += 1
        folder = tmp_path / str(number)
        folder.mkdir()
        path = folder / "plans.csv"
        path.write_bytes(b"old")
        with pytest.MonkeyPatch.context() as patch:
            taken = refusing(patch, number, code)
            told = None
            try:
                write(path)
            except CroploadError as fault:
                told = str(fault)
        if told is None:
            # All went well, or a file was renamed where it could not be linked.
            assert len(taken) < number or taken[number - 1] == "link"
            assert path.read_bytes() == b"old, new"
        else:
            failed += 1
            assert str(folder) in told
            assert os.strerror(code) in told
            assert held_in(folder) == {"plans.csv": b"old"}
        steps = taken if len(taken) < number else None
    assert failed >= 5


def test_a_disk_with_too_little_room_names_the_file(tmp_path):
    resource = pytest.importorskip("resource")
    path = tmp_path / "plans.csv"
    path.write_bytes(b"old")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, hard))
    try:
        with pytest.raises(CroploadError, match=r"plans\.csv cannot be written"):
            write_results([result(path, b"x" * 200_000)], replace=True)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert held_in(tmp_path) == {"plans.csv": b"old"}


@pytest.mark.parametrize("lock", [".~lock.plans.csv#", "~$plans.csv"])
def test_a_file_open_in_a_spreadsheet_is_left_alone(tmp_path, lock):
    path = tmp_path / "plans.csv"
    path.write_bytes(b"old")
    (tmp_path / lock).write_bytes(b"")
    (tmp_path / "link.csv").symlink_to(path)
    for name in ("plans.csv", "link.csv"):
        with pytest.raises(CroploadError, match="open in a spreadsheet program"):
            write_results([result(tmp_path / name)], replace=True)
        with pytest.raises(CroploadError, match="open in a spreadsheet"), changing(tmp_path / name):
            pass
    assert path.read_bytes() == b"old"


def test_one_that_opens_a_spreadsheet_meanwhile_is_not_written_over(tmp_path):
    path = tmp_path / "plans.csv"
    path.write_bytes(b"old")
    with changing(path) as change:
        (tmp_path / "~$plans.csv").write_bytes(b"")
        with pytest.raises(CroploadError, match="open in a spreadsheet"):
            change.put(b"new", b"old")
    assert path.read_bytes() == b"old"


def test_another_run_is_waited_for_and_then_told_of(tmp_path, monkeypatch):
    path = tmp_path / "plans.csv"
    monkeypatch.setattr(locks, "_WAIT", 0.1)
    faults = []

    def other():
        try:
            write_results([result(path)])
        except CroploadError as fault:
            faults.append(str(fault))

    with changing(path):
        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
        write_results([result(tmp_path / "same_run.csv")])
    assert "Another run of cropload" in faults[0]
    other()
    assert len(faults) == 1
    assert set(held_in(tmp_path)) == {"plans.csv", "same_run.csv"}


def test_what_killed_runs_left_is_cleared_and_keeps_nobody_out(tmp_path):
    (tmp_path / locks.LOCK).write_bytes(b"")
    (tmp_path / f"{locks.PART_START}0f{locks.PART_END}").write_bytes(b"half")
    write_results([result(tmp_path / "plans.csv")])
    assert set(held_in(tmp_path)) == {"plans.csv"}


def test_a_file_system_without_locks_or_links_is_written_all_the_same(tmp_path, monkeypatch):
    def unknown(*_):
        raise OSError(errno.ENOTSUP, "not supported")

    if locks.fcntl is not None:
        monkeypatch.setattr(locks.fcntl, "flock", unknown)
    monkeypatch.setattr(os, "link", unknown)
    write_results([result(tmp_path / "a.csv", b"1")])
    write_results([result(tmp_path / "a.csv", b"2")], replace=True)
    assert held_in(tmp_path) == {"a.csv": b"2", "a.1.csv": b"1"}


@pytest.mark.parametrize("read_only", ["plans.csv", "."])
def test_a_read_only_file_or_folder_is_refused(tmp_path, read_only):
    (tmp_path / "plans.csv").write_bytes(b"old")
    target = tmp_path / read_only
    mode = target.stat().st_mode
    target.chmod(mode & ~0o222)
    try:
        with pytest.raises(CroploadError, match="read-only"):
            write_results([result(tmp_path / "plans.csv")], replace=True)
    finally:
        target.chmod(mode)
    assert held_in(tmp_path) == {"plans.csv": b"old"}


def test_a_full_folder_of_temporary_files_is_named(monkeypatch):
    class Book:
        def save(self, stream):
            raise OSError(errno.ENOSPC, "No space left on device")

    with pytest.raises(CroploadError, match=r"temporary files, .*No space left"):
        gate.workbook_bytes(Book())
