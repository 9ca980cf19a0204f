"""Sample sizes against published and tabulated figures."""

import math

import pytest
from scipy import stats

from cropload import handbook
from cropload.season.sampling import sample_size, sample_size_for_proportion

# Vines for +-E of a mean at 95 %, normal quantile first, then Student's t: arithmetic on the
# textbook formulas n = (z CV / E)^2 and t(n-1) CV / sqrt(n) <= E (Cochran 1977, chapter 4).
MEANS = [
    (0.20, 0.05, 62, 64),
    (0.20, 0.10, 16, 18),
    (0.30, 0.10, 35, 38),
    (0.40, 0.10, 62, 64),
    (0.4349, 0.10, 73, 76),
    (0.50, 0.10, 97, 99),
]


@pytest.mark.parametrize(("cv", "error", "by_normal", "by_t"), MEANS)
def test_vines_for_a_mean(cv, error, by_normal, by_t):
    assert sample_size(cv, error, quantile="normal") == by_normal
    assert sample_size(cv, error) == by_t
    assert by_normal == math.ceil((stats.norm.ppf(0.975) * cv / error) ** 2)


def test_a_small_block_needs_fewer_vines():
    # CV 43.49 %, +-10 %, the 125 bearing vines of Strickland, Forster & Vasey 1932 (J. Agric.
    # Victoria 30:584).  The rounded printed-table way n0 / (1 + (n0 - 1)/N) from n0 = 73 gives 47;
    # the exact condition gives 46 with the normal quantile and 48 with Student's t.
    tabulated = math.ceil(73 / (1 + 72 / 125))
    exact = sample_size(0.4349, 0.10, population=125, quantile="normal")
    by_t = sample_size(0.4349, 0.10, population=125)
    assert (tabulated, exact, by_t) == (47, 46, 48)


def test_the_published_260_of_800_vines_is_a_proportion():
    # Washington State University 2006: 800 vines, 260 for 5 %.
    assert sample_size_for_proportion(0.05, population=800) == 260


def test_the_published_260_is_the_wrong_number_for_a_mean():
    # It does not know how much vines differ.  For a mean within 5 % of 800 vines, 260 would be far
    # too many for even vines and too few for uneven ones.
    assert sample_size(0.15, 0.05, population=800) < 40
    assert sample_size(0.60, 0.05, population=800) > 320


def test_40_vines_hold_an_ordinary_block_to_about_a_tenth():
    # ITV Midi-Pyrenees: 40 vines represent a block, more than 60 adds little.
    vines = handbook.value("sampling.vines_for_a_block")
    low, high = handbook.band("sampling.vines_for_a_block")
    assert (vines, low, high) == (40, 40, 60)
    cv = handbook.value("sampling.cv_clusters")
    assert low <= sample_size(cv, 0.10, population=800) <= high
