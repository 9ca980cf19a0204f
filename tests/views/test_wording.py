"""Words and numbers that a grower reads."""

import pytest

from cropload import compare_plans, example_records
from cropload.decisions.bands import Band
from cropload.units import METRIC, US
from cropload.views import wording
from cropload.vine.plan import PruningPlan

SINGLE = Band(4, 10, "single canopy")
UNDIVIDED = Band(12, 15, "undivided canopy")


def test_band_in_feet_is_the_metric_band_times_0_3048():
    # 1 ft = 0.3048 m exactly: 12 and 15 per m are 3.6576 and 4.572 per ft.
    assert wording.band_text(UNDIVIDED, METRIC, "per_m") == "12 to 15 per m (undivided canopy)"
    assert wording.band_text(UNDIVIDED, US, "per_m") == "3.66 to 4.57 per ft (undivided canopy)"


def test_t_ha_is_shown_in_short_tons_per_acre():
    # 1 short ton/ac = 2.24170 t/ha, from 2000 lb of 0.45359237 kg and an acre of 0.40468564224 ha.
    assert wording.amount("t_ha", 2.24170 * 5, US) == "5.0 ton/ac"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None])
def test_missing_number_is_said_in_words(value):
    assert wording.figure(value) == "not known"


def test_no_minus_before_nought():
    assert wording.figure(-0.001, 1) == "0.0"


def test_sentence_tells_what_compare_plans_found():
    plan = PruningPlan.parse("3x8+3x2")
    row = compare_plans(example_records(), "Long Acre", [plan]).iloc[0]
    text = wording.level_sentence(row, plan, UNDIVIDED, SINGLE)
    assert "3x8+3x2 leaves 30 buds on a vine (3 canes of 8 buds and 3 spurs of 2)" in text
    assert f"about {row['t_ha_p50']:.1f} t/ha" in text
    assert f"in 8 years of 10 between {row['t_ha_p10']:.1f} and {row['t_ha_p90']:.1f} t/ha" in text
    assert f"Shoot density {row['shoots_per_m_p50']:.1f} per m" in text
    assert f"{row['density_word']} the band 12 to 15" in text
    assert f"yield to pruning weight {row['ravaz_p50']:.1f}" in text


def test_settled_crop_is_told_apart_from_the_first_season():
    plan = PruningPlan.parse("3x14+3x2")
    row = compare_plans(example_records(), "Long Acre", [plan]).iloc[0]
    assert row["t_ha_settled_p50"] < row["t_ha_p50"]
    later = f"From the third season on less, about {row['t_ha_settled_p50']:.1f} t/ha"
    assert later in wording.crop_sentence(row)


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
    row = compare_plans(example_records(), "Long Acre", [plan]).iloc[0]
    sentence = wording.wood_sentence(row, plan)
    assert words in sentence
    assert "nan" not in sentence
    assert "not known" not in sentence


def test_cautions_name_eyes_hands_footing_and_wounds():
    assert [word for word, _ in wording.CAUTIONS] == ["Eyes", "Hands", "Footing", "Wounds"]
    assert "local codes" in wording.SUPPORT
