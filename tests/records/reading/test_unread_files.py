"""Files that look like tables and are not read are named; what the program makes is not."""

import openpyxl
import pandas as pd
import pytest

from cropload.pages.cli import main
from cropload.records.records import read_records
from cropload.records.writing.results import write_frame

HARVEST = "season,block,tonnes\n2025,North,2.4\n"
COUNTS = "season,date,block,row,vine,clusters\n2026,2026-07-01,North,1,1,30\n"
RULE = "looks like a table of records, and is not read"


def book(path, **sheets):
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, text in sheets.items():
        sheet = made.create_sheet(title)
        for line in text.splitlines():
            sheet.append(line.split(","))
    made.save(path)


def named(folder):
    return {w.file: w.mend for w in read_records(folder).warnings if w.rule == RULE}


@pytest.mark.parametrize(
    "name", ["counts (1).csv", "counts - Copy.csv", "Copy of counts.csv", "counts_old.csv"]
)
def test_a_copy_of_a_table_is_named(write, name):
    folder = write(counts=COUNTS)
    (folder / name).write_text(COUNTS, encoding="utf-8")
    assert list(named(folder)) == [name]
    assert "counts.csv" in named(folder)[name]


def test_a_table_saved_as_workbook_beside_the_others_is_named(write, capsys):
    folder = write(counts=COUNTS)
    book(folder / "harvest.xlsx", Sheet1=HARVEST)
    assert "under the name harvest.csv" in named(folder)["harvest.xlsx"]
    main(["check", str(folder)])
    assert "harvest.xlsx" in capsys.readouterr().out


def test_a_workbook_with_a_sheet_named_like_a_table_is_named(write):
    folder = write()
    book(folder / "season.xlsx", harvest=HARVEST, notes="x")
    assert "the sheet harvest" in named(folder)["season.xlsx"]


def test_a_second_workbook_is_named_when_the_folder_is_given_and_not_when_the_book_is(tmp_path):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,1000\n"
    book(tmp_path / "estate.xlsx", blocks=blocks)
    book(tmp_path / "season.xlsx", harvest=HARVEST)
    assert list(named(tmp_path)) == ["season.xlsx"]
    assert named(tmp_path / "estate.xlsx") == {}


def test_results_notes_and_other_files_are_not_named(write):
    folder = write(counts=COUNTS)
    frame = pd.DataFrame({"block": ["North"], "tonnes_p50": [2.4]})
    write_frame(folder / "result.xlsx", frame)
    book(folder / "report.xlsx", prices="a,b", components="a,b", handbook="a,b")
    write_frame(folder / "counts (2).csv", frame)
    write_frame(folder / "result.csv", frame)
    for name in ("README.txt", "forecasts.csv", "learned.toml", "counts.pdf", "~$counts.xlsx"):
        (folder / name).write_text("block,tonnes\nNorth,2\n", encoding="utf-8")
    assert read_records(folder).warnings == ()
