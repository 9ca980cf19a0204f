"""What comes back from the vineyard and cannot be, or can hardly be: refused, or asked about."""

import pytest

from cropload.records.records import read_records

COUNT_HEAD = "season,date,block,row,vine,shoots,clusters\n"
HARVEST = "season,block,date,tonnes,picked_pct\n"


def warned(path):
    return [(w.file, w.row, w.column, w.rule) for w in read_records(path).warnings]


def test_a_vine_counted_twice_on_a_day_is_a_fault_and_on_two_days_is_not(write, faults):
    twice = "2026,2026-06-20,North,1,4,20,30\n2026,2026-06-20,North,1,4,20,31\n"
    found = faults(write(counts=COUNT_HEAD + twice))
    assert [fault.row for fault in found] == [3]
    assert "see row 2" in str(found[0].value)
    again = "2026,2026-06-20,North,1,4,20,30\n2026,2026-06-27,North,1,4,20,31\n"
    assert len(read_records(write(counts=COUNT_HEAD + again)).counts) == 2


def test_a_count_after_the_block_was_picked_is_asked_about(write):
    folder = write(
        counts=COUNT_HEAD
        + "2026,2026-09-21,North,1,1,20,30\n"
        + "2026,2026-09-20,North,1,2,20,30\n"
        + "2026,2026-09-25,South,1,1,20,30\n",
        harvest=HARVEST + "2026,North,2026-09-20,2.4,\n2026,South,2026-09-20,1.0,40\n",
    )
    assert [(file, row, column) for file, row, column, _ in warned(folder)] == [
        ("counts.csv", 2, "date")
    ]
    assert "later than the picking of the block on 2026-09-20" in warned(folder)[0][3]


def test_lag_weights_after_picking_are_asked_about_but_not_harvest_lots(write):
    folder = write(
        weights="season,date,block,stage,clusters,weight_g\n"
        "2026,2026-09-22,North,lag,20,1400\n2026,2026-10-04,North,harvest,20,2600\n",
        harvest=HARVEST + "2026,North,2026-09-20,2.4,\n",
    )
    assert [(file, row) for file, row, _, _ in warned(folder)] == [("weights.csv", 2)]


def test_buds_and_prunings_of_winter_are_not_asked_about(write):
    folder = write(
        counts="season,date,block,row,vine,buds,pruning_weight_kg\n"
        "2026,2026-12-01,North,1,1,24,0.6\n",
        harvest=HARVEST + "2026,North,2026-09-20,2.4,\n",
    )
    assert not [w for w in warned(folder) if "picking" in w[3]]


def test_more_than_six_clusters_a_shoot_are_asked_about(write):
    rows = "2026,2026-06-20,North,1,1,10,60\n2026,2026-06-20,North,1,2,10,61\n"
    found = warned(write(counts=COUNT_HEAD + rows))
    assert [(row, column) for _, row, column, _ in found] == [(3, "clusters")]
    assert "clusters per shoot" in found[0][3]


def test_a_date_outside_its_season_is_asked_about(write):
    rows = "2026,2024-06-20,North,1,1,20,30\n2026,2025-11-20,North,1,2,20,30\n"
    found = warned(write(counts=COUNT_HEAD + rows))
    assert [(row, column) for _, row, column, _ in found] == [(2, "date")]


@pytest.mark.parametrize("vines", ["0", "-5", ""])
def test_a_block_without_vines_is_refused(write, faults, vines):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2.0,1.2," + vines
    found = faults(write(blocks=blocks + "\n"))
    assert any(fault.column == "vines" for fault in found)


def test_a_block_of_one_vine_is_read(write):
    blocks = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,2.0,1.2,1\n"
    assert read_records(write(blocks=blocks)).blocks["vines"].tolist() == [1]
