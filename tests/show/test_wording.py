"""Words and numbers that a grower reads."""

import pytest

from cropload.show import wording
from cropload.units import METRIC, US
from cropload.vine.bands import Band

UNDIVIDED = Band(12, 15, "undivided canopy")


def test_band_in_feet_is_the_metric_band_times_0_3048():
    # 1 ft = 0.3048 m exactly: 12 and 15 per m are 3.6576 and 4.572 per ft.
    assert wording.band_text(UNDIVIDED, METRIC, "per_m") == "12 to 15 per m (undivided canopy)"
    assert wording.band_text(UNDIVIDED, US, "per_m") == "3.66 to 4.57 per ft (undivided canopy)"


def test_t_ha_is_shown_in_short_tons_per_acre():
    # 1 short ton/ac = 2.24170 t/ha, from 2000 lb of 0.45359237 kg and an acre of 0.40468564224 ha.
    assert wording.amount("t_ha", 2.24170 * 5, US) == "5.0 ton/ac"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None])
def test_missing_number_is_said_in_words(value):
    assert wording.figure(value) == "not known"


def test_no_minus_before_nought():
    assert wording.figure(-0.001, 1) == "0.0"


def test_cautions_name_eyes_hands_footing_and_wounds():
    assert [word for word, _ in wording.CAUTIONS] == ["Eyes", "Hands", "Footing", "Wounds"]
    assert "local codes" in wording.SUPPORT
