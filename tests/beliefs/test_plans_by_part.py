"""A block in parts is the sum of its parts: in the forecast, and in all that takes its plan."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers import table
from hypothesis import given, settings
from hypothesis import strategies as st
from season_records import SEASON, count_rows, small_estate

from cropload import forecast
from cropload.beliefs.plans_by_part import carried_plans
from cropload.records.as_of import records_until
from cropload.vine.growth import COMPONENTS

PLANS = {"strong": "2x14+2x2", "weak": "2x8+2x2"}
VINES = {"strong": 400, "weak": 600}


def parts(vines=None, plans=None, block="Alder"):
    """Return the rows of a block of 1,000 vines in parts."""
    vines, plans = vines or VINES, PLANS if plans is None else plans
    return [
        {"block": block, "part": part, "vines": vines[part], "plan": plans.get(part, "")}
        for part in vines
    ]


def crop(records, plans=None, **more):
    return forecast(records, SEASON, plans=plans, draws=200, **more)


@pytest.mark.parametrize("counts", [[], count_rows("Alder", 40)], ids=["before", "counted"])
@settings(max_examples=5, deadline=None)
@given(st.integers(1, 998), st.integers(1, 998), st.booleans())
def test_a_split_on_the_plan_of_the_block_changes_nothing(counts, some, others, blank):
    vines = {"strong": some, "middle": others, "weak": 1000}
    plans = {} if blank else dict.fromkeys(vines, "2x10+2x2")
    whole = crop(small_estate(counts=counts))
    split = crop(small_estate(counts=counts, parts=parts(vines, plans)))
    np.testing.assert_array_equal(split.draws, whole.draws)
    assert split.plans == whole.plans
    assert split.plan_from == whole.plan_from


@settings(max_examples=5, deadline=None)
@given(st.integers(1, 999))
def test_a_split_on_one_plan_is_a_block_on_that_plan(some):
    rows = parts({"strong": some, "weak": 1000 - some}, dict.fromkeys(PLANS, "2x8+2x2"))
    counts = count_rows("Alder", 40)
    split = crop(small_estate(counts=counts, parts=rows))
    whole = crop(small_estate(counts=counts), {"Alder": "2x8+2x2"})
    np.testing.assert_allclose(split.draws, whole.draws, rtol=1e-9)


def test_the_forecast_is_the_sum_of_the_parts_computed_apart():
    split = crop(small_estate(parts=parts()))
    apart = {part: crop(small_estate(), {"Alder": plan}) for part, plan in PLANS.items()}
    want = 0.4 * apart["strong"].draws + 0.6 * apart["weak"].draws
    np.testing.assert_allclose(split.draws, want, rtol=1e-12)
    assert split.plans[0] == "strong 2x14+2x2; weak 2x8+2x2"
    assert split.plan_from[0] == "table parts"
    for name in ("shoots", "clusters", "kg_picked"):
        strong, weak = (getattr(each.growth, name)[0] for each in apart.values())
        np.testing.assert_allclose(getattr(split.growth, name)[0], 0.4 * strong + 0.6 * weak)


def test_after_a_count_of_nearly_every_vine_the_mean_vine_has_the_clusters_counted():
    counts, clusters = count_rows("Alder", 40, vines=900), {}
    for told, rows in (("split", parts()), ("whole", [])):
        found = forecast(small_estate(counts=counts, parts=rows), SEASON, draws=1000)
        bias = np.exp(found.log_components[COMPONENTS.index("counting_bias"), 0])
        clusters[told] = np.median(found.growth.clusters[0] * bias)
    # The straight line is a little off where a count is far from what was expected.
    assert clusters["split"] == pytest.approx(40, rel=0.01)
    assert clusters["split"] == pytest.approx(clusters["whole"], rel=0.003)


def test_a_plan_asked_about_is_that_of_the_whole_block():
    asked = {"Alder": "2x9+2x2"}
    split, whole = crop(small_estate(parts=parts()), asked), crop(small_estate(), asked)
    np.testing.assert_array_equal(split.draws, whole.draws)


def test_a_part_without_a_plan_has_that_of_its_block():
    blank = parts(plans={"strong": PLANS["strong"]})
    told = parts(plans={"strong": PLANS["strong"], "weak": "2x10+2x2"})
    draws = [crop(small_estate(parts=rows)).draws for rows in (blank, told)]
    np.testing.assert_array_equal(*draws)
    assert str(carried_plans(small_estate(parts=blank), SEASON)["Alder"]) == (
        "strong 2x14+2x2; weak 2x10+2x2"
    )


def test_without_any_plan_of_the_block_a_blank_part_leaves_the_parts_aside():
    records = small_estate(parts=parts(plans={"strong": PLANS["strong"]}))
    records = replace(records, pruning=records.pruning[records.pruning["block"] != "Alder"])
    assert "Alder" not in carried_plans(records, SEASON)
    both = replace(records, parts=table("parts", parts()))
    assert carried_plans(both, SEASON)["Alder"].buds == pytest.approx(0.4 * 32 + 0.6 * 20)
    assert crop(both).plan_from[0] == "table parts"


def test_plans_of_parts_are_of_no_season_before_the_last_planned_or_picked():
    records = small_estate(parts=parts())
    last = "2x10+2x2"
    assert str(carried_plans(records, SEASON + 1)["Alder"]).startswith("strong")
    # The season 2026 is planned, so the parts are not of 2025.
    assert str(carried_plans(records, SEASON - 1)["Alder"]) == last
    # Nor were they known before that plan was: an undated one is of the turn of the year.
    early = records_until(records, f"{SEASON - 1}-12-01")
    assert str(carried_plans(early, SEASON)["Alder"]) == last
    # What is picked later takes them along.
    picked = {"season": SEASON + 1, "block": "Fir", "date": "2027-09-20", "tonnes": 3.0}
    records = small_estate(parts=parts(), harvest=[picked])
    assert str(carried_plans(records, SEASON)["Alder"]) == last
    looked_back = records_until(records, f"{SEASON}-08-01")
    assert str(carried_plans(looked_back, SEASON)["Alder"]) == last
    assert str(carried_plans(records, SEASON + 1)["Alder"]).startswith("strong")


def test_other_blocks_are_as_they_were():
    split, whole = crop(small_estate(parts=parts())), crop(small_estate())
    np.testing.assert_array_equal(split.draws[1:], whole.draws[1:])
    assert not np.array_equal(split.draws[0], whole.draws[0])
    assert isinstance(split.frame_by("block"), pd.DataFrame)
