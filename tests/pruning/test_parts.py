"""A block in parts: its crop is the sum of its parts, on the draws they share."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from cropload import compare_blocks, compare_plans, example_records
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.ranges import quantiles
from cropload.vine.plan import PruningPlan

DRAWS = 400


def parted(*rows):
    """Return the sample records with Long Acre (6000 vines) in parts: name, vines, plan."""
    parts = pd.DataFrame(rows, columns=["part", "vines", "plan"]).assign(block="Long Acre")
    return replace(example_records(), parts=parts.assign(pruning_weight_kg=float("nan")))


def row_of(records):
    (row,) = compare_blocks(records, blocks=["Long Acre"], draws=DRAWS).frame.to_dict("records")
    return row


def test_the_tonnes_of_a_block_are_those_of_its_parts_added_draw_by_draw():
    records = parted(("strong", 2000.0, "3x10+3x2"), ("weak", 4000.0, "2x8+2x2"))
    found = compare_blocks(records, blocks=["Long Acre"], draws=DRAWS)
    estate = estate_before_season(records, found.season, {})
    at = estate.facts.place("Long Acre")
    plans = [PruningPlan.parse(text) for text in ("3x10+3x2", "2x8+2x2")]
    drawn = plan_draws(estate, [at], plans, draws=DRAWS, seed=0)
    for ending, settled in (("", False), ("_settled", True)):
        strong, weak = drawn.tonnes(settled)[:, 0]
        # Straight from the draws of each plan: a third of the vines carry the one, the rest the
        # other. A range is taken on the logs, so both sides agree to a hair at so few draws.
        told = [found.frame[f"tonnes{ending}_{end}"].iloc[0] for end in ("p10", "p50", "p90")]
        assert told == pytest.approx(list(quantiles(strong / 3 + 2 * weak / 3)), rel=2e-3)


def test_parts_with_the_plan_of_the_block_change_nothing():
    whole = row_of(example_records())
    found = row_of(parted(("strong", 2000.0, ""), ("weak", 4000.0, "")))
    for name, value in whole.items():
        if isinstance(value, float | int | np.number):
            assert found[name] == pytest.approx(value), name


def test_a_divided_block_names_its_parts_and_lies_between_their_plans():
    plans = "2x8+2x2,3x10+3x2"
    light, heavy = compare_plans(example_records(), "Long Acre", plans, draws=DRAWS)["t_ha_p50"]
    row = row_of(parted(("strong", 3000.0, "3x10+3x2"), ("weak", 3000.0, "2x8+2x2")))
    assert light < row["t_ha_p50"] < heavy
    assert row["plan"] == "strong 3x10+3x2; weak 2x8+2x2"
    # (36 + 20) / 2
    assert row["buds_per_vine"] == 28


def test_plans_asked_for_are_those_of_the_whole_block():
    records = parted(("strong", 2000.0, "3x10+3x2"), ("weak", 4000.0, "2x8+2x2"))
    asked = [
        compare_blocks(each, "3x8+3x2", blocks=["Long Acre"], draws=DRAWS).frame
        for each in (records, example_records())
    ]
    pd.testing.assert_frame_equal(*asked)
