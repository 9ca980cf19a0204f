"""Numbers that must fit each other, and do not, are refused or asked about."""

import pytest

from cropload.records.records import read_records

BLOCKS = (
    "block,variety,row_spacing_m,vine_spacing_m,vines,rows,headlands\n"
    "North,Riesling,2.0,1.2,1000,{},{}\n"
)
FERTILITY = "season,block,wood,node,buds,shoots,clusters\n2026,North,cane,3,"
HARVEST = "season,block,tonnes,lost_pct\n2023,North,2.4,\n2024,North,2.0,\n2025,North,2.2,\n"


def told(folder):
    return [(doubt.file, doubt.row, doubt.column) for doubt in read_records(folder).warnings]


def test_more_rows_than_vines_are_refused(write, faults):
    (fault,) = faults(write(blocks=BLOCKS.format(1001, 0)))
    assert (fault.column, fault.value) == ("rows", "1001")
    assert told(write(blocks=BLOCKS.format(20, 2))) == []


@pytest.mark.parametrize(("rows", "headlands", "doubts"), [(20, 25, 1), (20, 24, 0), ("", 500, 1)])
def test_headlands_that_leave_no_vine_are_asked_about(write, rows, headlands, doubts):
    folder = write(blocks=BLOCKS.format(rows, headlands))
    assert told(folder) == [("blocks.csv", 2, "headlands")] * doubts


@pytest.mark.parametrize(
    ("row", "vine", "column"),
    [(21, 1, "row"), (20, 50, None), (1, 1001, "vine"), ("A", "last", None)],
)
def test_a_place_beyond_the_block_is_asked_about(write, row, vine, column):
    counts = f"season,date,block,row,vine,shoots\n2026,2026-06-01,North,{row},{vine},18\n"
    expected = [("counts.csv", 2, column)] if column else []
    assert told(write(blocks=BLOCKS.format(20, 0), counts=counts)) == expected


def test_clusters_without_a_shoot_are_refused(write, faults):
    (fault,) = faults(write(fertility=FERTILITY + "10,0,4\n"))
    assert (fault.file, fault.column) == ("fertility.csv", "clusters")


@pytest.mark.parametrize(
    ("cells", "column"), [("10,26,30", "shoots"), ("10,9,55", "clusters"), ("10,11,15", None)]
)
def test_a_node_with_far_too_much_on_it_is_asked_about(write, cells, column):
    expected = [("fertility.csv", 2, column)] if column else []
    assert told(write(fertility=FERTILITY + cells + "\n")) == expected


@pytest.mark.parametrize(
    ("tables", "row"),
    [
        (
            {"counts": "season,date,block,row,vine,buds,shoots\n2026,2026-06-01,North,1,1,20,51\n"},
            2,
        ),
        (
            {
                "counts": "season,date,block,row,vine,buds,shoots\n"
                "2026,2026-01-20,North,1,1,20,\n2026,2026-06-01,North,1,1,,51\n"
            },
            3,
        ),
        (
            {
                "counts": "season,date,block,row,vine,shoots\n2026,2026-06-01,North,1,1,51\n",
                "pruning": "season,block,plan\n2026,North,2x9+1x2\n",
            },
            2,
        ),
    ],
)
def test_far_more_shoots_than_buds_are_asked_about(write, tables, row):
    assert told(write(**tables)) == [("counts.csv", row, "shoots")]
    fewer = {name: text.replace("51\n", "50\n") for name, text in tables.items()}
    assert told(write(**fewer)) == []


@pytest.mark.parametrize(
    ("table", "cells", "column"),
    [
        ("prices", "1e300,,", "price_per_t"),
        ("prices", "900,1e300,", "cap_t"),
        ("prices", "900,,1e9", "cap_t_ha"),
        ("capacity", "1e300", "limit_t"),
    ],
)
def test_absurd_money_is_refused(write, faults, table, cells, column):
    heads = {
        "prices": "block,price_per_t,cap_t,cap_t_ha\nNorth,",
        "capacity": "period_start,period_end,limit_t\n2026-09-01,2026-09-07,",
    }
    (fault,) = faults(write(**{table: heads[table] + cells + "\n"}))
    assert (fault.file, fault.column) == (f"{table}.csv", column)


def test_a_price_far_from_the_others_is_asked_about(write):
    prices = "variety,price_per_t\nRiesling,900\nPinot noir,95000\n"
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nA,Riesling,2,1,100\n"
    more = blocks + "B,Pinot noir,2,1,100\nC,Merlot,2,1,100\n"
    folder = write(blocks=more, prices=prices + "Merlot,1100\n")
    assert told(folder) == [("prices.csv", 3, "price_per_t")]


def test_periods_of_intake_that_share_days_are_asked_about(write):
    head = "period_start,period_end,limit_t,variety\n"
    apart = (
        "2026-09-01,2026-09-07,50,\n2026-09-08,2026-09-14,50,\n2026-09-01,2026-09-07,9,Riesling\n"
    )
    assert told(write(capacity=head + apart)) == []
    shared = head + apart + "2026-09-14,2026-09-20,50,\n"
    assert told(write(capacity=shared)) == [("capacity.csv", 5, "period_start")]


@pytest.mark.parametrize(("year", "doubts"), [(1925, 1), (2099, 1), (2031, 0)])
def test_a_season_far_from_all_others_is_asked_about(write, year, doubts):
    pruning = f"season,block,plan\n2025,North,2x8\n2026,North,2x8\n{year},North,2x8\n"
    assert told(write(pruning=pruning)) == [("pruning.csv", 4, "season")] * doubts


def test_a_crop_far_below_the_usual_asks_for_the_share_lost(write):
    folder = write(harvest=HARVEST + "2026,North,0.6,\n")
    (doubt,) = read_records(folder).warnings
    assert (doubt.row, doubt.column) == (5, "tonnes")
    assert "27 % of the usual" in doubt.rule
    assert "lost_pct" in doubt.mend
    assert told(write(harvest=HARVEST + "2026,North,0.6,70\n")) == []
    assert told(write(harvest=HARVEST + "2026,North,0.9,\n")) == []


def test_two_seasons_say_nothing_of_what_is_usual(write):
    assert told(write(harvest="season,block,tonnes\n2025,North,2.4\n2026,North,0.6\n")) == []


def test_a_part_picked_so_far_is_not_held_against_whole_crops(write):
    part = HARVEST.replace("lost_pct", "picked_pct") + "2026,North,0.6,25\n"
    assert told(write(harvest=part)) == []


def test_a_share_lost_that_looks_like_a_fraction_is_asked_about(write):
    folder = write(harvest=HARVEST + "2026,North,1.6,0.3\n")
    assert told(folder) == [("harvest.csv", 5, "lost_pct")]
    assert told(write(harvest=HARVEST + "2026,North,1.6,30 %\n")) == []
