"""What is wrong with a whole file is one fault: a count, the first row, the mend; never a guess."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload.records.reading import csv_table
from cropload.records.reading.csv_table import read_csv
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.records.tables import TABLES

#: A block so large that no crop below is impossible.
BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,1.2,100000\n"
HEAD = "season,block,date,tonnes\n"
ROWS = 154


def harvest(cell, rows=ROWS, head=HEAD):
    """Return a harvest table with a cell of tonnes a row, on days of their own."""
    days = ((1950 + row // 12, row % 12 + 1) for row in range(rows))
    return head + "".join(
        f"{year},North,{year}-{month:02}-05,{cell.format(row % 7 + 2)}\n"
        for row, (year, month) in enumerate(days)
    )


@pytest.mark.parametrize(
    ("text", "rule", "value", "mend"),
    [
        (harvest("{},25"), "decimal commas in a comma-separated file: 154", "2,25", "semicolons"),
        (harvest('"{},25"'), "decimal commas in a comma-separated file: 154", "2,25", "semicolons"),
        (harvest('"1,0{}5,000"'), "between thousands: 154 values", "1,025,000", "plain number"),
        (harvest('"{},500"'), "may be a decimal sign or stand", "2,500", "Write 2.500 or 2500"),
        (harvest("{} t"), "something stands behind the number: 154 values", "2 t", "alone: 2"),
        (harvest("{}.Mar"), "made dates of numbers: 154 values", "2.Mar", "plain number format"),
    ],
)
def test_many_cells_of_one_reason_are_one_fault(write, faults, text, rule, value, mend):
    (fault,) = faults(write(blocks=BLOCKS, harvest=text))
    assert (fault.file, fault.row, fault.value) == ("harvest.csv", 2, value)
    assert rule in fault.rule
    assert mend in fault.mend


def test_points_among_commas_are_one_fault(write, faults):
    rows = harvest("{},5", 20) + harvest("{}.5", 6).split("\n", 1)[1].replace("19", "20")
    (fault,) = faults(write(blocks=BLOCKS, harvest=rows.replace(",", ";").replace(";5\n", ",5\n")))
    assert (fault.row, fault.value) == (22, "2.5")
    assert "mixed in one file: 6 values" in fault.rule


def test_split_decimals_are_read_as_meant_beside_other_faults(write, faults):
    """A fault of another kind in such a row stays told, and no block is lost by it."""
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2,5,1,2,-3\n"
    found = faults(write(blocks=blocks, pruning="season,block,plan\n2026,North,3x8\n"))
    assert {(fault.row, fault.column) for fault in found} == {(2, None), (2, "vines")}
    assert any(fault.rule.endswith("2 values") for fault in found)


def test_a_row_that_no_decimal_comma_explains_stays_a_row_too_long(write, faults):
    (fault,) = faults(write(blocks=BLOCKS, harvest=harvest("{},left over", 6)))[:1]
    assert "more cells" in fault.rule


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_rows_parted_by_another_sign_than_the_header(write, faults, separator):
    rows = harvest("{}").removeprefix(HEAD).replace(",", separator)
    (fault,) = faults(write(blocks=BLOCKS, harvest=HEAD + rows))
    assert fault.row == 2
    assert f"{csv_table.SEPARATORS[separator]}s and the header by commas: 154 rows" in fault.rule


@pytest.mark.parametrize(("sign", "name"), [("  ", "blanks"), ("~", "tildes"), (":", "colons")])
def test_a_sign_that_parts_no_table_is_named(write, faults, sign, name):
    (fault,) = faults(write(blocks=BLOCKS, harvest=harvest("{}").replace(",", sign)))
    assert f"parted by {name}" in fault.rule


# ---- limits, told before anything is read


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (HEAD.encode() + b"\n" * 20_000_000, "20,000,001 lines"),
        (HEAD.encode() + b"\r" * 20_000_000, "20,000,000 lines"),
        (HEAD.encode() + b"1," * 5_000_000, "line of over 1,000,000 bytes"),
        (b" " * 100_000_001, "100 MB large"),
    ],
    ids=["blank lines", "of an old kind", "a long line", "blanks"],
)
def test_a_file_too_large_is_refused_before_it_is_decoded(monkeypatch, data, words):
    monkeypatch.setattr(csv_table, "tidy", None)
    monkeypatch.setattr(csv_table.pd, "read_csv", None)
    with pytest.raises(RecordsError, match=words):
        read_csv(TABLES["harvest"], "harvest.csv", data)


def test_a_huge_file_is_not_even_opened(write, faults, monkeypatch):
    from pathlib import Path

    folder = write()
    with open(folder / "harvest.csv", "wb") as file:
        file.truncate(900_000_000)
    read = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda self: {"blocks.csv": read(self)}[self.name])
    (fault,) = faults(folder)
    assert "900 MB large" in fault.rule


@pytest.mark.parametrize(("length", "refused"), [(100, False), (101, True), (10_000, True)])
def test_names_over_a_hundred_characters_are_refused(write, faults, length, refused):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\n{},Riesling,2,1,100\n"
    folder = write(blocks=blocks.format("N" * length))
    if refused:
        (fault,) = faults(folder)
        assert (fault.row, fault.column) == (2, "block")
        assert "longer than 100 characters" in fault.rule
        assert len(str(fault)) < 200
    else:
        assert read_records(folder).blocks["block"].str.len().tolist() == [100]


# ---- a file that ends too early


@pytest.mark.parametrize(
    ("last", "asked"),
    [
        ("2020,North,2020-01-05,12", True),
        ("2020,North,2020-01-05,12.", True),
        ("2020,North,2020-01-05,12.5\n", False),
        ("2020,North,2020-01-05,12.25", False),
        ("2020,North,2020-01-05,12\n", False),
    ],
)
def test_a_last_number_that_may_be_cut_is_asked_about(write, last, asked):
    records = read_records(write(blocks=BLOCKS, harvest=harvest("1{}.25", 5) + last))
    doubts = [doubt for doubt in records.warnings if "without a line break" in doubt.rule]
    assert [doubt.row for doubt in doubts] == [7] * asked


def test_a_last_line_with_too_few_cells_is_asked_about(write):
    head = "season,block,date,tonnes,picked_pct\n"
    rows = harvest("1{}.25,100", 5, head)
    records = read_records(write(blocks=BLOCKS, harvest=rows + "2020,North,2020-01-05,12"))
    (doubt,) = [doubt for doubt in records.warnings if "without a line break" in doubt.rule]
    assert (doubt.row, doubt.value) == (7, "12")
    assert "4 of 5 cells" in doubt.rule


@given(st.integers(1, 4), st.integers(0, 60))
def test_a_file_cut_anywhere_in_its_last_number_is_a_fault_or_asked_about(decimals, cut):
    """Wherever its end is lost, what is left is not read as whole without a word."""
    rows = "".join(
        f"2020,North,2020-0{day}-01,{day + 10}.{'5' * decimals}\n" for day in range(1, 6)
    )
    whole = (HEAD + rows).rstrip("\n")
    line = len(whole) - whole.rindex("\n") - 1
    short = whole[: len(whole) - 1 - cut % (line - 1)]
    try:
        raw = read_csv(TABLES["harvest"], "harvest.csv", short.encode())
    except RecordsError:
        return
    assert any("without a line break" in doubt.rule for doubt in raw.warnings)
