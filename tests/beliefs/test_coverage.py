"""Is an 80 % range an 80 % range?  Crops drawn from the model's own assumptions must say so.

Each replicate draws an estate and its past, learns from what was measured there, and asks which
share of the crops that its truth allows next season falls inside the range.  That share, and not a
single hit or miss, is averaged: so a few hundred replicates tell to within 0.7 %.
"""

import numpy as np
import pytest
from length import repeats, widened
from simulated_estate import STAGES, believe, predicted_crops, simulate, true_crops

from cropload.beliefs import ranges

pytestmark = [pytest.mark.simulation, pytest.mark.long]

#: The short form repeats an eighth, and lets chance do as much more as that allows.
PART = 8

#: Loads relative to the usual one: shorter, the same, and half as much again.
RATIOS = (0.75, 1.0, 1.5)


def share_inside(estate, seen, truth, rng, seed, settled, draws=1000, seasons=100):
    """Share of the true crops [t/ha, up to a constant] inside the range, (ratios, blocks)."""
    drawn = predicted_crops(estate, RATIOS, draws, seed, settled)
    low, _, high = ranges.quantiles(drawn)
    true = true_crops(rng, truth, seen.variety, RATIOS, seasons, settled)
    return ((true >= low[..., None]) & (true <= high[..., None])).mean(-1)


def shares(history, replicates, stages=STAGES, settled=(False,), unplanned=0.0):
    """Return the shares inside, (replicates, settled, ratios, blocks)."""
    found = []
    for replicate in range(repeats(replicates, PART)):
        rng = np.random.default_rng([7, *history, replicate])
        seen, truth = simulate(rng, history, stages, unplanned=unplanned)
        estate = believe(seen)
        found.append([share_inside(estate, seen, truth, rng, replicate, late) for late in settled])
    return np.array(found)


def assert_honest(found):
    """``found``: (replicates, ...). The mean of each plan lies in 78 to 82 %."""
    each = found.reshape(len(found), -1).mean(1)
    error = each.std() / np.sqrt(len(each))
    print(f"{100 * each.mean():.1f} % inside, standard error {100 * error:.1f} %")
    assert error < widened(0.007, PART), "too few replicates to tell"
    assert abs(each.mean() - 0.80) <= widened(0.02, PART)


@pytest.fixture(scope="module")
def mixed_estate():
    """Eight blocks of two varieties, with six, three, one and no seasons of history."""
    history = np.array([6, 6, 3, 3, 1, 1, 0, 0])
    return history, shares(history, 480, settled=(False, True))


@pytest.mark.parametrize("settled", [False, True], ids=["first season", "settled"])
@pytest.mark.parametrize("ratio", range(3), ids=[f"{r:g} x the load" for r in RATIOS])
@pytest.mark.parametrize("seasons", [0, 1, 3, 6])
def test_ranges_are_honest_in_an_estate_of_old_and_new_blocks(
    mixed_estate, seasons, ratio, settled
):
    history, found = mixed_estate
    assert_honest(found[:, int(settled), ratio][:, history == seasons])


@pytest.mark.parametrize(("seasons", "replicates"), [(1, 800), (3, 400), (6, 300)])
def test_ranges_are_honest_for_a_block_on_its_own(seasons, replicates):
    found = shares([seasons], replicates)
    for ratio in range(len(RATIOS)):
        assert_honest(found[:, :, ratio])


def test_ranges_are_honest_where_nothing_is_on_record():
    """One belief for all: the truths alone differ."""
    seen, _ = simulate(np.random.default_rng(0), [0])
    low, _, high = ranges.quantiles(predicted_crops(believe(seen), RATIOS, 40_000, 1))
    inside = []
    for replicate in range(repeats(3000, PART)):
        rng = np.random.default_rng([8, replicate])
        _, truth = simulate(rng, [0])
        true = true_crops(rng, truth, seen.variety, RATIOS, 20)
        inside.append(((true >= low[..., None]) & (true <= high[..., None])).mean(-1))
    inside = np.array(inside)
    for ratio in range(len(RATIOS)):
        assert_honest(inside[:, ratio])


@pytest.mark.parametrize(
    "stages", [("harvest",), ("shoots", "clusters", "harvest")], ids=["tonnes", "counts"]
)
def test_ranges_are_honest_where_less_was_measured(stages):
    """Tonnes and plans alone, and shoots and clusters with the tonnes."""
    assert_honest(shares([4, 2, 2], 260, stages))


@pytest.mark.parametrize("unplanned", [0.5, 1.0])
def test_ranges_are_honest_where_no_plan_is_on_record(unplanned):
    """Tonnes and clusters of a load nobody wrote down, kept or changed by a known factor."""
    found = shares([4, 4, 2, 2], 260, ("clusters", "harvest"), unplanned=unplanned)
    for ratio in range(len(RATIOS)):
        assert_honest(found[:, :, ratio])
