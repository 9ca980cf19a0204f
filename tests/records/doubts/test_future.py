"""What is dated after today: asked about, and no ground for the season that is meant."""

import datetime
import shutil

import pytest

from cropload import clock, example_records
from cropload.beliefs.meant import next_season, why_season
from cropload.pages.cli import main
from cropload.records.example import shipped
from cropload.records.records import read_records

TODAY = datetime.date(2026, 11, 25)


@pytest.fixture
def estate(tmp_path, monkeypatch):
    monkeypatch.setattr(clock, "today", lambda: TODAY)
    return shutil.copytree(shipped("sample_data") / "quillfoot", tmp_path / "mine")


def add(estate, table, *rows):
    with open(estate / f"{table}.csv", "a", encoding="utf-8") as end:
        end.writelines(row + "\n" for row in rows)


@pytest.mark.parametrize(
    "row", ["2027,Upper Knoll,2027-09-23,2.97,", "2027,Upper Knoll,,2.97,", "2027,Long Acre,,0,"]
)
def test_a_harvest_still_to_come_is_asked_about_and_moves_no_season(estate, row, capsys):
    add(estate, "harvest", row)
    records = read_records(estate)
    (doubt,) = records.warnings
    assert doubt.file == "harvest.csv"
    assert "lies after today (2026-11-25)" in doubt.rule
    assert next_season(records) == 2027
    assert "2026" in why_season(records, 2027)
    assert main(["check", str(estate)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "A FORECAST OF HARVEST 2027" in out
    assert "lies after today" in out


def test_a_season_decades_ahead_is_asked_about_once_and_moves_no_season(estate):
    add(estate, "harvest", "2062,Upper Knoll,,2.97,")
    records = read_records(estate)
    assert ["more than 10 years" in doubt.rule for doubt in records.warnings] == [True]
    assert next_season(records) == 2027


def test_a_plan_written_ahead_is_read_and_the_next_harvest_is_meant(estate):
    add(estate, "pruning", "2029,Long Acre,3x8+3x2,,,")
    records = read_records(estate)
    assert records.warnings == ()
    assert next_season(records) == 2027


def test_counts_and_weights_of_a_day_to_come_are_asked_about(estate):
    add(estate, "weights", "2027,2027-08-08,Long Acre,lag,20,860,")
    assert [(d.file, d.column) for d in read_records(estate).warnings] == [("weights.csv", "date")]


def test_what_was_picked_today_is_picked(estate, monkeypatch):
    add(estate, "harvest", "2027,Upper Knoll,2027-09-23,2.97,")
    monkeypatch.setattr(clock, "today", lambda: datetime.date(2027, 9, 23))
    records = read_records(estate)
    assert records.warnings == ()
    assert next_season(records) == 2028


@pytest.mark.parametrize("year", [1970, 2024, 2026, 2030])
def test_the_sample_speaks_of_the_same_season_whatever_the_clock_shows(year, monkeypatch):
    class Machine(datetime.date):
        @classmethod
        def today(cls):
            return cls(year, 3, 1)

    monkeypatch.setattr(clock.datetime, "date", Machine)
    records = read_records(shipped("sample_data") / "quillfoot")
    assert records.warnings == ()
    assert next_season(records) == 2027


def test_the_day_the_program_was_made_is_not_before_the_last_record_of_the_sample():
    records = example_records()
    for table in (records.counts, records.weights, records.harvest, records.weather):
        assert table["date"].max().date() <= clock.MADE_ON
