"""One command over many season folders: rows as of the command alone, failures, resuming."""

import json
import os
import shutil

import pandas as pd
import pytest

from cropload.pages import many_folders as many
from cropload.pages.cli import main
from cropload.records.example import shipped

SAMPLE = shipped("sample_data") / "quillfoot"
pytest.importorskip("pyarrow")


@pytest.fixture
def region(tmp_path):
    """Three estates of one name for their season, the third with a table that cannot be read."""
    folders = [tmp_path / f"estate {at}" / "2027" for at in (1, 2, 3)]
    for folder in folders:
        folder.mkdir(parents=True)
        for table in ("blocks", "harvest", "pruning"):
            shutil.copy(SAMPLE / f"{table}.csv", folder)
    (folders[2] / "harvest.csv").write_text("tonnes\nmany\n")
    return [str(folder) for folder in folders]


class InOrder(many.futures.Executor):
    """Tasks done at once in this process."""

    def submit(self, task, *given):
        done = many.futures.Future()
        done.set_result(task(*given))
        return done


@pytest.fixture
def here(monkeypatch):
    """Tasks that run in this process, and how often one was asked."""
    asked = []
    one = many.one
    monkeypatch.setattr(many, "one", lambda *given: asked.append(given[1]) or one(*given))
    monkeypatch.setattr(many.futures, "ProcessPoolExecutor", lambda count: InOrder())
    return asked


def line(region, into, *more):
    return ["forecast", *region, "--draws", "200", "--season", "2027", "--into", str(into), *more]


def test_rows_are_those_of_the_command_alone_and_a_failed_folder_is_told(
    region, here, tmp_path, capsys
):
    into = tmp_path / "rows"
    assert main(line(region, into)) == 2
    told = capsys.readouterr().err
    assert "2 of 3 folders" in told
    assert "harvest.csv" in told
    assert "Traceback" not in told
    alone = tmp_path / "alone.csv"
    asked = ["--draws", "200", "--season", "2027", "--csv", str(alone)]
    assert main(["forecast", region[0], *asked]) == 0
    found = pd.read_parquet(into)
    assert list(found["folder"].unique()) == region[:2]
    ours = found[found["folder"] == region[0]].drop(columns="folder").reset_index(drop=True)
    theirs = pd.read_csv(alone)
    numbers = ours.select_dtypes("number").columns
    assert len(numbers) > 8
    pd.testing.assert_frame_equal(ours[numbers], theirs[numbers], check_dtype=False)


def test_only_what_failed_or_changed_is_asked_again(region, here, tmp_path, capsys):
    into = tmp_path / "rows"
    main(line(region, into))
    here.clear()
    shutil.copy(SAMPLE / "harvest.csv", region[2])
    assert main(line(region, into)) == 0
    assert here == [region[2]]
    assert "2 were there already" in capsys.readouterr().out
    with open(f"{region[0]}/blocks.csv", "a") as table:
        table.write("\n")
    here.clear()
    assert main(line(region, into)) == 0
    assert here == [region[0]]


def test_rows_of_two_kinds_never_mix(region, here, tmp_path, capsys):
    into = tmp_path / "rows"
    main(line(region[:2], into))
    before = sorted(file.read_bytes() for file in into.iterdir())
    assert main(line(region[:2], into, "--by", "estate")) == 2
    assert "another command" in capsys.readouterr().err
    assert sorted(file.read_bytes() for file in into.iterdir()) == before
    assert json.loads((into / "_results_of.json").read_text())[0] == "forecast"


def test_results_never_go_among_other_files(region, here, tmp_path, capsys):
    before = sorted(os.listdir(region[0]))
    assert main(line(region[:2], region[0])) == 2
    assert "holds other files (blocks.csv)" in " ".join(capsys.readouterr().err.split())
    assert sorted(os.listdir(region[0])) == before
    into = tmp_path / "rows"
    into.mkdir()
    (into / "_results_of.json").write_text("{")
    assert main(line(region[:2], into)) == 2
    assert "_results_of.json cannot be read" in " ".join(capsys.readouterr().err.split())
    assert not here


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ([], "--into PLACE"),
        (["--into", "x", "--csv", "y.csv"], "not --csv"),
        (["--into", "x", "--workers", "tcp://127.0.0.1:9"], "No scheduler answers"),
    ],
)
def test_what_cannot_be_is_one_message(region, more, told, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    pytest.importorskip("distributed")
    monkeypatch.setattr(many, "_PATIENCE_S", 0.2)
    assert main(["forecast", *region, *more]) == 2
    err = capsys.readouterr().err
    assert told in " ".join(err.split())
    assert "Traceback" not in err


def test_a_folder_named_twice_is_refused(region, tmp_path, capsys):
    assert main(line([region[0], region[0]], tmp_path / "rows")) == 2
    assert "named twice" in capsys.readouterr().err


def test_every_command_for_many_folders_keeps_rows(region, here, tmp_path):
    for name in ("intake", "review"):
        into = tmp_path / name
        season = "2026" if name == "review" else "2027"
        asked = [name, region[0], "--draws", "100", "--season", season, "--into", str(into)]
        assert main(asked) == 0
        assert len(pd.read_parquet(into))


def test_workers_of_a_scheduler_give_the_same_rows(region, here, tmp_path):
    distributed = pytest.importorskip("distributed")
    main(line(region[:1], tmp_path / "here"))
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None,
        host="127.0.0.1", protocol="tcp",
    ) as cluster:  # fmt: skip
        main(line(region[:1], tmp_path / "there", "--workers", cluster.scheduler_address))
    pd.testing.assert_frame_equal(
        pd.read_parquet(tmp_path / "there"), pd.read_parquet(tmp_path / "here")
    )
