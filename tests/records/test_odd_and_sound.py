"""Records that look odd and are sound are not asked about (common practice, no source)."""

import pytest

from cropload.records.reading import read_records

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct,rows,year_planted\n"
HARVEST = "season,block,date,tonnes,picked_pct,lost_pct\n"
COUNTS = "season,date,block,row,vine,buds,shoots,noncount_shoots,clusters\n"


@pytest.fixture
def doubts(write):
    """Return a function that reads tables and gives the doubts as (column, rule)."""

    def found(blocks="N,Merlot,2.5,1.2,3000,0,30,2000\n", **tables):
        heads = {"harvest": HARVEST, "counts": COUNTS}
        written = {name: heads[name] + rows for name, rows in tables.items()}
        warnings = read_records(write(blocks=BLOCKS + blocks, **written)).warnings
        return [(doubt.column, doubt.rule) for doubt in warnings]

    return found


@pytest.mark.parametrize("share", ["1", "0.5"])
def test_one_percent_of_empty_places_is_no_fraction(doubts, share):
    assert doubts(f"N,Merlot,2.5,1.2,3000,{share},30,2000\nS,Merlot,2.5,1.2,900,0,9,2000\n") == []


def test_crops_of_young_vines_are_not_held_against_grown_ones(doubts):
    crops = {2023: 0.9, 2024: 4.1, 2025: 7.2, 2026: 7.6}
    rows = "".join(f"{year},N,{year}-09-14,{crop},,\n" for year, crop in crops.items())
    assert doubts("N,Merlot,2.5,1.2,3000,0,30,2021\n", harvest=rows) == []


def test_a_sheet_filled_in_ahead_without_numbers_is_not_of_the_future(doubts):
    rows = "2027,2027-01-15,N,1,1,{0},,,\n2027,2027-01-15,N,2,2,{0},,,\n"
    assert doubts(counts=rows.format("")) == []
    assert {column for column, _ in doubts(counts=rows.format("12"))} == {"date"}
