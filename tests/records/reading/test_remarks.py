"""A row that is no record is one fault; a number made a date says what it may have been."""

import openpyxl
import pytest

from cropload.records.records import read_records

COUNTS = "season,date,block,row,vine,shoots,clusters\n2026,2026-06-20,North,1,1,20,30\n"
BLOCK = ["North", "Riesling", 2.0, 1.2, 1000]


@pytest.mark.parametrize(
    "remark",
    [
        "# rained from row 3 on,,,,,,",
        "# rained, from row 3 on,,,,,",
        "Stopped here because of the rain,,,,,,",
        ",,checked by the second crew,,,,",
        "// second day",
    ],
)
def test_a_remark_among_counts_is_one_fault(write, faults, remark):
    (fault,) = faults(write(counts=COUNTS + remark + "\n2026,2026-06-20,North,1,2,21,30\n"))
    assert (fault.file, fault.row) == ("counts.csv", 3)
    assert "is no record, but a remark" in fault.rule


@pytest.mark.parametrize("row", ["2026,,,,,,", "#N/A,2026-06-20,North,1,2,20,30"])
def test_half_a_record_is_told_cell_by_cell(write, faults, row):
    assert not [f for f in faults(write(counts=COUNTS + row + "\n")) if "remark" in f.rule]


def test_a_block_whose_name_begins_with_a_number_sign_is_read(write):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\n#4,Riesling,2,1.2,900\n"
    assert read_records(write(blocks=blocks)).blocks["block"].tolist() == ["#4"]


def book_of(tmp_path, tonnes):
    book = openpyxl.Workbook()
    book.active.title = "blocks"
    book.active.append(["block", "variety", "row_spacing_m", "vine_spacing_m", "vines"])
    book.active.append(BLOCK)
    sheet = book.create_sheet("harvest")
    sheet.append(["season", "block", "tonnes"])
    sheet.append([2025, "North", tonnes])
    book.save(tmp_path / "season.xlsx")
    return tmp_path / "season.xlsx"


def test_a_number_that_the_spreadsheet_made_a_date_is_told_as_what_it_may_have_been(
    tmp_path, faults
):
    import datetime

    (fault,) = faults(book_of(tmp_path, datetime.datetime(2026, 1, 8)))
    assert fault.column == "tonnes"
    assert "made a date of a number" in fault.mend
    assert "8.1 or 1.8" in fault.mend
    assert "2026" not in fault.mend
    (fault,) = faults(book_of(tmp_path, datetime.datetime(1975, 1, 1)))
    assert "1.75" in fault.mend


@pytest.mark.parametrize(
    ("text", "likely"),
    [("08. Jan", "8.1 or 1.8"), ("8-Jan", "8.1"), ("Jan-75", "1.75"), ("08 jan", "8.1")],
)
def test_the_same_in_a_file_saved_as_csv(write, faults, text, likely):
    (fault,) = faults(write(harvest=f"season,block,tonnes\n2025,North,{text}\n"))
    assert "made a date of a number" in fault.mend
    assert likely in fault.mend


@pytest.mark.parametrize("text", ["4.2 tonnes", "12 abc", "may"])
def test_other_words_are_no_dates(write, faults, text):
    (fault,) = faults(write(harvest=f"season,block,tonnes\n2025,North,{text}\n"))
    assert "date" not in fault.mend
