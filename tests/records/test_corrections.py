"""Values that were saved wrong, read as table corrections has them; their rows stay as written."""

import shutil
from datetime import date

import numpy as np
import openpyxl
import pandas as pd
import pytest

from cropload import correct, example_records, forecast, read_records, review_season
from cropload.errors import CroploadError
from cropload.pages.cli import main
from cropload.records.example import shipped
from cropload.records.reading.faults import RecordsError
from cropload.records.tables import TABLES
from cropload.records.writing.correct import rows_on_file
from cropload.records.writing.plan_row import plan_row

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,1000\n"
BLOCKS += "South,Riesling,2,1.2,900\n"
COUNTS = "season,date,block,row,vine,clusters\n2026,2026-06-12,North,4,17,12\n"
COUNTS += "2026,2026-06-12,North,4,18,30\n2026,2026-06-12,North,4,19,28\n"
WEIGHTS = "season,date,block,stage,clusters,weight_g\n2026,2026-07-25,North,lag,40,2000\n"
WEIGHTS += "2026,2026-07-25,North,lag,40,2400\n2026,2026-07-25,North,lag,40,2400\n"
HARVEST = "season,block,date,tonnes\n2025,North,2025-09-20,5.5\n2025,South,2025-09-22,4.5\n"
HEAD = "table,key,column,old,new,date,why\n"
FIRST = "2026; 2026-06-12; North; 4; 17"


@pytest.fixture
def folder(tmp_path):
    tables = {"blocks": BLOCKS, "counts": COUNTS, "weights": WEIGHTS, "harvest": HARVEST}
    for name, text in tables.items():
        (tmp_path / f"{name}.csv").write_text(text)
    return tmp_path


def corrected(folder, *rows):
    """Write corrections by hand and read the records."""
    (folder / "corrections.csv").write_text(HEAD + "".join(f"{row}\n" for row in rows))
    return read_records(folder)


def refused(folder, *rows):
    with pytest.raises(RecordsError) as caught:
        corrected(folder, *rows)
    return caught.value.faults


def test_a_folder_without_corrections_reads_as_before():
    records = example_records()
    assert records.corrected == ()
    assert records.corrections.empty
    assert list(records.corrections.columns) == TABLES["corrections"].names


@pytest.mark.parametrize(
    "key",
    [
        FIRST,
        "2026;12/06/2026;North;4;17",
        "2026; 2026.06.12 ;North;4;17",
        "2026; 2026-06-12; North; 4; 17; 1",
    ],
)
def test_a_count_holds_as_corrected_and_its_row_stays(folder, key):
    # A day that no month can be tells the order of the others.
    (folder / "dates.csv").write_text("season,block,stage,date\n2026,North,budburst,25/04/2026\n")
    records = corrected(folder, f"counts,{key},clusters,12,21,2026-06-15,misread")
    assert list(records.counts["clusters"]) == [21, 30, 28]
    assert (folder / "counts.csv").read_text() == COUNTS
    (told,) = records.corrected
    assert told.words() == ("counts.csv, row 2, North, clusters: 12 -> 21 (15 June 2026; misread)")
    made = forecast(records, 2026, draws=100)
    assert "1 count of North corrected on 15 June 2026 (12 -> 21)." in made.notes
    later = forecast(records, 2027, draws=100)
    assert "1 more value corrected (`check`)." in later.notes


def test_a_review_tells_what_was_corrected(tmp_path):
    folder = shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")
    correct(folder, "harvest", "2025; Long Acre", "tonnes", 20.5, day="2026-01-05")
    notes = review_season(read_records(folder), 2025, draws=100).notes
    assert "1 harvest of Long Acre corrected on 5 January 2026 (22.97 -> 20.5)." in notes


def test_the_forecast_is_that_of_records_written_right_at_once(folder):
    wrong = forecast(read_records(folder), 2026, draws=200)
    mended = forecast(corrected(folder, f"counts,{FIRST},clusters,,21,,"), 2026, draws=200)
    (folder / "corrections.csv").unlink()
    (folder / "counts.csv").write_text(COUNTS.replace("17,12", "17,21"))
    right = forecast(read_records(folder), 2026, draws=200)
    assert list(mended.frame["tonnes_p50"]) == list(right.frame["tonnes_p50"])
    assert list(mended.frame["tonnes_p50"]) != list(wrong.frame["tonnes_p50"])


def test_a_value_that_stopped_reading_is_mended(folder):
    (folder / "counts.csv").write_text(COUNTS.replace("17,12", "17,1O2").replace("18,30", "18,-3"))
    with pytest.raises(RecordsError):
        read_records(folder)
    correct(folder, "counts", [2026, date(2026, 6, 12), "North", "4", 17.0], "clusters", 12)
    with pytest.raises(RecordsError):
        read_records(folder)
    done = correct(folder, "counts", "2026; 2026-06-12; North; 4; 18", "clusters", 30, why="sign")
    assert done.startswith("counts.csv, row 3, North, clusters: -3 -> 30 (")
    assert list(read_records(folder).counts["clusters"]) == [12, 30, 28]
    told = pd.read_csv(folder / "corrections.csv", dtype=str)
    assert list(told["old"]) == ["1O2", "'-3"]


def test_of_two_corrections_the_later_day_holds_and_the_lower_row_of_one_day(folder):
    rows = [
        f"counts,{FIRST},clusters,21,22,2026-06-20,",
        f"counts,{FIRST},clusters,12,21,2026-06-15,",
    ]
    records = corrected(folder, *rows)
    assert records.counts["clusters"][0] == 22
    assert [each.change for each in records.corrected] == ["12 -> 22"]
    records = corrected(folder, *rows, f"counts,{FIRST},clusters,22,23,2026-06-20,")
    assert records.counts["clusters"][0] == 23
    # Back at what is written there is nothing to tell.
    records = corrected(folder, *rows, f"counts,{FIRST},clusters,,12,2026-07-01,")
    assert records.corrected == ()


def test_a_blank_takes_a_value_out_and_all_the_row(folder):
    records = corrected(folder, f"counts,{FIRST},clusters,,,2026-06-15,")
    assert np.isnan(records.counts["clusters"][0])
    assert len(records.counts) == 3
    records = corrected(
        folder, f"counts,{FIRST},all,,,2026-06-15,", f"counts,{FIRST},clusters,,9,,"
    )
    assert list(records.counts["vine"]) == ["18", "19"]
    assert [each.change for each in records.corrected] == ["row taken out"]
    records = corrected(
        folder, f"counts,{FIRST},all,,,2026-06-15,", f"counts,{FIRST},all,,kept,2026-06-16,"
    )
    assert len(records.counts) == 3
    assert records.corrected == ()


def test_a_clash_that_a_correction_makes_names_it(folder):
    (fault,) = refused(folder, f"counts,{FIRST},vine,,18,,")
    assert (fault.file, fault.row) == ("counts.csv", 3)
    (fault,) = refused(folder, "counts,2026; 2026-06-12; North; 4; 18,vine,,17,,")
    assert "may not repeat with both filled in" in fault.rule
    assert fault.rule.endswith("(as corrected in corrections.csv, row 2)")


def test_a_harvest_in_the_wrong_block_moves_and_shorter_keys_do_where_they_are_plain(folder):
    records = corrected(folder, "harvest,2025; South,block,South,North,,")
    assert list(records.harvest["block"]) == ["North", "North"]
    assert records.corrected[0].words() == "harvest.csv, row 3, South, block: South -> North"


def test_rows_alike_are_told_apart_by_what_stands_there_or_by_their_place(folder):
    key = "2026; 2026-07-25; North; lag"
    (fault,) = refused(folder, f"weights,{key},weight_g,,2100,,")
    assert (fault.file, fault.row, fault.column) == ("corrections.csv", 2, "key")
    assert "names 3 rows of weights.csv (2, 3, 4)" in fault.rule
    assert f"'{key}; 1' or '{key}; 2' or '{key}; 3'" in fault.mend
    assert corrected(folder, f"weights,{key},weight_g,2000,2100,,").weights["weight_g"][0] == 2100
    assert refused(folder, f"weights,{key},weight_g,2400,2100,,")
    assert len(corrected(folder, f"weights,{key}; 3,all,,,,").weights) == 2
    assert refused(folder, f"weights,{key}; 4,all,,,,")[0].mend.startswith("End the key with")


def test_a_row_entered_twice_is_taken_out(folder):
    (folder / "counts.csv").write_text(COUNTS + COUNTS.splitlines()[1] + "\n")
    with pytest.raises(RecordsError, match="may not repeat"):
        read_records(folder)
    correct(folder, "counts", f"{FIRST}; 2", "all", None, why="twice")
    assert len(read_records(folder).counts) == 3


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (f"cuonts,{FIRST},clusters,,2,,", "table", "Did you mean 'counts'?"),
        ("events,North,kind,,hail,,", "table", "there is no table events here"),
        ("corrections,a,b,,c,,", "table", "Add a later one"),
        (f"counts,{FIRST},clutsers,,2,,", "column", "Did you mean 'clusters'?"),
        (f"counts,{FIRST},shoots,,2,,", "column", "counts.csv has no such column"),
        ("counts,2026; 2026-06-12; Nroth; 4; 17,clusters,,2,,", "key", "Did you mean 'North'?"),
        ("counts,2026; 2026-06-12; North; 4; 99,clusters,,2,,", "key", "There are: 17, 18, 19."),
        (f"counts,{FIRST}; 1; 1,clusters,,2,,", "key", "named by season; date; block; row; vine"),
        (f"counts,{FIRST},clusters,13,2,,", "old", "counts.csv, row 2 has '12' in clusters, not"),
        (f"counts,{FIRST},clusters,,2.5,,", "new", "Write a whole number"),
        (f"counts,{FIRST},clusters,,-2,,", "new", "in clusters of counts.csv, row 2: must be"),
        (f"counts,{FIRST},vine,,,,", "new", "column all takes the whole row out"),
        (f"counts,{FIRST},all,,5,,", "new", "Leave old and new blank"),
        (f"counts,{FIRST},block,,Noth,,", "new", "is not a block of table blocks"),
    ],
)
def test_what_cannot_be_corrected_is_told_by_row_and_column(folder, row, column, words):
    (fault,) = refused(folder, row)
    assert (fault.file, fault.row, fault.column) == ("corrections.csv", 2, column)
    assert words in f"{fault.rule}. {fault.mend}"


def test_nothing_is_written_that_would_break_another_rule(folder):
    with pytest.raises(RecordsError, match="may not repeat"):
        correct(folder, "counts", FIRST, "vine", 18)
    with pytest.raises(RecordsError, match=r"must be a number\s+not below 0"):
        correct(folder, "harvest", "2025; North", "tonnes", -1.5)
    assert not (folder / "corrections.csv").exists()
    with pytest.raises(CroploadError, match="must be a text, a number or a day"):
        correct(folder, "harvest", "2025; North", "tonnes", [1])
    with pytest.raises(CroploadError, match="sample records, which stay as they are"):
        correct(shipped("sample_data") / "quillfoot", "harvest", "2025; Long Acre", "tonnes", 1)


def test_a_file_with_its_own_units_and_decimal_sign_is_corrected_in_them(tmp_path):
    (tmp_path / "blocks.csv").write_text(
        "block;variety;row_spacing_ft;vine_spacing_ft;vines\nNorth;Riesling;8,5;6,5;1000\n"
    )
    (tmp_path / "harvest.csv").write_text("season;block;tons\n2025;North;5,5\n2024;North;6,5\n")
    with pytest.raises(RecordsError, match="has tons in its place"):
        correct(tmp_path, "harvest", "2025; North", "tonnes", 4.5)
    correct(tmp_path, "harvest", "2025; North", "tons", 4.5)
    assert "2025; North" in (tmp_path / "corrections.csv").read_text()
    tonnes = read_records(tmp_path).harvest["tonnes"]
    # 2,000 lb of 0.45359237 kg, the international pound.
    assert tonnes[0] == pytest.approx(4.5 * 0.90718474)


def test_a_workbook_is_corrected_on_a_sheet_of_its_own(tmp_path):
    book = openpyxl.Workbook()
    for name, text in {"blocks": BLOCKS, "counts": COUNTS}.items():
        sheet = book.create_sheet(name)
        for line in text.splitlines():
            sheet.append([int(cell) if cell.isdigit() else cell for cell in line.split(",")])
    sheet["F2"] = "#N/A"
    book.remove(book.worksheets[0])
    book.save(tmp_path / "season.xlsx")
    with pytest.raises(RecordsError):
        read_records(tmp_path)
    done = correct(tmp_path / "season.xlsx", "counts", FIRST, "clusters", 21)
    assert "season.xlsx" in done
    records = read_records(tmp_path)
    assert records.counts["clusters"][0] == 21
    assert openpyxl.load_workbook(tmp_path / "season.xlsx")["counts"]["F2"].value == "#N/A"
    assert rows_on_file(records.path, "counts", 2026, "North")[0].cells["clusters"] == "21"


def test_the_command_corrects_and_check_lists_it(folder, capsys):
    assert (
        main(["correct", "counts", FIRST, "clusters", "21", "--why", "slip", "--into", str(folder)])
        == 0
    )
    assert "clusters: 12 -> 21" in " ".join(capsys.readouterr().out.split())
    assert main(["correct", "counts", FIRST, "clusters", "--into", str(folder)]) == 2
    assert "Which value holds?" in capsys.readouterr().err
    assert main(["check", str(folder)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert (
        "WRITTEN WRONG, AND READ AS CORRECTED counts.csv, row 2, North, clusters: 12 -> 21" in out
    )


def test_a_plan_is_found_as_it_is_corrected(folder):
    (folder / "pruning.csv").write_text("season,block,plan\n2026,North,3x8+3x2\n")
    correct(folder, "pruning", "2026; North", "plan", "3x6+3x2")
    assert plan_row(folder, 2026, "North").words() == "3x6+3x2 (pruning.csv, row 2)"


def test_rows_of_a_block_are_offered_under_its_name_of_today(tmp_path):
    folder = shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")
    blocks = pd.read_csv(folder / "blocks.csv", dtype=str)
    renamed = blocks.assign(formerly="")
    renamed.loc[blocks["block"] == "Long Acre", ["block", "formerly"]] = ["Hill", "Long Acre"]
    renamed.to_csv(folder / "blocks.csv", index=False)
    (row,) = rows_on_file(folder, "harvest", 2025, "Hill")
    correct(folder, "harvest", row.key, "tonnes", 20.5)
    (told,) = read_records(folder).corrected
    assert (told.block, told.old, told.new) == ("Long Acre", "22.97", "20.5")
