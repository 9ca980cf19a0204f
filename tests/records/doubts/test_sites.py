"""Spacings changed over, and days of weather that were made up."""

import pandas as pd
import pytest

from cropload.records.records import read_records

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines\nNorth,Riesling,"
DAYS = pd.date_range("2026-04-01", periods=30)


def weather(**other):
    """Return a month of days, some of them told otherwise."""
    rows = [f"V,{day:%Y-%m-%d},{i % 7 + 0.5},{i % 11 + 12.5}" for i, day in enumerate(DAYS)]
    for place, pair in other.items():
        number = int(place[1:])
        rows[number] = f"V,{DAYS[number]:%Y-%m-%d},{pair}"
    return "station,date,tmin_c,tmax_c\n" + "\n".join(rows) + "\n"


def test_rows_closer_than_vines_are_a_question(write):
    (doubt,) = read_records(write(blocks=BLOCKS + "1.2,2.5,1000\n")).warnings
    assert doubt.column == "row_spacing_m"
    assert "Are the two swapped?" in doubt.mend
    assert "pergolas" in doubt.mend


@pytest.mark.parametrize("pair", ["2.5,1.2", "1.5,1.5", "4,4"])
def test_rows_and_squares_are_not_asked_about(write, pair):
    assert read_records(write(blocks=f"{BLOCKS}{pair},1000\n")).warnings == ()


@pytest.mark.parametrize(
    ("days", "row", "words"),
    [
        ({"d4": "0,0"}, 6, "is 0, like the highest"),
        ({f"d{i}": "0,0" for i in range(3, 9)}, 5, "on 6 days running, to 2026-04-09"),
        ({f"d{i}": "7.5,7.5" for i in range(3, 5)}, 5, "the same as the highest on 2 days"),
        ({f"d{i}": "3.1,14.2" for i in range(3, 11)}, 5, "repeats, like the highest, on 8 days"),
    ],
)
def test_days_made_up_to_fill_a_gap_are_asked_about_once(write, days, row, words):
    (doubt,) = read_records(write(weather=weather(**days))).warnings
    assert (doubt.row, doubt.column) == (row, "tmin_c")
    assert words in doubt.rule
    assert "take those rows out" in doubt.mend


@pytest.mark.parametrize(
    "days", [{}, {"d4": "6.5,6.5"}, {"d4": "0,11"}, {"d4": "3.1,14.2", "d5": "3.1,14.2"}]
)
def test_measured_days_are_not_asked_about(write, days):
    assert read_records(write(weather=weather(**days))).warnings == ()
