"""Degree days against a hand-worked week and numerical integration; budburst sums; stages."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from cropload.errors import CroploadError
from cropload.vine.weather import heat, phenology


def spring(years=range(2015, 2021), level=9.0, shift_days=0, seed=1):
    dates = pd.date_range(f"{min(years) - 1}-01-01", f"{max(years)}-12-31")
    rng = np.random.default_rng(seed)
    warm = level - 9 * np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 20 - shift_days) / 365.25)
    mean = warm + rng.normal(0, 2, len(dates))
    return pd.DataFrame({"date": dates, "tmin_c": mean - 5, "tmax_c": mean + 5})


def test_mean_degree_days_of_a_week_worked_by_hand():
    # Lows 2 4 0 6 8 -1 3, highs 12 16 8 14 20 5 17: means 7 10 4 10 14 2 10.
    low, high = [2, 4, 0, 6, 8, -1, 3], [12, 16, 8, 14, 20, 5, 17]
    found = heat.degree_days(low, high, 5.0, "mean")
    assert found.tolist() == [2, 5, 0, 5, 9, 0, 5]
    assert found.sum() == 26


@given(low=st.floats(-15, 25), rise=st.floats(0, 25), base=st.sampled_from([0.0, 5.0, 10.0]))
def test_single_sine_is_the_integral_of_a_sine_wave_above_the_base(low, rise, base):
    middle, half = low + rise / 2, rise / 2

    def above(x):
        return max(middle + half * np.sin(2 * np.pi * x) - base, 0.0)

    corners = [0.25, 0.75]
    if half > 0 and abs(base - middle) < half:
        turn = np.arcsin((base - middle) / half) / (2 * np.pi)
        corners += [turn % 1, (0.5 - turn) % 1]
    area, _ = quad(above, 0, 1, points=sorted(corners))
    assert heat.degree_days(low, low + rise, base) == pytest.approx(area, abs=1e-6)


@given(low=st.floats(-15, 25), rise=st.floats(0, 25))
def test_single_sine_never_counts_less_than_the_mean(low, rise):
    sine = heat.degree_days(low, low + rise, 5.0)
    assert sine >= heat.degree_days(low, low + rise, 5.0, "mean") - 1e-9


def test_degree_days_refuse_exchanged_temperatures_and_unknown_methods():
    with pytest.raises(CroploadError, match="swap"):
        heat.degree_days([5], [2])
    with pytest.raises(CroploadError, match="single_sine"):
        heat.degree_days([2], [5], method="single_sin")


def reached(weather, season, total, hemisphere="north"):
    """The date on which a sum above 5 C is reached."""
    days = heat.season_days(weather, season, hemisphere)
    return days.date(days.day_of(total, 5.0))


def test_a_sum_fitted_on_dates_that_follow_it_is_found_again():
    weather = spring()
    dates = {year: reached(weather, year, 180.0) for year in range(2015, 2020)}
    fitted = phenology.fit_budburst_sum(weather, dates)
    assert fitted.seasons == tuple(range(2015, 2020))
    assert fitted.value == pytest.approx(180, abs=6)
    assert fitted.error_days < 1.5
    predicted = reached(weather, 2020, fitted.value)
    true = reached(weather, 2020, 180.0)
    assert abs((predicted - true).days) <= 1


def test_two_seasons_do_not_fit_a_sum_and_the_message_says_what_would():
    with pytest.raises(CroploadError, match="Enter a sum"):
        phenology.fit_budburst_sum(spring(), {2015: "2015-04-10", 2016: "2016-04-12"})


def test_a_southern_season_starts_in_july_of_the_year_before_harvest():
    weather = spring(shift_days=182)
    days = heat.season_days(weather, 2018, "south")
    assert days.dates[0] == np.datetime64("2017-07-01")
    burst = reached(weather, 2018, 180.0, "south")
    north = reached(spring(), 2018, 180.0)
    # Half a year apart, as the weather is; its random days differ.
    assert (north - burst).days == pytest.approx(182, abs=8)
    assert heat.season_of([burst], "south")[0] == 2018
    assert heat.season_of([burst], "north")[0] == 2017


@pytest.mark.parametrize(
    ("season", "date", "hemisphere"),
    [(2018, "2017-10-01", "north"), (2018, "2018-04-01", "south"), (2018, "2018-10-01", "south")],
)
def test_budburst_outside_its_spring_is_refused(season, date, hemisphere):
    with pytest.raises(CroploadError, match="hemisphere"):
        phenology.recorded_budburst({season: date}, hemisphere)


def test_a_sum_that_is_not_reached_and_weather_that_starts_too_late():
    weather = spring()
    assert heat.season_days(weather, 2016).day_of(99_999.0, 5.0) == np.inf
    with pytest.raises(CroploadError, match="reach back"):
        heat.season_days(weather[weather["date"] > "2019-02-01"], 2019)
    with pytest.raises(CroploadError, match="two rows for one day"):
        heat.season_days(pd.concat([weather, weather]), 2019)


def test_nothing_is_known_past_a_hole():
    weather = spring()
    hole = weather["date"].between("2016-03-01", "2016-03-10")
    weather = weather.assign(tmin_c=weather["tmin_c"].mask(hole))
    days = heat.season_days(weather, 2016)
    assert np.isinf(days.day_of(400.0, 5.0))
    assert not days.complete("2016-04-01")
    assert days.complete("2016-02-28")


def test_leaves_make_stages():
    # Coombe 1995 (from memory): burst 4, one leaf 7, two 9, four 11, eight 15.
    assert phenology.stage_from_leaves([0, 1, 2, 4, 8]).tolist() == [4, 7, 9, 11, 15]


def test_an_entered_sum_must_be_positive():
    with pytest.raises(CroploadError, match="positive"):
        phenology.BudburstSum.entered(-3)
