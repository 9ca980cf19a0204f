"""Chances of going over limits against closed forms; overlaps and holes of periods; bad input."""

import numpy as np
import pandas as pd
import pytest
from intake_cases import capacity, correlated_lognormals, made_forecast
from scipy import stats

from cropload.errors import CroploadError
from cropload.winery.capacity import capacity_table
from cropload.winery.intake import intake_schedule
from cropload.winery.limits import check_capacity

WEEK = ("2026-09-14", "2026-09-20")


def scheduled(draws, dates, varieties=None):
    made = made_forecast(draws, varieties)
    return intake_schedule(made, dict(zip(made.blocks, dates, strict=False)))


@pytest.mark.parametrize("limit", [0.7, 1.0, 1.4])
def test_the_chance_and_the_tonnes_over_are_those_of_the_lognormal(limit):
    """scipy.stats.lognorm gives the chance; the mean over the limit is its partial expectation."""
    sigma = 0.3
    found = scheduled(
        correlated_lognormals(1, 200_000, sigma=sigma, correlation=0.0), ["2026-09-16"]
    )
    row = capacity_table(found, capacity((*WEEK, limit))).frame.iloc[0]
    law = stats.lognorm(sigma)
    assert row["chance_over"] == pytest.approx(law.sf(limit), abs=0.005)
    expected = law.expect(lambda x: x - limit, lb=limit) / law.sf(limit)
    assert row["over_mean_t"] == pytest.approx(expected, rel=0.02)
    assert row["over_p90_t"] == pytest.approx(max(law.ppf(0.9) - limit, 0), abs=0.01)


def test_a_limit_counts_only_its_days_and_its_variety():
    found = scheduled(
        np.full((3, 100), [[5.0], [3.0], [2.0]]),
        ["2026-09-14", "2026-09-20", "2026-09-21"],
        ["A", "B", "A"],
    )
    table = capacity_table(
        found, capacity((*WEEK, 8.0), (*WEEK, 4.0, "A"), ("2026-09-21", "2026-09-27", 1.0))
    )
    assert table["tonnes_p50"].tolist() == [8.0, 5.0, 2.0]
    assert table["chance_over"].tolist() == [0.0, 1.0, 1.0]
    assert table["over_mean_t"].tolist() == [0.0, 1.0, 1.0]


def test_a_closed_winery_is_a_limit_of_nothing():
    found = scheduled(np.ones((1, 100)), ["2026-09-20"])
    assert capacity_table(found, capacity((*WEEK, 0.0)))["chance_over"].tolist() == [1.0]


def test_overlaps_holes_and_fruit_outside_all_periods_are_told_with_their_tonnes():
    found = scheduled(
        np.full((4, 100), [[1.0], [2.0], [4.0], [8.0]]),
        ["2026-09-15", "2026-09-22", "2026-10-10", "2026-09-18"],
    )
    table = capacity_table(
        found,
        capacity(
            ("2026-09-14", "2026-09-20", 5),
            ("2026-09-18", "2026-09-20", 5),
            ("2026-09-24", "2026-09-30", 5),
        ),
    )
    told = " ".join(table.notes)
    assert "overlap on 2026-09-18 to 2026-09-20" in told
    assert "No limit is given for 2026-09-21 to 2026-09-23, when about 2.0 t" in told
    assert "About 4.0 t are expected before or after" in told


def test_fruit_without_a_date_counts_against_no_limit_and_is_named():
    made = made_forecast(np.full((2, 100), [[1.0], [6.0]]))
    found = intake_schedule(made, {"Block 0": "2026-09-15"})
    table = capacity_table(found, capacity((*WEEK, 2)))
    assert table["chance_over"].tolist() == [0.0]
    assert "6.0 t have no picking date" in " ".join(table.notes)


def test_a_limit_for_an_unknown_variety_is_left_out_and_said_with_a_near_name():
    found = scheduled(np.ones((1, 100)), ["2026-09-15"], ["Riesling"])
    table = capacity_table(found, capacity((*WEEK, 2), (*WEEK, 1, "Reisling")))
    assert len(table) == 1
    assert "Did you mean 'Riesling'" in " ".join(table.notes)


@pytest.mark.parametrize(
    ("row", "told"),
    [
        (("2026-09-20", "2026-09-14", 5), "ends before it starts"),
        ((*WEEK, -1), "0 t or more"),
        ((*WEEK, np.nan), "is missing"),
        ((*WEEK, np.inf), "0 t or more"),
        (("2026-09-14", None, 5), "no first or no last day"),
        (("then", "2026-09-20", 5), "cannot be read"),
    ],
)
def test_limits_that_cannot_be_get_one_clear_message(row, told):
    with pytest.raises(CroploadError, match=told):
        check_capacity(capacity(row))


def test_a_missing_column_is_named():
    with pytest.raises(CroploadError, match="no column limit_t"):
        check_capacity(pd.DataFrame({"period_start": [], "period_end": []}))


def test_no_limits_at_all_is_an_empty_answer():
    found = scheduled(np.ones((1, 100)), ["2026-09-15"])
    assert capacity_table(found, capacity()).frame.empty
