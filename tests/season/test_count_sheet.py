"""The sheet to count by: printed for a pencil, and as a CSV to fill in."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace

import pandas as pd
import pytest

from cropload.errors import CroploadError
from cropload.records.records import read_records
from cropload.season.count_sheet import count_sheet, count_sheet_csv
from cropload.season.vine_picking import pick_vines

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines,rows\n"


def picked(block="Low Field", count=30):
    blocks = pd.DataFrame([{"block": block, "variety": "Riesling", "vines": 900, "rows": 9}])
    return pick_vines(SimpleNamespace(blocks=blocks), block, count, seed=4)


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
    assert counts[["clusters", "pruning_weight_kg", "missing"]].isna().all(axis=None)
    assert counts["counter"].eq("").all()


def test_a_day_that_is_none_is_refused():
    with pytest.raises(CroploadError, match="is not a date"):
        count_sheet_csv(picked(), 2027, "soon")
