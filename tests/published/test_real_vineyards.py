"""Real vines and real weather: the tool meets what it was never tuned on.

Simonoff, Smoothing Methods in Statistics, 1996, page 146: lugs of grapes in each of 52 rows of one
vineyard, 1989-91. Environment and Climate Change Canada: daily weather of Penticton A, 2001-18
(``tests/data/real_vines``, Open Government Licence - Canada).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records

from cropload import forecast, mean_from_sample, replay_frost
from cropload.beliefs.ranges import quantiles
from cropload.outside import trials
from cropload.vine.weather.record import prepare_weather

PENTICTON = Path(__file__).parents[1] / "data" / "real_vines" / "penticton_daily.csv.gz"


@pytest.fixture(scope="module")
def simonoff1996_rows():
    """Lugs by row, 1989 to 1991."""
    return trials._rows()


def test_figures_of_the_52_rows_are_the_published_ones(simonoff1996_rows):
    lugs = simonoff1996_rows
    assert lugs.shape == (52, 3)
    assert lugs.sum(0).tolist() == [170.5, 502.0, 940.5]
    found = [mean_from_sample(season) for season in lugs.T]
    assert [each.mean for each in found] == pytest.approx([3.279, 9.654, 18.087], abs=0.0005)
    assert [100 * each.cv for each in found] == pytest.approx([59.13, 24.22, 24.30], abs=0.005)
    correlation = np.corrcoef(lugs.T)
    assert correlation[1, 2] == pytest.approx(0.708, abs=0.0005)
    assert correlation[0, 1] == pytest.approx(0.722, abs=0.0005)


@pytest.fixture(scope="module")
def forecast_of_1991(simonoff1996_rows):
    """Forecast of each row that bore in all seasons, from 1989 and 1990 alone, and its crop."""
    bore = simonoff1996_rows[(simonoff1996_rows > 0).all(axis=1)]
    names = [f"Row {at + 1}" for at in range(len(bore))]
    where = [(year, at) for year in (0, 1) for at in range(len(bore))]
    seasons = [{"season": 1989 + year, "block": names[at]} for year, at in where]
    harvest = [s | {"tonnes": bore[at, y] / 4} for s, (y, at) in zip(seasons, where, strict=True)]
    records = make_records(
        blocks=[block_row(name) for name in names],
        pruning=[row | {"plan": "2x10+2x2"} for row in seasons],
        harvest=harvest,
    )
    made = forecast(records, 1991, draws=1000, plans=dict.fromkeys(names, "2x10+2x2"))
    draws = made.draws[:, (made.draws > 0).all(axis=0)]
    return np.log(draws), np.log(bore[:, 2] / 4)


def test_rows_of_a_season_lie_among_each_other_as_the_ranges_say(forecast_of_1991):
    """Rows of one vineyard keep closer together than our blocks: more than eight in ten inside."""
    logs, crop = forecast_of_1991
    low, middle, high = quantiles(logs - logs.mean(0))
    seen = crop - crop.mean()
    inside = np.mean((low < seen) & (seen < high))
    print(f"{100 * inside:.0f} % of {len(crop)} rows inside their 80 % range")
    assert inside >= 0.8
    assert np.corrcoef(middle, seen)[0, 1] > 0.6


def test_the_season_of_1991_bore_more_than_the_range_and_is_told_as_missed(forecast_of_1991):
    """Vines still growing into their crop nearly doubled it; no year of planting is on record."""
    logs, crop = forecast_of_1991
    low, _, high = quantiles(np.log(np.exp(logs).sum(0)))
    total = np.log(np.exp(crop).sum())
    assert low < high < total < high + (high - low)


def test_rows_grouped_by_their_crop_of_before_make_a_sample_narrower(simonoff1996_rows):
    lugs, rng = simonoff1996_rows, np.random.default_rng(1996)
    order = np.argsort(lugs[:, 1])
    strata = np.empty(52, int)
    strata[order] = np.arange(52) // 13
    halves = {"simple": [], "stratified": []}
    for _ in range(300):
        simple = rng.permutation(52)[:12]
        by_group = np.concatenate(
            [rng.permutation(np.flatnonzero(strata == g))[:3] for g in range(4)]
        )
        plain = mean_from_sample(lugs[simple, 2], 52)
        grouped = mean_from_sample(
            lugs[by_group, 2],
            dict.fromkeys(range(4), 13),
            design="stratified",
            strata=strata[by_group],
        )
        halves["simple"].append(plain.high - plain.low)
        halves["stratified"].append(grouped.high - grouped.low)
    assert np.mean(halves["stratified"]) < 0.9 * np.mean(halves["simple"])


@pytest.fixture(scope="module")
def penticton():
    return pd.read_csv(PENTICTON, parse_dates=["date"])


def test_nights_below_zero_of_18_springs_are_those_counted(penticton):
    """Nights under 0 C in April and May, as counted from the record before it was read here."""
    frame = prepare_weather(penticton, hemisphere="north").frame
    spring = frame[frame["date"].dt.month.isin([4, 5]) & ~frame["filled"]]
    cold = spring[spring["tmin_c"] < 0].groupby(spring["date"].dt.year).size()
    assert cold.tolist() == [9, 8, 6, 2, 10, 5, 11, 15, 14, 5, 12, 13, 8, 10, 9, 1, 8, 7]
    may = spring[(spring["date"].dt.month == 5) & (spring["tmin_c"] <= -2)]
    assert may["date"].dt.year.tolist() == [2013]


@pytest.mark.parametrize("budburst", [200.0, 250.0])
def test_two_of_18_springs_hurt_most_at_either_sum_to_budburst(penticton, budburst):
    """2013, with -4.2 C on 1 May, and 2015, with an early burst; half die at -1.1 to -2.2 C."""
    found = replay_frost(penticton, ["2x10+2x2"], budburst=budburst, draws=200)
    left = np.median(np.asarray(found.crop_left), axis=-1).squeeze()
    assert list(found.seasons) == list(range(2001, 2019))
    worst = np.argsort(left)[:2]
    assert {found.seasons[at] for at in worst} == {2013, 2015}
    assert np.median(left) > 0.85
