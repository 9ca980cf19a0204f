"""Bands: by handbook key, by the user's numbers, and what cannot be a band."""

from dataclasses import FrozenInstanceError

import numpy as np
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


BAND = bands.Band(4.0, 10.0, "a band")


@pytest.mark.parametrize(
    ("value", "word"),
    [(3.9999, "below"), (4.0, "inside"), (7, "inside"), (10.0, "inside"), (10.0001, "above"),
     (float("-inf"), "below"), (float("inf"), "above"), (np.float64(4.0), "inside")],
)  # fmt: skip
@pytest.mark.parametrize(
    ("season", "when"),
    [(2027, "in 2027"), (np.int64(2027), "in 2027"), ("settled", "once settled")],
)
def test_a_verdict_tells_the_season_it_judges_and_the_ends_are_inside(value, word, season, when):
    verdict = BAND.judge(value, season)
    assert (verdict.word, verdict.season) == (word, season)
    assert str(verdict) == f"{word} {when}"
    assert verdict == bands.Verdict(word, season) == BAND.judge(value, season)


def test_verdicts_of_two_seasons_are_not_the_same():
    assert BAND.judge(11, 2027) != BAND.judge(11, "settled") != BAND.judge(11, 2028)
    with pytest.raises(FrozenInstanceError):
        BAND.judge(11, 2027).season = "settled"


@pytest.mark.parametrize(
    ("value", "season"),
    [(float("nan"), 2027), (None, 2027), (7, None), (7, 27), (7, "settle"), (7, True)],
)
def test_what_cannot_be_judged_says_so(value, season):
    with pytest.raises(CroploadError):
        BAND.judge(value, season)
    with pytest.raises(CroploadError):
        bands.Verdict("over", 2027)


def test_divided_canopies_have_their_own_balance_band():
    """Single 4-10, horizontally divided 5-10 (Kliewer & Dokoozlian 2005, AJEV 56:170)."""
    one, two = bands.ravaz_band(None, 1), bands.ravaz_band(None, 2)
    assert (one.low, one.high) == (4, 10)
    assert (two.low, two.high) == (5, 10)


@pytest.mark.parametrize(
    ("block", "low", "high"),
    [
        # Concord, New York (Bates 2021, AJEV 72(1)).
        ({"variety": "Concord", "canopies": 2}, 17.5, 20),
        # From memory, so only where the climate is told.
        ({"variety": "Spätburgunder", "climate": "cool"}, 3, 6),
        ({"variety": "Pinot noir", "climate": "warm"}, 4, 10),
        ({"variety": "Pinot noir"}, 4, 10),
        ({"variety": "Syrah", "climate": "cool"}, 4, 10),
        # General 5-10 (Practical Winery & Vineyard 2017) where there is no single canopy.
        ({"training": "head"}, 5, 10),
        ({"training": "minimal hedge"}, 5, 10),
        ({"training": "cordon"}, 4, 10),
    ],
)
def test_the_balance_band_goes_by_variety_climate_canopies_and_training(block, low, high):
    band = bands.ravaz_band(None, **block)
    assert (band.low, band.high) == (low, high)
    own = bands.ravaz_band((5, 8), **block)
    assert (own.low, own.high) == (5, 8)


def test_concord_is_held_against_a_density_of_its_own():
    """30+10 nodes per lb: 40 at 2 lb, 60 at 4 lb (Smith 2023), on vines 8 ft apart."""
    band = bands.density_band(None, variety="concord")
    assert band.low == pytest.approx(40 / (8 * 0.3048))
    assert band.high == pytest.approx(60 / (8 * 0.3048))
    assert bands.density_band(None, variety="Riesling").key == "band.shoots_per_m.undivided"


def test_a_minimal_hedge_is_held_against_no_density_but_one_of_ones_own():
    """No source read gives a band: one trial's vines bore 191 and 314 shoots, which is no band."""
    for variety in ("", "Concord"):
        band = bands.density_band(None, variety=variety, training="minimal hedge")
        assert not band.known
        assert {band.word(value) for value in (1.0, 14.0, 130.0)} == {bands.UNKNOWN}
        assert str(band.judge(130.0, 2027)) == band.judge(130.0, "settled").word == "no band known"
        assert band.text() == "no band known for a minimal hedge"
    own = bands.density_band((60, 90), training="minimal hedge")
    assert own.known
    assert own.word(100) == "above"
    assert bands.density_band(None, training="cordon").known


def test_a_band_from_memory_says_so():
    assert "from memory" in bands.ravaz_band(None, variety="Pinot noir", climate="cool").text()


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
