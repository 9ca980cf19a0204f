"""Weather made fit for use, each kind of bad input, and the offset of a block from its station."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from cropload.errors import CroploadError
from cropload.vine.weather.record import hemisphere_of, prepare_weather
from cropload.vine.weather.station_offset import StationOffset, estimate_offset, station_of_block


def daily(start="2020-01-01", days=731, shift=0):
    dates = pd.date_range(start, periods=days)
    mean = 10 - 9 * np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 20 - shift) / 365.25)
    return pd.DataFrame({"station": "Ridge", "date": dates, "tmin_c": mean - 5, "tmax_c": mean + 5})


def test_good_weather_comes_back_as_it_was():
    given = daily()
    frame, notes = prepare_weather(given)
    pd.testing.assert_frame_equal(
        frame[["date", "tmin_c", "tmax_c"]],
        given[["date", "tmin_c", "tmax_c"]].astype({"date": "datetime64[ns]"}),
    )
    assert notes == ("weather of 2 calendar years, 2020-01-01 to 2021-12-31",)


def test_short_holes_are_filled_and_long_ones_stay_and_both_are_said():
    given = daily().drop(index=[40, 41, 42, *range(100, 104)])
    frame, notes = prepare_weather(given)
    assert len(frame) == 731
    assert frame["filled"].sum() == 3
    whole = daily()
    assert frame.loc[41, "tmin_c"] == pytest.approx(
        whole.loc[39, "tmin_c"] / 2 + whole.loc[43, "tmin_c"] / 2
    )
    assert frame.loc[100:103, ["tmin_c", "tmax_c"]].isna().all(axis=None)
    text = " ".join(notes)
    assert "3 missing day(s) filled" in text
    assert "4 day(s) in holes longer than 3 days" in text
    assert prepare_weather(given, max_fill_days=4).frame["filled"].sum() == 7


def test_a_measured_temperature_is_not_changed_by_filling_the_other():
    given = daily()
    given.loc[50, "tmax_c"] = np.nan
    given.loc[50, "tmin_c"] = 30.0
    frame = prepare_weather(given).frame
    assert frame.loc[50, "tmin_c"] == 30.0
    assert frame.loc[50, "tmax_c"] == 30.0


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda t: t.assign(tmin_c=t["tmax_c"] + 1), "exchanged"),
        (lambda t: t.assign(tmin_c=t["tmin_c"].mask(t.index == 5, 40.0)), "above tmax_c on 1 day"),
        (lambda t: pd.concat([t, t.iloc[[7]].assign(tmin_c=-9.0)]), "2020-01-08"),
        (lambda t: t.assign(tmin_c=t["tmin_c"].astype(str).mask(t.index == 3, "cold")), "'cold'"),
        (
            lambda t: t.assign(date=t["date"].dt.strftime("%Y-%m-%d").mask(t.index == 3, "?")),
            "no readable date",
        ),
        (lambda t: t.assign(tmin_c=t["tmin_c"].mask(t.index == 3, -999.0)), "missing value"),
        (lambda t: t.drop(columns="tmax_c"), "tmax_c"),
        (lambda t: t.iloc[:0], "no weather"),
        (lambda t: t.assign(tmin_c=np.nan), "no day with both"),
    ],
)
def test_bad_weather_gets_one_clear_message(spoil, words):
    with pytest.raises(CroploadError, match=words.replace("?", "[?]")):
        prepare_weather(spoil(daily()))


def test_all_faults_come_together():
    bad = daily()
    bad.loc[3, "tmin_c"] = 50.0
    bad = pd.concat([bad, bad.iloc[[7]].assign(tmin_c=-9.0)])
    with pytest.raises(CroploadError) as caught:
        prepare_weather(bad)
    assert "above tmax_c" in str(caught.value)
    assert "stand twice" in str(caught.value)


def test_a_day_twice_with_the_same_values_is_kept_once():
    given = daily()
    frame, notes = prepare_weather(pd.concat([given, given.iloc[:2]]))
    assert len(frame) == 731
    assert any("kept once" in note for note in notes)


def test_stations():
    two = pd.concat([daily(), daily().assign(station="Valley")])
    with pytest.raises(CroploadError, match="Ridge, Valley"):
        prepare_weather(two)
    with pytest.raises(CroploadError, match="Did you mean 'Valley'"):
        prepare_weather(two, "Vally")
    notes = prepare_weather(SimpleNamespace(weather=two), "Valley").notes
    assert "stations not used here: Ridge" in notes


def test_a_table_with_a_column_called_weather_is_still_a_table():
    assert len(prepare_weather(daily().assign(weather="rain")).frame) == 731


def test_degrees_fahrenheit_are_warned_of():
    fahrenheit = daily()
    fahrenheit[["tmin_c", "tmax_c"]] = fahrenheit[["tmin_c", "tmax_c"]] * 1.8 + 32
    assert any("Fahrenheit" in note for note in prepare_weather(fahrenheit).notes)
    # A mild winter of 60 degrees Fahrenheit alone, without any summer.
    winter = daily(days=60)
    winter[["tmin_c", "tmax_c"]] += 50
    winter[["tmin_c", "tmax_c"]] = winter[["tmin_c", "tmax_c"]].clip(upper=56)
    assert any("Fahrenheit" in note for note in prepare_weather(winter, hemisphere="north").notes)
    assert not any("Fahrenheit" in note for note in prepare_weather(daily()).notes)


def test_hemispheres():
    assert hemisphere_of(daily()) == "north"
    assert hemisphere_of(daily(shift=182)) == "south"
    assert hemisphere_of(daily(days=40)) is None
    with pytest.raises(CroploadError, match="those of the south"):
        prepare_weather(daily(shift=182), hemisphere="north")


def test_one_season_only_is_said():
    assert any("one season of weather only" in n for n in prepare_weather(daily(days=200)).notes)


def lows(values, start="2024-03-01"):
    return pd.DataFrame({"date": pd.date_range(start, periods=len(values)), "tmin_c": values})


def test_an_offset_is_found_again_with_its_spread():
    rng = np.random.default_rng(5)
    station = rng.normal(2, 3, 400)
    logger = station + rng.normal(-1.8, 0.6, 400)
    found = estimate_offset(lows(logger), lows(station))
    cold = station < 5
    gap = (logger - station)[cold]
    assert found.nights == cold.sum()
    assert found.mean_c == pytest.approx(gap.mean())
    assert found.spread_c == pytest.approx(gap.std(ddof=1))
    assert abs(found.mean_c + 1.8) < 4 * found.standard_error_c
    # Independent nights: the textbook standard error of a mean, give or take their correlation.
    assert found.standard_error_c == pytest.approx(0.6 / np.sqrt(cold.sum()), rel=0.25)


def test_an_offset_comes_from_cold_nights_when_there_are_enough():
    station = [10.0] * 20 + [1.0] * 8
    logger = [10.0] * 20 + [-1.5] * 8
    assert estimate_offset(lows(logger), lows(station)).mean_c == pytest.approx(-2.5)
    few = estimate_offset(lows(logger[:22]), lows(station[:22]))
    assert few.nights == 22
    assert "all nights" in few.note


def test_nights_in_a_row_count_for_fewer():
    rng = np.random.default_rng(2)
    slow = np.convolve(rng.normal(0, 1, 220), np.ones(20) / 20, "valid")
    found = estimate_offset(lows(slow), lows(np.zeros_like(slow)))
    assert found.standard_error_c > 2 * found.spread_c / np.sqrt(found.nights)


def test_offsets_that_cannot_be():
    with pytest.raises(CroploadError, match="2 night"):
        estimate_offset(lows([1, 2]), lows([1, 2]))
    with pytest.raises(CroploadError, match="check the units"):
        StationOffset.entered(-40)
    with pytest.raises(CroploadError, match="0 C or"):
        StationOffset.entered(-1, -0.5)


def test_station_and_offset_of_a_block():
    blocks = pd.DataFrame(
        {
            "block": ["Low", "High"],
            "station": ["Ridge", ""],
            "frost_offset_c": [-1.5, np.nan],
            "frost_offset_spread_c": [0.7, np.nan],
        }
    )
    station, offset = station_of_block(SimpleNamespace(blocks=blocks), "Low")
    assert (station, offset.mean_c, offset.spread_c) == ("Ridge", -1.5, 0.7)
    assert station_of_block(SimpleNamespace(blocks=blocks), "High") == (None, StationOffset.none())
    with pytest.raises(CroploadError, match="'Low'"):
        station_of_block(SimpleNamespace(blocks=blocks), "Lo")
