"""Published figures of spring frost and phenology; the source stands beside each."""

import numpy as np
import pytest

from cropload import handbook
from cropload.frost.replay import break_even
from cropload.vine.bud_damage import wilson_interval
from cropload.vine.weather.kill import KillCurve, crop_index_after_kill
from cropload.vine.weather.record import prepare_weather
from cropload.vine.weather.settings import FrostDraws, FrostSettings, secondary_share

#: Hellman 2018, Pinot noir: modified E-L stage, temperature that kills half [C].
hellman2018_lt50 = [(3, -3.3), (4, -2.2), (9, -1.7), (11, -1.1)]
#: FAO 2005 chapter 4, Concord, burst and one to four leaves: 10 % and 90 % killed [C].
fao2005_concord = [
    (4, -3.9, -8.9),
    (7, -2.8, -6.1),
    (9, -2.2, -5.6),
    (10, -2.2, -3.3),
    (11, -2.2, -2.8),
]


@pytest.mark.parametrize(("stage", "lt50"), hellman2018_lt50)
def test_half_is_killed_at_the_published_temperature(stage, lt50):
    curve = KillCurve.from_handbook()
    assert curve.lt50(stage) == pytest.approx(lt50, abs=0.05)
    assert curve.killed(lt50, stage) == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize(("stage", "lt50"), hellman2018_lt50)
def test_half_is_killed_at_the_published_temperature_over_the_draws(stage, lt50):
    settings = FrostSettings.from_handbook()
    drawn = FrostDraws.make(settings, 40_000)
    x50 = np.exp(settings.curve.log_x50(stage) + drawn.lt50_shift)
    steep = settings.curve.steepness[0] * drawn.steepness_factor
    killed = 1 / (1 + (x50 / -lt50) ** steep)
    # Standard deviation of a draw is about 0.15, so 0.5 is met within 5 standard errors.
    assert killed.mean() == pytest.approx(0.5, abs=5 * killed.std() / 200)


@pytest.mark.parametrize(("stage", "tenth", "ninety"), fao2005_concord)
def test_concord_pairs_come_back_from_their_own_curve(stage, tenth, ninety):
    stages, lt10, lt90 = zip(*fao2005_concord, strict=True)
    mild, hard = -np.array(lt10), -np.array(lt90)
    steepness = tuple(2 * np.log(9) / np.log(hard / mild))
    curve = KillCurve(stages, tuple(-np.sqrt(mild * hard)), steepness, "Concord")
    assert curve.killed(tenth, stage) == pytest.approx(0.1)
    assert curve.killed(ninety, stage) == pytest.approx(0.9)


def test_concord_pairs_of_the_handbook_are_the_published_ones():
    for column, key in ((1, "frost.concord_lt10_c"), (2, "frost.concord_lt90_c")):
        assert handbook.value(key) == [row[column] for row in fao2005_concord]
        assert list(handbook.entry(key).extra["stages"]) == [row[0] for row in fao2005_concord]


@pytest.mark.parametrize(("killed", "index"), [(0.33, 0.776), (0.03, 0.980)])
def test_friend_2011_crop_index_of_chardonnay(killed, index):
    # Friend et al. 2011: 0.32 is a secondary shoot's share; the index is arithmetic on it.
    share = secondary_share("Chardonnay").value
    assert share == 0.32
    assert crop_index_after_kill(killed, share) == pytest.approx(index, abs=0.0005)


@pytest.mark.parametrize(("variety", "chance"), [("chardonnay", 0.562), ("merlot", 0.422)])
def test_georgia_break_even_of_a_late_cut(variety, chance):
    # University of Georgia: -26.12 and +40.74 % (Chardonnay), -26.38 and +72.40 % (Merlot).
    loss = handbook.value(f"frost.late_cut_loss.{variety}")
    gain = handbook.value(f"frost.late_cut_gain.{variety}")
    # Frost halves the crop; the late cut costs its loss in every year.
    p = float(break_even(1.0, 0.5, 1 - loss, 0.5 * (1 + gain)))
    assert p == pytest.approx(chance, abs=0.0005)
    # At the turning point both plans give the same mean crop.
    assert (1 - p) + p * 0.5 == pytest.approx((1 - p) * (1 - loss) + p * 0.5 * (1 + gain))


def test_break_even_of_plans_that_never_turn():
    assert break_even(1.0, 0.5, 1.1, 0.6) == 0
    assert np.isinf(break_even(1.0, 0.5, 0.9, 0.4))
    assert np.isnan(break_even(1.0, 0.5, 1.2, 0.4))


@pytest.mark.parametrize(("variety", "nodes"), [("cabernet_sauvignon", 20.0), ("chardonnay", 16.3)])
def test_nodes_at_the_end_of_flowering(variety, nodes):
    # Brazil 2019, SciELO S0100-29452019000600204: 810 C d above 10 C to the end of flowering.
    interval = handbook.value(f"phenology.leaf_interval_variety.{variety}")
    assert 810.0 / interval == pytest.approx(nodes, abs=0.06)


def test_days_between_stages_of_cabernet_sauvignon():
    # SciELO S0100-29452019000600204: 46.8, 64.3, 54.6 days; total 165.7.
    steps = ("budburst_to_flowering", "flowering_to_veraison", "veraison_to_harvest")
    entries = [handbook.entry(f"days.cabernet_sauvignon.{step}") for step in steps]
    assert np.cumsum([entry.value for entry in entries]) == pytest.approx([46.8, 111.1, 165.7])
    assert [entry.extra["sd_days"] for entry in entries] == [3.0, 2.1, 6.1]


def test_wilson_range_of_years_is_that_of_a_general_statistics_library():
    from statsmodels.stats.proportion import proportion_confint

    for hits, years in ((0, 4), (1, 4), (7, 20), (20, 20)):
        assert wilson_interval(hits, years, 0.8) == pytest.approx(
            proportion_confint(hits, years, 0.2, "wilson"), abs=1e-9
        )


def test_real_weather_of_seattle_is_read_and_checked():
    # Daily record of Seattle 2012-2015 carried by the general-purpose package vega_datasets.
    data = pytest.importorskip("vega_datasets").data
    raw = data.seattle_weather().rename(columns={"temp_min": "tmin_c", "temp_max": "tmax_c"})
    frame, notes = prepare_weather(raw, hemisphere="north")
    assert len(frame) == 1461
    assert not frame["filled"].any()
    assert frame["tmin_c"].min() == pytest.approx(raw["tmin_c"].min())
    assert not any("Fahrenheit" in note for note in notes)
    doubtful = raw.assign(tmin_c=raw["tmin_c"] * 9 / 5 + 32, tmax_c=raw["tmax_c"] * 9 / 5 + 32)
    assert any("Fahrenheit" in note for note in prepare_weather(doubtful).notes)
