"""Equal records have one fingerprint, and any other value another one."""

from dataclasses import replace

import pytest

from cropload import example_records
from cropload.beliefs.history import learned_before
from cropload.beliefs.measured import measurements
from cropload.records.content import TEACHING, fingerprint
from cropload.records.facts import block_facts


def test_a_copy_of_the_records_has_the_same_fingerprint():
    records = example_records()
    copied = replace(records, **{name: getattr(records, name).copy() for name in TEACHING})
    assert fingerprint(copied) == fingerprint(records)


def test_a_change_in_place_is_seen():
    records = replace(example_records(), counts=example_records().counts.copy())
    before = fingerprint(records), len(measurements(records, block_facts(records)))
    records.counts["clusters"] = float("nan")
    assert fingerprint(records) != before[0]
    assert len(measurements(records, block_facts(records))) < before[1]


@pytest.mark.parametrize(
    ("table", "column"),
    [
        ("blocks", "variety"),
        ("pruning", "plan"),
        ("counts", "clusters"),
        ("counts", "date"),
        ("weights", "weight_g"),
        ("harvest", "tonnes"),
        ("harvest", "season"),
        ("dates", "date"),
    ],
)
def test_one_other_value_makes_another_fingerprint(table, column):
    records = example_records()
    changed = getattr(records, table).copy()
    first, last = changed[column].dropna().iloc[[0, -1]]
    at = changed[column].last_valid_index()
    changed.loc[at, column] = last + 1 if not isinstance(last, str) and column != "date" else first
    assert not changed.equals(getattr(records, table))
    assert fingerprint(replace(records, **{table: changed})) != fingerprint(records)


def test_a_count_of_the_season_teaches_nothing_anew_and_one_of_the_past_does():
    # A set of records of its own, whose spreads no earlier test has kept.
    records = replace(example_records())
    counts = records.counts
    before = learned_before(records, 2026)
    now = counts[counts["season"] == 2026]
    more = replace(records, counts=counts.drop(now.index[-1]).reset_index(drop=True))
    assert learned_before(more, 2026) is before
    past = counts[counts["season"] < 2026]
    less = replace(records, counts=counts.drop(past.index[-1]).reset_index(drop=True))
    assert learned_before(less, 2026) is not before
