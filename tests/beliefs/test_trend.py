"""Where a yearly change is sure, against the chances that scipy's normal gives."""

import numpy as np

from cropload.beliefs.trend import chances_beyond, surely_beyond


def test_a_change_is_sure_where_its_chance_is_over_the_bound():
    rng = np.random.default_rng(3)
    middle, sd = np.append(rng.normal(0, 0.1, 999), np.nan), rng.uniform(0.005, 0.1, 1000)
    for sure in (0.6, 0.8, 0.95):
        chances = chances_beyond(middle, sd)
        for told, chance in zip(surely_beyond(middle, sd, sure), chances, strict=True):
            np.testing.assert_array_equal(told, chance > sure)
            assert 0 < told.sum() < 999
