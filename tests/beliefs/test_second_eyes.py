"""The figures kept from a Bayesian package (``second_eyes.py``) are still those of the engine."""

import numpy as np
import pandas as pd
import pytest
import second_eyes


@pytest.fixture(scope="module")
def kept():
    return pd.read_csv(second_eyes.KEPT).set_index("what")


@pytest.fixture(scope="module")
def drawn():
    return second_eyes.engine(8000)


def test_with_spreads_held_the_posterior_is_the_packages(kept, drawn):
    _, given, _ = drawn
    assert list(given) == list(kept.index)
    for what, row in kept.iterrows():
        mean, sd, n = given[what].mean(), given[what].std(), len(given[what])
        assert abs(mean - row["mean_package"]) < 4 * np.hypot(row["mean_error"], sd / np.sqrt(n))
        assert abs(sd - row["sd_package"]) < 4 * np.hypot(row["sd_error"], sd / np.sqrt(2 * n))
        # Near enough to tell one spread from another.
        assert max(row["mean_error"], row["sd_error"]) < 0.1 * row["sd_package"]


def test_ranges_told_are_about_as_wide_as_with_every_spread_unknown(kept, drawn):
    *_, told = drawn
    for what, row in kept.iterrows():
        low, middle, high = np.quantile(told[what], (0.1, 0.5, 0.9))
        assert (low, middle, high) == pytest.approx(row[["p10", "p50", "p90"]], rel=0.03)
        width = np.log(high / low) / np.log(row["p90_full"] / row["p10_full"])
        assert 0.9 < width < 1.1
        assert abs(np.log(middle / row["p50_full"])) < 0.25 * np.log(high / low)
