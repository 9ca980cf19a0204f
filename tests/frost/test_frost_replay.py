"""Past springs replayed: what each year left, chances as ranges, turning points, bad input."""

import numpy as np
import pandas as pd
import pytest

from cropload.errors import CroploadError
from cropload.frost.replay import replay_frost
from cropload.frost.years import frost_years
from cropload.vine.weather.settings import CASES

PLANS = ["3x8+3x2", "3x12+3x2"]
FEW = {"draws": 200, "seed": 4, "hemisphere": "north"}


def weather(years=12, frost=(), first=2001):
    """Steady springs from March on; each of `frost` is a date with its low."""
    dates = pd.date_range(f"{first}-01-01", f"{first + years - 1}-12-31")
    season = np.where((dates.month >= 3) & (dates.month <= 10), 12.0, 4.0)
    table = pd.DataFrame({"date": dates, "tmin_c": season - 3, "tmax_c": season + 5})
    for day, low in frost:
        table.loc[table["date"] == day, "tmin_c"] = low
    return table


def bursts(years=12, first=2001):
    return {year: f"{year}-04-10" for year in range(first, first + years)}


def test_years_without_frost_give_the_whole_crop():
    crop = np.array([8.0, 9.0])
    found = replay_frost(weather(), PLANS, bursts(), crop=crop, **FEW)
    assert found.seasons == tuple(range(2001, 2013))
    assert found.crop == pytest.approx(np.broadcast_to(crop[:, None, None], found.crop.shape))
    table = found.frame
    assert table["mean_crop_p50"].tolist() == pytest.approx([8, 9])
    assert table["chance"].tolist() == [0, 0]
    # No frost year in 12 does not mean no chance (Wilson).
    assert table["chance_high"].between(0.1, 0.15).all()
    assert table["best_chance"].tolist() == [0, 1]
    assert found.break_even()["words"][1] == "no frost year in this record: nothing to weigh"


def test_a_hard_frost_in_one_year_shows_in_that_year_alone():
    found = replay_frost(
        weather(frost=[("2005-05-12", -6.0)]),
        PLANS,
        bursts(),
        crop=[8.0, 9.0],
        variety="Grenache",
        **FEW,
    )
    rows = found.frame_by("season").set_index(["season", "plan"])
    hit = rows.loc[(2005, "3x8+3x2")]
    assert hit["nights"] == 1
    assert hit["worst_night"] == pd.Timestamp("2005-05-12")
    assert hit["block_c"] == pytest.approx(-6)
    assert hit["killed"] > 0.9
    # Grenache's secondary shoots bear about 0.02 of a primary's crop.
    assert hit["crop_left_p50"] < 0.06
    assert rows.drop(2005)["crop_left_p50"].to_numpy() == pytest.approx(1.0)
    table = found.frame
    assert table["frost_years"].tolist() == pytest.approx([1, 1])
    assert table["mean_crop_p50"][0] < 8
    # Years drawn anew hold the one frost year twice often enough for the worst in ten to be it.
    assert table["worst_crop_p10"][0] < 1.5
    assert table["worst_crop_p90"][0] > 7.5
    assert found.worst == "worst year in ten"


def test_longer_wood_is_charged_for_a_smaller_frost_free_crop():
    dear = replay_frost(weather(), PLANS, bursts(), crop=[9.0, 8.0], **FEW).frame
    assert dear["best_chance"].tolist() == [1, 0]


def test_the_late_cut_bears_its_cost_every_year_and_the_turning_point_follows_by_hand():
    table = weather(frost=[("2005-05-01", -1.6), ("2009-05-01", -1.6)])
    found = replay_frost(table, ["3x8", "3x8"], bursts(), cases=CASES, crop=[8.0, 8.0], **FEW)
    cost = found.years.seasons[0].late_cut_cost
    assert found.frost_free[1] == pytest.approx(8 * (1 - cost))
    assert found.frost_free[0] == pytest.approx(8)
    row = found.break_even().iloc[1]
    # By hand, draw by draw, over the years in which the laid-down plan lost more than 30 %.
    chances = []
    for draw in range(200):
        frost = found.crop_left[0, :, draw] < 0.7
        if frost.any():
            price = found.frost_free[0, draw] - found.frost_free[1, draw]
            payout = (found.crop[1, frost, draw] - found.crop[0, frost, draw]).mean()
            if payout > 0:
                chances.append(price / (price + payout))
    assert row["chance_p50"] == pytest.approx(np.median(chances))
    assert 0 < row["chance_p10"] < row["chance_p50"] < row["chance_p90"] < 1


def test_seasons_worked_out_once_serve_any_plans():
    table = weather(frost=[("2005-05-01", -1.6)])
    years = frost_years(table, bursts(), **FEW)
    again = replay_frost(years, PLANS)
    direct = replay_frost(table, PLANS, bursts(), **FEW)
    assert again.crop_left == pytest.approx(direct.crop_left)
    with pytest.raises(CroploadError, match="worked out already"):
        replay_frost(years, PLANS, bursts())
    only = frost_years(table, bursts(), cases=["laid_down"], **FEW)
    with pytest.raises(CroploadError, match="without the case"):
        replay_frost(only, PLANS, cases="upright_until_final_cut")


def test_a_year_depends_on_itself_only():
    table = weather(frost=[("2005-05-01", -1.6)])
    alone = replay_frost(table, PLANS, bursts(), seasons=[2005], **FEW)
    among = replay_frost(table, PLANS, bursts(), **FEW)
    assert alone.crop_left[:, 0] == pytest.approx(among.crop_left[:, 4])
    assert any("one season only" in note for note in alone.notes)


def test_few_years_are_said_as_a_range():
    found = replay_frost(weather(4, [("2002-05-12", -6.0)]), PLANS, bursts(4), **FEW)
    table = found.frame
    # One of four: Wilson 80 % from statsmodels.
    from statsmodels.stats.proportion import proportion_confint

    low, high = proportion_confint(1, 4, 0.2, "wilson")
    assert table["chance_low"][0] == pytest.approx(low)
    assert table["chance_high"][0] == pytest.approx(high)
    assert found.worst == "worst year seen"
    assert f"{100 * low:.0f} to {100 * high:.0f} %" in found.text()
    assert any("4 seasons only" in note for note in found.notes)
    assert any("no frost-free crop was given" in note for note in found.notes)


def test_three_dates_fit_a_sum_for_the_other_seasons():
    found = replay_frost(weather(8), PLANS, bursts(3), **FEW)
    assert len(found.seasons) == 8
    assert found.frame_by("season")["budburst"].dt.strftime("%m-%d").between("04-08", "04-12").all()
    two = replay_frost(weather(8), PLANS, bursts(2), **FEW)
    assert two.seasons == (2001, 2002)
    assert any("seasons 2003-2008 left out: no budburst date" in note for note in two.notes)


def test_southern_seasons_are_named_by_harvest():
    dates = pd.date_range("2001-07-01", "2006-06-30")
    season = np.where((dates.month >= 9) | (dates.month <= 4), 12.0, 4.0)
    table = pd.DataFrame({"date": dates, "tmin_c": season - 3, "tmax_c": season + 5})
    table.loc[table["date"] == "2003-11-12", "tmin_c"] = -6.0
    given = {year: f"{year - 1}-10-10" for year in range(2002, 2007)}
    found = replay_frost(table, PLANS, given, draws=200)
    rows = found.frame_by("season")
    assert found.seasons == tuple(range(2002, 2007))
    assert set(rows.loc[rows["nights"] > 0, "season"]) == {2004}


def test_seasons_with_holes_or_without_an_end_are_left_out_and_said():
    table = weather(5)
    table.loc[table["date"].between("2003-04-01", "2003-04-20"), "tmin_c"] = np.nan
    table = table[table["date"] < "2005-05-01"]
    found = replay_frost(table, PLANS, bursts(5), **FEW)
    assert found.seasons == (2001, 2002, 2004)
    text = " ".join(found.notes)
    assert "season 2003 left out" in text
    assert "season 2005 left out: the weather ends before" in text


def test_crop_draws_set_the_number_of_draws():
    crop = np.random.default_rng(1).lognormal(2, 0.1, (2, 150))
    found = replay_frost(weather(3), PLANS, bursts(3), crop=crop, hemisphere="north")
    assert found.frost_free == pytest.approx(crop)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"budburst": None}, "neither a budburst date nor a heat sum"),
        ({"budburst": {}}, "no budburst date of this block"),
        ({"budburst": {2001: "2001-10-10"}}, "hemisphere"),
        ({"budburst": 99_999.0}, "no season of this weather"),
        ({"budburst": "soon"}, "heat sum"),
        ({"crop": [1.0, 2.0, 3.0]}, "one row"),
        ({"crop": [1.0, np.nan]}, "0 or more"),
        ({"heavy_loss": 30}, "between 0 and 1"),
        ({"cases": ["laid_down"]}, "1 cases for 2 plans"),
        ({"hemisphere": "south"}, "those of the north"),
    ],
)
def test_bad_input_gets_a_clear_message(change, words):
    given = {"weather": weather(3), "plans": PLANS, "budburst": bursts(3), **FEW} | change
    with pytest.raises(CroploadError, match=words):
        replay_frost(**given)


def test_real_springs_of_seattle():
    # A real daily record, 2012-2015, from the general-purpose package vega_datasets.
    data = pytest.importorskip("vega_datasets").data
    raw = data.seattle_weather().rename(columns={"temp_min": "tmin_c", "temp_max": "tmax_c"})
    dates = {2012: "2012-04-10", 2013: "2013-04-05", 2014: "2014-04-03"}
    mild = replay_frost(raw, PLANS, dates, draws=500)
    hollow = replay_frost(raw, PLANS, dates, offset=-4.0, draws=500)
    assert mild.seasons == hollow.seasons == (2012, 2013, 2014, 2015)
    # The station itself had no freezing night from 1 April on (read off the record).
    april = raw[raw["date"].dt.month.isin([4, 5, 6])]
    assert april["tmin_c"].min() > 0
    assert (mild.frame_by("season")["crop_left_p50"] > 0.9).all()
    assert (hollow.crop_left.mean(axis=2) < mild.crop_left.mean(axis=2)).all()
    worst = hollow.frame_by("season").set_index("season")["worst_night"].dropna()
    for season, night in worst.items():
        window = raw[(raw["date"].dt.year == season) & raw["date"].dt.month.between(3, 6)]
        assert night in set(window["date"])
