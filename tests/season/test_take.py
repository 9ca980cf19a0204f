"""Filled count sheets on their way into the records: one reader, each number once, all or none."""

import csv
import io
import zipfile
from math import comb

import openpyxl
import pandas as pd
import pytest
from helpers import block_row, records_from_csv

from cropload import RecordsError, read_records, sample_vines, take_sheets
from cropload.errors import CroploadError
from cropload.pages.cli import main

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines,rows,missing_pct\n"
    "Low Field,Riesling,2,1,900,9,5\n"
    "Top Row,Pinot noir,2,1,600,6,5\n"
)
#: The head of a sheet as the pocket page saves it.
POCKET = [
    *("season", "date", "block", "row", "vine", "buds", "shoots", "noncount_shoots", "clusters"),
    *("counter", "missing", "shoots_dead", "shoots_alive"),
]
DAY = "2026-05-31"


@pytest.fixture
def into(tmp_path):
    records_from_csv((folder := tmp_path / "mine").mkdir() or folder, blocks=BLOCKS)
    return folder


def sheet(path, rows, head=POCKET, separator=",", above=()):
    """Write a sheet of lines given as {column: text}; what is left out is Low Field, row 1."""
    usual = {"season": "2026", "date": DAY, "block": "Low Field", "row": "1"}
    text = io.StringIO()
    writer = csv.writer(text, delimiter=separator, lineterminator="\r\n")
    writer.writerows(above)
    writer.writerow(head)
    writer.writerows([[(usual | row).get(name, "") for name in head] for row in rows])
    path.write_bytes(text.getvalue().encode("utf-8-sig"))
    return path


def vines(count, **told):
    return [
        {"vine": str(at + 1)} | {name: str(value(at)) for name, value in told.items()}
        for at in range(count)
    ]


def workbook(path, sheets):
    """Write a workbook of {sheet: rows of cells}."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        page = book.create_sheet(name)
        for row in rows:
            page.append(row)
    book.save(path)
    return path


def faults_of(into, *files):
    """Return the faults of sheets, of which nothing may have been written."""
    before = {file.name: file.read_bytes() for file in into.iterdir()}
    with pytest.raises(RecordsError) as told:
        take_sheets(files, into)
    assert {file.name: file.read_bytes() for file in into.iterdir()} == before
    return told.value.faults


# ---- what a sheet can be


def test_the_sheet_of_sample_comes_back_with_counter_and_missing_places(into, tmp_path):
    plan = sample_vines(
        read_records(into), "Low Field", "shoots", beside=["clusters"], season=2026, vines=20,
        date=DAY,
    )  # fmt: skip
    head, *lines = csv.reader(io.StringIO(plan.csv))
    assert head[5:] == ["shoots", "clusters", "counter", "missing"]
    for at, line in enumerate(lines):
        line[5:] = ["", "", "", "1"] if at == 3 else [str(12 + at), str(20 + at), "AB", ""]
    lines[7][5:] = [""] * 4
    with open(tmp_path / "back.csv", "w", newline="") as file:
        csv.writer(file).writerows([head, *lines])
    (taken,) = take_sheets(tmp_path / "back.csv", into)
    assert (len(taken.frame), taken.there, taken.blank) == (len(lines) - 1, 0, 1)
    counts = read_records(into).counts
    counted = [at for at in range(len(lines)) if at not in (3, 7)]
    mine = counts.dropna(subset=["clusters"])
    assert mine["shoots"].tolist() == [12 + at for at in counted]
    assert mine["clusters"].tolist() == [20 + at for at in counted]
    assert mine["counter"].eq("AB").all()
    assert counts["missing"].sum() == 1
    told = taken.words()
    assert f"{len(lines) - 2} vines of Low Field added, shoots, clusters" in told
    assert "1 place without a vine added" in told
    assert "1 line left blank" in told


@pytest.mark.parametrize("date", ["31.05.2026", "31/05/2026", "2026-05-31 00:00:00", "05/31/2026"])
def test_a_sheet_that_a_spreadsheet_saved_again(into, tmp_path, date):
    rows = vines(3, pruning_weight_kg=lambda at: f"0,{at + 3}")
    head = ["season", "date", "block", "row", "vine", "pruning_weight_kg"]
    rows = [row | {"date": date} for row in rows]
    take_sheets(sheet(tmp_path / "saved.csv", rows, head, ";"), into)
    counts = read_records(into).counts
    assert counts["pruning_weight_kg"].tolist() == [0.3, 0.4, 0.5]
    assert counts["date"].eq(pd.Timestamp(DAY)).all()


def test_dots_alone_mean_the_day_first_and_are_told(into, tmp_path):
    rows = [row | {"date": "05.06.2026"} for row in vines(2, clusters=lambda at: 20 + at)]
    (taken,) = take_sheets(sheet(tmp_path / "saved.csv", rows), into)
    assert taken.frame["date"].eq(pd.Timestamp("2026-06-05")).all()
    assert any("day.month.year" in doubt.rule for doubt in taken.doubts)
    rows = [row | {"date": "05/06/2026"} for row in vines(2, clusters=lambda at: 20 + at)]
    (fault,) = faults_of(into, sheet(tmp_path / "slashed.csv", rows))
    assert "may be day/month or month/day" in fault.rule


def test_the_order_of_day_and_month_may_show_in_the_records(into, tmp_path):
    (into / "harvest.csv").write_text("season,block,date,tonnes\n2025,Top Row,25/09/2025,3\n")
    rows = [row | {"date": "05/06/2026"} for row in vines(2, clusters=lambda at: 20 + at)]
    (taken,) = take_sheets(sheet(tmp_path / "slashed.csv", rows), into)
    assert taken.frame["date"].eq(pd.Timestamp("2026-06-05")).all()


def test_a_workbook_with_real_dates_and_a_sheet_for_each_block(into, tmp_path):
    head = ["season", "date", "row", "vine", "clusters"]
    day = pd.Timestamp(DAY).to_pydatetime()
    book = workbook(
        tmp_path / "week.xlsx",
        {
            "Low Field": [head, [2026, day, 1, 1, 21], [2026, day, 1, 2, None]],
            "Sheet2": [["notes"], ["wet"]],
            "late": [["Block:", "Top Row"], ["Counted by: CD"], [], head, [2026, day, 4, 9, 33]],
        },
    )
    (taken,) = take_sheets([book], into)
    counts = read_records(into).counts
    assert counts[["block", "row", "vine", "clusters", "counter"]].to_numpy().tolist() == [
        ["Low Field", "1", "1", 21, ""],
        ["Top Row", "4", "9", 33, "CD"],
    ]
    assert "2 vines of 2 blocks added (Low Field 1, Top Row 1), clusters" in taken.words()


def test_the_head_of_a_sheet_tells_block_day_season_and_counter(into, tmp_path):
    above = [["Season: 2026", "", "Block", "Top Row"], ["Day: 31.05.2026", "Counted by", "AB"]]
    path = sheet(
        tmp_path / "head.csv", vines(2, shoots=lambda at: 14), ["row", "vine", "shoots"], ";", above
    )
    take_sheets(path, into)
    counts = read_records(into).counts
    assert counts["block"].eq("Top Row").all()
    assert counts["counter"].eq("AB").all()
    assert counts["date"].eq(pd.Timestamp(DAY)).all()


def test_pounds_come_back_as_kilograms(into, tmp_path):
    head = ["season", "date", "block", "row", "vine", "pruning_weight_lb"]
    take_sheets(sheet(tmp_path / "us.csv", vines(1, pruning_weight_lb=lambda _: 2.5), head), into)
    # One pound is 0.45359237 kg by definition.
    assert read_records(into).counts["pruning_weight_kg"].tolist() == [2.5 * 0.45359237]


# ---- each number once


def test_the_same_sheet_twice_is_told_and_not_added(into, tmp_path):
    path = sheet(tmp_path / "a.csv", vines(5, clusters=lambda at: 20 + at))
    take_sheets([path, path], into)
    before = (into / "counts.csv").read_bytes()
    (again,) = take_sheets(path, into)
    assert (len(again.frame), again.there) == (0, 5)
    assert "5 vines on record already" in again.words()
    assert (into / "counts.csv").read_bytes() == before
    assert len(read_records(into).counts) == 5


def test_another_number_than_the_one_on_record_is_told_and_not_written(into, tmp_path):
    take_sheets(sheet(tmp_path / "a.csv", vines(3, clusters=lambda at: 20 + at)), into)
    rows = vines(3, clusters=lambda at: 20 + 2 * at, shoots=lambda at: 14)
    found = faults_of(into, sheet(tmp_path / "b.csv", rows))
    assert [(fault.row, fault.column) for fault in found] == [(3, "clusters"), (4, "clusters")]
    assert found[0].value == "22 (on record: 21)"
    assert "mend the record" in found[0].mend


def test_shoots_and_clusters_of_one_vine_become_one_row(into, tmp_path):
    shoots = sheet(tmp_path / "s.csv", vines(4, shoots=lambda at: 14 + at, counter=lambda _: "AB"))
    clusters = sheet(tmp_path / "c.csv", vines(4, clusters=lambda at: 25 + at))
    take_sheets([shoots, clusters], into)
    lines = (into / "counts.csv").read_text().splitlines()
    assert len(lines) == 5
    counts = read_records(into).counts
    assert counts["shoots"].tolist() == [14, 15, 16, 17]
    assert counts["clusters"].tolist() == [25, 26, 27, 28]
    # Also where the second sheet comes another day, so that the file holds two lines a vine.
    buds = sheet(tmp_path / "b.csv", vines(4, buds=lambda at: 15))
    take_sheets(buds, into)
    assert len((into / "counts.csv").read_text().splitlines()) == 9
    counts = read_records(into).counts
    assert counts[["buds", "shoots", "clusters"]].notna().all(axis=None)
    assert len(counts) == 4


def test_each_counter_of_a_vine_answers_for_what_was_counted(into, tmp_path):
    shoots = vines(2, shoots=lambda at: 14, counter=lambda _: "AB")
    clusters = vines(2, clusters=lambda at: 25, counter=lambda _: "CD")
    take_sheets([sheet(tmp_path / "s.csv", shoots), sheet(tmp_path / "c.csv", clusters)], into)
    counts = read_records(into).counts
    assert counts.groupby("counter")[["shoots", "clusters"]].count().to_numpy().tolist() == [
        [2, 0],
        [0, 2],
    ]
    found = faults_of(into, sheet(tmp_path / "x.csv", vines(1, shoots=lambda _: 14,
                                                            counter=lambda _: "EF")))  # fmt: skip
    assert [(fault.column, fault.value) for fault in found] == [("counter", "EF (on record: AB)")]


def test_a_table_of_an_earlier_edition_gets_the_columns_it_lacks(into, tmp_path):
    old = "season;date;block;row;vine;clusters\r\n2025;2025-06-30;Top Row;1;1;30\r\n"
    (into / "counts.csv").write_bytes(b"\xef\xbb\xbf" + old.encode())
    rows = [*vines(1, clusters=lambda _: 20, counter=lambda _: "AB"), {"vine": "2", "missing": "1"}]
    take_sheets(sheet(tmp_path / "a.csv", rows), into)
    new = (into / "counts.csv").read_bytes().decode("utf-8-sig").split("\r\n")
    assert new[0] == "season;date;block;row;vine;clusters;counter;missing"
    assert new[1] == old.split("\r\n")[1]
    assert read_records(into).counts["missing"].fillna(0).tolist() == [0, 0, 1]


def test_sheets_without_a_fault_are_taken_beside_one_with(into, tmp_path):
    good = sheet(tmp_path / "good.csv", vines(3, clusters=lambda at: 20))
    bad = sheet(tmp_path / "bad.csv", vines(3, clusters=lambda at: "many" if at == 1 else 9))
    with pytest.raises(RecordsError) as told:
        take_sheets([bad, good], into)
    assert "good.csv: 3 vines of Low Field added, clusters." in str(told.value)
    assert [fault.file for fault in told.value.faults] == ["bad.csv"]
    assert read_records(into).counts["clusters"].tolist() == [20, 20, 20]


def test_sheets_are_taken_into_a_workbook(tmp_path):
    counts = [*POCKET[:9], "counter", "missing"]
    book = workbook(
        tmp_path / "mine.xlsx",
        {"blocks": list(csv.reader(io.StringIO(BLOCKS))), "counts": [counts]},
    )
    path = sheet(tmp_path / "a.csv", vines(3, clusters=lambda at: 20, counter=lambda _: "AB"))
    take_sheets(path, book)
    assert read_records(book).counts["counter"].tolist() == ["AB"] * 3


# ---- what a sheet cannot be


def test_every_fault_of_every_sheet_is_told_at_once(into, tmp_path):
    rows = vines(8, clusters=lambda at: 20)
    rows[0]["clusters"], rows[1]["clusters"], rows[2]["clusters"] = "many", "3.5", "-2"
    rows[3]["block"], rows[4]["date"], rows[5] = "Low Feild", "20 June", rows[6]
    rows[7] |= {"missing": "1", "clusters": "0"}
    found = faults_of(into, sheet(tmp_path / "a.csv", rows), tmp_path / "gone.csv")
    places = {(fault.row, fault.column) for fault in found}
    assert {(2, "clusters"), (3, "clusters"), (4, "clusters"), (5, "block"), (6, "date")} <= places
    assert any("may not repeat" in fault.rule and fault.row == 8 for fault in found)
    assert any(fault.row == 9 and fault.column == "missing" for fault in found)
    (block,) = (fault for fault in found if fault.column == "block")
    assert "Did you mean 'Low Field'?" in block.mend
    assert found[-1].file == "gone.csv"
    assert len(found) == 8


@pytest.mark.parametrize(
    ("head", "told"),
    [
        (["season", "date", "block", "row", "vin", "clusters"], "vine is missing"),
        (["season", "date", "row", "vine", "clusters"], "block is missing"),
        (["season", "date", "block", "row", "vine", "cluster"], "Did you mean 'clusters'"),
        (["season", "date", "block", "row", "vine", "bunches", "shoots"], "mean 'clusters'"),
        (["season", "date", "block", "row", "vine"], "counts nothing"),
        (["not", "a", "sheet"], "is missing"),
    ],
)
def test_another_head_is_told(into, tmp_path, head, told):
    rows = [dict.fromkeys(head, "9") | {"vine": "1", "vin": "1"}]
    found = faults_of(into, sheet(tmp_path / "a.csv", rows, head))
    assert any(told in str(fault) for fault in found)


def hostile_workbook(path, change):
    head = POCKET[:9]
    row = [2026, DAY, "Low Field", 1, 1, 14, 15, 0, 25]
    book = openpyxl.Workbook()
    page = book.active
    page.append(head)
    for vine in range(1, 5):
        page.append([*row[:4], vine, *row[5:]])
    change(page)
    book.save(path)
    return path


def formula(page):
    page["I3"] = "=G3+10"


def merged(page):
    page.merge_cells("I2:I4")


def merged_head(page):
    page.merge_cells("H1:I1")


def error_cell(page):
    page["I3"] = "#REF!"


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (formula, "does not hold the result of this formula"),
        (merged, "cells are merged"),
        (merged_head, "cells are merged"),
        (error_cell, "an error of the spreadsheet program"),
    ],
)
def test_a_broken_workbook_is_told_and_nothing_is_written(into, tmp_path, change, told):
    found = faults_of(into, hostile_workbook(tmp_path / "a.xlsx", change))
    assert any(told in fault.rule for fault in found)
    assert all(fault.file.startswith("a.xlsx") for fault in found)


def bomb():
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("xl/workbook.xml", "<nothing/>")
    return data.getvalue()


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("empty.csv", b""),
        ("nul.csv", b"season,date\0"),
        ("quote.csv", b'season,date,block,row,vine,clusters\n2026,"2026-05-31,Low Field,1,1,9\n'),
        ("long.csv", b"season,date,block,row,vine,clusters\n2026,2026-05-31,Low Field,1,1,9,9,9\n"),
        ("picture.csv", bytes(range(256)) * 20),
        ("none.xlsx", b"PK\x03\x04 no workbook"),
        ("damaged.xlsx", bomb()),
        ("old.xls", b"\xd0\xcf\x11\xe0"),
        ("open.ods", b"PK"),
        ("text.xlsx", b"season,date\n"),
    ],
)
def test_what_is_no_sheet_gets_a_message(into, tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    found = faults_of(into, tmp_path / name)
    assert all(fault.file == name and fault.rule for fault in found)


def test_a_folder_and_records_at_fault_get_a_message(into, tmp_path):
    (fault,) = faults_of(into, into)
    assert "is no plain file" in fault.rule
    path = sheet(tmp_path / "a.csv", vines(1, clusters=lambda at: 9))
    with pytest.raises(CroploadError, match=r"does not\s+exist"):
        take_sheets(path, tmp_path / "nowhere")
    with pytest.raises(CroploadError, match="must be the names of count sheets"):
        take_sheets([], into)


def test_five_thousand_lines_are_taken_or_told_in_few_words(into, tmp_path):
    rows = [
        {"row": str(at % 9 + 1), "vine": str(at // 9 + 1), "clusters": str(20 + at % 9)}
        for at in range(5000)
    ]
    wrong = [row | {"clusters": "x"} for row in rows]
    with pytest.raises(RecordsError) as told:
        take_sheets(sheet(tmp_path / "wrong.csv", wrong), into)
    assert "5,000 faults" in str(told.value)
    assert len(str(told.value).splitlines()) < 20
    assert not (into / "counts.csv").exists()
    (taken,) = take_sheets(sheet(tmp_path / "a.csv", rows), into)
    assert len(taken.frame) == 5000
    assert len(read_records(into).counts) == 5000


def test_words_of_a_sheet_cannot_become_a_formula(into, tmp_path):
    rows = vines(1, clusters=lambda at: 9, counter=lambda at: "=cmd()")
    take_sheets(sheet(tmp_path / "a.csv", rows), into)
    assert "'=cmd()" in (into / "counts.csv").read_text()


# ---- the command


def test_the_command_says_what_it_added_and_what_not(into, tmp_path, capsys):
    path = sheet(tmp_path / "a.csv", vines(3, shoots=lambda at: 14, clusters=lambda at: 20))
    assert main(["take", str(path), "--into", str(into)]) == 0
    out = capsys.readouterr().out
    assert "a.csv: 3 vines of Low Field added, shoots, clusters." in " ".join(out.split())
    assert "Added to the counts of" in out
    assert main(["take", str(path), "--into", str(into)]) == 0
    assert "Nothing was added." in capsys.readouterr().out
    bad = sheet(tmp_path / "b.csv", vines(1, clusters=lambda at: 21))
    assert main(["take", str(bad), "--into", str(into)]) == 2
    told = capsys.readouterr()
    assert "'21 (on record: 20)'" in told.err
    assert "Traceback" not in told.err


# ---- missing places, dead and living shoots


def doubts(tmp_path, rows, missing_pct=5):
    head = ",".join(POCKET)
    usual = {"season": 2026, "date": "2026-06-30", "block": "North"}
    lines = [",".join(str((usual | row).get(name, "")) for name in POCKET) for row in rows]
    block = block_row(missing_pct=missing_pct, rows=40, vines=4000)
    blocks = ",".join(block) + "\n" + ",".join(map(str, block.values())) + "\n"
    return records_from_csv(tmp_path, blocks=blocks, counts="\n".join([head, *lines, ""]))


def places(present, gone):
    told = [{"missing": 1}] * gone + [{"shoots": 14}] * present
    return [{"row": 1 + at % 40, "vine": 1 + at // 40} | each for at, each in enumerate(told)]


def tail(gone, size, share):
    """Return the chance of so few, or of so many, of independent places, whichever is less."""
    each = [comb(size, k) * share**k * (1 - share) ** (size - k) for k in range(size + 1)]
    return min(sum(each[: gone + 1]), sum(each[gone:]))


@pytest.mark.parametrize(("present", "gone"), [(94, 6), (82, 18), (0, 1), (199, 1), (88, 12)])
def test_missing_places_against_the_share_of_the_block(tmp_path, present, gone):
    warnings = doubts(tmp_path, places(present, gone)).warnings
    found = [each for each in warnings if "more than chance" in each.rule]
    # One in 200 is our own choice; the tails are those of the binomial distribution.
    assert bool(found) is (tail(gone, present + gone, 0.05) < 0.005)
    for doubt in found:
        assert f"{gone} of {present + gone} places" in doubt.rule
        assert "missing_pct" in doubt.mend


def test_counts_without_any_missing_place_noted_say_nothing_of_the_share(tmp_path):
    warnings = doubts(tmp_path, places(200, 0), missing_pct=20).warnings
    assert not [each for each in warnings if "chance" in each.rule]


def test_a_missing_vine_is_no_zero_in_a_mean(tmp_path):
    rows = [{"row": 1, "vine": at, "clusters": 30} for at in range(1, 11)]
    rows += [{"row": 2, "vine": at, "missing": 1} for at in range(1, 3)]
    counts = doubts(tmp_path, rows).counts
    assert counts["clusters"].mean() == 30
    rows[-1]["clusters"] = 0
    with pytest.raises(RecordsError, match="no vine stands at the place"):
        doubts(tmp_path, rows)
    # Also where the two stand in rows of their own.
    rows[-1] = {"row": 1, "vine": 3, "missing": 1}
    with pytest.raises(RecordsError, match="no vine stands at the place"):
        doubts(tmp_path, rows)


def test_dead_and_living_shoots_are_a_pair(tmp_path):
    rows = [{"row": 1, "vine": 1, "shoots_dead": 4, "shoots_alive": 11}]
    assert not [each for each in doubts(tmp_path, rows).warnings if "pair" in each.rule]
    rows.append({"row": 1, "vine": 2, "shoots_dead": 4})
    (doubt,) = [each for each in doubts(tmp_path, rows).warnings if "pair" in each.rule]
    assert doubt.row == 3
