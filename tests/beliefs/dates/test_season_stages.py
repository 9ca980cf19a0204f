"""The days of a season's stages: what is on record, what this season's heat says, usual days."""

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records

from cropload.beliefs.dates.season_stages import season_stages

STAGES = (("budburst", "04-20"), ("flowering", "06-15"), ("veraison", "08-16"))
PAST = (2021, 2022, 2023)


def dates(seasons=PAST):
    return [
        {"season": year, "block": "A", "stage": stage, "date": f"{year}-{day}"}
        for year in seasons
        for stage, day in STAGES
    ]


def weather(degrees, first, last):
    """Return days of one temperature, but for a cold January by which the north is known."""
    days = pd.date_range(first, last)
    warm = np.where(days.month == 1, 4.0, degrees)
    return [
        {"station": "Hill", "date": day, "tmin_c": each, "tmax_c": each}
        for day, each in zip(days, warm, strict=True)
    ]


def estate(**more):
    return make_records(blocks=[block_row("A", station="Hill")], dates=dates(), **more)


def test_heat_so_far_and_the_usual_weather_after_it_tell_the_stage():
    rows = weather(15, "2021-01-01", "2023-12-31") + weather(20, "2024-01-01", "2024-03-20")
    found, notes = season_stages(estate(weather=rows), 2024)
    # By hand, above 5 C: 10 C d a day from 1 February to the middle of 20 April are 785 in each
    # past year; 49 days of 15 by 20 March 2024 are 735, and 5 more usual days end on 25 March.
    assert found.loc["A", "budburst"] == pd.Timestamp("2024-03-25")
    assert "heat on record up to 2024-03-20" in notes[0]
    usual, _ = season_stages(estate(), 2024)
    ahead = (usual - found).iloc[0].dt.days
    assert usual.loc["A", "budburst"] - pd.Timestamp("2024-04-20") < pd.Timedelta(days=3)
    assert (ahead[["budburst", "flowering", "veraison", "harvest"]] > 15).all()


def test_a_stage_reached_by_its_heat_lies_in_the_past():
    rows = weather(15, "2021-01-01", "2023-12-31") + weather(20, "2024-01-01", "2024-05-01")
    found, _ = season_stages(estate(weather=rows), 2024)
    # 785 C d at 15 a day are reached on the 53rd day after January.
    assert found.loc["A", "budburst"] == pd.Timestamp("2024-03-24")


def test_a_date_on_record_stands_against_the_heat():
    rows = weather(15, "2021-01-01", "2023-12-31") + weather(20, "2024-01-01", "2024-05-01")
    told = make_records(
        blocks=[block_row("A", station="Hill")], weather=rows, dates=dates((*PAST, 2024))
    )
    found, notes = season_stages(told, 2024)
    assert [f"{found.loc['A', stage]:%m-%d}" for stage, _ in STAGES] == [day for _, day in STAGES]
    assert notes == []


@pytest.mark.parametrize("hole", ["station", "seasons"])
def test_where_weather_says_nothing_usual_days_stand_in(hole):
    rows = weather(15, "2022-01-01", "2023-12-31") + weather(20, "2024-01-01", "2024-03-20")
    if hole == "station":
        rows += [row | {"station": "Dale"} for row in rows]
        records = make_records(blocks=[block_row("A")], weather=rows, dates=dates())
    else:
        records = estate(weather=rows)
    found, notes = season_stages(records, 2024)
    pd.testing.assert_frame_equal(found, season_stages(estate(), 2024)[0])
    assert notes == []


def test_the_south_counts_from_the_spring_of_the_year_before():
    rows = [
        {"season": year, "block": "A", "stage": "budburst", "date": f"{year - 1}-10-0{day}"}
        for year, day in ((2024, 3), (2025, 5), (2026, 9))
    ]
    found, _ = season_stages(make_records(blocks=[block_row("A")], dates=rows), 2027)
    assert found.loc["A", "budburst"].strftime("%Y-%m") in ("2026-09", "2026-10")
    assert found.loc["A", "harvest"].year == 2027
