"""Picking dates from days between stages: narrowing, sharing, both hemispheres, honest ranges."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records
from length import repeats, widened

from cropload import example_records
from cropload.beliefs.dates.harvest_dates import harvest_dates
from cropload.beliefs.dates.stage_days import STAGES
from cropload.errors import CroploadError
from cropload.records.hemisphere import hemisphere_of_dates, season_origin


@pytest.fixture(scope="module")
def quillfoot():
    return example_records()


def dated(season, block, *days, hemisphere="north"):
    """Return rows of table dates: days of the growth year of budburst and the stages after it."""
    origin = season_origin(season, hemisphere)
    return [
        {"season": season, "block": block, "stage": stage, "date": origin + pd.Timedelta(days=day)}
        for stage, day in zip(STAGES, days, strict=False)
    ]


def steady(blocks=("North",), seasons=range(2020, 2026), days=(110, 168, 230, 277), **more):
    return [row for b in blocks for s in seasons for row in dated(s, b, *days, **more)]


def records_of(dates, blocks=("North",), harvest=(), variety="Anyvine"):
    return make_records(
        blocks=[block_row(name, variety) for name in blocks], dates=dates, harvest=list(harvest)
    )


def middle(found, block="North"):
    return found.table().set_index("block").loc[block, "date_p50"]


def width(found, block="North"):
    return found.table().set_index("block").loc[block, "range_days"]


def test_each_stage_reached_narrows_the_date(quillfoot):
    days = ["2026-02-01", "2026-05-05", "2026-07-01", "2026-08-31"]
    widths = [harvest_dates(quillfoot, 2026, day).table()["range_days"][:7].max() for day in days]
    assert all(later < earlier for earlier, later in pairwise(widths))


def test_steady_vines_are_picked_when_they_always_were():
    found = harvest_dates(records_of(steady()), 2026)
    assert abs((middle(found) - pd.Timestamp(2026, 10, 4)).days) <= 1


def test_a_late_spring_in_one_block_makes_its_neighbour_late_too():
    blocks = ("North", "South")
    usual = steady(blocks)
    late = [*usual, *dated(2026, "North", 124)]
    before = harvest_dates(records_of(usual, blocks), 2026)
    after = harvest_dates(records_of(late, blocks), 2026)
    moved = {b: (middle(after, b) - middle(before, b)).days for b in blocks}
    assert moved["North"] > moved["South"] >= 2
    assert width(after, "South") < width(before, "South")


def test_the_southern_hemisphere_gives_the_same_ranges_half_a_year_apart():
    north = harvest_dates(records_of(steady()), 2026)
    south = harvest_dates(records_of(steady(hemisphere="south")), 2026)
    assert (north.hemisphere, south.hemisphere) == ("north", "south")
    apart = season_origin(2026, "north") - season_origin(2026, "south")
    assert abs((middle(north) - middle(south) - apart).days) <= 1
    assert abs(width(north) - width(south)) <= 1


def test_dates_of_both_hemispheres_at_once_are_a_fault():
    mixed = [*steady(seasons=[2024]), *steady(seasons=[2025], hemisphere="south")]
    with pytest.raises(CroploadError, match=r"such as .* of North on 20"):
        hemisphere_of_dates(records_of(mixed))


def test_without_any_date_nothing_is_guessed_and_it_is_said():
    found = harvest_dates(records_of([]), 2026)
    assert not found.dated.any()
    assert found.table()["date_p50"].isna().all()
    assert "Nothing says when North will be picked" in found.notes[0]


def test_a_block_without_history_falls_back_and_says_on_what():
    blocks = ("North", "New")
    records = records_of(steady(), blocks)
    found = harvest_dates(records, 2026).table().set_index("block")
    assert found.loc["New", "came_from"] == "Anyvine on this estate"
    assert found.loc["New", "range_days"] > found.loc["North", "range_days"]


def test_a_season_with_one_stage_and_a_harvest_table_alone_still_speak():
    harvest = [
        {"season": s, "block": "North", "date": f"{s}-09-20", "tonnes": 5.0} for s in (2023, 2024)
    ]
    found = harvest_dates(records_of([], harvest=harvest), 2025)
    assert found.dated.all()
    assert abs((middle(found) - pd.Timestamp(2025, 9, 20)).days) <= 6


def test_a_stage_of_this_season_alone_gives_a_date_by_the_handbook():
    found = harvest_dates(records_of(dated(2026, "North", 110, 168, 230)), 2026, "2026-09-01")
    assert found.came_from == ("this season's veraison and the handbook's days",)
    # The handbook's general 47 days from veraison to picking.
    assert abs((middle(found) - season_origin(2026, "north")).days - 277) <= 2


def test_a_block_not_picked_yet_is_picked_later():
    records = records_of([*steady(), *dated(2026, "North", 110, 168, 225)])
    found = harvest_dates(records, 2026, "2026-10-01")
    assert (found.draws > (pd.Timestamp(2026, 10, 1) - pd.Timestamp(0)).days).all()
    assert width(found) < width(harvest_dates(records, 2026, "2026-09-01"))


def test_an_entered_date_is_known_and_can_be_taken_out_again():
    found = harvest_dates(records_of(steady()), 2026, picks={"north": "2026-09-30"})
    day = (pd.Timestamp(2026, 9, 30) - pd.Timestamp(0)).days
    assert found.entered == {"North": ((day, 1.0),)}
    assert found.with_picks({"North": None}).entered == {}


def test_a_part_pick_leaves_a_rest_to_come_after_it():
    pick = {"season": 2026, "block": "North", "date": "2026-09-28", "tonnes": 2.0}
    records = records_of(steady(), harvest=[pick | {"picked_pct": 40}])
    found = harvest_dates(records, 2026)
    assert found.picked["tonnes"].tolist() == [2.0]
    assert middle(found) > pd.Timestamp(2026, 9, 28)
    whole = harvest_dates(records_of(steady(), harvest=[pick]), 2026)
    assert middle(whole) == pd.Timestamp(2026, 9, 28)
    assert width(whole) == 0


def test_dates_do_not_hang_on_the_crop_and_repeat_for_a_seed(quillfoot):
    from cropload import forecast

    crop = forecast(quillfoot, 2026, "2026-02-01").draws
    dates = harvest_dates(quillfoot, 2026, "2026-02-01").draws
    # Fox Hollow, too young to bear, has one crop in all draws: none.
    tied = [abs(np.corrcoef(a, b)[0, 1]) for a, b in zip(crop[:7], dates[:7], strict=True)]
    assert max(tied) < 0.06
    assert (dates == harvest_dates(quillfoot, 2026, "2026-02-01").draws).all()
    assert np.corrcoef(dates[:7])[np.triu_indices(7, 1)].min() > 0.3


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"hemisphere": "west"}, "'north' or 'south'"),
        ({"as_of": "soon"}, "is not a date"),
        ({"picks": {"Norht": "2026-09-30"}}, "Did you mean 'North'"),
        ({"draws": 1}, "whole number"),
    ],
)
def test_what_cannot_be_asked_gets_one_clear_message(more, told):
    with pytest.raises(CroploadError, match=told):
        harvest_dates(records_of(steady()), 2026, **more)


def simulated(rng, blocks=6, seasons=5):
    """Draw the truth from the handbook's own spreads; return stages of every season and block."""
    from cropload import handbook
    from cropload.beliefs.dates.stage_days import INTERVALS

    days = np.zeros((blocks, seasons + 1, 4))
    keys = ["dates.budburst.north", *(f"dates.{name}" for name in INTERVALS[1:])]
    for k, key in enumerate(keys):
        entry = handbook.entry(key)
        sd = [entry.extra[f"{g}_sd_days"] for g in ("block", "season", "residual")]
        own_mean = entry.value + entry.extra["sd_days"] * rng.standard_normal()
        shared = np.hypot(sd[1], entry.extra["variety_season_sd_days"])
        days[:, :, k] = (
            own_mean
            + sd[0] * rng.standard_normal((blocks, 1))
            + shared * rng.standard_normal(seasons + 1)
            + sd[2] * rng.standard_normal((blocks, seasons + 1))
        )
    return np.cumsum(days, axis=2)


@pytest.mark.long
@pytest.mark.simulation
@pytest.mark.parametrize("stages", [0, 2, 3])
def test_eight_in_ten_true_dates_fall_inside_the_range(stages):
    """80 % of truths inside, over 60 simulated estates of 6 blocks; in the short form 20."""
    rng = np.random.default_rng(7)
    names = tuple(f"B{at}" for at in range(6))
    inside = []
    for _ in range(repeats(60, 3)):
        true = simulated(rng)
        seen = np.rint(true + rng.standard_normal(true.shape))
        rows = [
            row
            for b, name in enumerate(names)
            for t in range(6)
            for row in dated(2020 + t, name, *(seen[b, t] if t < 5 else seen[b, t, :stages]))
        ]
        table = harvest_dates(records_of(rows, names), 2025, draws=1000, hemisphere="north").table()
        ends = [(table[f"date_{e}"] - season_origin(2025, "north")).dt.days for e in ("p10", "p90")]
        # Whole days: a truth is inside when its day is.
        inside.append((np.rint(true[:, 5, 3]) >= ends[0]) & (np.rint(true[:, 5, 3]) <= ends[1]))
    # Shared seasons make the six blocks of an estate one another's echo: 60 estates, not 360.
    assert np.mean(inside) == pytest.approx(0.80, abs=widened(0.06, 3))
