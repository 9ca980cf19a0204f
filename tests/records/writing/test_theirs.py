"""Records, logs, lessons and settings are never the place of a result, whatever is asked."""

import os
import shutil

import openpyxl
import pandas as pd
import pytest
from helpers import sample_copy

import cropload
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.records.records import read_records
from cropload.records.writing.results import write_frame
from cropload.records.writing.theirs import whose
from cropload.season.forecast_log import HEAD

FRAME = pd.DataFrame({"block": ["North"], "tonnes_p50": [2.4]})
COUNTS = "season,date,block,row,vine,clusters\n2026,2026-07-01,North,1,1,30\n"
SHEET = "season,date,block,row,vine,clusters\n2026,2026-07-01,North,1,1,\n"


@pytest.fixture
def estate(tmp_path):
    folder = sample_copy(tmp_path / "mine", "blocks", "pruning", "counts", "harvest", "capacity")
    (folder / "forecasts.csv").write_text(",".join(HEAD) + "\n", encoding="utf-8")
    (folder / "learned.toml").write_text("format = 2\n", encoding="utf-8")
    return folder


def state(folder):
    return {file.name: file.read_bytes() for file in folder.iterdir()}


@pytest.mark.parametrize(
    "options",
    [
        ["sample", "--csv", "counts.csv"],
        ["sample", "--csv", "link.csv"],
        ["sample", "--csv", "hard.csv"],
        ["sample", "--csv", "capacity.CSV"],
        ["sample", "--html", "harvest.csv"],
        ["sample", "--csv", "forecasts.csv"],
        ["sample", "--csv", "copy_of_log.csv"],
        ["sample", "--csv", "learned.toml"],
        ["sample", "--csv", "lessons.csv"],
    ],
)
def test_replace_never_replaces_what_is_the_users(estate, options, capsys):
    (estate / "link.csv").symlink_to(estate / "blocks.csv")
    os.link(estate / "blocks.csv", estate / "hard.csv")
    shutil.copy(estate / "forecasts.csv", estate / "copy_of_log.csv")
    (estate / "lessons.csv").symlink_to(estate / "learned.toml")
    before = state(estate)
    command, option, name = options
    code = main(
        [command, str(estate), "--block", "Long Acre", option, str(estate / name), "--replace"]
    )
    assert code == 2
    assert name in " ".join(capsys.readouterr().err.split())
    assert state(estate) == before


def test_a_workbook_of_records_is_no_place_for_a_report(tmp_path, capsys):
    main(["new", str(tmp_path / "mine"), "--example", "--xlsx"])
    book = tmp_path / "mine" / "quillfoot.xlsx"
    before = book.read_bytes()
    code = main(
        ["report", str(book), "--scenario", "a=Long Acre:3x8", "--scenario", "b=Long Acre:3x6",
         "--xlsx", str(book), "--html", str(tmp_path / "r.html"), "--replace"]
    )  # fmt: skip
    assert code == 2
    assert "table of records" in " ".join(capsys.readouterr().err.split())
    assert book.read_bytes() == before
    assert not (tmp_path / "r.html").exists()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (COUNTS, "count sheet with counts"),
        (COUNTS.replace(",", ";"), "count sheet with counts"),
        ("North vineyard\n\n" + COUNTS, "table of records"),
        ("block,variety,row spacing (ft),vine spacing (ft),vines\nA,Riesling,8,4,9\n", "table of"),
        ("season,block,tonnes\n2025,North,2.4\n", "table of records"),
        ("Season;Block;Plan;pruning_weight_lb\n2025;North;3x8;1\n", "table of records"),
        (",".join([*HEAD, "more"]) + "\n", "log of your forecasts"),
        ("scenario,block,plan\na,North,3x8\n", "scenarios that somebody wrote"),
        ("# Learned on this estate and accepted by you\n", "what was learned"),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_content_is_known_under_any_name_in_any_folder(tmp_path, text, words, encoding):
    if "#" in text and encoding == "utf-16":
        pytest.skip("TOML is UTF-8")
    path = tmp_path / "anything.csv"
    path.write_text(text, encoding=encoding)
    before = path.read_bytes()
    with pytest.raises(CroploadError, match=words):
        write_frame(path, FRAME, replace=True)
    assert state(tmp_path) == {"anything.csv": before}


@pytest.mark.parametrize("sheet", ["harvest", "Sheet1"])
def test_a_workbook_is_known_by_its_sheets_and_their_headers(tmp_path, sheet):
    book = openpyxl.Workbook()
    book.active.title = sheet
    book.active.append(["season", "block", "tonnes"])
    book.save(tmp_path / "any.xlsx")
    with pytest.raises(CroploadError, match="table of records"):
        write_frame(tmp_path / "any.xlsx", FRAME, replace=True)
    (tmp_path / "old.xlsx").write_bytes(b"\xd0\xcf\x11\xe0" + bytes(100))
    with pytest.raises(CroploadError, match="cannot be looked into"):
        write_frame(tmp_path / "old.xlsx", FRAME, replace=True)


def test_an_empty_count_sheet_may_be_made_again_and_a_filled_one_not(tmp_path, capsys):
    sheet = tmp_path / "sheet.csv"
    make = ["sample", "--example", "--block", "Long Acre", "--csv", str(sheet), "--replace"]
    assert main(make) == 0
    assert main([*make, "--vines", "12"]) == 0
    assert "The version before" in " ".join(capsys.readouterr().err.split())
    lines = sheet.read_text("utf-8-sig").splitlines()
    sheet.write_text("\n".join([*lines[:-1], lines[-1] + "31"]), "utf-8")
    assert main(make) == 2
    assert "count sheet with counts in it" in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_earlier_results_may_be_replaced_beside_the_records(estate, ending):
    records = read_records(estate)
    for frame in (
        cropload.compare_plans(records, "Long Acre", "3x8+3x2", draws=100).frame,
        cropload.forecast(records, 2027, draws=100).frame,
    ):
        path = estate / f"result{ending}"
        write_frame(path, FRAME if not path.exists() else frame, replace=True)
        write_frame(path, frame, replace=True)
        assert whose(path) is None
    assert {w.file for w in read_records(estate).warnings} == {w.file for w in records.warnings}


def test_a_table_is_not_made_in_a_season_folder_where_there_is_none(tmp_path):
    write_frame(tmp_path / "harvest.csv", FRAME)
    (tmp_path / "counts.csv").write_text(COUNTS, encoding="utf-8")
    for name in ("prices.csv", "weights.xlsx", "forecasts.csv"):
        with pytest.raises(CroploadError, match="a result never takes its place"):
            write_frame(tmp_path / name, FRAME)
    assert sorted(state(tmp_path)) == ["counts.csv", "harvest.csv"]
