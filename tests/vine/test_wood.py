"""Next winter's wood, against closed forms, full enumeration and a plain simulation."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from cropload import handbook
from cropload.errors import CroploadError
from cropload.vine.wood import replacement_wood, spur_shoots

# Chances of a millionth or more: scipy's binomial overflows on the smallest floats there are.
chances = st.integers(0, 10**6).map(lambda millionths: millionths / 10**6)


@given(chances, st.integers(1, 4))
def test_alike_buds_follow_the_binomial(chance, buds):
    both, one, none, _ = spur_shoots(chance, buds)
    grown = stats.binom(buds, chance)
    assert none == pytest.approx(grown.pmf(0), abs=1e-12)
    assert one == pytest.approx(grown.pmf(1), abs=1e-12)
    assert both == pytest.approx(grown.sf(1), abs=1e-12)


@given(chances, st.lists(st.floats(0, 1.5), min_size=1, max_size=4), st.integers(1, 4))
def test_unlike_buds_follow_the_count_of_all_cases(chance, profile, buds):
    grows = [min(chance * profile[min(i, len(profile) - 1)], 1.0) for i in range(buds)]
    wanted = np.zeros(4)
    for case in itertools.product([False, True], repeat=buds):
        weight = math.prod(g if hit else 1 - g for g, hit in zip(grows, case, strict=True))
        wanted[2 - min(sum(case), 2)] += weight
        wanted[3] += weight * (any(case) and not case[0])
    assert spur_shoots(chance, buds, profile) == pytest.approx(tuple(wanted), abs=1e-12)


@given(st.floats(0, 1.4), st.integers(1, 4))
def test_the_three_chances_add_up_to_one(chance, buds):
    both, one, none, climbs = spur_shoots(chance, buds)
    assert both + one + none == pytest.approx(1)
    assert min(both, one, none, climbs) >= 0


def test_a_mean_above_one_shoot_a_bud_is_certain_and_no_more():
    assert spur_shoots(1.3, 2) == spur_shoots(1.0, 2) == (1.0, 0.0, 0.0, 0.0)


FULL, BARE, SPUR, LOST = range(4)


def simulate(rng, canes, spurs, buds, chance, rebuild, usable, winters, base_used, vines=20_000):
    """Follow vines one winter after another; return places short and lost per vine."""
    places = canes or spurs
    with_spur = np.arange(places) < min(canes, spurs)
    state = np.where(with_spur | (canes == 0), FULL, BARE) + np.zeros((vines, 1), int)
    short_by, lost_by = [], []
    for _ in range(winters):
        grew = rng.random((vines, places, buds)) < chance
        shoots = grew.sum(axis=2) * ((state == FULL) | (state == SPUR))
        fit = (rng.random((2, vines, places)) < chance) & (rng.random((2, vines, places)) < usable)
        has_cane = (state == FULL) | (state == BARE)
        base = fit.sum(axis=0) * has_cane * (canes > 0) * (base_used | ~with_spur)
        back = rng.random((vines, places)) < rebuild
        if canes == 0:
            after, started = np.where(shoots > 0, FULL, LOST), FULL
        else:
            offered = shoots + base
            one = BARE if base_used else SPUR
            renewed = np.select([offered >= 2, offered == 1], [FULL, one], LOST)
            after = np.where(with_spur, renewed, np.where(base > 0, BARE, LOST))
            started = np.where(with_spur, SPUR, BARE)
        state = np.where(state == LOST, np.where(back, started, LOST), after)
        short_by.append(((state == SPUR) | (state == LOST)).sum(axis=1).mean())
        lost_by.append((state == LOST).sum(axis=1).mean())
    return np.array(short_by), np.array(lost_by)


@pytest.mark.parametrize(
    ("canes", "spurs", "buds"),
    [(3, 3, 2), (2, 4, 3), (3, 1, 2), (2, 0, 2), (0, 12, 2), (2, 2, 1)],
)
def test_winters_agree_with_vines_followed_one_by_one(canes, spurs, buds):
    wood = replacement_wood(
        canes, spurs, buds, 0.75, winters=4, rebuild_chance=0.4, basal_shoot_usable=0.7
    )
    # Five standard errors of a mean of 20,000 vines with at most a variance of places / 4.
    within = 5 * math.sqrt(wood.places / 4 / 20_000)
    given_ = (canes, spurs, buds, 0.75, 0.4, 0.7, 4)
    short, lost = simulate(np.random.default_rng(20261), *given_, base_used=True)
    assert wood.places_short_by_winter == pytest.approx(short, abs=within)
    assert wood.places_lost_by_winter == pytest.approx(lost, abs=within)
    assert wood.places_lost_base_used_per_vine == pytest.approx(lost[0], abs=within)
    short, lost = simulate(np.random.default_rng(20262), *given_, base_used=False)
    assert wood.places_short_spur_only_by_winter == pytest.approx(short, abs=within)
    assert wood.places_lost_per_vine == pytest.approx(lost[0], abs=within)


def test_the_first_winter_is_places_times_the_chance():
    wood = replacement_wood(3, 3, 2, 0.8, bearing_vines=2000)
    assert wood.places == 3
    assert wood.none == pytest.approx(0.04)
    assert wood.places_lost_per_vine == pytest.approx(3 * 0.04)
    assert wood.places_lost_block == pytest.approx(240)
    assert wood.places_short_spur_only_by_winter[0] == pytest.approx(3 * (0.04 + 0.32))
    assert len(wood.places_short_by_winter) == handbook.value("wood.winters") == 5


def test_two_winters_by_hand():
    """A cane with a two-bud spur; buds burst with 0.8, half the shoots at a cane's base are fit.

    The spur: both 0.64, one 0.32, none 0.04.  Two buds at the base, each with a fit shoot by 0.4:
    two 0.16, one 0.48, none 0.36.  Spur and base together: none 0.04 x 0.36 = 0.0144; just one
    0.32 x 0.36 + 0.04 x 0.48 = 0.1344; two or more 0.8512.
    Winter 1: cane and spur 0.8512, cane alone 0.1344, lost 0.0144; none is short but the lost.
    Winter 2: lost 0.8512 x 0.0144 + 0.1344 x 0.36 + 0.0144 x 0.6 = 0.06928128; a spur started
    again 0.0144 x 0.4 = 0.00576, which is short of its cane too.
    """
    wood = replacement_wood(1, 1, 2, 0.8, winters=2, rebuild_chance=0.4, basal_shoot_usable=0.5)
    assert wood.places_lost_by_winter == pytest.approx([0.0144, 0.06928128])
    assert wood.places_short_by_winter == pytest.approx([0.0144, 0.06928128 + 0.00576])


@given(st.integers(0, 4), st.integers(0, 12), st.integers(2, 3))
def test_when_every_bud_bursts_a_place_with_a_spur_is_never_lost(canes, spurs, buds):
    canes, spurs = min(canes, spurs), max(spurs, 1)
    wood = replacement_wood(canes, spurs, buds, 1.0)
    for found in (wood.places_short_by_winter, wood.places_short_spur_only_by_winter):
        assert found == pytest.approx(0.0, abs=1e-12)
    assert wood.places_lost_block == wood.places_lost_base_used_block == 0.0


def test_when_no_bud_bursts_every_place_is_lost_at_once():
    wood = replacement_wood(3, 2, 2, 0.0)
    assert wood.places_lost_per_vine == wood.places_lost_base_used_per_vine == 3
    assert wood.places_short_by_winter[0] == 3


@given(chances, st.integers(1, 4), st.integers(0, 4), st.integers(1, 3), chances)
def test_the_base_of_the_old_cane_never_makes_it_worse(chance, canes, spurs, buds, usable):
    wood = replacement_wood(canes, spurs, buds, chance, basal_shoot_usable=usable)
    assert wood.places_lost_base_used_per_vine <= wood.places_lost_per_vine + 1e-12
    # With nothing fit there, the first winter is what the spur gives, short or not.
    bare = replacement_wood(canes, canes, buds, chance, basal_shoot_usable=0.0)
    assert bare.places_lost_by_winter[0] == pytest.approx(bare.places_lost_per_vine, abs=1e-12)


def test_a_tended_vine_keeps_nearly_all_its_canes():
    """Common practice, no source: a pruner who may use the base of last year's cane seldom leaves
    a place empty; at a usual burst of 0.85 well under a tenth are, where the spur alone leaves
    about a quarter without a cane."""
    wood = replacement_wood(1, 1, 2, 0.85)
    assert wood.places_short_by_winter[-1] < 0.10
    assert wood.places_short_spur_only_by_winter[-1] > 0.20


def test_a_place_that_is_never_rebuilt_stays_lost_and_one_always_rebuilt_does_not_pile_up():
    never = replacement_wood(0, 1, 2, 0.5, rebuild_chance=0.0)
    assert never.places_lost_by_winter == pytest.approx(1 - 0.75 ** np.arange(1, 6))
    always = replacement_wood(0, 1, 2, 0.5, rebuild_chance=1.0, winters=60)
    assert always.places_lost_by_winter[-1] == pytest.approx(0.25 / 1.25)


@given(st.floats(0.6, 0.99), st.integers(0, 4), st.integers(0, 12), st.integers(1, 3))
def test_better_burst_never_loses_more_places(chance, canes, spurs, buds):
    """From 0.6 on: below, a rebuilt place would be surer than one that was never lost."""
    if canes + spurs == 0:
        spurs = 1
    worse = replacement_wood(canes, spurs, buds, chance)
    better = replacement_wood(canes, spurs, buds, chance + 0.01)
    assert np.all(better.places_lost_by_winter <= worse.places_lost_by_winter + 1e-12)
    assert np.all(worse.places_lost_by_winter <= worse.places_short_by_winter + 1e-12)
    assert np.all(worse.places_short_by_winter <= worse.places + 1e-12)


def test_a_longer_spur_finds_its_two_shoots_more_often():
    found = [replacement_wood(2, 2, buds, 0.8).both for buds in (1, 2, 3)]
    assert found == sorted(found)
    assert found[0] == 0.0
    assert "one-bud" in " ".join(replacement_wood(2, 2, 1, 0.8).notes)


def test_draws_are_kept_apart():
    draws = np.array([0.5, 0.9, 1.2])
    wood = replacement_wood(3, 2, 2, draws, bearing_vines=10)
    assert wood.both.shape == wood.places_lost_block.shape == (3,)
    assert wood.places_short_by_winter.shape == (5, 3)
    for place, chance in enumerate(draws):
        alone = replacement_wood(3, 2, 2, chance, bearing_vines=10)
        assert wood.both[place] == alone.both
        assert wood.places_lost_by_winter[:, place] == pytest.approx(alone.places_lost_by_winter)


def test_a_cane_without_a_spur_is_renewed_from_its_own_base_and_that_is_said():
    wood = replacement_wood(3, 1, 2, 0.9, basal_shoot_usable=0.5)
    assert wood.places == 3
    # Two buds at its base, each with a fit shoot by 0.9 x 0.5.
    assert wood.places_lost_per_vine == pytest.approx(0.01 + 2 * 0.55**2)
    assert any("2 of 3 canes" in note for note in wood.notes)
    bare = replacement_wood(3, 0, 2, 0.9, basal_shoot_usable=0.5)
    assert np.isnan([bare.both, bare.one, bare.none, bare.climbs]).all()
    assert bare.places_lost_per_vine == pytest.approx(3 * 0.55**2)


def test_spurs_beyond_the_canes_renew_nothing():
    more, enough = replacement_wood(2, 5, 2, 0.8), replacement_wood(2, 2, 2, 0.8)
    assert more.places == 2
    assert more.places_lost_by_winter == pytest.approx(enough.places_lost_by_winter)
    assert any("3 spurs per vine stand beyond" in note for note in more.notes)


def test_a_spur_alone_climbs_when_only_its_upper_bud_grew():
    wood = replacement_wood(0, 12, 2, 0.8)
    assert wood.places == 12
    assert wood.climbs == pytest.approx(0.2 * 0.8)
    assert wood.places_lost_per_vine == pytest.approx(12 * 0.04)


def test_two_bud_spurs_of_the_oakville_trial():
    # Kliewer and Dokoozlian 2005, Table 4: 36 shoots on 24 two-bud spurs, 1.5 a spur.
    burst = handbook.value("layout.spur_shoots_per_node")
    wood = replacement_wood(1, 1, 2, burst)
    assert 24 * (2 * wood.both + wood.one) == pytest.approx(36)
    assert (wood.both, wood.one, wood.none) == (9 / 16, 6 / 16, 1 / 16)


def test_renewal_spurs_have_one_or_two_buds():
    # Hellman, Cane pruning of grapevines, eXtension.
    assert handbook.band("layout.renewal_spur_buds") == (1.0, 2.0)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (((0, 0, 2, 0.9), {}), "neither canes nor spurs"),
        (((-1, 3, 2, 0.9), {}), "plan_canes is -1"),
        (((2.5, 3, 2, 0.9), {}), "plan_canes is 2.5; it must be a whole number"),
        (((2, 2, 0, 0.9), {}), "buds_per_spur is 0"),
        (((2, 2, 2, -0.1), {}), "burst_probability is -0.1"),
        (((2, 2, 2, "good"), {}), "burst_probability is 'good'"),
        (((2, 2, 2, 0.9, -5), {}), "bearing_vines is -5"),
        (((2, 2, 2, 0.9, 1, 0), {}), "winters is 0"),
        (((2, 2, 2, 0.9), {"rebuild_chance": 1.5}), "rebuild_chance is 1.5"),
        (((2, 2, 2, 0.9), {"basal_shoot_usable": -1}), "basal_shoot_usable is -1"),
        (((2, 2, 2, 0.9), {"spur_profile": []}), "spur_profile is empty"),
        (((2, 2, 2, 0.9), {"spur_profile": [1, -1]}), "spur_profile is -1"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_in_words(arguments, says):
    given_, named = arguments
    with pytest.raises(CroploadError, match=says):
        replacement_wood(*given_, **named)


def test_many_blocks_at_once_are_what_each_is_alone():
    chance = np.array([[0.7, 0.8], [0.9, 1.0], [0.6, 0.65]])
    vines = np.array([[100], [2000], [30]])
    wood = replacement_wood(2, 2, 2, chance, bearing_vines=vines)
    assert wood.places_short_by_winter.shape == (5, 3, 2)
    alone = replacement_wood(2, 2, 2, chance[1], bearing_vines=2000)
    assert wood.places_lost_block[1] == pytest.approx(alone.places_lost_block)
    with pytest.raises(CroploadError, match="burst_probability has 6 and bearing_vines has 4"):
        replacement_wood(2, 2, 2, chance, bearing_vines=[1, 2, 3, 4])
