"""Day and month stand in one order in all tables; where nothing shows it, one fault asks."""

import pytest

from cropload.records.reading.dates import DAY, MONTH, order_of
from cropload.records.records import read_records

COUNTS = "season,date,block,row,vine,shoots\n"
PICKED = "season,block,date,tonnes\n2026,North,{},2.4\n"


def counts(*dates):
    rows = [f"2026,{date},North,1,{vine},18\n" for vine, date in enumerate(dates, start=1)]
    return COUNTS + "".join(rows)


@pytest.mark.parametrize(
    ("picked", "read"), [("25/09/2026", "2026-06-05"), ("09/25/2026", "2026-05-06")]
)
def test_a_date_of_another_table_tells_the_order(write, picked, read):
    folder = write(counts=counts("05/06/2026", "05/06/2026"), harvest=PICKED.format(picked))
    records = read_records(folder)
    assert records.counts["date"].dt.strftime("%Y-%m-%d").tolist() == [read] * 2


def test_an_order_from_elsewhere_is_told_once_a_table(write):
    folder = write(counts=counts(*["05/06/2026"] * 30), harvest=PICKED.format("25/09/2026"))
    (doubt,) = read_records(folder).warnings
    assert (doubt.file, doubt.row, doubt.column) == ("counts.csv", 2, "date")
    assert "day/month" in doubt.rule
    assert "'25/09/2026' in harvest.csv, row 2" in doubt.rule
    assert "29 more" in doubt.rule


def test_a_column_that_shows_its_order_is_not_doubted(write):
    assert read_records(write(counts=counts("05/06/2026", "25/06/2026"))).warnings == ()


def test_without_any_evidence_one_fault_a_table_asks(write, faults):
    folder = write(counts=counts(*["05/06/2026"] * 30), harvest=PICKED.format("03/09/2026"))
    found = faults(folder)
    assert [(fault.file, fault.row) for fault in found] == [("counts.csv", 2), ("harvest.csv", 2)]
    assert "30 dates" in found[0].rule
    assert "2026-06-05 or 2026-05-06" in found[0].mend


def test_two_tables_in_two_orders_are_refused_once_each(write, faults):
    folder = write(counts=counts("06/25/2026", "06/05/2026"), harvest=PICKED.format("25/09/2026"))
    found = faults(folder)
    assert [fault.file for fault in found] == ["counts.csv", "harvest.csv"]
    assert all("both orders" in fault.rule and "25/09/2026" in fault.rule for fault in found)


def test_dates_with_the_year_first_need_no_evidence(write):
    folder = write(counts=counts("2026-06-05"), harvest=PICKED.format("25/09/2026"))
    assert read_records(folder).warnings == ()


@pytest.mark.parametrize(
    ("text", "order"),
    [("25.09.2026", DAY), ("9/25/2026", MONTH), ("09-09-2026", ""), ("2026-25-09", ""), ("", "")],
)
def test_what_a_date_shows_by_itself(text, order):
    assert order_of(text) == order


@pytest.mark.parametrize(
    ("hour", "fine"), [("23:59", True), ("24:00", True), ("25:00", False), ("12:61", False)]
)
def test_an_hour_that_no_day_has(write, faults, hour, fine):
    folder = write(harvest=f"season,block,date,tonnes\n2024,North,2024-09-20 {hour},3\n")
    if fine:
        assert read_records(folder).harvest["date"].dt.day.tolist() == [20]
        return
    (fault,) = faults(folder)
    assert (fault.row, fault.column) == (2, "date")
