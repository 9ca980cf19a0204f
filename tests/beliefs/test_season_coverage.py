"""Ranges that keep their word through the season, in simulation from the model's own assumptions.

Half of the blocks are counted, the other half never: these live on what the blocks share.
"""

import numpy as np
import pytest
from length import repeats, widened
from season_simulation import POINTS, run

pytestmark = [pytest.mark.simulation, pytest.mark.long]

PART = 5
ESTATES, SEASONS_EACH, SEED = repeats(150, PART), 6, 7


@pytest.fixture(scope="module")
def happened():
    return run(ESTATES, SEASONS_EACH, SEED)


@pytest.mark.parametrize("who", ["counted", "uncounted", "total"])
@pytest.mark.parametrize("point", POINTS)
def test_the_80_percent_range_holds_78_to_82_percent_of_the_truths(happened, point, who):
    """The whole form has a standard error of 0.8 % for blocks and 1.6 % for the total."""
    inside = happened[0][:, list(POINTS).index(point), ["counted", "uncounted", "total"].index(who)]
    error = inside.std(ddof=1) / np.sqrt(len(inside))
    print(f"{100 * inside.mean():.1f} % inside, standard error {100 * error:.1f} %")
    assert error < widened(0.018, PART)
    assert abs(inside.mean() - 0.80) < widened(0.02, PART) + error


def test_the_error_falls_at_every_stage_for_counted_and_uncounted_blocks_and_the_total(happened):
    errors = happened[1]
    for who, falls in (("counted", 0.6), ("uncounted", 0.9), ("total", 0.7)):
        medians = np.median(errors[who], axis=1)
        assert (np.diff(medians[1:]) < 0).all()
        assert medians[-1] < falls * medians[0]


def test_the_forecast_beats_last_years_crop_before_any_count(happened):
    errors = happened[1]
    assert np.median(errors["counted"][0]) < 0.85 * np.median(errors["last year"])


def test_the_forecast_beats_a_count_times_last_years_cluster_weight(happened):
    errors = happened[1]
    rival = np.median(errors["count x last weight"])
    assert np.median(errors["counted"][list(POINTS).index("clusters")]) < 0.85 * rival
    assert np.median(errors["counted"][list(POINTS).index("lag weights")]) < 0.6 * rival
