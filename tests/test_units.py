import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from cropload.errors import CroploadError
from cropload.units import (
    METRIC,
    SUFFIXES,
    US,
    from_metric,
    to_metric,
    unit_system,
    us_name,
    vines_per_hectare,
)

# The factors against scipy.constants, which takes them from CODATA and NIST SP 811.
SCIPY = {
    "_m": constants.foot,
    "_m2": constants.foot**2,
    "_kg": constants.pound,
    "_g": constants.pound * 1000,
    "tonnes": constants.short_ton / 1000,
    "_t": constants.short_ton / 1000,
    "_per_t": 1000 / constants.short_ton,
    "_c": constants.convert_temperature(33, "F", "C") - constants.convert_temperature(32, "F", "C"),
}


@pytest.mark.parametrize("suffix", SCIPY)
def test_factors_agree_with_scipy(suffix):
    assert SUFFIXES[suffix][1] == pytest.approx(SCIPY[suffix], rel=1e-12)


def test_acre_agrees_with_scipy():
    # scipy's acre is the international one; 0.40468564224 ha is 43,560 international square feet.
    assert SUFFIXES["_ha"][1] == pytest.approx(constants.acre / constants.hectare, rel=1e-12)
    assert SUFFIXES["_ha"][1] == pytest.approx(43_560 * constants.foot**2 / 1e4, rel=1e-12)


def test_short_ton_per_acre():
    # 1 short ton/ac = 2.24170 t/ha: the usual table value, printed to five decimals.
    assert SUFFIXES["_t_ha"][1] == pytest.approx(2.24170, abs=0.000005)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (212, 100), (-40, -40), (28.4, -2)])
def test_temperatures(fahrenheit, celsius):
    assert to_metric(fahrenheit, "_c") == pytest.approx(celsius)
    assert US.convert("temperature_c", celsius) == pytest.approx(fahrenheit)


def test_temperature_difference_has_no_zero_point():
    assert to_metric(9.0, "_c", difference=True) == pytest.approx(5.0)


@given(st.sampled_from(sorted(SUFFIXES)), st.floats(-1e6, 1e6), st.booleans())
def test_there_and_back(suffix, value, difference):
    there = from_metric(value, suffix, difference)
    assert to_metric(there, suffix, difference) == pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("quantity", METRIC.shown)
def test_both_systems_show_every_quantity_and_turn_it_back(quantity):
    values = np.array([0.0, 1.0, 12.5])
    for system in (METRIC, US):
        assert system.label(quantity)
        shown = system.convert(quantity, values)
        np.testing.assert_allclose(system.to_metric(quantity, shown), values, atol=1e-12)


def test_us_labels_and_metric_labels_differ():
    assert all(METRIC.label(quantity) != US.label(quantity) for quantity in US.shown)


def test_us_names_of_columns():
    assert us_name("cap_t_ha") == "cap_ton_ac"
    assert us_name("price_per_t") == "price_per_ton"
    assert us_name("area_ha") == "area_ac"
    assert us_name("variety") is None


def test_unknown_system_or_quantity_is_named():
    with pytest.raises(CroploadError, match="imperial"):
        unit_system("imperial")
    with pytest.raises(CroploadError, match="tonnes"):
        METRIC.show("tonne")
    assert unit_system(" US ") is US
    assert unit_system(METRIC) is METRIC


@pytest.mark.parametrize("spacing", [0, -1, float("nan"), float("inf"), "wide", None])
def test_impossible_spacing(spacing):
    with pytest.raises(CroploadError, match="vine_spacing_m"):
        vines_per_hectare(2.0, spacing)


def test_vines_per_hectare_on_arrays():
    assert vines_per_hectare(np.array([2.0, 2.5]), 1.0).tolist() == [5000.0, 4000.0]
