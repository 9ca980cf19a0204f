"""What longer wood and a late cut are worth: parts add up, and a price comes off."""

import numpy as np
import pytest

from cropload.errors import CroploadError
from cropload.frost.cover import frost_cover, one_case
from cropload.frost.replay import break_even
from cropload.frost.worth import late_cut_worth, wood_worth
from cropload.vine.weather.settings import CASES
from tests.frost.test_frost_cover import records, weather


@pytest.fixture(scope="module")
def replay():
    # Budburst is on 10 April in every spring: two nights hit shoots, four springs are mild.
    cold = weather(frost=(("2016-04-22", -2.5), ("2019-04-28", -3.5)))
    return frost_cover(records(cold), "North", ["2x10+2x2", "2x14+2x2"], case=CASES, draws=200)


def test_the_change_of_the_crop_is_what_the_springs_say(replay):
    found = wood_worth(one_case(replay, CASES[0]))
    change = (replay.crop[1] - replay.crop[0]).mean(axis=0)
    assert found["change_p50"][1] == pytest.approx(np.median(change))
    assert (found.loc[0, ["change_p50", "buds_p50", "kept_p50"]] == 0).all()
    left = replay.crop_left.mean(axis=1)
    assert found["kept_p50"][1] == pytest.approx(
        np.median(replay.frost_free[1] * (left[1] - left[0]))
    )


def test_a_late_cut_saves_less_its_cost_less_its_price(replay):
    free, dear = late_cut_worth(replay), late_cut_worth(replay, 0.5)
    gain = (replay.crop[2] - replay.crop[0]).mean(axis=0)
    assert free["net_p50"][0] == pytest.approx(np.median(gain))
    assert dear["net_p50"][0] == pytest.approx(np.median(gain) - 0.5)
    assert dear["chance_pays"][0] == pytest.approx((gain > 0.5).mean())
    assert (dear["never"] >= free["never"]).all()


def test_the_frequency_from_which_it_pays_is_that_of_two_kinds_of_years(replay):
    price = 0.1
    hit = replay.crop_left[0] < 1 - replay.heavy_loss
    seen = hit.any(axis=0)

    def in_frost(at):
        return (replay.crop[at] * hit).sum(axis=0)[seen] / hit.sum(axis=0)[seen]

    chance = break_even(
        replay.frost_free[0][seen],
        in_frost(0),
        replay.frost_free[2][seen] - price,
        in_frost(2) - price,
    )
    turning = chance[np.isfinite(chance) & (chance > 0)]
    found = late_cut_worth(replay, price).iloc[0]
    assert found["break_even_p50"] == pytest.approx(np.median(turning))


def test_one_case_alone_cannot_be_weighed(replay):
    with pytest.raises(CroploadError, match="replay both cases"):
        late_cut_worth(one_case(replay, CASES[0]))
