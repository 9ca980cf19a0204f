"""Values that no vine, cluster or berry can have are refused, with the slip that makes them."""

import pytest

from cropload.records.records import read_records

WEIGHTS = "season,date,block,stage,clusters,weight_g,berries\n2026,2026-08-08,North,lag,"
PRUNING = "season,block,plan,pruning_weight_kg\n2026,North,2x10+2x2,"
BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,"


@pytest.mark.parametrize("lot", ["42,2.045,", "42,2.045,3000", "20,0.86,", "30,900000,"])
def test_a_lot_in_kg_or_with_a_dot_between_thousands_is_refused_once(write, faults, lot):
    (fault,) = faults(write(weights=WEIGHTS + lot + "\n"))
    assert (fault.file, fault.row, fault.column) == ("weights.csv", 2, "weight_g")
    assert "the weight of a cluster comes to" in fault.rule
    assert "in grams, not in kg" in fault.mend
    assert "no dot between thousands" in fault.mend


def test_a_berry_lighter_than_any_is_refused(write, faults):
    (fault,) = faults(write(weights=WEIGHTS + "42,2045,99000\n"))
    assert "the weight of a berry comes to less than 0.05 g" in fault.rule
    assert "Check the berries" in fault.mend


def test_a_small_lot_is_read_and_only_asked_about(write):
    records = read_records(write(weights=WEIGHTS + "20,60,\n"))
    assert [doubt.column for doubt in records.warnings] == ["weight_g"]


@pytest.mark.parametrize("weight", ["289", "640.5"])
def test_prunings_in_grams_are_refused(write, faults, weight):
    (fault,) = faults(write(pruning=PRUNING + weight + "\n"))
    assert "the prunings of one vine come to more than 20 kg" in fault.rule
    assert "0.289, not 289 g" in fault.mend


def test_prunings_in_grams_are_refused_in_counts_too(write, faults):
    text = "season,date,block,row,vine,pruning_weight_kg\n2026,2026-02-01,North,1,1,289\n"
    (fault,) = faults(write(counts=text))
    assert (fault.file, fault.column) == ("counts.csv", "pruning_weight_kg")


def test_pounds_are_told_of_in_pounds(write, faults):
    text = WEIGHTS.replace("weight_g", "weight_lb") + "42,0.05,\n"
    (fault,) = faults(write(weights=text))
    assert "in pounds, as the header says" in fault.mend


def test_spacing_in_centimetres_is_refused(write, faults):
    (fault,) = faults(write(blocks=BLOCKS + "200,1.2,1000\n"))
    assert "metres, not cm" in fault.mend
