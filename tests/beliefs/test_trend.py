"""Which yearly changes are named: planted ones, and steady blocks seldom."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from cropload import handbook
from cropload.beliefs.spreads import prior_spreads
from cropload.beliefs.trend import named_changes, own_lines

#: A block loses 8 % a year, its eleven neighbours nothing; six seasons, noise 12 % a season.
BLOCKS, SEASONS, FALL, NOISE, WORLDS = 12, 6, np.log(0.92), 0.12, 400


class Plain:
    """The handbook's spreads."""

    sd = prior_spreads()[0]


def told(rng, *, season=0.15, noise=NOISE, fall=FALL, figure="crop", blocks=BLOCKS):
    """Lines of an estate whose first block changes, (2, blocks)."""
    year = np.arange(SEASONS)
    scatter = np.broadcast_to(noise, blocks)[:, None] * rng.standard_normal((blocks, SEASONS))
    log = rng.normal(0, 0.3, (blocks, 1)) + season * rng.standard_normal(SEASONS) + scatter
    log[0] += fall * year
    rows = pd.DataFrame(
        {
            "block": np.repeat([f"Block {at}" for at in range(blocks)], SEASONS),
            "season": np.tile(2020 + year, blocks),
            figure: np.exp(log.ravel()),
            f"{figure}_variance": 1e-4,
        }
    )
    return own_lines(rows, figure, Plain).told


def share(hits):
    """A share, with its interval (Wilson, 95 %), printed."""
    hits = np.ravel(hits)
    low, high = proportion_confint(hits.sum(), hits.size, method="wilson")
    print(f"{hits.mean():.3f} ({low:.3f} to {high:.3f})")
    return hits.mean()


@pytest.mark.simulation
@pytest.mark.parametrize("figure", ["crop", "pruning_weight", "ravaz"])
def test_eight_per_cent_a_year_are_named_and_steady_blocks_seldom(figure):
    """400 estates of other seeds than it was tuned on: a standard error of 1.8 %.

    1,200 estates of fresh seeds: pruning weight 84.9 % named, 10.3 % of steady blocks; crop 83.6
    and 8.6; Ravaz 83.2 and 8.2; the ranges hold 79 to 82 %. Knowing the noise itself, lines beside
    the others' name 85 % where they name one steady block in ten, so more cannot be had.
    """
    error = 0.018
    rng = np.random.default_rng([17, 77])
    middle, sd = np.moveaxis([told(rng, figure=figure) for _ in range(WORLDS)], 1, 0)
    falls, rises = named_changes(middle, sd)
    assert share(falls[:, 0]) >= 0.85 - 3 * error
    assert share((falls | rises)[:, 1:]) <= 0.10 + error
    truth = np.where(np.arange(BLOCKS) == 0, FALL, 0.0)
    inside = np.abs(middle - truth) <= 1.2815515655 * sd
    assert 0.75 <= share(inside[:, 0]) <= 0.85
    assert 0.75 <= share(inside[:, 1:]) <= 0.85


def test_what_all_blocks_surely_do_is_each_blocks_change():
    """Thirty seasons in which every block loses 8 % a year are no weather."""
    seasons = np.arange(1996, 2026)
    log = np.log(0.92) * (seasons - 1996) + 0.05 * np.sin(seasons)
    rows = pd.concat(
        pd.DataFrame({"block": f"Block {at}", "season": seasons, "crop": np.exp(log + 0.1 * at)})
        for at in range(6)
    ).assign(crop_variance=1e-4)
    found = own_lines(rows, "crop", Plain).told
    assert np.all(named_changes(*found)[0])
    assert found[0] == pytest.approx(np.log(0.92), abs=0.01)


@pytest.mark.simulation
def test_weather_of_all_is_no_change_of_a_block():
    rng = np.random.default_rng([17, 3])
    middle, sd = np.moveaxis([told(rng, season=0.3, fall=0.0) for _ in range(100)], 1, 0)
    assert share(np.any(named_changes(middle, sd), axis=0)) <= 0.125


@pytest.mark.simulation
def test_a_block_that_swings_is_seldom_named_and_hides_no_other():
    rng, noise = np.random.default_rng([17, 4]), np.full(BLOCKS, NOISE)
    noise[1] = 0.5
    middle, sd = np.moveaxis([told(rng, noise=noise) for _ in range(200)], 1, 0)
    falls, rises = named_changes(middle, sd)
    assert share((falls | rises)[:, 1]) <= 0.22
    assert share(falls[:, 0]) >= 0.65
    assert share((falls | rises)[:, 2:]) <= 0.12


def test_a_change_is_named_where_it_is_sure_and_beyond_holding():
    rng = np.random.default_rng(3)
    middle, sd = np.append(rng.normal(0, 0.1, 999), np.nan), rng.uniform(0.005, 0.1, 1000)
    sure, band = handbook.value("trend.sure"), handbook.value("trend.holding")
    from scipy.stats import norm

    for named, sign in zip(named_changes(middle, sd), (-1, 1), strict=True):
        beyond = sign * np.expm1(middle) > band
        np.testing.assert_array_equal(named, beyond & (norm.cdf(sign * middle / sd) > sure))
        assert 0 < named.sum() < 999
