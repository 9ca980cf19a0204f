"""Daily files are taken into the season folder once, and nothing on record is overwritten."""

import pytest

from cropload.errors import CroploadError
from cropload.frost.take_weather import take_weather
from cropload.pages.cli import main
from cropload.records.records import read_records
from cropload.records.writing.template import write_template
from tests.records.reading import weather_samples as samples

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines,station\nNorth,Riesling,2,1.2,900,Hill\n"


@pytest.fixture
def folder(tmp_path):
    """Return a season folder of one block, without weather."""
    season = tmp_path / "season"
    season.mkdir()
    (season / "blocks.csv").write_text(BLOCKS, encoding="utf-8")
    return season


def days(folder):
    weather = read_records(folder).weather
    return {
        f"{row.date:%m-%d}": (row.tmin_c, row.tmax_c)
        for row in weather[weather["station"] == "Hill"].itertuples()
    }


THREE = dict(
    zip(("04-21", "04-22", "04-23"), zip(samples.LOWS, samples.HIGHS, strict=True), strict=True)
)


def test_a_file_is_taken_and_the_same_file_twice_adds_nothing(folder):
    files = {"canada.csv": samples.CANADA.encode()}
    found = take_weather(files, "Hill", folder)
    assert found["added"].tolist() == [3]
    read = "canada.csv as Environment and Climate Change Canada, daily, in degrees Celsius"
    assert found.heading() == f"Hill: 3 days added to weather.csv. Read: {read}."
    assert days(folder) == THREE
    assert found.notes == ()
    before = (folder / "weather.csv").read_bytes()
    again = take_weather(files, "Hill", folder)
    assert again[["added", "known", "other"]].iloc[0].tolist() == [0, 3, 0]
    assert "no new day" in again.heading()
    assert (folder / "weather.csv").read_bytes() == before


def test_files_of_several_services_at_once_add_each_day_once(folder):
    files = {"dwd.txt": samples.DWD.encode(), "months.dly": samples.MONTHS.encode()}
    files["logger.csv"] = samples.LOGGER.encode()
    # Whole degrees Fahrenheit are as near to the tenths on record as they can be.
    files["whole.csv"] = b"date,tmin_f,tmax_f\n2024-04-21,38,54\n2024-04-22,30,49\n"
    found = take_weather(files, "Hill", folder)
    assert found["added"].tolist() == [3, 0, 0, 0]
    assert found["known"].tolist() == [0, 3, 3, 2]
    assert days(folder) == THREE


def test_a_day_on_record_with_another_value_is_told_and_stays(folder):
    (folder / "weather.csv").write_text(
        "station,date,tmin_c,tmax_c\nHill,2024-04-22,-0.3,9.4\nVale,2024-04-21,1,2\n", "utf-8"
    )
    found = take_weather({"canada.csv": samples.CANADA.encode()}, "Hill", folder)
    assert found[["added", "known", "other"]].iloc[0].tolist() == [2, 0, 1]
    assert days(folder)["04-22"] == (-0.3, 9.4)
    (note,) = found.notes
    assert "2024-04-22" in note
    assert "-0.3 / 9.4 is on record and -1.1 / 9.4 in the file" in note


def test_a_file_of_another_station_is_refused_and_nothing_is_added(folder):
    head = "station,date,tmin_c,tmax_c\n"
    rows = [f"Hill,2024-05-{day:02},{day / 2},20" for day in range(1, 15)]
    (folder / "weather.csv").write_text(head + "\n".join(rows) + "\n", "utf-8")
    other = "date,tmin_c,tmax_c\n" + "".join(
        f"2024-05-{day:02},{day / 2 - 3},20\n" for day in range(1, 20)
    )
    with pytest.raises(CroploadError, match="another station, or in another unit"):
        take_weather({"vale.csv": other.encode()}, "Hill", folder)
    assert len(days(folder)) == 14


def test_every_fault_of_every_file_is_told_and_nothing_is_added(folder):
    files = {
        "one.csv": b"a,b\n1,2\n",
        "two.csv": b"date,tmin_c,tmax_c\n2024-04-21,x,y\n",
        "three.csv": samples.CANADA.encode(),
    }
    with pytest.raises(CroploadError) as caught:
        take_weather(files, "Hill", folder)
    assert {fault.file for fault in caught.value.faults} == {"one.csv", "two.csv"}
    assert not (folder / "weather.csv").exists()


def test_days_that_cannot_be_are_left_out_and_told(folder):
    text = "date,tmin_c,tmax_c\n2024-04-20,9,1\n" + "".join(
        f"2024-05-{day:02},{day / 10},9\n" for day in range(1, 11)
    )
    found = take_weather({"day.csv": text.encode()}, "Hill", folder)
    assert found[["added", "left_out"]].iloc[0].tolist() == [10, 1]
    assert "row 2: '2024-04-20: 9 / 1'" in found.notes[0]
    assert read_records(folder).warnings == ()


def test_a_station_that_no_block_names_is_told(folder):
    found = take_weather({"c.csv": samples.CANADA.encode()}, "Hil", folder)
    assert found.notes == ("no block names the station Hil yet. Did you mean 'Hill'?",)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_workbook_takes_days_too_in_its_own_units(tmp_path, units):
    import openpyxl

    book = write_template(tmp_path / "season.xlsx", xlsx=True, units=units)
    wb = openpyxl.load_workbook(book)
    sheet = wb["blocks"]
    header = [cell.value for cell in sheet[1]]
    sheet.append([{"block": "N", "variety": "R", "vines": 900}.get(name) for name in header])
    for at, name in enumerate(header, start=1):
        if name and name.startswith(("row_spacing", "vine_spacing")):
            sheet.cell(sheet.max_row, at, 2)
    wb.save(book)
    found = take_weather({"logger.csv": samples.LOGGER.encode()}, "Hill", book)
    assert found["added"].tolist() == [3]
    written = [row[2] for row in openpyxl.load_workbook(book)["weather"].values][1:]
    expected = samples.FAHRENHEIT[0] if units == "us" else [3.22, -1.11, 0.39]
    assert written == pytest.approx(expected, abs=1e-9)


def test_the_command_takes_files_and_says_what_came_of_them(folder, tmp_path, capsys):
    file = tmp_path / "france.csv"
    file.write_text(samples.FRANCE, "utf-8")
    given = ["weather", str(file), "--station", "Hill", "--into", str(folder)]
    assert main(given) == 2
    assert "99001001 QUILL" in capsys.readouterr().err
    assert main([*given, "--code", "99001001"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "3 days added to weather.csv" in out
    assert "Meteo-France daily" in out
    assert days(folder) == THREE
    assert main([*given[:1], str(tmp_path / "none.csv"), *given[2:]]) == 2
    assert "does not exist" in capsys.readouterr().err
