"""The sheet to count by: printed for a pencil, and as a CSV that comes back."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from cropload.errors import CroploadError
from cropload.records.reading.faults import RecordsError
from cropload.records.records import read_records
from cropload.season.count_sheet import count_sheet, count_sheet_csv, read_count_sheet
from cropload.season.vine_picking import pick_vines

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines,rows\n"


def picked(block="Low Field", count=30):
    blocks = pd.DataFrame([{"block": block, "variety": "Riesling", "vines": 900, "rows": 9}])
    return pick_vines(SimpleNamespace(blocks=blocks), block, count, seed=4)


def filled(vines, values, column="clusters"):
    """Return the CSV of a sheet with ``values`` typed into its boxes, line by line."""
    head, *lines = count_sheet_csv(vines, 2027, "2027-06-20", [column]).splitlines()
    return "\n".join([head, *(f"{line}{value}" for line, value in zip(lines, values, strict=True))])


class Page(HTMLParser):
    """Collects the table cells, the boxes and every address of a page."""

    def __init__(self, html):
        super().__init__()
        self.rows, self.addresses, self.tags, self.open = [], [], [], False
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.addresses += [value for name, value in attrs if name in ("src", "href", "action")]
        if tag == "tr":
            self.rows.append([])
        self.open = tag in ("td", "th")
        if self.open:
            self.rows[-1].append("")

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self.open = False

    def handle_data(self, data):
        if self.open:
            self.rows[-1][-1] += data.strip()


# ---- on paper


def test_every_picked_vine_has_a_line_with_a_box_for_each_count():
    vines = picked()
    page = Page(count_sheet(vines, 2027, ["shoots", "clusters"]))
    head, *lines = page.rows
    assert head == ["Stop", "Row", "Vine", "Shoots", "Clusters", "No vine"]
    places = [(int(line[1]), int(line[2])) for line in lines]
    assert places == list(zip(vines["row"], vines["vine"], strict=True))
    assert all(line[3:] == ["", "", ""] for line in lines)


def test_the_page_has_no_outside_address_and_no_script():
    html = count_sheet(picked(), 2027, ["buds", "clusters"])
    page = Page(html)
    assert page.addresses == []
    assert not {"script", "link", "iframe", "img"} & set(page.tags)
    assert not re.search(r"https?:|//\w|@import|url\(", html)


def test_it_leaves_the_paper_to_the_printer_and_repeats_its_heading_on_each_page():
    html = count_sheet(picked(), 2027)
    assert not re.search(r"@page[^}]*\bsize\b", html)
    assert "table-header-group" in html
    assert 'content: "Block Low Field, season 2027"' in html


@pytest.mark.parametrize("name", ["<b>x</b>", '"} body {display: none} .x{', "=1+1", "Rüdiger's"])
def test_a_name_stays_a_name(name):
    html = count_sheet(picked(name), 2027, variety="<script>alert(1)</script>")
    assert not {"b", "script"} & set(Page(html).tags)
    style = html[html.index("<style>") : html.index("</style>")]
    assert style.count("{") == style.count("}")
    assert "display: none" not in style


def test_winter_and_summer_sheets_carry_their_own_cautions():
    winter, summer = (count_sheet(picked(), 2027, column) for column in ("buds", "clusters"))
    assert "eye protection" in winter
    assert "re-entry" in summer
    assert all("local codes" in html for html in (winter, summer))


def test_units_are_written_over_the_box():
    columns = ["pruning_weight_kg", "leaf_area_m2"]
    metric, us = (Page(count_sheet(picked(), 2027, columns, units=u)) for u in ("metric", "us"))
    assert metric.rows[0][3:5] == ["Prunings [kg]", "Leaf area [m2]"]
    assert us.rows[0][3:5] == ["Prunings [lb]", "Leaf area [ft2]"]


@pytest.mark.parametrize(
    ("vines", "columns", "message"),
    [
        (picked(), ["cluster"], "Did you mean 'clusters'"),
        (picked(), [], "needs something to count"),
        (
            replace(picked(), frame=picked().frame.iloc[:0]),
            ["clusters"],
            "for one block with vines, not for 0",
        ),
        (
            replace(picked(), frame=pd.concat([picked().frame, picked("Top").frame])),
            ["clusters"],
            "not for 2",
        ),
    ],
)
def test_a_sheet_that_makes_no_sense_is_refused(vines, columns, message):
    with pytest.raises(CroploadError, match=message):
        count_sheet(vines, 2027, columns)


# ---- as a CSV


@pytest.mark.parametrize("name", ["Low Field", "=Low", "Rüdiger's, east", 'the "Old" one', "-5"])
def test_the_empty_sheet_reads_straight_back_as_counts(tmp_path, name):
    vines = picked(name)
    cell = "'" + name if name[0] in "=-" else '"' + name.replace('"', '""') + '"'
    (tmp_path / "blocks.csv").write_text(f"{BLOCKS}{cell},Riesling,2,1,900,9\n", encoding="utf-8")
    text = count_sheet_csv(vines, 2027, "2027-06-20", ["clusters", "pruning_weight_kg"])
    (tmp_path / "counts.csv").write_bytes(text.encode())
    counts = read_records(tmp_path).counts
    assert counts["block"].eq(name).all()
    assert counts["row"].tolist() == vines["row"].astype(str).tolist()
    assert counts["vine"].tolist() == vines["vine"].astype(str).tolist()
    assert counts["date"].eq(pd.Timestamp("2027-06-20")).all()
    assert counts[["clusters", "pruning_weight_kg"]].isna().all(axis=None)


def test_a_filled_sheet_reads_the_same_here_and_as_records(tmp_path):
    vines = picked()
    values = ["", 0, *range(20, 48)]
    back = read_count_sheet(filled(vines, values), "Low Field", vines)
    sheet = back.frame
    assert sheet["clusters"].tolist() == [0, *range(20, 48)]
    assert (back.blank, back.added) == (1, [])
    (tmp_path / "blocks.csv").write_text(f"{BLOCKS}Low Field,Riesling,2,1,900,9\n")
    (tmp_path / "counts.csv").write_text(filled(vines, values))
    counts = read_records(tmp_path).counts.dropna(subset=["clusters"])
    both = ["season", "block", "row", "vine", "clusters"]
    left, right = (frame[both].astype(str).values.tolist() for frame in (sheet, counts))
    assert [row[:4] for row in left] == [row[:4] for row in right]
    assert np.array_equal(sheet["clusters"], counts["clusters"])


def test_pounds_come_back_as_kilograms_and_a_decimal_comma_is_read():
    text = (
        "season;date;block;row;vine;pruning_weight_lb\n"
        "2027;2027-01-20;Low Field;1;3;2,5\n"
    )  # fmt: skip
    assert read_count_sheet(text).frame["pruning_weight_kg"].tolist() == [
        pytest.approx(2.5 * 0.45359237)
    ]


def test_every_fault_of_a_sheet_that_came_back_is_told_at_once():
    vines = picked()
    text = filled(vines, ["many", "3.5", "-2", *[30] * 27])
    lines = text.splitlines()
    lines[5] = lines[5].replace("Low Field", "Top")
    lines[7] = lines[6]
    lines[8] = lines[8].replace("2027-06-20", "20 June")
    with pytest.raises(RecordsError) as told:
        read_count_sheet("\n".join(lines), "Low Field", vines)
    found = {(fault.row, fault.column, fault.value) for fault in told.value.faults}
    assert {(2, "clusters", "many"), (3, "clusters", "3.5"), (4, "clusters", "-2")} <= found
    assert (6, "block", "Top") in found
    assert (9, "date", "20 June") in found
    assert any(row == 8 and column == "vine" for row, column, _ in found)
    assert len(found) == 6
    assert "A vine with nothing on it is 0" in str(told.value)


def test_a_vine_that_was_not_picked_is_kept_and_pointed_out():
    vines = picked()
    text = filled(vines, [30] * 30) + "\n2027,2027-06-20,Low Field,5,999,31"
    sheet = read_count_sheet(text, "Low Field", vines)
    assert sheet.added == [("5", "999")]
    assert len(sheet.frame) == 31


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("\n", "column 'season' is missing"),
        ("season,date,block,row,vin\n", "column 'vine' is missing"),
        ("season,date,block,row,vine,cluster\n", "Did you mean 'clusters'"),
    ],
)
def test_another_file_is_no_count_sheet(text, message):
    with pytest.raises(RecordsError, match=message):
        read_count_sheet(text)


def test_a_file_that_is_not_there_or_not_text_gets_one_message(tmp_path):
    with pytest.raises(CroploadError, match="cannot be opened"):
        read_count_sheet(tmp_path / "gone.csv")
    (tmp_path / "sheet.csv").write_bytes(b"season,\xff\xfe\n")
    with pytest.raises(CroploadError, match="not UTF-8"):
        read_count_sheet(tmp_path / "sheet.csv")


def test_a_day_that_is_none_is_refused():
    with pytest.raises(CroploadError, match="is not a date"):
        count_sheet_csv(picked(), 2027, "soon")
