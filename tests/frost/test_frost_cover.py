"""Longer wood against frost in a block, charged for its crop; frost columns of a comparison."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from cropload.errors import CroploadError
from cropload.frost.cover import frost_cover, shelter, with_frost
from cropload.frost.years import block_frost_years, block_weather
from cropload.pruning.compare import compare_plans
from cropload.vine.weather.settings import CASES
from tests.helpers import block_row, make_records

PLANS = "3x8+3x2,3x12+3x2"
FEW = {"draws": 200, "seed": 4}


def weather(years=6, frost=(), first=2015, station="Hill"):
    """Steady springs from March on; each of `frost` is a date with its low [C]."""
    dates = pd.date_range(f"{first}-01-01", f"{first + years - 1}-12-31")
    season = np.where((dates.month >= 3) & (dates.month <= 10), 12.0, 4.0)
    table = pd.DataFrame(
        {"station": station, "date": dates, "tmin_c": season - 3, "tmax_c": season + 5}
    )
    for day, low in frost:
        table.loc[table["date"] == day, "tmin_c"] = low
    return table


def records(table=None, bursts=6, first=2015, **block):
    given = {"block": "North", "station": "Hill", "frost_offset_c": 0.0} | block
    dates = [
        {
            "season": year,
            "block": "North",
            "stage": "budburst",
            "date": f"{year}-04-10",
        }
        for year in range(first, first + bursts)
    ]
    pruning = [{"season": 2020, "block": "North", "plan": "3x8+3x2"}]
    return make_records(
        blocks=[block_row(**given)],
        weather=weather() if table is None else table,
        dates=dates,
        pruning=pruning,
    )


def test_without_frost_the_crop_is_that_of_the_comparison():
    found = frost_cover(records(), "North", PLANS, **FEW)
    compared = compare_plans(records(), "North", PLANS, **FEW)
    table = found.frame
    for end in ("p10", "p50", "p90"):
        # All years are alike, so the mean crop is the crop without frost.
        assert table[f"mean_crop_{end}"].tolist() == pytest.approx(
            compared[f"t_ha_settled_{end}"].tolist(), rel=1e-3
        )
    first = frost_cover(records(), "North", PLANS, settled=False, **FEW).frame
    assert first["frost_free_p50"].tolist() == pytest.approx(
        compared["t_ha_p50"].tolist(), rel=1e-4
    )
    assert found.unit == "t/ha"


def test_longer_wood_pays_in_frost_and_is_charged_or_credited_for_its_load():
    held = records(weather(frost=[("2017-05-01", -1.6), ("2019-05-01", -1.6)]))
    found = frost_cover(held, "North", PLANS, **FEW)
    free = found.frost_free[1] / found.frost_free[0]
    left = found.crop_left[1] / found.crop_left[0]
    assert (left >= 1 - 1e-12).all()
    assert found.crop[1] / found.crop[0] == pytest.approx(left * free)
    # Antcliff (1955): length alone moves only the last nodes, so the gain is a few in a hundred.
    gain = shelter(found)
    assert 0 < gain["gain_p50"][1] < 0.03


def test_both_cases_stand_in_rows_of_their_own():
    held = records(weather(frost=[("2017-05-01", -1.6)]))
    found = frost_cover(held, "North", PLANS, case=CASES, **FEW)
    alone = [frost_cover(held, "North", PLANS, case=case, **FEW) for case in CASES]
    assert found.cases == (CASES[0], CASES[0], CASES[1], CASES[1])
    assert found.crop == pytest.approx(np.concatenate([one.crop for one in alone]))
    cost = found.years.seasons[0].late_cut_cost
    # The share of a frost-free crop that is left bears the cost of the late cut.
    kept = np.stack([one.crop_left * (1 - cost * at) for at, one in enumerate(alone)])
    shares = replace(found, crop=kept.reshape(found.crop.shape)).frame
    assert found.frame["mean_share_p50"].tolist() == pytest.approx(shares["mean_crop_p50"].tolist())


def test_nights_worked_out_once_serve_any_plan():
    held = records(weather(frost=[("2017-05-01", -1.6)]))
    years = block_frost_years(block_weather(held, "North"), case="laid_down", **FEW)
    again = frost_cover(held, "North", "3x10", years=years, seed=4)
    assert again.crop == pytest.approx(frost_cover(held, "North", "3x10", **FEW).crop)
    with pytest.raises(CroploadError, match="worked out already"):
        frost_cover(held, "North", "3x10", years=years, offset=-1.0)


def test_a_frost_hollow_loses_more_and_the_offset_may_be_entered_or_estimated():
    table = weather(frost=[("2017-05-01", 0.0)])
    rng = np.random.default_rng(3)
    nights = table[table["date"].between("2019-04-01", "2019-05-30")]
    hung = nights.assign(station="logger", tmin_c=nights["tmin_c"] - 1.5 + rng.normal(0, 0.3, 60))
    held = records(pd.concat([table, hung]))
    flat = frost_cover(held, "North", PLANS, **FEW)
    entered = frost_cover(held, "North", PLANS, offset=-1.5, offset_spread=0.3, **FEW)
    logged = frost_cover(held, "North", PLANS, logger="logger", **FEW)
    assert flat.crop_left.mean() > entered.crop_left.mean()
    assert logged.crop_left.mean() == pytest.approx(entered.crop_left.mean(), abs=0.02)
    offset = block_weather(held, "North", logger="logger").offset
    assert offset.mean_c == pytest.approx(-1.5, abs=4 * 0.3 / np.sqrt(60))
    assert any("stations not used here: logger" in note for note in flat.notes)


def test_a_comparison_gains_frost_columns_and_keeps_its_own():
    held = records(weather(frost=[("2017-05-01", -1.6)]))
    frame = compare_plans(held, "North", PLANS, **FEW)
    found = with_frost(frame, held, "North")
    pd.testing.assert_frame_equal(
        found[list(frame.frame.columns)], frame.frame, check_flags=False, check_like=False
    )
    alone = frost_cover(held, "North", PLANS, **FEW)
    shares = replace(alone, crop=alone.crop_left).frame
    assert found["frost_mean_share_p50"].tolist() == pytest.approx(shares["mean_crop_p50"].tolist())
    assert found["frost_loss_chance_high"].tolist() == pytest.approx(shares["chance_high"].tolist())
    assert found["frost_worst_in_ten_p10"].between(0, 1).all()
    assert (found["t_ha_settled_with_frost_p50"] < frame["t_ha_settled_p50"]).all()
    assert set(found["frost_seasons"]) == {6}
    assert found.replay.worst == "worst year seen"
    assert found.season == frame.season
    with pytest.raises(CroploadError, match="never blended"):
        with_frost(frame, held, "North", case=CASES)


def test_a_sum_may_be_entered_where_no_date_is_on_record():
    held = records(bursts=0)
    with pytest.raises(CroploadError, match="no budburst date on record, and no heat sum"):
        frost_cover(held, "North", PLANS, **FEW)
    found = frost_cover(held, "North", PLANS, budburst_sum=300.0, **FEW)
    assert len(found.seasons) == 6


def test_notes_are_told_once():
    notes = frost_cover(records(), "North", PLANS, **FEW).notes
    assert len(notes) == len(set(notes))
    assert sum("calendar years" in note for note in notes) == 1


def damaged(kind):
    """Return weather with one fault a user meets."""
    table = weather()
    if kind == "crossed":
        table.loc[200, "tmin_c"] = 30.0
    elif kind == "twice":
        table = pd.concat([table, table.iloc[[100]].assign(tmin_c=1.0)])
    elif kind == "no weather":
        table = table.iloc[:0]
    elif kind == "two stations":
        table = pd.concat([table, weather(station="Valley")])
    return table


@pytest.mark.parametrize(
    ("kind", "given", "words"),
    [
        ("crossed", {}, "tmin_c lies above tmax_c on 1 day"),
        ("twice", {}, "1 day\\(s\\) stand twice with different values"),
        ("no weather", {}, "no weather on record"),
        ("", {"station": "Hil"}, "holds no station 'Hil'"),
        ("", {"hemisphere": "south"}, "those of the north"),
        ("", {"logger": "Hill"}, "station itself"),
        ("", {"logger": "Hill", "offset": -1.0}, "not both"),
        ("", {"offset": -40.0}, "check the units"),
        ("", {"budburst_sum": -5.0}, "not a positive number"),
        ("", {"case": "upright"}, "upright_until_final_cut"),
        ("", {"heavy_loss": 30}, "between 0 and 1"),
        ("", {"draws": 3}, "draws must be"),
    ],
)
def test_bad_input_gets_one_clear_message(kind, given, words):
    with pytest.raises(CroploadError, match=words):
        frost_cover(records(damaged(kind)), "North", PLANS, **(FEW | given))


def test_a_block_without_a_station_must_choose_among_several():
    held = records(damaged("two stations"), station="")
    with pytest.raises(CroploadError, match="Hill, Valley"):
        frost_cover(held, "North", PLANS, **FEW)
    assert len(frost_cover(held, "North", PLANS, station="Valley", **FEW).seasons) == 6


def test_dates_of_the_other_hemisphere_are_refused():
    held = records()
    held.dates["date"] = pd.to_datetime(held.dates["season"].astype(str) + "-10-05")
    with pytest.raises(CroploadError, match="outside the spring of the northern hemisphere"):
        frost_cover(held, "North", PLANS, **FEW)


def test_doubts_are_said_and_do_not_stop_the_work():
    gap = weather()
    gap = gap[~gap["date"].between("2016-02-03", "2016-02-04")]
    gap = gap[~gap["date"].between("2018-04-12", "2018-04-30")]
    found = frost_cover(records(gap), "North", PLANS, **FEW)
    assert found.seasons == (2015, 2016, 2017, 2019, 2020)
    text = " ".join(found.notes)
    assert "2 missing day(s) filled" in text
    assert "season 2018 left out" in text
    hot = weather()
    hot[["tmin_c", "tmax_c"]] = hot[["tmin_c", "tmax_c"]] * 1.8 + 32
    text = " ".join(frost_cover(records(hot), "North", PLANS, **FEW).notes)
    assert "if these are degrees Fahrenheit" in text
    one = frost_cover(records(weather(1), bursts=1), "North", PLANS, **FEW)
    assert any("one season only" in note for note in one.notes)
