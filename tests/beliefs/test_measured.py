"""From rows that people wrote to one log value a block, season and stage."""

import numpy as np
import pytest
from helpers import block_row, make_records, records_from_csv, steady_counts

from cropload import handbook
from cropload.beliefs.measured import measurements, plans_by_season
from cropload.errors import CroploadError
from cropload.records.facts import block_facts
from cropload.vine.growth import STAGES
from cropload.vine.plan import PruningPlan


def measured(**tables):
    tables.setdefault("blocks", [block_row()])
    records = make_records(**tables)
    return measurements(records, block_facts(records)).set_index(["block", "season", "stage"])


def test_a_block_that_is_not_on_record_is_named():
    with pytest.raises(CroploadError, match="block 'Nowhere', which table blocks does not have"):
        measured(counts=steady_counts(2024, "Nowhere", clusters=30))


def test_facts_of_a_block():
    records = make_records(
        blocks=[block_row(missing_pct=4, canopies=2), block_row("South", area_ha=0.5)]
    )
    facts = block_facts(records)
    assert list(facts.bearing) == [960, 1000]
    assert list(facts.canopy_length_m) == [3.0, 1.5]
    # 1,000 vines x 2.5 m x 1.5 m = 0.375 ha unless an area is given.
    assert list(facts.area_ha) == pytest.approx([0.375, 0.5])
    assert facts.place("South") == 1


def test_counts_become_their_means():
    found = measured(counts=steady_counts(2024, "North", buds=30, shoots=27, clusters=44))
    value = found["value"].to_dict()
    assert value["North", 2024, "buds"] == pytest.approx(30, rel=0.01)
    assert value["North", 2024, "shoots"] == pytest.approx(27, rel=0.01)
    assert value["North", 2024, "clusters"] == pytest.approx(44, rel=0.01)
    assert (found["n"] == 40).all()


def test_a_blank_count_is_a_vine_not_counted():
    rows = steady_counts(2024, "North", clusters=44)
    for row in rows[:20]:
        row["clusters"] = None
    found = measured(counts=rows).loc[("North", 2024, "clusters")]
    assert found["n"] == 20
    assert found["value"] == pytest.approx(44, rel=0.02)


def test_more_vines_leave_less_error():
    few = measured(counts=steady_counts(2024, "North", vines=10, clusters=44))
    many = measured(counts=steady_counts(2024, "North", vines=160, clusters=44))
    assert few["log_variance"].iloc[0] > 10 * many["log_variance"].iloc[0]


def test_harvest_is_kg_per_bearing_vine():
    found = measured(
        blocks=[block_row(missing_pct=20)],
        harvest=[{"season": 2024, "block": "North", "tonnes": 3.2, "date": "2024-09-20"}],
    )
    assert found["value"].to_list() == pytest.approx([3200 / 800])
    assert found["log_variance"].to_list() == [handbook.value("forecast.scale_error") ** 2]


@pytest.mark.parametrize(
    ("shares", "whole"),
    [
        ((None, None), 6.0),
        ((40, 100), 6.0),
        ((40, None), 6.0),
        ((None, 100), 6.0),
        ((25, 50), 12.0),
    ],
)
def test_several_picks_are_added_up_and_a_blank_share_is_the_whole(shares, whole):
    rows = [
        {"season": 2024, "block": "North", "tonnes": t, "picked_pct": pct, "date": f"2024-09-{d}"}
        for t, pct, d in zip((2.0, 4.0), shares, (10, 20), strict=True)
    ]
    assert measured(harvest=rows)["value"].to_list() == pytest.approx([whole])


def test_a_part_that_is_picked_says_less_of_the_whole():
    def variance(share):
        row = {"season": 2024, "block": "North", "tonnes": 2.0, "picked_pct": share}
        return measured(harvest=[row])["log_variance"].iloc[0]

    assert variance(10) > variance(60) > variance(100)


def test_a_lost_crop_is_an_event_not_an_ordinary_season():
    """Hail: nothing on the vines and nothing over the scale."""
    found = measured(
        harvest=[{"season": 2024, "block": "North", "tonnes": 0.0}],
        counts=steady_counts(2024, "North", shoots=27, clusters=0),
    )
    assert [stage for _, _, stage in found.index] == ["shoots"]


def test_lots_are_pooled_by_their_clusters():
    rows = [
        {"season": 2024, "block": "North", "stage": stage, "clusters": n, "weight_g": w}
        | {"date": "2024-08-01"}
        for stage, n, w in (("lag", 20, 1200), ("lag", 60, 3000), ("harvest", 50, 6000))
    ]
    found = measured(weights=rows)["value"].to_dict()
    assert found["North", 2024, "weight_lag"] == pytest.approx(4200 / 80)
    assert found["North", 2024, "weight_harvest"] == pytest.approx(120)


def test_prunings_belong_to_the_season_in_which_the_wood_grew():
    found = measured(
        pruning=[{"season": 2025, "block": "North", "pruning_weight_kg": 0.6, "vines_weighed": 20}]
    )
    assert found["value"].to_dict() == pytest.approx({("North", 2024, "pruning_weight"): 0.4})


def test_prunings_of_single_vines_stand_in_where_no_mean_was_written():
    rows = steady_counts(2025, "North", pruning_weight_kg=0.6)
    assert measured(counts=rows)["value"].to_dict() == pytest.approx(
        {("North", 2024, "pruning_weight"): 0.4}
    )
    both = measured(
        counts=rows, pruning=[{"season": 2025, "block": "North", "pruning_weight_kg": 0.9}]
    )
    assert both["value"].to_list() == pytest.approx([0.6])


def test_rows_come_in_the_order_of_the_season():
    found = measured(
        counts=steady_counts(2024, "North", buds=30, shoots=27, clusters=44),
        harvest=[{"season": 2024, "block": "North", "tonnes": 5}],
    )
    stages = [stage for _, _, stage in found.index]
    assert stages == sorted(stages, key=STAGES.index)
    np.testing.assert_allclose(found["log_value"], np.log(found["value"]))


def test_nothing_measured_is_an_empty_table():
    assert measured().empty


def test_csv_text_gives_the_same_as_memory(tmp_path):
    """The way of a user: US units in the file."""
    records = records_from_csv(
        tmp_path,
        blocks="block,variety,row_spacing_ft,vine_spacing_ft,vines\nNorth,Anyvine,8,4,1000\n",
        harvest="season,block,date,tons\n2024,North,2024-09-20,5\n",
        pruning="season,block,plan\n2024,North,3x8+3x2\n",
    )
    found = measurements(records, block_facts(records))
    assert found["value"].to_list() == pytest.approx([5 * 907.18474 / 1000])
    assert plans_by_season(records) == {("North", 2024): PruningPlan(3, 8, 3, 2)}
