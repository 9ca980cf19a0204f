"""Comparing plans: common draws, the user's words, and records of every poverty."""

import datetime

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records, steady_counts

from cropload import handbook
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import next_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.errors import CroploadError
from cropload.pruning.compare import compare_plans
from cropload.pruning.compare_blocks import compare_blocks
from cropload.pruning.plan_rows import RANGED
from cropload.records.example import example_records
from cropload.vine.plan import parse_plans

PLANS = "2x8+2x2,2x10+2x2,3x8+3x2"


@pytest.fixture(scope="module")
def table():
    return compare_plans(example_records(), "Long Acre", PLANS)


def history(**more):
    tables = {
        "blocks": [block_row(), block_row("Bare", variety="Othervine")],
        "pruning": [
            {"season": s, "block": "North", "plan": "2x10+2x2"} for s in (2023, 2024, 2025)
        ],
        "harvest": [{"season": s, "block": "North", "tonnes": 3.0} for s in (2023, 2024, 2025)],
    }
    return make_records(**(tables | more))


@pytest.mark.parametrize(
    ("variety", "told"), [("Viognier", True), ("Dornfelder", True), ("Merlot", False)]
)
def test_spurs_alone_are_asked_about_where_the_lowest_buds_bear_little(variety, told):
    records = make_records(blocks=[block_row(variety=variety)])
    found = compare_plans(records, "North", "8x2,2x8+2x2", draws=100, reference_plan="2x8+2x2")
    notes = [note for note in found.notes if "bears little on its lowest buds" in note]
    assert [note.startswith("8x2: ") for note in notes] == [True] * told


# The table


def test_one_row_a_plan_with_its_load(table):
    assert list(table["plan"]) == PLANS.split(",")
    assert list(table["buds_per_vine"]) == [20, 24, 30]
    np.testing.assert_allclose(
        table["buds_per_m"], table["buds_per_vine"] / table["canopy_length_m"]
    )


def test_every_range_is_in_order_and_finite(table):
    for name in RANGED:
        low, middle, high = (table[f"{name}_{end}"] for end in ("p10", "p50", "p90"))
        assert np.isfinite(high).all()
        assert ((low > 0) & (low < middle) & (middle < high)).all(), name


def test_units_agree_with_each_other(table):
    blocks = example_records().blocks.set_index("block").loc["Long Acre"]
    bearing = blocks["vines"] * (1 - blocks["missing_pct"] / 100)
    np.testing.assert_allclose(table["tonnes_p50"], table["kg_per_vine_p50"] * bearing / 1000)
    np.testing.assert_allclose(table["t_ha_p90"], table["tonnes_p90"] / blocks["area_ha"])


def test_a_first_year_gain_is_not_shown_as_lasting(table):
    more = table[table["buds_per_vine"] > table.usual_buds]
    gain = table["t_ha_p50"].iloc[-1] / table["t_ha_p50"].iloc[0]
    lasting = table["t_ha_settled_p50"].iloc[-1] / table["t_ha_settled_p50"].iloc[0]
    assert 1 < lasting < gain
    assert len(more) < len(table)


def test_the_further_from_what_was_carried_the_wider_the_range():
    found = compare_plans(example_records(), "Home Terrace", "1x12+1x2,2x12+2x2,3x12+3x2")
    width = np.log(found["t_ha_settled_p90"] / found["t_ha_settled_p10"])
    assert width.is_monotonic_increasing


def test_attrs_say_where_it_came_from(table):
    assert table.block == "Long Acre"
    assert table.season == 2027
    assert table.interval == "80 % range, equal tails"
    assert (table.draws, table.seed) == (4000, 0)
    names = [part["component"] for part in table.components]
    assert "shoots_per_bud" in names
    assert all(part["came_from"] and part["detail"] for part in table.components)


def test_the_base_of_the_old_cane_saves_places(table):
    assert (table["places_lost_base_used_block"] < table["places_lost_block"]).all()
    assert (table["places_short_5_winters"] < table["places_short_spur_only_5_winters"]).all()
    assert (table["places_lost_5_winters"] <= table["places_short_5_winters"]).all()


def test_wood_chances_add_up_to_one(table):
    np.testing.assert_allclose(table["wood_both"] + table["wood_one"] + table["wood_none"], 1)


# Draws


def test_plans_share_their_draws():
    """The same plan beside others, or alone, gives the same figures to the last digit."""
    alone = compare_plans(example_records(), "Long Acre", "3x8+3x2")
    beside = compare_plans(example_records(), "Long Acre", PLANS)
    for name in RANGED:
        assert alone[f"{name}_p50"].iloc[0] == beside[f"{name}_p50"].iloc[-1]


def test_the_difference_between_two_plans_is_not_noise():
    """Neighbouring plans: far surer of which gives more than their ranges alone would say."""
    estate = estate_before_season(example_records(), 2027)
    at = estate.facts.place("Long Acre")
    drawn = plan_draws(estate, [at], parse_plans("3x8+3x2,3x9+3x2"), draws=2000, seed=0)
    one, two = drawn.first.log_kg_picked[:, 0]
    assert np.std(two - one) < 0.2 * np.std(one)
    assert np.mean(two > one) > 0.99


def test_a_seed_repeats_and_another_seed_does_not():
    records = example_records()
    one, same, other = (
        compare_plans(records, "Long Acre", PLANS, seed=seed, draws=500) for seed in (1, 1, 2)
    )
    pd.testing.assert_frame_equal(one.frame, same.frame)
    assert (one["t_ha_p50"] != other["t_ha_p50"]).all()
    np.testing.assert_allclose(one["t_ha_p50"], other["t_ha_p50"], rtol=0.08)


def test_a_blocks_figures_do_not_depend_on_its_company():
    whole = compare_blocks(example_records(), PLANS, draws=500)
    some = compare_blocks(example_records(), PLANS, draws=500, blocks=["Long Acre", "Fox Hollow"])
    alone = compare_plans(example_records(), "Long Acre", PLANS, draws=500)
    for found in (whole, some):
        here = found[found["block"] == "Long Acre"]
        for name in RANGED:
            np.testing.assert_allclose(here[f"{name}_p90"], alone[f"{name}_p90"], rtol=1e-9)
        assert list(here["density_word"]) == list(alone["density_word"])
        assert list(here["balance_word"]) == list(alone["balance_word"])


def test_all_blocks_of_the_estate_have_a_row_for_each_plan():
    found = compare_blocks(example_records(), PLANS, draws=200)
    assert len(found) == 3 * len(example_records().blocks)


def test_blocks_with_crops_but_no_load_are_compared_and_named():
    bare = history(pruning=[])
    found = compare_blocks(bare, "2x8", 2026)
    assert "no plan is on record for North, Bare." in found.notes[0]
    alone = compare_plans(bare, "North", "2x8", 2026)
    here = found[found["block"] == "North"]
    assert float(here["t_ha_p90"].iloc[0]) == pytest.approx(float(alone["t_ha_p90"].iloc[0]))
    mended = compare_blocks(bare, "2x8", 2026, reference_plans={"North": "2x10+2x2"})
    assert "no plan is on record for Bare." in mended.notes[0]
    assert set(mended["block"]) == {"North", "Bare"}


# Words


def test_words_follow_the_band_that_is_named():
    low, high = (
        compare_plans(example_records(), "Long Acre", PLANS, density_band=band, ravaz_band=band)
        for band in ((900, 1000), (0.01, 0.02))
    )
    assert set(low["density_word"]) == set(low["balance_word"]) == {"below"}
    assert set(high["density_word"]) == set(high["balance_word"]) == {"above"}
    assert low["density_band"].iloc[0] == "900 to 1000 (your own band)"
    wide = compare_plans(example_records(), "Long Acre", PLANS, ravaz_band=(0.01, 900))
    assert set(wide["balance_word"]) == {"inside"}


# Bad questions


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"block": "Long Acer"}, "Long Acre"),
        ({"block": "<b>Nowhere</b>"}, "no block '<b>Nowhere</b>'"),
        ({"block": None}, "no block"),
        ({"plans": "3x"}, "'3x' cannot be read"),
        ({"plans": ""}, "cannot be read"),
        ({"season": "soon"}, "year of a harvest"),
        ({"season": 20260}, "year of a harvest"),
        ({"draws": 10}, "draws must be"),
        ({"draws": 1e5}, "draws must be"),
        ({"seed": -1}, "seed must be"),
        ({"density_band": (15, 12)}, "below the high end"),
        ({"ravaz_band": "band.nowhere"}, "band.nowhere"),
        ({"reference_plan": "0x0"}, "no bud"),
    ],
)
def test_a_question_that_cannot_be_gets_one_clear_answer(changes, words):
    asked = {"block": "Long Acre", "plans": PLANS} | changes
    with pytest.raises(CroploadError) as caught:
        compare_plans(example_records(), **asked)
    assert words in str(caught.value)


def test_a_name_in_another_case_is_found():
    assert compare_plans(example_records(), "long acre ", "2x8").block == "Long Acre"


# Poor records


def test_a_block_without_history_leans_on_its_sisters_and_the_handbook():
    found = compare_plans(example_records(), "Fox Hollow", "1x10+1x2,2x8+2x2")
    came = {part["component"]: part["came_from"] for part in found.components}
    assert came["shoots_per_bud"] == "the same variety on this estate"
    assert any("usual load" in note for note in found.notes)
    counted = compare_plans(example_records(), "Quarry Bank", "1x10+1x2,2x8+2x2")
    width, narrower = (np.log(f["t_ha_p90"] / f["t_ha_p10"]).iloc[0] for f in (found, counted))
    assert width > narrower


def test_tonnes_alone_narrow_the_ranges_but_less_than_with_the_plan_they_grew_on():
    records = history(pruning=[])

    def width(records, **more):
        found = compare_plans(records, "North", "2x10+2x2", 2026, **more)
        return float(np.log(found["t_ha_p90"] / found["t_ha_p10"]).iloc[0]), found

    nothing, _ = width(history(pruning=[], harvest=[]))
    alone, found = width(records)
    known, _ = width(records, reference_plan="2x10+2x2")
    assert known < alone < nothing
    assert found.notes[0].startswith("Load unknown: no plan is on record for North.")
    # 8 t/ha on record lies inside, although the usual load is a guess.
    assert found["t_ha_p10"].iloc[0] < 8 < found["t_ha_p90"].iloc[0]


def test_more_seasons_do_not_make_an_unknown_load_surer():
    """The usual load of 10.7 to 18.3 buds a metre is 80 % of blocks: 0.54 wide, for ever."""
    usual = handbook.entry("load.reference_buds_per_m")
    harvest = [{"season": s, "block": "North", "tonnes": 3.0} for s in range(2014, 2026)]
    found = compare_plans(history(pruning=[], harvest=harvest), "North", "2x10+2x2", 2026)
    assert np.log(found["t_ha_p90"] / found["t_ha_p10"]).iloc[0] > np.log(usual.high / usual.low)


def test_tonnes_alone_work_with_a_reference_plan():
    records = history(pruning=[])
    found = compare_plans(records, "North", "2x10+2x2,2x8+2x2", 2026, reference_plan="2x10+2x2")
    # 3 t a year from 0.375 ha is 8 t/ha.
    assert found["t_ha_p50"].iloc[0] == pytest.approx(8, rel=0.12)
    assert found["t_ha_p10"].iloc[0] < 8 < found["t_ha_p90"].iloc[0]
    assert found["t_ha_p50"].iloc[1] < found["t_ha_p50"].iloc[0]


def test_general_values_for_a_variety_the_handbook_does_not_know_are_named():
    def told(variety, **more):
        made = make_records(blocks=[block_row(variety=variety)], **more)
        notes = compare_plans(made, "North", "2x8", 2026, draws=200).notes
        return [note for note in notes if "general values" in note]

    assert not told("Riesling")
    (note,) = told("No such grape")
    assert note.startswith("The handbook has no entry for No such grape: general values")
    assert "cluster weight at harvest" in note
    weighed = [
        {"season": 2025, "date": "2025-09-20", "block": "North", "stage": "harvest"}
        | {"clusters": 50, "weight_g": 6000}
    ]
    (note,) = told("No such grape", weights=weighed)
    assert "cluster weight at harvest," not in note
    assert "clusters per shoot" in note


def test_plans_and_tonnes_are_enough():
    found = compare_plans(history(), "North", "2x10+2x2", 2026)
    assert found["t_ha_p50"].iloc[0] == pytest.approx(8, rel=0.12)


def test_a_vineyard_of_one_row_in_blocks_has_an_answer():
    records = make_records(blocks=[block_row()])
    found = compare_plans(records, "North", "2x8+2x2", 2026)
    assert 1 < found["t_ha_p10"].iloc[0] < found["t_ha_p90"].iloc[0] < 60


def test_hail_does_not_break_the_comparison():
    rows = history().harvest.to_dict("records")
    rows.append({"season": 2022, "block": "North", "tonnes": 0.0})
    hail = history(harvest=rows, counts=steady_counts(2022, "North", clusters=0))
    found = compare_plans(hail, "North", "2x10+2x2", 2026)
    assert found["t_ha_p50"].iloc[0] == pytest.approx(8, rel=0.12)


def test_plans_far_from_what_was_carried_are_marked():
    found = compare_plans(example_records(), "Home Terrace", "1x12+1x2,4x14+4x2")
    assert any("4x14+4x2" in note and "3 times" in note for note in found.notes)


def test_the_season_to_plan_for():
    assert next_season(example_records()) == 2027
    assert next_season(history(), datetime.date(2026, 2, 1)) == 2026
    past = compare_plans(example_records(), "Long Acre", "2x8", 2024)
    assert past.season == 2024
