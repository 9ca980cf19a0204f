"""Thinning: clipped mean, chance and weight response, against other ways to get them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats
from season_records import SEASON, count_rows, small_estate

from cropload import handbook
from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.season.tables import around
from cropload.season.thinning import _clipped_mean, thin_to


@pytest.fixture(scope="module")
def full():
    """A heavy crop: 50 clusters on 40 counted vines of every block."""
    counts = count_rows("Alder", 50, 40) + count_rows("Fir", 50, 40)
    return forecast(small_estate(counts=counts), SEASON, draws=4000)


def log_normal(mean, cv):
    spread = np.sqrt(np.log1p(cv**2))
    return stats.lognorm(s=spread, scale=mean / np.sqrt(1 + cv**2))


@given(mean=st.floats(5, 120), cv=st.floats(0.05, 1.0), most=st.floats(1, 200))
def test_the_mean_of_clipped_vines_agrees_with_numerical_integration(mean, cv, most):
    # The mean of min(X, most) is the area under the survival function up to most.
    area, _ = integrate.quad(log_normal(mean, cv).sf, 0, most, limit=200)
    assert _clipped_mean(mean, cv, most) == pytest.approx(area, rel=1e-5)


def test_a_limit_beyond_all_vines_takes_nothing_and_a_tiny_one_leaves_itself():
    assert _clipped_mean(30.0, 0.35, 1e4) == pytest.approx(30.0)
    assert _clipped_mean(30.0, 0.35, 0.1) == pytest.approx(0.1)


def test_the_clipped_mean_of_vines_as_they_stand():
    vines = log_normal(40, 0.35).rvs(400_000, random_state=np.random.default_rng(5))
    by_hand = np.minimum(vines, 30).mean()
    assert _clipped_mean(40.0, 0.35, 30) == pytest.approx(by_hand, rel=0.002)


def test_clusters_are_whole_and_the_best_whole_number_is_taken(full):
    found = thin_to(full, "Alder", target_t_ha=9.0)
    assert isinstance(found.keep, int)
    assert (found.frame["keep"] == np.arange(1, len(found.frame) + 1)).all()
    assert found.chance_after == found.frame["chance"].max()
    assert found.frame.loc[found.frame["chance"].idxmax(), "keep"] == found.keep
    assert found.keep < found.clusters_now[1]


def test_the_chance_is_that_of_vines_thinned_one_by_one(full):
    target = 9.0
    found = thin_to(full, "Alder", target_t_ha=target)
    rng = np.random.default_rng(2)
    clusters, kg = full.growth.clusters[0], full.growth.kg_picked[0]
    entry = handbook.entry("thin.weight_response")
    cv = handbook.value("sampling.cv_clusters")
    noise = log_normal(1.0, cv).rvs((len(kg), 400), random_state=rng)
    left = np.minimum(clusters[:, None] * noise, found.keep).mean(1)
    response = np.minimum(entry.value + entry.spread * rng.standard_normal(len(kg)), 0)
    t_ha = kg * (left / clusters) ** (1 + response) * 1000 / 1000 / 0.375
    chance = np.mean(np.abs(t_ha / target - 1) <= 0.10)
    assert found.chance_after == pytest.approx(chance, abs=0.03)
    row = found.frame.set_index("keep").loc[found.keep]
    assert row["t_ha_p50"] == pytest.approx(np.median(t_ha), rel=0.01)
    assert row["drop"] == pytest.approx(np.mean(clusters - left), rel=0.02)


def test_the_fewer_are_left_the_smaller_the_crop_and_the_heavier_each_cluster(full):
    options = thin_to(full, "Alder", target_t_ha=9.0).frame
    assert (options["t_ha_p50"].diff().dropna() > 0).all()
    assert (options["drop"].diff().dropna() <= 0).all()
    assert (options["labour_h"].diff().dropna() <= 0).all()
    # The crop falls less than the clusters, because those left grow heavier.
    thinned = options[options["share_dropped"] > 0.2]
    crop_left = thinned["t_ha_p50"] / np.median(full.growth.kg_picked[0] / 0.375)
    assert (crop_left > 1 - thinned["share_dropped"]).all()


def test_a_band_of_yield_to_prunings_is_met_draw_by_draw(full):
    found = thin_to(full, "Alder", ravaz=(4.0, 6.0))
    ratio = full.growth.kg_picked[0] / (full.growth.pruning_weight_kg_per_m[0] * 1.5)
    now = np.mean((ratio >= 4) & (ratio <= 6))
    assert found.chance_now == pytest.approx(now)
    assert found.chance_after >= found.chance_now
    named = thin_to(full, "Alder", ravaz="band.ravaz.general")
    assert "yield to prunings" in named.heading()


def test_a_target_above_the_crop_leaves_the_fruit(full):
    found = thin_to(full, "Alder", target_t_ha=60.0)
    assert found.heading().startswith("Alder: Leave the fruit")
    assert found.drop == 0
    assert found.labour_h == 0
    assert found.chance_after == found.chance_now


def test_a_crop_light_for_the_wood_is_said_to_be_so_and_has_no_table(full):
    ratio = np.median(full.growth.kg_picked[0] / (full.growth.pruning_weight_kg_per_m[0] * 1.5))
    found = thin_to(full, "Alder", ravaz=(2 * ratio, 3 * ratio))
    assert found.light
    assert f"light for the wood, with yield to prunings about {ratio:.1f}" in found.heading()
    assert around(found).empty
    # On target as it hangs is not light, and there is nothing to choose either.
    content = thin_to(full, "Alder", ravaz=(0.5 * ratio, 2 * ratio))
    assert not content.light
    assert "thinning does not raise it" in content.heading()
    assert around(content).empty


@pytest.mark.parametrize("target", [8.0, 12.0, 14.0, 16.0, 17.0, 18.0])
def test_no_choice_shown_drops_next_to_nothing(full, target):
    found = thin_to(full, "Alder", target_t_ha=target)
    shown = around(found)
    if found.drop:
        assert (shown["drop"].iloc[:-1] >= handbook.value("thin.least_drop")).all()
        assert str(found.keep) in set(shown["keep"])
        last = shown.iloc[-1]
        assert (last["keep"], last["drop"], last["labour_h"]) == ("all", 0.0, 0.0)
        assert last["chance"] == found.chance_now
        assert last["t_ha_p50"] == pytest.approx(np.median(full.growth.kg_picked[0]) / 0.375)
    else:
        assert shown.empty


def test_the_message_says_what_to_leave_and_the_cautions_come_along(full):
    found = thin_to(full, "Alder", target_t_ha=8.0)
    assert found.heading().startswith(f"Alder: Leave at most {found.keep} clusters on a vine")
    assert "8 t/ha within 10 %" in found.heading()
    assert "crew hours" in found.heading()
    words = " ".join(found.notes).lower()
    assert "contract" in words
    assert "local advisory" in words
    assert "late enough" in words


def test_labour_is_the_handbooks_minutes(full):
    found = thin_to(full, "Alder", target_t_ha=8.0)
    minutes = handbook.value("thin.minutes_vine")
    minutes += found.drop * handbook.value("thin.minutes_cluster")
    assert found.labour_h == pytest.approx(1000 * minutes / 60)


def test_the_less_even_the_vines_the_more_a_limit_takes_and_the_less_is_left(full):
    even, uneven = (
        thin_to(full, "Alder", target_t_ha=8.0, cv_vines=cv).frame.set_index("keep")
        for cv in (0.1, 0.6)
    )
    both = even.index.intersection(uneven.index)
    assert (even.loc[both, "drop"] < uneven.loc[both, "drop"] + 1e-9).all()
    assert (even.loc[both, "t_ha_p50"] > uneven.loc[both, "t_ha_p50"] - 1e-9).all()
    assert even.loc[40, "drop"] < 0.97 * uneven.loc[40, "drop"]


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({}, "either a target"),
        ({"target_t_ha": 8, "ravaz": (4, 6)}, "either a target"),
        ({"target_t_ha": -1}, "target_t_ha must be a number above 0"),
        ({"target_t_ha": float("nan")}, "target_t_ha must be a number above 0"),
        ({"target_t_ha": "much"}, "target_t_ha must be a number above 0"),
        ({"target_t_ha": 8, "tolerance": 0}, "tolerance must be a number above 0"),
        ({"target_t_ha": 8, "cv_vines": 0}, "cv_vines must be a number above 0"),
    ],
)
def test_what_cannot_be_asked_gets_one_clear_message(full, asked, text):
    with pytest.raises(CroploadError, match=text):
        thin_to(full, "Alder", **asked)


def test_a_block_picked_or_lost_is_not_thinned():
    crop = {"season": SEASON, "block": "Alder", "date": f"{SEASON}-09-20", "tonnes": 4.0}
    hail = [row | {"clusters": 0} for row in count_rows("Birch", 30)]
    found = forecast(small_estate(harvest=[crop], counts=hail), SEASON, draws=100)
    for block in ("Alder", "Birch"):
        with pytest.raises(CroploadError, match="too late to thin"):
            thin_to(found, block, target_t_ha=8)
    with pytest.raises(CroploadError, match="no block 'Oak'"):
        thin_to(found, "Oak", target_t_ha=8)
