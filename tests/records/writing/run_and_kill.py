"""Writes, each in a process of its own that is killed one step later every time.

Run as a program by test_kills.py: ``run_and_kill.py WRITE FOLDER`` and
``run_and_kill.py crowd LINES FOLDER``; it ends with a traceback where anything is lost.
"""

import os
import signal
import sys
import traceback
from pathlib import Path

from cropload.records.writing import theirs  # noqa: F401  (so that no child has to load it)
from cropload.records.writing.append import append_rows
from cropload.records.writing.gate import Result, changing, check_results, write_results
from cropload.season.forecast_log import HEAD, append_log, read_log

STEPS = ("open", "write", "fsync", "link", "replace", "rename", "unlink", "utime")
BLOCKS = b"block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,1000\n"
COUNTS = b"season,date,block,row,vine,clusters\n2026,2026-07-01,North,1,1,30\n"


def kill_at(number, after):
    """Make the step of that number the last one, half done (a write) or done."""
    taken = 0

    def killing(name, real):
        def step(*given, **more):
            nonlocal taken
            taken += 1
            if taken == number:
                if name == "write" and not after:
                    real(given[0], bytes(given[1])[: len(given[1]) // 2])
                elif after:
                    real(*given, **more)
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*given, **more)

        return step

    for name in STEPS:
        setattr(os, name, killing(name, getattr(os, name)))


class Rows:
    """A count, added to the table."""

    def start(self, folder):
        (folder / "blocks.csv").write_bytes(BLOCKS)
        (folder / "counts.csv").write_bytes(COUNTS)

    def run(self, folder, tell):
        row = {"season": 2026, "date": "2026-07-01", "block": "North", "row": 1, "clusters": 31}
        append_rows(folder, "counts", [{**row, "vine": 2}])
        tell()

    def check(self, folder, told):
        whole = [COUNTS, COUNTS + b"2026,2026-07-01,North,1,2,31\n"]
        assert (folder / "counts.csv").read_bytes() in whole[told:], told
        assert (folder / "blocks.csv").read_bytes() == BLOCKS


class Log:
    """Two forecasts of two blocks, logged one after the other; the log is not there before."""

    def start(self, folder):
        pass

    def run(self, folder, tell):
        row = {name: "a" if kind is str else 1 for name, kind in HEAD.items()}
        row["as_of"] = "2026-07-15"
        for number in (1, 2):
            append_log(
                folder, [{**row, "season": 2000 + number, "block": block} for block in "AB"], []
            )
            tell()

    def check(self, folder, told):
        log, faults = read_log(folder)
        seen = list(zip(log["season"], log["block"], strict=True))
        every = [(2001, "A"), (2001, "B"), (2002, "A"), (2002, "B")]
        assert faults == ()
        assert seen in (every[:0], every[:2], every)
        assert len(seen) >= 2 * told


class Replaced:
    """A result that takes the place of an earlier one, twice."""

    versions = (b"a,b\n1,1\n", b"a,b\n2,2\n", b"a,b\n3,3\n")

    def start(self, folder):
        (folder / "plans.csv").write_bytes(self.versions[0])

    def run(self, folder, tell):
        for data in self.versions[1:]:
            write_results([Result(folder / "plans.csv", (".csv",), data)], replace=True)
            tell()

    def check(self, folder, told):
        now = self.versions.index((folder / "plans.csv").read_bytes())
        assert now >= told
        copies = {p.read_bytes() for p in folder.glob("plans.*.csv")}
        assert copies >= set(self.versions[:now])


class Several:
    """Three files of one result, two of them new."""

    def start(self, folder):
        (folder / "r.html").write_bytes(b"old")

    def run(self, folder, tell):
        kinds = ("html", "pdf", "xlsx")
        results = [Result(folder / f"r.{kind}", (f".{kind}",), kind.encode()) for kind in kinds]
        write_results(results, replace=True)
        tell()

    def check(self, folder, told):
        page = (folder / "r.html").read_bytes()
        assert page in (b"old", b"html")
        assert page == b"old" or (folder / "r.1.html").read_bytes() == b"old"
        for kind in ("pdf", "xlsx"):
            file = folder / f"r.{kind}"
            assert file.read_bytes() == kind.encode() if file.exists() else not told


WRITES = {"rows": Rows, "log": Log, "replaced": Replaced, "several": Several}


def in_child(work):
    """Run work in a process of its own; return its end, and how often it told of a write."""
    reads, writes = os.pipe()
    real = os.write
    child = os.fork()
    if child == 0:
        try:
            work(lambda: real(writes, b"."))
            os._exit(0)
        except BaseException:
            traceback.print_exc()
            os._exit(1)
    os.close(writes)
    told = 0
    while data := os.read(reads, 65536):
        told += len(data)
    os.close(reads)
    return os.waitpid(child, 0)[1], told


def kill_everywhere(write, folder):
    """Kill a write before and after every step; after each, all must be whole, and go on."""
    # Once undisturbed, so that no child has to load a library.
    warm = folder / "warm"
    warm.mkdir()
    write.start(warm)
    write.run(warm, lambda: None)
    killed = 0
    for after in (False, True):
        number, status = 0, None
        while status != 0:
            number += 1
            place = folder / f"{number}_{after}"
            place.mkdir()
            write.start(place)

            def work(tell, number=number, after=after, place=place):
                kill_at(number, after)
                write.run(place, tell)

            status, told = in_child(work)
            write.check(place, told)
            if status:
                assert os.WTERMSIG(status) == signal.SIGKILL, status
                killed += 1
            # Whoever comes next is not kept out, and clears away what lies there.
            if not isinstance(write, (Rows, Log)):
                write.run(place, lambda: None)
                write.check(place, 1)
            else:
                check_results([Result(place / "other.csv", (".csv",))])
            assert not [name for name in os.listdir(place) if name.startswith(".")]
    return killed


def crowd(folder, each, processes=8):
    """Let processes add lines to one file at once."""
    target = folder / "lines.csv"
    children = []
    for process in range(processes):
        child = os.fork()
        if child == 0:
            try:
                for number in range(each):
                    with changing(target) as change:
                        before = change.read()
                        change.put((before or b"") + b"%d,%d\n" % (process, number), before)
                os._exit(0)
            except BaseException:
                traceback.print_exc()
                os._exit(1)
        children.append(child)
    ends = [os.waitpid(child, 0)[1] for child in children]
    assert ends == [0] * processes, ends
    lines = target.read_text().splitlines()
    assert len(lines) == processes * each
    assert set(lines) == {f"{p},{n}" for p in range(processes) for n in range(each)}
    assert os.listdir(folder) == ["lines.csv"]
    return len(lines)


if __name__ == "__main__":
    what, place = sys.argv[1], Path(sys.argv[-1])
    print(
        crowd(place, int(sys.argv[2]))
        if what == "crowd"
        else kill_everywhere(WRITES[what](), place)
    )
