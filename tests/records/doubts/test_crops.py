"""A crop unlike the block's others: the doubt names the cell that makes it so."""

import shutil

import pytest

from cropload.records.example import shipped
from cropload.records.records import read_records

HEAD = "season,block,date,tonnes,picked_pct,lost_pct\n"
#: 0.24 ha: 2.4 t are 10 t/ha.
USUAL = {2020: "2.41", 2021: "2.22", 2022: "2.63", 2023: "2.54", 2024: "2.35", 2025: "2.46"}


@pytest.fixture
def doubts(write):
    """Return a function that reads a harvest with some seasons told otherwise."""

    def found(**other):
        cells = {year: f"{tonnes},," for year, tonnes in USUAL.items()}
        cells |= {int(year.lstrip("y")): text for year, text in other.items()}
        rows = [f"{year},North,{year}-09-20,{text}\n" for year, text in cells.items()]
        warnings = read_records(write(harvest=HEAD + "".join(rows))).warnings
        return [(doubt.row, doubt.column, doubt.rule + " " + doubt.mend) for doubt in warnings]

    return found


def test_an_ordinary_history_is_not_asked_about(doubts):
    assert doubts() == []
    assert doubts(y2022="0.42,,85") == []
    assert doubts(y2025="1.20,50,") == []


def test_a_crop_typed_ten_times_too_high_makes_no_other_low(write):
    rows = "2024,North,,1.6,,\n2025,North,,16,,\n2026,North,,1.7,,\n"
    (doubt,) = read_records(write(harvest=HEAD + rows)).warnings
    assert (doubt.row, doubt.matter.rule) == (3, "harvest-high-crop")


def test_a_share_kept_is_told_of_the_share_lost(doubts):
    ((row, column, text),) = doubts(y2022="2.40,,90")
    assert (row, column) == (4, "lost_pct")
    assert "10" in text
    assert "hardly as much was lost" in text


def test_a_crop_too_large_by_itself_is_still_told_of_the_tonnes(doubts):
    ((row, column, _),) = doubts(y2022="14.1,,")
    assert (row, column) == (4, "tonnes")


@pytest.mark.parametrize("cells", ["2,41,", "2,4,"])
def test_a_decimal_comma_that_shifts_into_the_next_cell_is_suspected(doubts, cells):
    found = doubts(y2022=cells)
    assert any(
        (row, column) == (4, "picked_pct") and "a decimal comma starts a new cell" in text
        for row, column, text in found
    )
    assert not [column for _, column, _ in found if column == "tonnes"]


def test_a_fraction_lost_beside_percents_is_asked_about(doubts):
    found = doubts(y2021="1.6,,30", y2022="1.4,,0.4")
    assert [(row, column) for row, column, _ in found] == [(4, "lost_pct")]
    assert "fraction" in found[0][2]


def test_the_share_kept_in_every_row_is_asked_about(doubts):
    found = doubts(**{f"y{year}": f"{tonnes},,95" for year, tonnes in USUAL.items()})
    assert {column for _, column, _ in found} == {"lost_pct"}
    assert "not the share that was kept" in found[0][2]


def test_the_share_kept_of_a_small_crop_is_asked_about_too(doubts):
    found = doubts(**{f"y{year}": "0.24,,85" for year in USUAL})
    assert "in most seasons of the block" in found[0][2]


def test_the_sample_estate_raises_no_doubt_and_a_comma_does(tmp_path):
    estate = shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")
    assert read_records(estate).warnings == ()
    file = estate / "harvest.csv"
    lines = file.read_text(encoding="utf-8").splitlines()
    place = next(i for i, line in enumerate(lines) if line.startswith("2025,Long Acre,"))
    cells = lines[place].split(",")
    whole, decimals = cells[3].split(".")
    lines[place] = ",".join([*cells[:3], whole, decimals])
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    doubts = read_records(estate).warnings
    assert any(d.column == "picked_pct" and "decimal comma" in d.mend for d in doubts)
