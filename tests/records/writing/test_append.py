import datetime
import os
import zipfile

import openpyxl
import pandas as pd
import pytest

from cropload.errors import CroploadError
from cropload.records.as_of import records_until
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.records.writing import append
from cropload.records.writing.append import append_rows

ROW = {"season": 2027, "block": "North", "plan": "3x8+3x2", "date": datetime.date(2027, 1, 9)}


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ending", [True, False])
def test_existing_bytes_stay_and_the_dialect_is_kept(write, newline, mark, ending):
    old = newline.join(
        [
            "Block;pruning weight lb;date; Season;plan;weather",
            "South;2,5;14/01/2026;2026; 2x8;dry and cold",
            "",
            "North;2;20/01/2026;2026;;" + (newline if ending else ""),
        ]
    )
    folder = write(pruning=mark + old.encode())
    file = append_rows(folder, "pruning", [ROW | {"pruning_weight_kg": 0.90718474 / 4 * 3}])
    data = file.read_bytes()
    added = f"North;1,5;2027-01-09;2027;3x8+3x2;{newline}"
    assert data == mark + old.encode() + (b"" if ending else newline.encode()) + added.encode()
    assert read_records(folder).pruning["pruning_weight_kg"].iloc[2] == pytest.approx(0.680388555)


def test_utf16_and_latin1_stay_what_they_are(write):
    for encoding in ("utf-16", "latin-1"):
        folder = write(pruning="season,block,plan,counter\n2026,South,2x8,é\n".encode(encoding))
        file = append_rows(folder, "pruning", [{"season": 2027, "block": "North", "plan": "3x8"}])
        assert file.read_bytes().decode(encoding).endswith("é\n2027,North,3x8,\n")


def test_letters_that_the_file_cannot_hold(write):
    counts = "season,date,block,row,vine,counter\n2026,2026-06-01,North,1,1,é\n"
    folder = write(counts=counts.encode("latin-1"))
    row = {"season": 2026, "date": "2026-06-01", "block": "North", "row": 1, "vine": 2}
    with pytest.raises(CroploadError, match="UTF-8"):
        append_rows(folder, "counts", [row | {"counter": "北"}])


def test_a_missing_table_is_made_in_the_dialect_of_the_folder(write):
    blocks = "block;variety;row_spacing_ft;vine_spacing_ft;vines\nNorth;Riesling;8,5;4;100\n"
    folder = write(blocks=blocks)
    append_rows(folder, "pruning", pd.DataFrame([ROW | {"pruning_weight_kg": 0.45359237 * 1.5}]))
    lines = (folder / "pruning.csv").read_text().splitlines()
    assert lines[0] == "season;block;plan;pruning_weight_lb;vines_weighed;date"
    assert lines[1] == "2027;North;3x8+3x2;1,5;;2027-01-09"


def test_a_plan_completes_the_row_that_has_the_pruning_weight(write):
    folder = write(pruning="season,block,plan,pruning_weight_kg\n2027,North,,0.8\n")
    append_rows(folder, "pruning", [{"season": 2027, "block": "North", "plan": "3x8"}])
    pruning = read_records(folder).pruning
    assert pruning[["plan", "pruning_weight_kg"]].to_numpy().tolist() == [["3x8", 0.8]]
    with pytest.raises(RecordsError, match="may not repeat"):
        append_rows(folder, "pruning", [{"season": 2027, "block": "North", "plan": "3x8"}])


def test_a_later_plan_holds_and_the_weight_is_not_lost(write):
    folder = write(
        pruning="season,block,plan,pruning_weight_kg,vines_weighed,date\n"
        "2027,North,,0.8,20,2026-11-10\n2027,North,3x8,,,2026-11-20\n"
    )
    append_rows(folder, "pruning", [ROW | {"plan": "3x6", "date": "2026-12-01"}])
    read = read_records(folder)
    row = read.pruning.iloc[0]
    assert len(read.pruning) == 1
    assert not read.warnings
    assert [row["plan"], row["pruning_weight_kg"], row["vines_weighed"]] == ["3x6", 0.8, 20]
    assert row["date"] == pd.Timestamp("2026-12-01")
    # On a day between the two, the earlier plan was the one known, and before it the weight alone.
    between = records_until(read, "2026-11-25").pruning
    assert between[["plan", "pruning_weight_kg"]].to_numpy().tolist() == [["3x8", 0.8]]
    assert len(records_until(read, "2026-11-01").pruning) == 0


@pytest.mark.parametrize(
    ("first", "second", "holds", "doubted"),
    [
        ("3x8,2026-12-01", "3x6,2026-11-20", "3x8", False),
        ("3x8,", "3x6,", "3x6", True),
        ("3x8,2026-12-01", "3x6,", "3x6", True),
        ("3x8,2026-12-01", "3x6,2026-12-01", "3x6", False),
    ],
)
def test_which_of_two_plans_holds(write, first, second, holds, doubted):
    rows = f"2027,North,{first}\n2027,North,{second}\n"
    read = read_records(write(pruning=f"season,block,plan,date\n{rows}"))
    assert read.pruning["plan"].tolist() == [holds]
    assert any("another plan" in doubt.rule for doubt in read.warnings) == doubted


def test_of_two_weighings_the_later_holds_and_is_told(write):
    read = read_records(
        write(
            pruning="season,block,pruning_weight_kg,vines_weighed,date\n"
            "2027,North,0.6,20,2027-01-05\n2027,North,0.8,,2027-01-20\n"
        )
    )
    row = read.pruning.iloc[0]
    assert row["pruning_weight_kg"] == 0.8
    assert pd.isna(row["vines_weighed"])
    assert any("not averaged" in doubt.rule for doubt in read.warnings)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"plan": "3x"}, "3x8"),
        ({"block": "Nroth"}, "'North'"),
        ({"season": 1066}, "1900"),
        ({"season": None}, "filled in"),
        ({"pruning_weight_kg": -1}, "above 0"),
        ({"season": 2026, "block": "South", "plan": "2x8", "date": None}, "may not repeat"),
    ],
)
def test_rows_that_would_be_faults_are_refused_and_nothing_is_written(write, change, words):
    folder = write(pruning="season,block,plan,pruning_weight_kg,date\n2026,South,2x8,,\n")
    before = (folder / "pruning.csv").read_bytes()
    with pytest.raises(RecordsError) as caught:
        append_rows(folder, "pruning", [ROW | change])
    assert words in str(caught.value)
    assert {fault.row for fault in caught.value.faults} == {3}
    assert (folder / "pruning.csv").read_bytes() == before
    assert sorted(os.listdir(folder)) == ["blocks.csv", "pruning.csv"]


def test_columns_that_are_not_there(write):
    folder = write(pruning="season,block\n2026,South\n")
    with pytest.raises(CroploadError, match="no column plan, date"):
        append_rows(folder, "pruning", [ROW])
    with pytest.raises(CroploadError, match="Did you mean 'plan'"):
        append_rows(folder, "pruning", [{"plann": "3x8"}])
    with pytest.raises(CroploadError, match="Did you mean 'pruning'"):
        append_rows(folder, "prunings", [ROW])


def test_old_faults_elsewhere_do_not_stop_a_row(write):
    folder = write(pruning="season,block,plan,date\n2026,South,2x,\n")
    append_rows(folder, "pruning", [ROW])
    assert (folder / "pruning.csv").read_text().endswith("2027,North,3x8+3x2,2027-01-09\n")


def test_text_that_looks_like_a_formula_is_neutralised_and_reads_back(write):
    name = "=HYPERLINK(1)"
    blocks = f"block,variety,row_spacing_m,vine_spacing_m,vines\n{name},Riesling,2,1,100\n"
    folder = write(blocks=blocks, pruning="season,block,plan\n")
    append_rows(folder, "pruning", [{"season": 2026, "block": name, "plan": "3x8"}])
    assert "2026,'=HYPERLINK(1),3x8" in (folder / "pruning.csv").read_text()
    assert read_records(folder).pruning["block"].tolist() == [name]


@pytest.mark.parametrize("lock", [".~lock.pruning.csv#", "~$pruning.csv"])
def test_an_open_file_is_refused(write, lock):
    folder = write(pruning="season,block,plan,date\n")
    (folder / lock).write_text("somebody")
    with pytest.raises(CroploadError, match="open in a spreadsheet program"):
        append_rows(folder, "pruning", [ROW])


@pytest.mark.parametrize("what", ["pruning.csv", "."])
def test_a_read_only_file_or_folder_is_refused(write, what):
    folder = write(pruning="season,block,plan,date\n")
    target = folder / what
    mode = target.stat().st_mode
    target.chmod(mode & ~0o222)
    try:
        with pytest.raises(CroploadError, match="read-only"):
            append_rows(folder, "pruning", [ROW])
    finally:
        target.chmod(mode)


def test_a_file_changed_meanwhile_is_refused(write, monkeypatch):
    folder = write(pruning="season,block,plan,date\n")
    checked = append._check_new

    def change_then_check(*arguments):
        (folder / "pruning.csv").write_text("season,block,plan,date\n2026,South,2x8,\n")
        checked(*arguments)

    monkeypatch.setattr(append, "_check_new", change_then_check)
    with pytest.raises(CroploadError, match="changed by another program"):
        append_rows(folder, "pruning", [ROW])
    assert (folder / "pruning.csv").read_text().endswith("2026,South,2x8,\n")
    assert sorted(os.listdir(folder)) == ["blocks.csv", "pruning.csv"]


def test_file_mode_and_links_are_kept(write, tmp_path):
    folder = write(pruning="season,block,plan,date\n")
    real = tmp_path / "real.csv"
    (folder / "pruning.csv").rename(real)
    real.chmod(0o640)
    (folder / "pruning.csv").symlink_to(real)
    append_rows(folder, "pruning", [ROW])
    assert (folder / "pruning.csv").is_symlink()
    assert real.stat().st_mode & 0o777 == 0o640
    assert "North" in real.read_text()


@pytest.fixture
def workbook(tmp_path):
    """Return a workbook with dates, a chart, a formula and formatted rows below the last one."""
    from openpyxl.chart import BarChart
    from openpyxl.styles import PatternFill

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "blocks"
    sheet.append(["block", "variety", "row_spacing_m", "vine_spacing_m", "vines"])
    sheet.append(["North", "Riesling", 2.0, 1.2, 1000])
    sheet.append(["South", "Riesling", 2.0, 1.2, 900])
    sheet = book.create_sheet("Pruning ")
    sheet.append(["season", "date", "block", "plan", "pruning_weight_lb"])
    sheet.append([2026, datetime.date(2026, 1, 20), "South", "3x8", 2])
    for row in range(3, 6):
        sheet.cell(row, 1).fill = PatternFill("solid", fgColor="FFFF00")
    notes = book.create_sheet("sums")
    notes["A1"] = "=SUM(blocks!E2:E3)"
    notes.add_chart(BarChart())
    path = tmp_path / "season.xlsx"
    book.save(path)
    return path


def test_a_workbook_gets_its_row_and_every_other_part_stays(workbook):
    with zipfile.ZipFile(workbook) as archive:
        before = {name: archive.read(name) for name in archive.namelist()}
    append_rows(
        workbook,
        "pruning",
        [ROW | {"pruning_weight_kg": 0.45359237}, ROW | {"season": 2028, "date": None}],
    )
    with zipfile.ZipFile(workbook) as archive:
        after = {name: archive.read(name) for name in archive.namelist()}
        assert archive.testzip() is None
    changed = [name for name in before if before[name] != after.get(name)]
    assert list(before) == list(after)
    assert changed == ["xl/worksheets/sheet2.xml"]
    sheet = openpyxl.load_workbook(workbook)["Pruning "]
    assert [cell.value for cell in sheet[3]] == [
        2027,
        datetime.datetime(2027, 1, 9),
        "North",
        "3x8+3x2",
        1,
    ]
    assert [cell.value for cell in sheet[4]] == [2028, None, "North", "3x8+3x2", None]
    assert sheet["B3"].number_format == sheet["B2"].number_format
    pruning = read_records(workbook).pruning
    assert pruning["season"].tolist() == [2026, 2027, 2028]
    assert pruning["pruning_weight_kg"].iloc[1] == pytest.approx(0.45359237)


def test_an_empty_template_workbook_can_be_filled(tmp_path):
    from cropload.records.writing.template import write_template

    path = write_template(tmp_path / "season.xlsx", xlsx=True)
    block = {
        "block": '<b>=1+1 & "x"</b>',
        "variety": "=Riesling",
        "row_spacing_m": 2.5,
        "vine_spacing_m": 1,
    }
    append_rows(path, "blocks", [block | {"vines": 1000}])
    append_rows(path, "pruning", [ROW | {"block": block["block"]}])
    records = read_records(path)
    assert records.blocks["variety"].tolist() == ["=Riesling"]
    assert records.pruning["block"].tolist() == [block["block"]]
    assert records.pruning["date"].tolist() == [pd.Timestamp("2027-01-09")]


def test_a_workbook_refuses_what_a_folder_refuses(workbook):
    before = workbook.read_bytes()
    with pytest.raises(RecordsError, match="may not repeat"):
        append_rows(
            workbook,
            "pruning",
            [{"season": 2026, "block": "South", "pruning_weight_kg": 1, "date": "2026-01-20"}],
        )
    with pytest.raises(CroploadError, match="no sheet harvest"):
        append_rows(workbook, "harvest", [{"season": 2026, "block": "South", "tonnes": 2}])
    (workbook.parent / "~$season.xlsx").write_text("somebody")
    with pytest.raises(CroploadError, match="open in a spreadsheet"):
        append_rows(workbook, "pruning", [ROW])
    assert workbook.read_bytes() == before


def test_no_rows_change_nothing(write):
    folder = write(pruning="season,block,plan,date\n")
    append_rows(folder, "pruning", [])
    assert (folder / "pruning.csv").read_text() == "season,block,plan,date\n"
