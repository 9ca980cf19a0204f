"""Sentences on pruning levels say what was computed."""

import numpy as np
import pytest

from cropload import compare_plans, example_records
from cropload.beliefs.plan_draws import plan_draws
from cropload.pruning import words as level_words
from cropload.pruning.compare import estate_for
from cropload.units import METRIC, US
from cropload.vine.plan import PruningPlan


def test_sentence_tells_what_compare_plans_found():
    plan = PruningPlan.parse("3x8+3x2")
    found = compare_plans(example_records(), "Long Acre", [plan])
    row = found.frame.iloc[0]
    text = level_words.level_sentence(row, plan, found)
    assert "3x8+3x2 leaves 30 buds on a vine (3 canes of 8 buds and 3 spurs of 2)" in text
    assert f"about {row['t_ha_p50']:.1f} t/ha" in text
    assert f"in 8 years of 10 between {row['t_ha_p10']:.1f} and {row['t_ha_p90']:.1f} t/ha" in text
    assert f"Shoot density {row['shoots_per_m_p50']:.1f} per m: above in 2027" in text
    assert "held against 12 to 15 per m (undivided canopy)" in text
    assert f"Yield to pruning weight {row['ravaz_p50']:.1f}: inside in 2027" in text
    assert f"{row['ravaz_settled_p50']:.1f}: inside once settled" in text


def test_settled_crop_is_told_apart_from_the_first_season():
    plan = PruningPlan.parse("3x14+3x2")
    row = compare_plans(example_records(), "Long Acre", [plan]).frame.iloc[0]
    assert row["t_ha_settled_p50"] < row["t_ha_p50"]
    later = f"From the third season on less, about {row['t_ha_settled_p50']:.1f} t/ha"
    assert later in level_words.crop_sentence(row)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("3x8+3x2", "a renewal spur carries both shoots"),
        ("24x2", "a spur carries two shoots or more"),
        ("3x8", "no renewal spurs are left"),
    ],
)
def test_wood_sentence_fits_the_kind_of_plan(text, words):
    plan = PruningPlan.parse(text)
    row = compare_plans(example_records(), "Long Acre", [plan]).frame.iloc[0]
    sentence = level_words.wood_sentence(row, plan)
    assert words in sentence
    assert "nan" not in sentence
    assert "not known" not in sentence


def test_wood_is_told_with_the_base_of_the_old_cane_and_with_the_spur_alone():
    plan = PruningPlan.parse("3x8+3x2")
    row = compare_plans(example_records(), "Long Acre", [plan]).frame.iloc[0]
    sentence = level_words.wood_sentence(row, plan)
    used = f"{row['places_lost_base_used_block']:,.0f} in the block) would be lost"
    assert used in sentence
    assert f"spur is used, {row['places_lost_per_vine']:.2f}" in sentence
    assert f"{row['places_short_5_winters']:.2f} of a vine's places would be short" in sentence
    assert f"spur is used, {row['places_short_spur_only_5_winters']:.2f}" in sentence
    few = dict(row) | {"places_lost_base_used_per_vine": 0.001}
    assert "under 0.01 (" in level_words.wood_sentence(few, plan)


def test_wood_without_renewal_spurs_is_told_with_its_assumptions():
    plan = PruningPlan.parse("3x8")
    row = compare_plans(example_records(), "Long Acre", [plan]).frame.iloc[0]
    assert "assumptions of ours" in level_words.wood_sentence(row, plan)
    spurred = PruningPlan.parse("3x8+3x2")
    row = compare_plans(example_records(), "Long Acre", [spurred]).frame.iloc[0]
    assert "assumptions" not in level_words.wood_sentence(row, spurred)


def test_difference_is_taken_draw_by_draw():
    plans = [PruningPlan.parse(text) for text in ("3x8+3x2", "3x6+3x2", "3x11+3x2")]
    records = example_records()
    found = compare_plans(records, "Long Acre", plans)
    estate = estate_for(records, "Long Acre", 2027)
    drawn = plan_draws(estate, [estate.facts.place("Long Acre")], plans, draws=4000, seed=0)
    # numpy's own quantiles of the differences, against the package's.
    for settled, ending in ((False, ""), (True, "_settled")):
        tonnes = drawn.tonnes(settled)[:, 0]
        for at in (1, 2):
            change = tonnes[at] - tonnes[0]
            for level, end in ((0.1, "p10"), (0.5, "p50"), (0.9, "p90")):
                shown = found[f"tonnes{ending}_change_{end}"].iloc[at]
                assert shown == pytest.approx(np.quantile(change, level), rel=1e-3)
            assert found[f"chance_more{ending}"].iloc[at] == np.mean(change > 0)
    assert found["tonnes_change_p50"].iloc[0] == 0
    assert np.isnan(found["chance_more"].iloc[0])


def test_difference_is_surer_than_the_crops_themselves():
    row = compare_plans(example_records(), "Long Acre", "3x8+3x2,3x6+3x2").frame.iloc[1]
    apart = row["tonnes_p90"] - row["tonnes_p10"]
    assert 0 < row["tonnes_change_p90"] - row["tonnes_change_p10"] < apart / 2


@pytest.mark.parametrize(
    ("units", "label", "factor"), [(METRIC, "t", 1), (US, "short tons", 1.10231)]
)
def test_difference_is_said_with_its_range_and_its_chance(units, label, factor):
    # 1 t = 1.10231 short tons of 2000 lb.
    row = compare_plans(example_records(), "Long Acre", "3x8+3x2,3x6+3x2").frame.iloc[1]
    text = level_words.difference_sentence(row, "level 1 (3x8+3x2)", units)
    assert text.startswith("Against level 1 (3x8+3x2): ")
    assert f"{-factor * row['tonnes_change_p50']:.1f} {label} less in the block" in text
    assert f"({factor * row['tonnes_change_p10']:+.1f} to " in text
    assert "a chance of under 1 % that it bears more" in text


def test_the_same_plan_again_is_no_difference():
    row = compare_plans(example_records(), "Long Acre", "3x8+3x2,3x6+3x2").frame.iloc[0]
    assert "no difference" in level_words.difference_sentence(row, "level 1")
