"""A folder that holds one workbook and no CSV table stands for that workbook, also when writing."""

import shutil

import openpyxl
import pandas as pd
import pytest

import cropload
from cropload.beliefs.learned import learned_path
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.records.writing.append import append_rows, save_plan
from cropload.records.writing.results import write_frame
from cropload.records.writing.template import write_template
from cropload.season.forecast_log import log_path

BLOCKS = [
    ["block", "variety", "row_spacing_m", "vine_spacing_m", "vines"],
    ["North", "Riesling", 2.5, 1, 1000],
]
PRUNING = [["season", "block", "plan", "date"], [2026, "North", "2x8+2x2", None]]


def book(path, **sheets):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for title, rows in sheets.items():
        sheet = workbook.create_sheet(title)
        for row in rows:
            sheet.append(row)
    workbook.save(path)
    return path


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "vineyard"
    folder.mkdir()
    book(folder / "season.xlsx", blocks=BLOCKS, pruning=PRUNING)
    return folder


def test_the_folder_is_read_as_its_workbook(folder):
    records = read_records(folder)
    assert records.blocks["block"].tolist() == ["North"]
    assert records.path == folder / "season.xlsx"


def test_what_the_program_itself_puts_there_changes_nothing(folder):
    for name in ("forecasts.csv", "learned.toml", "result.csv", ".~lock.season.xlsx#", "~$x.xlsx"):
        (folder / name).write_text("a,b\n1,2\n", encoding="utf-8")
    write_frame(folder / "result.xlsx", pd.DataFrame({"plan": ["2x8"]}))
    assert read_records(folder).given == {"blocks", "pruning"}


def test_rows_go_into_the_workbook(folder):
    file = append_rows(folder, "pruning", [{"season": 2027, "block": "North", "plan": "2x9"}])
    assert file == folder / "season.xlsx"
    save_plan(folder, 2028, "North", "3x8")
    assert read_records(folder).pruning["season"].tolist() == [2026, 2027, 2028]
    assert [entry.name for entry in folder.iterdir()] == ["season.xlsx"]


def test_log_and_lessons_lie_beside_the_workbook(folder):
    path = read_records(folder).path
    assert log_path(folder) == log_path(path) == folder / "forecasts.csv"
    assert learned_path(folder) == learned_path(path) == folder / "learned.toml"


def test_two_workbooks_of_records_are_one_clear_message(folder):
    book(folder / "older.xlsx", blocks=BLOCKS)
    with pytest.raises(RecordsError, match=r"older\.xlsx") as caught:
        read_records(folder)
    (fault,) = caught.value.faults
    assert "2 workbooks" in fault.rule
    assert fault.value == "older.xlsx, season.xlsx"
    assert "older.xlsx" in fault.mend


def test_csv_tables_come_before_a_workbook(folder, write):
    records = write()
    shutil.copy(folder / "season.xlsx", records / "other.xlsx")
    assert read_records(records).path == records


def test_a_misspelt_table_is_not_passed_over_for_a_workbook(folder):
    (folder / "block.csv").write_text("block,variety\n", encoding="utf-8")
    with pytest.raises(RecordsError, match="'blocks'"):
        read_records(folder)


def test_nothing_that_would_be_read_in_its_place_is_written(folder):
    before = sorted(entry.name for entry in folder.iterdir())
    with pytest.raises(CroploadError, match="table of records"):
        write_frame(folder / "harvest.csv", pd.DataFrame({"plan": ["2x8"]}))
    with pytest.raises(CroploadError, match="holds records already"):
        write_template(folder)
    with pytest.raises(CroploadError, match="holds records already"):
        write_template(folder, xlsx=True)
    assert sorted(entry.name for entry in folder.iterdir()) == before


def test_the_commands_take_the_folder(folder, capsys):
    assert main(["check", str(folder)]) == 0
    assert "season.xlsx" in capsys.readouterr().out
    asked = ["--season", "2027", "--draws", "200", "--log"]
    assert main(["forecast", str(folder), *asked]) == 0
    assert (folder / "forecasts.csv").exists()
    assert main(["forecast", str(folder), *asked]) == 0


def test_the_folder_of_the_current_place(folder, monkeypatch):
    monkeypatch.chdir(folder)
    assert len(cropload.read_records(".").blocks) == 1
