import datetime

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload.errors import CroploadError
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.records.writing.results import escape_cell, write_frame
from cropload.records.writing.template import empty_tables, write_template

FRAME = pd.DataFrame(
    {
        "block": ["=1+1", "North", None],
        "t_ha": [-1.5, 0.1, np.nan],
        "vines": [1, 2, 3],
        "date": pd.to_datetime(["2026-01-02", None, "2026-03-04"]),
        "given": [True, False, True],
    }
)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("xlsx", [False, True])
def test_a_template_has_every_table_and_explains_every_column(tmp_path, xlsx, units):
    path = write_template(tmp_path / "season", xlsx=xlsx, units=units)
    if xlsx:
        book = openpyxl.load_workbook(path)
        headers = {name: [cell.value for cell in book[name][1]] for name in empty_tables()}
        notes = "\n".join(f"{row[1].value} ({row[2].value} {row[5].value}" for row in book["notes"])
    else:
        headers = {
            name: (path / f"{name}.csv").read_text("utf-8-sig").strip().split(",")
            for name in empty_tables()
        }
        notes = (path / "README.txt").read_text("utf-8-sig")
        assert max(map(len, notes.splitlines())) <= 80
    for name, table in empty_tables().items():
        wanted = [(c.us_name or c.name) if units == "us" else c.name for c in table.columns]
        assert headers[name] == wanted
        assert all(f"{column} (" in notes for column in wanted)


@pytest.mark.parametrize("xlsx", [False, True])
def test_a_template_lacks_only_its_blocks(tmp_path, xlsx):
    with pytest.raises(RecordsError) as caught:
        read_records(write_template(tmp_path / "season", xlsx=xlsx))
    assert [fault.rule for fault in caught.value.faults] == ["holds no block"]


@pytest.mark.parametrize("xlsx", [False, True])
def test_a_template_never_overwrites(tmp_path, xlsx):
    write_template(tmp_path, xlsx=xlsx)
    with pytest.raises(CroploadError, match="overwritten"):
        write_template(tmp_path, xlsx=xlsx)


def test_a_template_leaves_other_files_alone(tmp_path):
    (tmp_path / "photo.jpg").write_bytes(b"x")
    write_template(tmp_path)
    assert (tmp_path / "photo.jpg").read_bytes() == b"x"


def test_a_template_where_a_file_stands(tmp_path):
    (tmp_path / "season").write_text("x")
    with pytest.raises(CroploadError, match="cannot be made"):
        write_template(tmp_path / "season")


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", " =", "＝"])
def test_text_that_begins_like_a_formula_is_escaped(sign):
    assert escape_cell(sign + "1") == "'" + sign + "1"


@pytest.mark.parametrize("value", ["North", "a=1", "", "O'Hara", -1.5, 3, None, True])
def test_all_else_is_left_alone(value):
    assert escape_cell(value) is value


@given(st.text(max_size=20))
def test_no_text_can_become_a_formula(text):
    assert escape_cell(text).lstrip(" ")[:1] not in tuple("=+-@\t\r")
    assert escape_cell(text).removeprefix("'") == text.removeprefix("'")


def test_csv_export(tmp_path):
    path = write_frame(tmp_path / "out.csv", FRAME)
    assert path.read_text("utf-8-sig").splitlines() == [
        "block,t_ha,vines,date,given",
        "'=1+1,-1.5,1,2026-01-02,True",
        "North,0.1,2,,False",
        ",,3,2026-03-04,True",
    ]


def test_xlsx_export(tmp_path):
    path = write_frame(tmp_path / "out.xlsx", FRAME)
    sheet = openpyxl.load_workbook(path).active
    cell = sheet["A2"]
    assert (cell.value, cell.data_type, cell.quotePrefix) == ("=1+1", "s", True)
    assert (sheet["B2"].value, sheet["B2"].data_type) == (-1.5, "n")
    assert [sheet[place].value for place in ("B4", "C2", "D3", "E2")] == [None, 1, None, True]


def test_floats_are_written_in_full(tmp_path):
    values = [0.1 + 0.2, 1e-300, 123456789.123456789]
    path = write_frame(tmp_path / "out.csv", pd.DataFrame({"x": values}))
    assert [float(text) for text in path.read_text("utf-8-sig").split()[1:]] == values
    # A workbook keeps the fifteen digits that a spreadsheet works with.
    path = write_frame(tmp_path / "out.xlsx", pd.DataFrame({"x": values}))
    assert pd.read_excel(path, engine="openpyxl")["x"].tolist() == pytest.approx(values, rel=1e-14)


def test_a_named_index_is_written(tmp_path):
    path = write_frame(tmp_path / "out.csv", FRAME.set_index("vines")[["t_ha"]])
    assert path.read_text("utf-8-sig").splitlines()[:2] == ["vines,t_ha", "1,-1.5"]


@pytest.mark.parametrize("name", ["out.csv", "out.xlsx"])
def test_nothing_is_overwritten_unless_asked(tmp_path, name):
    path = tmp_path / name
    path.write_text("mine")
    with pytest.raises(CroploadError, match="not overwritten"):
        write_frame(path, FRAME)
    assert path.read_text() == "mine"
    write_frame(path, FRAME, replace=True)
    assert path.read_bytes() != b"mine"
    before = path.with_name(f"out.1{path.suffix}")
    assert before.read_bytes() == b"mine"
    assert set(tmp_path.iterdir()) == {path, before}


def test_places_that_cannot_be_written(tmp_path):
    with pytest.raises(CroploadError, match="csv or"):
        write_frame(tmp_path / "out.pdf", FRAME)
    with pytest.raises(CroploadError, match="does not exist"):
        write_frame(tmp_path / "nowhere" / "out.csv", FRAME)
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(CroploadError, match="is a folder"):
        write_frame(tmp_path / "folder.csv", FRAME)


def test_odd_cells(tmp_path):
    frame = pd.DataFrame(
        {"x": ["a\x07b", datetime.date(2026, 1, 2), np.inf, "z" * 40_000]}, dtype=object
    )
    for name in ("out.csv", "out.xlsx"):
        assert write_frame(tmp_path / name, frame).stat().st_size
    sheet = openpyxl.load_workbook(tmp_path / "out.xlsx").active
    assert [sheet.cell(row, 1).value for row in (2, 4)] == ["ab", "inf"]
    assert sheet["A3"].value.date() == datetime.date(2026, 1, 2)
    assert sheet["A3"].number_format == "yyyy-mm-dd"
    assert "2026-01-02" in (tmp_path / "out.csv").read_text(encoding="utf-8-sig")


def test_a_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    import os

    path = tmp_path / "out.csv"
    path.write_text("old")

    def full(*arguments):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(CroploadError, match="No space left"):
        write_frame(path, FRAME, replace=True)
    assert path.read_text() == "old"
    assert [file.name for file in tmp_path.iterdir()] == ["out.csv"]
