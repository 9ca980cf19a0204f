"""A table full of faults is told at once: the first ones, and how many more there are."""

import pytest

from cropload.records.reading.faults import MOST_OF_A_KIND, RecordsError, how_many
from cropload.records.records import read_records
from cropload.records.writing.append import append_rows

HEAD = "season,date,block,row,vine,shoots,clusters\n"


def counts(number, cells):
    return HEAD + "".join(f"2026,2026-06-20,{cells.format(row)}\n" for row in range(number))


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ("North,1,{},x,30", "must be a whole number"),
        ("North,1,{},20,-3", "not below 0"),
        ("North,,{},20,30", "must be filled in"),
        ("Nort,1,{},20,30", "is not a block"),
        ("North,1,{},20,30,9", "more cells than the header"),
    ],
)
def test_only_some_of_many_faults_are_made_and_all_are_counted(write, faults, cells, words):
    number = MOST_OF_A_KIND + 500
    found = [fault for fault in faults(write(counts=counts(number, cells))) if words in fault.rule]
    assert len(found) == MOST_OF_A_KIND
    assert how_many(found) == number
    assert (found[0].row, found[-1].row) == (2, number + 1)


def test_the_message_says_how_many_more(write):
    number = MOST_OF_A_KIND + 500
    with pytest.raises(RecordsError, match=f"{number:,} faults found") as caught:
        read_records(write(counts=counts(number, "North,1,{},x,30")))
    assert f"and {number - 5:,} more like it" in str(caught.value)


def test_doubts_are_counted_alike(write):
    number = MOST_OF_A_KIND + 10
    doubts = read_records(write(counts=counts(number, "North,1,{},2,30"))).warnings
    assert how_many(doubt for doubt in doubts if "clusters per shoot" in doubt.rule) == number


def test_a_new_row_at_fault_is_seen_behind_many_old_ones(write):
    folder = write(counts=counts(MOST_OF_A_KIND + 10, "Nort,1,{},20,30"))
    new = {"season": 2026, "date": "2026-06-21", "block": "Nort", "row": "2", "vine": "1"}
    with pytest.raises(RecordsError, match="Nothing was added"):
        append_rows(folder, "counts", [{**new, "shoots": 20}])
