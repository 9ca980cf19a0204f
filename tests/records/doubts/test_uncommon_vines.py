"""Sound records of vineyards unlike most: no doubt about them, and still one about a slip."""

import pytest

from cropload.records.doubts.rules import plain
from cropload.records.records import read_records

PLANS = "season,block,plan\n"


def blocks(vine_spacing, variety="Riesling"):
    head = "block,variety,row_spacing_m,vine_spacing_m,vines\n"
    return f"{head}North,{variety},2.5,{vine_spacing},1000\n"


def rules(folder):
    return [doubt.rule for doubt in read_records(folder).warnings]


@pytest.mark.parametrize(
    ("spacing", "plan"), [(1.5, "4x1"), (1.2, "1x2"), (2.0, "1x2"), (1.5, "5x1"), (1.0, "12x10")]
)
def test_bush_vines_young_vines_and_minimal_pruning_are_not_asked_about(write, spacing, plan):
    """Bush vines on few spurs, two buds in the first year, 100 buds and more: common practice."""
    assert rules(write(blocks=blocks(spacing), pruning=f"{PLANS}2026,North,{plan}\n")) == []


def test_a_minimally_pruned_block_is_not_asked_about_in_any_season(write):
    plans = PLANS + "".join(f"{year},North,18x10\n" for year in range(2022, 2027))
    counts = "season,date,block,row,vine,buds,shoots,clusters\n" + "".join(
        f"2026,2026-06-0{day},North,1,{day},180,150,290\n" for day in range(1, 8)
    )
    assert rules(write(blocks=blocks(1.0), pruning=plans, counts=counts)) == []


def test_a_plan_far_above_the_blocks_others_is_asked_about_with_both_causes(write):
    plans = PLANS + "2024,North,3x12\n2025,North,3x12\n2026,North,3x45\n"
    (doubt,) = read_records(write(blocks=blocks(1.0), pruning=plans)).warnings
    assert (doubt.row, doubt.column) == (4, "plan")
    assert "pruned to a hedge" in doubt.mend


def test_a_vine_far_above_the_others_of_its_block_is_asked_about(write):
    counts = "season,date,block,row,vine,shoots\n" + "".join(
        f"2026,2026-06-0{day},North,1,{day},{120 if day == 7 else 14}\n" for day in range(1, 8)
    )
    found = read_records(write(blocks=blocks(1.0), counts=counts)).warnings
    assert {(doubt.row, doubt.column) for doubt in found} == {(8, "shoots")}


def test_a_crop_of_table_grapes_is_not_asked_about(write):
    """Irrigated table grapes of 55 t/ha: common practice, no source."""
    harvest = "season,block,tonnes\n2025,North,13.75\n"
    assert rules(write(blocks=blocks(1.0, "Sultana"), harvest=harvest)) == []


ICE = "season,block,date,tonnes\n2024,North,2024-10-08,2.2\n2025,North,2026-01-08,0.6\n"


def test_ice_wine_of_january_belongs_to_the_season_before(write):
    """Frozen grapes are picked from November to January or later: common practice, no source."""
    weights = "season,date,block,stage,clusters,weight_g\n2025,2026-01-08,North,harvest,20,1400\n"
    told = rules(write(blocks=blocks(1.0), harvest=ICE, weights=weights))
    assert not [rule for rule in told if "outside the season" in rule]


@pytest.mark.parametrize(
    "rows",
    [
        "2025,North,2026-02-20,2.2\n2024,North,2024-03-10,2.3\n",
        "2024,North,2024-10-08,2.2\n2025,North,2026-04-08,2.1\n",
        "2025,North,2026-01-08,2.1\n",
    ],
)
def test_a_harvest_of_the_next_year_is_asked_about_otherwise(write, rows):
    told = rules(write(blocks=blocks(1.0), harvest="season,block,date,tonnes\n" + rows))
    assert [rule for rule in told if "outside the season" in rule]


def test_numbers_are_told_without_powers_of_ten():
    assert plain(10_000) == "10,000"
    assert plain(2.5) == "2.5"
    assert plain(1e15) == "1e+15"
