"""Daily files of public services, on small invented files in their layout (from memory)."""

import pytest

from cropload.records.reading.faults import RecordsError
from cropload.records.reading.weather_files import read_weather_file
from tests.records.reading import weather_samples as samples

TENTHS = [round(10 * low) for low in samples.LOWS], [round(10 * high) for high in samples.HIGHS]


def read(text, **how):
    return read_weather_file("day.csv", text.encode(), "Hill", **how)


@pytest.mark.parametrize(
    ("text", "layout", "how", "missing", "refused"),
    [
        (samples.CANADA, "Environment and Climate Change Canada, daily", {}, 1, 0),
        (samples.summaries(*TENTHS), "NOAA daily summaries", {"degrees": "tenths"}, 1, 1),
        (samples.summaries(samples.LOWS, samples.HIGHS), "NOAA daily summaries", {}, 1, 1),
        (samples.MONTHS, "NOAA GHCN-Daily, a row a month", {}, 1, 2),
        (samples.ELEMENTS, "NOAA GHCN-Daily, a row an element", {}, 1, 1),
        (samples.DWD, "DWD daily climate (KL)", {}, 1, 0),
        (samples.FRANCE, "Meteo-France daily", {"code": "99001001"}, 1, 1),
        (samples.FRANCE, "Meteo-France daily", {"code": "quill"}, 1, 1),
    ],
)
def test_each_layout_tells_the_same_days(text, layout, how, missing, refused):
    found = read(text, **how)
    assert found.layout.startswith(layout)
    assert found.frame["date"].astype(str).tolist() == ["2024-04-21", "2024-04-22", "2024-04-23"]
    assert found.frame["tmin_c"].tolist() == samples.LOWS
    assert found.frame["tmax_c"].tolist() == samples.HIGHS
    assert set(found.frame["station"]) == {"Hill"}
    assert (found.missing, found.refused) == (missing, refused)
    assert found.notes == ()


def test_a_logger_in_fahrenheit_with_decimal_commas_and_days_first():
    found = read(samples.LOGGER)
    assert found.frame["tmin_c"].tolist() == pytest.approx(samples.LOWS, abs=0.03)
    assert found.frame["tmax_c"].tolist() == pytest.approx(samples.HIGHS, abs=0.03)
    assert (found.layout, found.degrees) == ("table of days", "degrees Fahrenheit")


def test_first_lines_of_the_oldest_year_of_ghcn_daily():
    """NOAA GHCN-Daily, by_year/1800.csv, first lines (from memory); the year alone is ours.

    -75 and -148 are tenths of a degree Celsius, as its readme says.
    """
    text = (
        "ITE00100554,20000101,TMAX,-75,,,E,\n"
        "ITE00100554,20000101,TMIN,-148,,,E,\n"
        "GM000010962,20000101,PRCP,0,,,E,\n"
        "EZE00100082,20000101,TMAX,-86,,,E,\n"
        "EZE00100082,20000101,TMIN,-135,,,E,\n"
    )
    found = read(text, code="ITE00100554").frame
    assert found[["tmin_c", "tmax_c"]].to_numpy().tolist() == [[-14.8, -7.5]]
    found = read(text, code="EZE00100082").frame
    assert found[["tmin_c", "tmax_c"]].to_numpy().tolist() == [[-13.5, -8.6]]


def test_whole_numbers_of_the_summaries_tell_their_unit_only_where_they_can():
    with pytest.raises(RecordsError, match="tells not in which unit"):
        read(samples.summaries([38, 30, 33], [54, 49, 59]))
    fahrenheit = read(samples.summaries([38, 30, 33], [54, 49, 59]), degrees="f").frame
    assert fahrenheit["tmin_c"].tolist() == pytest.approx([3.33, -1.11, 0.56], abs=0.01)
    # No day reaches 148 degrees Fahrenheit.
    assert read(samples.summaries(*TENTHS)).frame["tmax_c"].tolist() == samples.HIGHS


@pytest.mark.parametrize(
    "header",
    [
        "date,tmin_c,tmax_c",
        "Date,Min Temp (C),Max Temp (C)",
        "Day,Lowest temperature [°C],Highest temperature [°C]",
        "timestamp,Temperature min °C,Temperature max °C",
        "date,TN_C,TX_C",
    ],
)
def test_words_of_a_header(header):
    found = read(header + "\n2024-04-21 00:00:00,3.2,12\n2024-04-22,-1.1,M\n2024-04-23,,-999\n")
    assert found.degrees == "degrees Celsius"
    assert found.frame["tmin_c"].tolist() == [3.2, -1.1]
    assert found.missing == 1
    assert "the other one is used" in found.notes[0].rule


def test_lines_above_the_header_and_days_that_cannot_be():
    rows = "".join(f"2024-05-{day:02},{day / 10},9\n" for day in range(1, 21))
    found = read("Logger 7\nrow 12\n\ndate,tmin_c,tmax_c\n2024-04-21,5,1\n" + rows)
    (note,) = found.notes
    assert (note.file, note.row, note.value) == ("day.csv", 5, "2024-04-21: 5 / 1")
    assert len(found.frame) == 20


@pytest.mark.parametrize(
    ("text", "how", "words"),
    [
        ("a,b\n1,2\n", {}, "is no daily weather"),
        ("", {}, "is empty"),
        ("PK\x03\x04", {}, "is packed"),
        ("date,tmin,tmax\n2024-04-21,3,12\n", {}, "in which unit"),
        ("date,tmin_c,tmax_f\n2024-04-21,3,12\n", {}, "in which unit"),
        (samples.DWD, {"degrees": "f"}, "holds degrees Celsius"),
        (samples.FRANCE, {}, "holds 2 stations.*\n.*99001001 QUILL; 99002002 OTHER"),
        (samples.FRANCE, {"code": "9"}, "holds no such station"),
        ("date,tmin_c,tmax_c\n2024-04-21,3,12\n", {"code": "9"}, "names no station"),
        ("date,tmin_c,tmax_c\n03/04/2024,3,12\n05/04/2024,3,9\n", {}, "day/month or month/day"),
        ("date,tmin_c,tmax_c\n2024-04-21,cold,warm\n", {}, "column tmin_c: must be a number"),
        ("date,min (C),max (C)\n2024-04-21,12,3\n", {}, "tmin may not be above tmax"),
        ("date,tmin_c,tmax_c\n2199-04-21,1,3\n", {}, "2199"),
        ("date,tmin_c,tmax_c\n2099-04-21,1,3\n", {}, "lies after today"),
        # An hour a row.
        ("date,tmin_c,tmax_c\n2024-04-21,1,3\n2024-04-21,2,4\n2024-04-21,3,5\n", {}, "may not rep"),
    ],
)
def test_faults_name_what_is_wrong(text, how, words):
    with pytest.raises(RecordsError, match=words) as caught:
        read(text, **how)
    assert all(fault.file == "day.csv" and fault.mend for fault in caught.value.faults)


def test_a_fault_names_the_row_of_the_file_and_its_column():
    with pytest.raises(RecordsError) as caught:
        read("date,Min Temp (C),Max Temp (C)\n\n2024-04-21,cold,5\n")
    (fault,) = caught.value.faults
    assert (fault.row, fault.column, fault.value) == (3, "Min Temp (C)", "cold")
    # A month's days stand in one line.
    line = samples.month_line("TMIN", [("3x", " ")] + [(1, " ")] * 5)
    late = samples.month_line("TMAX", [(50, " ")] * 6, "209904")
    with pytest.raises(RecordsError, match="lies after today") as caught:
        read(line + late)
    assert {fault.row for fault in caught.value.faults} == {1, 2}
