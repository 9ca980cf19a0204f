"""Days of weather that cannot be are left out and told once; a file of nonsense stays a fault."""

import pytest

from cropload.errors import CroploadError
from cropload.records.reading.faults import fault_list
from cropload.records.records import read_records
from cropload.records.writing.append import append_rows

HEAD = "station,date,tmin_c,tmax_c\n"
SOUND = "".join(f"V,2026-05-{day:02},{day / 10},{10 + day / 10}\n" for day in range(1, 21))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("V,2026-04-23,1.6,1.2", "tmin may not be above tmax"),
        ("V,2026-04-23,-9999,1.2", "no air is as hot or as cold"),
        ("V,2026-04-23,1.2,999", "no air is as hot or as cold"),
        ("V,2026-04-23,1.2,70", "no air is as hot or as cold"),
        ("V,2026-04-23,M,", "has neither temperature"),
        ("V,2026-04-31,1,9", "the date is no day"),
    ],
)
def test_a_day_that_cannot_be_is_left_out_and_all_else_goes_on(write, row, words):
    records = read_records(write(weather=HEAD + row + "\n" + SOUND))
    assert len(records.weather) == 20
    (note,) = records.warnings
    assert (note.file, note.row) == ("weather.csv", 2)
    assert words in note.rule
    assert "left out" in note.rule
    _, date, low, high = row.split(",")
    assert note.value == f"{date}: {low} / {high or 'blank'}"
    assert records.left_out["station"].tolist() == ["V"]


def test_a_day_twice_with_different_values_is_left_out_altogether(write):
    records = read_records(write(weather=HEAD + SOUND + "V,2026-05-03,-4,9\n"))
    assert "2026-05-03" not in records.weather["date"].astype(str).tolist()
    assert len(records.weather) == 19
    (note,) = records.warnings
    assert note.value == "2026-05-03: 0.3 / 10.3; row 22: -4 / 9"
    assert "twice with different values" in note.rule


def test_of_a_day_twice_the_one_that_can_be_holds(write):
    records = read_records(write(weather=HEAD + SOUND + "V,2026-05-03,-999,9\n"))
    assert len(records.weather) == 20
    assert "no air" in records.warnings[0].rule


def test_a_table_pasted_three_times_is_used_once(write):
    records = read_records(write(weather=HEAD + 3 * SOUND))
    assert len(records.weather) == 20
    assert "used once" in records.warnings[0].rule
    assert records.left_out.empty


def test_the_low_of_a_day_without_a_high_is_kept(write):
    records = read_records(write(weather=HEAD + "V,2026-04-23,-3,\n" + SOUND))
    assert records.weather["tmin_c"].iloc[0] == -3
    assert "the other one is used" in records.warnings[0].rule


def test_thousands_of_days_are_one_note(write):
    from datetime import date, timedelta

    days = [date(2000, 1, 1) + timedelta(days=at) for at in range(6000)]
    rows = "".join(f"V,{day},{-999 if at % 3 == 0 else 1},9\n" for at, day in enumerate(days))
    (note,) = read_records(write(weather=HEAD + rows)).warnings
    assert note.more == 1999
    assert "2,000 such days: 2000-01-01, 2000-01-04, 2000-01-07 and 1,997 more" in note.rule
    assert len(fault_list([note]).splitlines()) < 8


def test_each_station_is_told_by_itself(write):
    other = SOUND.replace("V,", "W,")
    text = HEAD + SOUND + other + "V,2026-06-01,9,1\nW,2026-06-02,9,1\n"
    notes = read_records(write(weather=text)).warnings
    assert [note.rule.split(",")[0] for note in notes] == ["at V", "at W"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        # Columns changed over, in the file or at one station of it.
        ("".join(f"V,2026-05-{day:02},15,3\n" for day in range(1, 9)), "tmin may not be above"),
        (SOUND + "".join(f"W,2026-05-{d:02},15,3\n" for d in range(1, 9)), "tmin may not be above"),
        # Degrees Fahrenheit in columns of Celsius: the warm days alone look wrong.
        (SOUND + "V,2026-06-01,41,68\nV,2026-06-02,43,71\n", "not above 60"),
        # A column that cannot be read at all, and days of unclear order.
        ("".join(f"V,2026-05-{day:02},cold,warm\n" for day in range(1, 9)), "must be a number"),
        ("V,03/04/2026,1,9\nV,05/04/2026,1,9\n", "may be day/month or month/day"),
        ("V,,1,9\n" + SOUND, "must be filled in"),
        (",2026-04-23,1,9\n" + SOUND, "must be filled in"),
    ],
)
def test_a_file_of_nonsense_stays_a_fault(write, faults, text, words):
    assert any(words in fault.rule for fault in faults(write(weather=HEAD + text)))


def test_a_day_that_cannot_be_is_not_added(write):
    folder = write(weather=HEAD + SOUND)
    before = (folder / "weather.csv").read_bytes()
    row = {"station": "V", "date": "2026-06-01", "tmin_c": 9.0, "tmax_c": 1.0}
    with pytest.raises(CroploadError, match="tmin may not be above tmax"):
        append_rows(folder, "weather", [row])
    with pytest.raises(CroploadError, match="twice with different values"):
        append_rows(folder, "weather", [row | {"date": "2026-05-03", "tmax_c": 12.0}])
    assert (folder / "weather.csv").read_bytes() == before
    append_rows(folder, "weather", [row | {"tmax_c": 12.0}])
    assert len(read_records(folder).weather) == 21
