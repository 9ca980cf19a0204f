"""One table says the same in a terminal, on a page, in a spreadsheet and in a file."""

import io
import math
from html.parser import HTMLParser

import openpyxl
import pandas as pd
import pytest

from cropload.records.writing.gate import workbook_bytes
from cropload.show import excel
from cropload.show import table as t
from cropload.show.table import Column, Table
from cropload.units import ACRE_HA, METRIC, SHORT_TON_T, US

ROWS = [
    {"plan": "3x6+3x2", "t_ha_p10": 4.53, "t_ha_p50": 6.81, "t_ha_p90": 10.09, "chance": 0.9958},
    {"plan": "=1+1", "t_ha_p10": 99.4, "t_ha_p50": 110.42, "t_ha_p90": 144.2, "chance": 0.003},
    {
        "plan": "<b>",
        "t_ha_p10": math.nan,
        "t_ha_p50": math.nan,
        "t_ha_p90": math.nan,
        "chance": 0.5,
    },
]
TABLE = Table.of(
    "crop",
    "Crop at the scale",
    ROWS,
    [
        (Column("plan", t.PLAN), "plan"),
        (Column("crop", t.RANGE, "t_ha"), "t_ha"),
        (Column("bears more", t.CHANCE), "chance"),
        (Column("picked", t.DATE), lambda row: pd.Timestamp("2027-09-28")),
    ],
)


class Cells(HTMLParser):
    """The texts of the cells of a page."""

    def __init__(self, page):
        super().__init__()
        self.rows, self.inside = [], False
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.inside = True
            self.rows[-1].append("")

    def handle_endtag(self, tag):
        self.inside = self.inside and tag not in ("td", "th")

    def handle_data(self, data):
        if self.inside:
            self.rows[-1][-1] += data


def test_every_face_says_the_same():
    _, _, cells = TABLE.cells()
    assert cells[0] == ["3x6+3x2", "6.8 (4.5-10.1)", "over 99 %", "2027-09-28"]
    assert cells[1] == ["=1+1", "110 (99-144)", "under 1 %", "2027-09-28"]
    assert cells[2] == ["<b>", "-", "50 %", "2027-09-28"]
    assert Cells(TABLE.html()).rows[1:] == cells
    text = TABLE.text()
    for row in cells:
        assert all(cell in text for cell in row)
    assert max(map(len, text.splitlines())) <= 80


def test_units_change_at_the_edge_with_exact_factors():
    heads, _, rows = TABLE.spread_out(US)
    assert heads[2] == "crop, middle (p50) [ton/ac]"
    assert rows[0][2] == pytest.approx(6.81 * ACRE_HA / SHORT_TON_T)
    assert "3.0 (2.0-4.5)" in TABLE.text("us")


def test_a_spreadsheet_holds_whole_numbers_dates_and_no_formula():
    book = excel.new_book()
    excel.add_table(book, "crop", TABLE, METRIC)
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_bytes(book)))["crop"]
    values = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert values[1][1:5] == [4.53, 6.81, 10.09, 0.9958]
    assert sheet["E2"].number_format == "0%"
    assert sheet["F2"].value.date() == pd.Timestamp("2027-09-28").date()
    assert sheet["A3"].value == "=1+1"
    assert sheet["A3"].data_type == "s"
    assert values[3][1:4] == [None, None, None]


def test_a_frame_has_a_column_for_each_end():
    frame = TABLE.frame()
    assert frame.columns[1:4].tolist() == [
        "crop, low end (p10) [t/ha]",
        "crop, middle (p50) [t/ha]",
        "crop, high end (p90) [t/ha]",
    ]
    assert frame.iloc[0, 2] == 6.81


@pytest.mark.parametrize(
    ("kind", "cell", "shown"),
    [
        (t.CHANGE, (-0.42, -0.04, 0.31), "0.0 (-0.4 to +0.3)"),
        (t.CHANGE, (0.7, 1.2, 1.9), "+1.2 (+0.7 to +1.9)"),
        (t.SHARE, 0.0, "0 %"),
        (t.CHANCE, 0.0, "under 1 %"),
        (t.SHARES, (0.05, None, 0.2), "5 to 20 %"),
        (t.MONEYS, (1234.0, 2345.0, 3456.0), "2,300 (1,200-3,500)"),
        (t.MONEY_CHANGE, (-1234.0, 2345.0, 3456.0), "+2,300 (-1,200 to +3,500)"),
        (t.WHOLE, 12345, "12,345"),
        (t.FIGURE, 0.083791, "0.0838"),
        (t.NUMBER, None, "-"),
        (t.NUMBER, math.inf, "-"),
        (t.WORDS, None, "-"),
    ],
)
def test_each_kind_is_written_its_own_way(kind, cell, shown):
    assert Column("x", kind).text(cell, step=2) == shown


def test_columns_can_be_left_out():
    assert [column.title for column in TABLE.only("plan", "crop").columns] == ["plan", "crop"]
    assert TABLE.only("crop").rows[0] == ((4.53, 6.81, 10.09),)


def test_a_table_without_rows_is_false():
    assert TABLE
    assert not Table("none", "", TABLE.columns, ())
