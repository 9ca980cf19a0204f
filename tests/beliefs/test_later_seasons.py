"""Seasons after the coming one: as uncertain as it, and tied to it by what the vines are alone."""

import numpy as np
import pytest
from season_records import SEASON, small_estate

from cropload.beliefs import ranges
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.later_seasons import later_states
from cropload.beliefs.plan_draws import plan_draws
from cropload.vine.growth import COMPONENTS
from cropload.vine.plan import PruningPlan

DRAWS, K = 20_000, len(COMPONENTS)
TODAY, LONGER = (PruningPlan.parse(plan) for plan in ("2x10+2x2", "2x16+2x2"))


@pytest.fixture(scope="module")
def estate():
    return estate_before_season(small_estate(), SEASON)


@pytest.fixture(scope="module")
def states(estate):
    first, _ = estate.draw([0, 4], DRAWS, 0)
    return [first, *later_states(estate, [0, 4], DRAWS, 0, 2)]


def test_every_season_is_as_uncertain_as_the_coming_one(states):
    for later in states[1:]:
        near = {"rtol": 0.03, "atol": 1e-9}
        np.testing.assert_allclose(later.std(-1), states[0].std(-1), **near)
        apart = (later - states[0]).mean(-1) / np.maximum(states[0].std(-1), 1e-9)
        assert np.abs(apart).max() < 0.04


def test_seasons_share_what_the_vines_are_and_no_weather(estate, states):
    """The covariance of two seasons is that of one less the season's effects and the residual."""
    beliefs, spreads = estate.beliefs, estate.beliefs.learned.spreads
    widen = beliefs.learned.widen
    # Rows of the spreads: block, season, a variety's season, residual; see ``GROUPS``.
    weather = sum((spreads.sd[row] * widen[row]) ** 2 for row in (1, 2))
    for at, block in enumerate((0, 4)):
        whole = np.diag(beliefs.covariance(block))[:K]
        lasting = whole - weather - beliefs.residual[block][:K]
        for one, other in ((0, 1), (0, 2), (1, 2)):
            pairs = zip(states[one][:K, at], states[other][:K, at], strict=True)
            seen = np.array([np.corrcoef(pair)[0, 1] for pair in pairs])
            np.testing.assert_allclose(seen, lasting / whole, atol=0.03)


def test_blocks_of_one_season_are_tied_as_in_the_coming_one(states):
    def tie(state):
        return np.array([np.corrcoef(state[at])[0, 1] for at in range(K)])

    np.testing.assert_allclose(tie(states[1]), tie(states[0]), atol=0.04)


def test_a_blocks_later_seasons_do_not_depend_on_its_company(estate):
    alone = next(later_states(estate, [4], 300, 7, 1))
    beside = next(later_states(estate, [0, 4], 300, 7, 1))
    np.testing.assert_array_equal(alone[:, 0], beside[:, 1])


def test_the_first_season_is_the_same_whether_more_are_drawn_or_none(estate):
    plans = [TODAY, LONGER]
    few = plan_draws(estate, [0, 4], plans, draws=300, seed=0, losses=True)
    more = plan_draws(estate, [0, 4], plans, draws=300, seed=0, losses=True, later_seasons=4)
    for settled in (False, True):
        np.testing.assert_array_equal(few.tonnes(settled), more.tonnes(settled))
    seasons = more.tonnes_by_season()
    assert len(seasons) == 5
    np.testing.assert_array_equal(seasons[0], few.tonnes())


def test_a_gain_falls_from_the_first_season_over_the_second_to_the_settled_one(estate):
    drawn = plan_draws(estate, [0], [TODAY, LONGER], draws=2000, seed=0, later_seasons=4)
    gains = [np.median(np.log(crop[1, 0] / crop[0, 0])) for crop in drawn.tonnes_by_season()]
    settled = np.median(np.log(drawn.tonnes(True)[1, 0] / drawn.tonnes(True)[0, 0]))
    # Half of what was carried is the new load in the second season.
    assert gains[1] == pytest.approx((gains[0] + settled) / 2, rel=0.1)
    assert gains[2:] == pytest.approx([settled] * 3, rel=0.03)
    assert gains[0] > 1.5 * settled


def test_losses_of_one_season_say_nothing_of_anothers(estate):
    estate.loss.chance[:] = 0.3
    first, second = (estate.loss.kept(estate.facts.names, [0, 1], 4000, 0, at) for at in (0, 1))
    assert np.corrcoef(first[0], first[1])[0, 1] > 0.2
    assert abs(np.corrcoef(first[0], second[0])[0, 1]) < 0.05
    assert second.mean() == pytest.approx(0.7, abs=0.02)


@pytest.mark.parametrize(
    ("values", "worst"),
    [
        # Two of twenty; one and a half of fifteen, (0 + 0.5 x 1) / 1.5; the lowest of three.
        (range(20), 0.5),
        (range(15), 1 / 3),
        ((5.0, 3.0, 4.0), 3.0),
    ],
)
def test_the_worst_tenth_by_hand(values, worst):
    shuffled = np.random.default_rng(0).permutation(np.array(list(values), float))
    assert ranges.worst_tenth(shuffled) == pytest.approx(worst)
    assert ranges.worst_tenth(np.stack([shuffled, shuffled + 1])).tolist() == pytest.approx(
        [worst, worst + 1]
    )
