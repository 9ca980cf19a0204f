"""A crop that is no number never reaches a table without a word."""

from dataclasses import replace

import numpy as np
import pytest

from cropload import compare_plans, example_records, find_plans, forecast
from cropload.beliefs.guard import guard_crops
from cropload.errors import CroploadError


@pytest.mark.parametrize("value", [np.inf, np.nan, -1.0])
def test_a_crop_that_is_no_crop_stops_with_the_block_named(value):
    with pytest.raises(CroploadError, match=r"crop of Low .* check its spacing"):
        guard_crops(["High", "Low"], [8.0, value])


def test_a_sound_crop_gets_no_word_and_an_absurd_one_does():
    assert guard_crops(["High"], [12.0]) == []
    (note,) = guard_crops([f"B{n}" for n in range(8)], [900.0] * 7 + [9.0])
    assert "B0, B1, B2, B3, B4 and 2 more" in note
    assert "900 t/ha" in note


def records_of(weight_g):
    """Return the sample with lots of one block weighed wrong, past the checks of the reader."""
    records = example_records()
    weights = records.weights.copy()
    here = weights["block"] == "Long Acre"
    weights.loc[here, "weight_g"] = weights.loc[here, "clusters"] * weight_g
    harvest = records.harvest[records.harvest["block"] != "Long Acre"].reset_index(drop=True)
    return replace(records, weights=weights, harvest=harvest)


def test_every_answer_says_that_a_crop_is_absurd():
    records = records_of(1e6)
    assert any("Long Acre" in note and "t/ha" in note for note in forecast(records, 2027).notes)
    compared = compare_plans(records, "Long Acre", "3x8+3x2", draws=200)
    assert any("any vineyard bears" in note for note in compared.notes)
    found = find_plans(records, "Long Acre", target_t_ha=8, draws=200)
    assert any("any vineyard bears" in note for note in found.notes)
