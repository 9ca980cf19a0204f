"""Flowering and veraison by published heat sums, on weather laid out by hand."""

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records

from cropload import handbook, harvest_dates
from cropload.beliefs.dates.heat_days import STEPS, heat_sums, response
from cropload.beliefs.dates.season_stages import season_stages


@pytest.mark.parametrize("step", STEPS)
def test_the_curve_stands_still_at_its_ends_and_is_whole_at_its_optimum(step):
    best = handbook.value(f"heat_curve.{step}")
    assert response([-5, 0, best, 40, 45], step) == pytest.approx([0, 0, 1, 0, 0], abs=1e-12)
    assert (np.diff(response(np.linspace(0, best, 50), step)) > 0).all()


def test_heat_sums_are_found_under_other_names():
    assert heat_sums("Spätburgunder") == heat_sums("Pinot noir")
    assert heat_sums("Monastrell")["flowering_to_veraison"] == 62.07
    assert heat_sums("Nobody's Grape") is None


def weather(degrees, first, last):
    days = pd.date_range(first, last)
    warm = np.where(days.month == 1, 4.0, degrees)
    return [
        {"station": "Hill", "date": day, "tmin_c": each - 5, "tmax_c": each + 5}
        for day, each in zip(days, warm, strict=True)
    ]


def estate(variety, **more):
    return make_records(blocks=[block_row("A", variety, station="Hill")], **more)


BURST = [{"season": 2024, "block": "A", "stage": "budburst", "date": "2024-04-18"}]


def test_stages_of_a_first_season_follow_the_heat_from_budburst_on():
    rows = weather(18.0, "2022-01-01", "2024-06-30")
    found, notes = season_stages(estate("Merlot", weather=rows, dates=BURST), 2024)
    # By hand, each day of 18 C: (18 / 29.34)**2.2363 = 0.3354, 2 x 0.3354 - 0.1125 = 0.5583 of a
    # day, so 24.96 take 44.7 days; (18 / 21.84)**1.1454 = 0.8013 and 0.9605, so 64.45 take 67.1.
    assert found.loc["A", "flowering"] == pd.Timestamp("2024-06-02")
    assert found.loc["A", "veraison"] == pd.Timestamp("2024-08-08")
    assert "heat on record up to 2024-06-30" in notes[0]


def test_days_to_the_pick_follow_the_heat_of_past_seasons_and_are_surer():
    rows = weather(18.0, "2020-01-01", "2023-12-31")
    of = {
        name: harvest_dates(estate(name, weather=rows, dates=BURST), 2024, draws=100).intervals()
        for name in ("Merlot", "Nobody's Grape")
    }
    days = of["Merlot"].set_index("interval")["days"]
    assert days["budburst_to_flowering"] == pytest.approx(44.7, abs=0.1)
    assert days["flowering_to_veraison"] == pytest.approx(67.1, abs=0.1)
    both = pd.concat(of).xs(1, level=1)["spread_days"]
    assert both["Merlot"] < both["Nobody's Grape"]


def test_dates_of_ones_own_stand_against_published_heat():
    rows = weather(18.0, "2020-01-01", "2023-12-31")
    own = [
        {"season": year, "block": "A", "stage": stage, "date": f"{year}-{day}"}
        for year in (2021, 2022, 2023)
        for stage, day in (("budburst", "04-18"), ("flowering", "06-20"), ("veraison", "08-10"))
    ]
    with_weather = harvest_dates(estate("Merlot", weather=rows, dates=own), 2024, draws=100)
    without = harvest_dates(estate("Merlot", dates=own), 2024, draws=100)
    pd.testing.assert_frame_equal(with_weather.intervals(), without.intervals())
