"""What is dated after today: asked about, and no ground for the season that is meant."""

import datetime

import pytest
from helpers import sample_copy

from cropload import clock, example_records
from cropload.beliefs.forecast import forecast
from cropload.beliefs.meant import next_season, why_season
from cropload.pages.cli import main
from cropload.records.example import shipped
from cropload.records.records import read_records

TODAY = datetime.date(2026, 11, 25)


@pytest.fixture
def estate(tmp_path, monkeypatch):
    monkeypatch.setattr(clock, "today", lambda: TODAY)
    return sample_copy(tmp_path / "mine", "blocks", "pruning", "weights", "harvest")


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


def own(folder, southern=False, **tables):
    """Write one block of one's own, with the rows of its tables, and return its records."""
    folder.mkdir()
    head = "block,variety,row_spacing_m,vine_spacing_m,vines\n"
    tables["blocks"] = head + "Hollow Bank,Riesling,2,1.2,1000\n"
    if southern:
        tables["dates"] = "season,block,stage,date\n2025,Hollow Bank,budburst,2024-09-20\n"
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return read_records(folder)


PLAN = "season,block,plan\n2026,Hollow Bank,2x10+2x2\n"
CROP = "season,block,tonnes\n2023,Hollow Bank,2.1\n"


@pytest.mark.parametrize(
    ("today", "southern", "meant"),
    [
        ((2026, 2, 10), False, 2026),
        ((2026, 10, 31), False, 2026),
        ((2026, 11, 1), False, 2027),
        ((2026, 6, 30), True, 2026),
        ((2026, 7, 1), True, 2027),
        ((2028, 3, 1), False, 2028),
    ],
)
@pytest.mark.parametrize("tables", [{"pruning": PLAN}, {"harvest": CROP}, {}])
def test_a_season_whose_months_of_picking_are_past_is_not_planned_for(
    tmp_path, monkeypatch, today, southern, meant, tables
):
    """Picked by October in the north, by June in the south: common practice, no source."""
    monkeypatch.setattr(clock, "today", lambda: datetime.date(*today))
    records = own(tmp_path / "own", southern, **tables)
    assert next_season(records) == meant
    # What was known on an earlier day spoke of the season of that day.
    assert next_season(records, datetime.date(2026, 3, 1)) == 2026


def test_the_season_meant_and_why_stand_at_the_top(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(clock, "today", lambda: TODAY)
    own(tmp_path / "own", pruning=PLAN)
    asked = ["compare", str(tmp_path / "own"), "--block", "Hollow Bank", "--plans", "2x8+2x2"]
    assert main([*asked, "--draws", "100"]) == 0
    out = capsys.readouterr().out
    assert "harvest 2027" in out.split("\n")[0]
    out = " ".join(out.split())
    assert (
        "Hollow Bank, harvest 2027: the next harvest to come on 2026-11-25; the latest season"
        in out
    )


@pytest.mark.parametrize("counted", [True, False])
def test_a_plan_is_asked_for_only_where_the_season_has_no_buds_counted(
    tmp_path, monkeypatch, capsys, counted
):
    monkeypatch.setattr(clock, "today", lambda: datetime.date(2026, 6, 20))
    what = "buds" if counted else "shoots"
    counts = f"season,date,block,row,vine,{what}\n2026,2026-06-10,Hollow Bank,1,1,24\n"
    own(tmp_path / "own", counts=counts)
    assert main(["check", str(tmp_path / "own")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "HARVEST 2026" in out
    assert ("Load unknown: no plan is on record for Hollow Bank" in out) is not counted


def test_an_earlier_day_is_forecast_for_the_season_of_that_day(tmp_path, monkeypatch):
    monkeypatch.setattr(clock, "today", lambda: TODAY)
    records = own(tmp_path / "own", pruning=PLAN)
    assert forecast(records, as_of="2026-07-15", draws=100).season == 2026


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
