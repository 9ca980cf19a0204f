"""Records as they stood on a day."""

import datetime

import pandas as pd
import pytest
from helpers import block_row, make_records

from cropload.clock import day
from cropload.errors import CroploadError
from cropload.records.as_of import records_until


@pytest.fixture
def records():
    return make_records(
        blocks=[block_row("North")],
        pruning=[
            {"season": 2026, "block": "North", "plan": "2x10", "date": "2026-02-10"},
            {"season": 2025, "block": "North", "plan": "2x8"},
        ],
        counts=[
            {"season": 2026, "date": f"2026-06-{d}", "block": "North", "row": "1", "vine": d}
            | {"clusters": 30}
            for d in ("14", "15", "16")
        ],
        weights=[
            {"season": 2026, "date": "2026-07-20", "block": "North", "stage": "lag"}
            | {"clusters": 10, "weight_g": 600}
        ],
        harvest=[
            {"season": 2026, "block": "North", "date": "2026-09-20", "tonnes": 4},
            {"season": 2025, "block": "North", "tonnes": 5},
        ],
        dates=[{"season": 2026, "block": "North", "stage": "budburst", "date": "2026-04-20"}],
        fertility=[
            {"season": 2025, "block": "North", "wood": "cane", "node": 1, "buds": 9}
            | {"shoots": 8, "clusters": 9}
        ],
        prices=[{"variety": "Anyvine", "price_per_t": 900}],
    )


def test_the_day_itself_is_known_and_the_next_is_not(records):
    found = records_until(records, "2026-06-15")
    assert found.counts["vine"].tolist() == ["14", "15"]
    assert found.weights.empty
    assert found.harvest["season"].tolist() == [2025]
    assert len(found.dates) == 1
    assert len(found.prices) == 1
    assert list(found.counts.index) == [0, 1]


def test_an_hour_of_the_day_does_not_matter(records):
    late = records_until(records, pd.Timestamp("2026-06-15 00:01", tz="Europe/Berlin"))
    assert late.counts["vine"].tolist() == ["14", "15"]


@pytest.mark.parametrize(
    ("as_of", "prunings", "harvests", "nodes"),
    [
        ("2024-12-31", 0, 0, 0),
        ("2025-01-01", 1, 0, 0),
        ("2025-12-30", 1, 0, 0),
        ("2025-12-31", 1, 1, 1),
        ("2026-02-09", 1, 1, 1),
        ("2026-02-10", 2, 1, 1),
        ("2026-09-20", 2, 2, 1),
    ],
)
def test_undated_rows_count_from_the_turn_of_the_year(records, as_of, prunings, harvests, nodes):
    found = records_until(records, as_of)
    assert (len(found.pruning), len(found.harvest), len(found.fertility)) == (
        prunings,
        harvests,
        nodes,
    )


def test_no_day_and_a_late_day_leave_the_records_as_they_are(records):
    assert records_until(records, None) is records
    assert records_until(records, "2030-01-01") is records


@pytest.mark.parametrize(
    "text", ["2026-07-15", datetime.date(2026, 7, 15), pd.Timestamp("2026-07-15 13:00")]
)
def test_a_day_is_read_in_any_usual_form(text):
    assert day(text) == pd.Timestamp("2026-07-15")


@pytest.mark.parametrize("text", ["", "harvest", "2026-13-01", 20260715, float("nan"), [1]])
def test_what_is_no_day_gets_one_clear_message(text):
    with pytest.raises(CroploadError, match="is not a date"):
        day(text)
