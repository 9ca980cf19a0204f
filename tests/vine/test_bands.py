"""Bands: by handbook key, by the user's numbers, and what cannot be a band."""

import pytest

from cropload import handbook
from cropload.errors import CroploadError
from cropload.vine import bands


@pytest.mark.parametrize(
    ("value", "word"), [(11.9, "below"), (12, "inside"), (15, "inside"), (15.1, "above")]
)
def test_words_of_shoot_density(value, word):
    """12 to 15 shoots per m of undivided canopy (Wolpert, eXtension)."""
    assert bands.density_band(None).word(value) == word


def test_divided_canopies_have_their_own_balance_band():
    """Single 4-10, horizontally divided 5-10 (Kliewer & Dokoozlian 2005, AJEV 56:170)."""
    one, two = bands.ravaz_band(None, 1), bands.ravaz_band(None, 2)
    assert (one.low, one.high) == (4, 10)
    assert (two.low, two.high) == (5, 10)


def test_a_band_by_key_by_numbers_and_ready_made():
    by_key = bands.ravaz_band("band.ravaz.cool_pinot_noir")
    assert (by_key.low, by_key.high) == handbook.band("band.ravaz.cool_pinot_noir")
    own = bands.ravaz_band((3, 7.5))
    assert own.text() == "3 to 7.5 (your own band)"
    assert bands.ravaz_band(own) is own


@pytest.mark.parametrize(
    "given",
    [(7, 3), (5, 5), (-1, 4), (1,), (1, 2, 3), 5, ("a", "b"), (1, float("inf")),
     (float("nan"), 4), (None, 4), "band.ravaz.nowhere", "prior.shoots_per_bud"],
)  # fmt: skip
def test_what_cannot_be_a_band_says_so(given):
    with pytest.raises(CroploadError):
        bands.ravaz_band(given)
