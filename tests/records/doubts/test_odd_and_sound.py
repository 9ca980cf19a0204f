"""Records that look odd and are sound are not asked about (common practice, no source)."""

import pytest

from cropload.records.records import read_records

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines,missing_pct,rows,year_planted\n"
HARVEST = "season,block,date,tonnes,picked_pct,lost_pct\n"
COUNTS = "season,date,block,row,vine,buds,shoots,noncount_shoots,clusters\n"
WEIGHTS = "season,date,block,stage,clusters,weight_g\n"


@pytest.fixture
def doubts(write):
    """Return a function that reads tables and gives the doubts as (column, rule)."""

    def found(blocks="N,Merlot,2.5,1.2,3000,0,30,2000\n", **tables):
        heads = {"harvest": HARVEST, "counts": COUNTS, "weights": WEIGHTS}
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


def test_no_shoots_and_clusters_yet_in_spring_are_no_slip(doubts):
    rows = "2026,2026-04-28,N,1,3,12,0,0,0\n2026,2026-06-10,N,1,3,12,11,2,20\n"
    assert doubts(counts=rows) == []
    assert ("buds", "the same vine had buds later in the season") in doubts(
        counts=rows.replace("12,0,0,0", "0,0,0,0")
    )


def loads(*dates, season=2026):
    return "".join(f"{season},N,{season}-{date},4.15,,\n" for date in dates)


def test_equal_loads_on_different_days_are_ordinary(doubts):
    rows = "".join(loads("09-20", "09-21", season=year) for year in (2023, 2024, 2025))
    assert doubts(harvest=rows + loads("09-20", "09-21")) == []
    undated = loads("09-20") + "2026,N,,4.15,,\n"
    assert len(doubts(harvest=rows + undated)) == 1
    assert len(doubts(harvest=rows + loads("09-20", "09-21", "09-22", "09-23"))) == 1


def test_an_early_variety_has_no_day_and_month_swapped(doubts):
    blocks = "N,Merlot,2.5,1.2,3000,0,30,2000\nE,Muscat,2.5,1.2,3000,0,30,2000\n"
    rows = "".join(f"{year},N,{year}-10-04,8.{year - 2020},,\n" for year in range(2021, 2027))
    assert doubts(blocks, harvest=rows + "2026,E,2026-07-09,8.2,,\n") == []
    swapped = rows.replace("2026-10-04", "2026-04-10")
    assert [column for column, _ in doubts(blocks, harvest=swapped)] == ["date"]


def test_row_numbers_that_run_through_the_estate_are_not_asked_about(doubts):
    rows = "".join(f"2026,2026-06-01,N,{row},3,12,11,2,20\n" for row in range(142, 156))
    assert doubts(counts=rows) == []
    # Beside row 1 of 30 rows, none of them can be: one doubt for the block.
    mixed = "2026,2026-06-01,N,1,3,12,11,2,20\n" + rows
    assert doubts(counts=mixed) == [("row", "is beyond the 30 rows of the block")]


def test_a_history_with_a_gap_is_not_asked_about(doubts):
    years = [*range(1995, 2006), *range(2019, 2027)]
    assert doubts(harvest="".join(f"{year},N,,7.{year},,\n" for year in years), blocks=OLD) == []
    lone = "".join(f"{year},N,,7.{year},,\n" for year in (1996, *range(2019, 2027)))
    ((column, rule),) = doubts(harvest=lone, blocks=OLD)
    assert column == "season"
    assert "2019 to 2026" in rule


OLD = "N,Merlot,2.5,1.2,3000,0,30,1980\n"


def crops(block, tonnes, lost="", years=range(2021, 2027)):
    return "".join(f"{year},{block},,{tonnes}{year % 10},,{lost}\n" for year in years)


def test_blocks_of_one_variety_may_bear_very_unlike_crops(doubts):
    blocks = "A,Merlot,2,1,10000,0,60,1995\nB,Merlot,2.4,1.2,6000,0,60,1995\n"
    # 5 and 13 t/ha, for a reserve and for a bulk wine.
    assert doubts(blocks, harvest=crops("A", 10.0) + crops("B", 22.5)) == []
    # Frozen fruit: 70 % was lost of 4 t/ha.
    ice = crops("A", 2.4, 70) + crops("B", 15.5)
    assert doubts(blocks, harvest=ice) == []
    other = blocks.replace("B,Merlot", "B,Sultana") + "C,Syrah,2.4,1.2,6000,0,60,1995\n"
    mixed = crops("A", 10.0) + crops("B", 69.0) + crops("C", 8.0)
    assert doubts(other, harvest=mixed) == []
    assert len(doubts(blocks, harvest=crops("A", 1.0) + crops("B", 22.5))) == 2


def test_half_the_fruit_thinned_every_year_is_no_other_unit(doubts):
    # 30 clusters of 150 g on 4000 vines are 18 t; the picked half is 9 t on a hectare.
    years, vines = range(2021, 2027), range(1, 13)
    counts = [f"{y},{y}-06-20,T,{v},{v},16,15,1,{30 + v % 3}\n" for y in years for v in vines]
    lots = "".join(f"{y},{y}-09-20,T,harvest,40,6{y % 10}00\n" for y in years)
    block = "T,Nebbiolo,2.5,1,4000,0,40,1995\n"
    tables = {"counts": "".join(counts), "weights": lots}
    assert doubts(block, harvest=crops("T", 9.0), **tables) == []
    assert len(doubts(block, harvest=crops("T", 2.0), **tables)) == 1
