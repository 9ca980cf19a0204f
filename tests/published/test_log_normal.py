"""The chain as a product of log-normals: scipy's closed form, and error propagation in general."""

import numpy as np
import pytest
from helpers import block_row, make_records

from cropload import handbook
from cropload.beliefs.history import build_estate
from cropload.beliefs.ranges import quantiles
from cropload.vine.growth import COMPONENTS, LoadExponents, LoadState, grow
from cropload.vine.plan_shape import PlanShape

CHAIN = ("buds_left", "shoots_per_bud", "clusters_per_shoot", "cluster_weight_g", "recovery")
BUDS = 24.0


def crop(x):
    """The crop of 24 buds [kg/vine] without load response and without non-count shoots."""
    none = LoadExponents(**dict.fromkeys(LoadExponents.__dataclass_fields__, 0.0))
    load = np.log(BUDS)
    return grow(x, PlanShape(load, 0.0, 0.0), LoadState(load, load, load), none, 0.0).kg_picked


@pytest.fixture(scope="module")
def beliefs():
    return build_estate(make_records(blocks=[block_row()]), 2026).beliefs


def test_crop_draws_have_the_closed_form_of_a_product(beliefs):
    """scipy.stats.lognorm with the product of the medians and the root of the summed variances."""
    from scipy.stats import lognorm

    at = [COMPONENTS.index(name) for name in CHAIN]
    medians = np.exp(beliefs.centre[0][at])
    spread = np.sqrt(np.sum(beliefs.spread()[0][at] ** 2))
    exact = lognorm(s=spread, scale=BUDS * np.prod(medians) / 1000)
    draws = crop(beliefs.draw([0], 200_000, seed=1)[:, 0])
    np.testing.assert_allclose(quantiles(draws), exact.ppf([0.1, 0.5, 0.9]), rtol=0.01)
    assert draws.mean() == pytest.approx(exact.mean(), rel=0.01)


def test_small_spreads_agree_with_linear_error_propagation():
    """The general-purpose library ``uncertainties``, valid where spreads are small."""
    uncertainties = pytest.importorskip("uncertainties")
    values = {name: handbook.value(f"prior.{name}") for name in COMPONENTS}
    small = dict(zip(CHAIN, (0.01, 0.02, 0.03, 0.025, 0.01), strict=True))
    product = BUDS / 1000
    for name, spread in small.items():
        product = product * uncertainties.ufloat(values[name], spread * values[name])
    rng = np.random.default_rng(2)
    x = np.array(
        [
            np.log(values[name]) + small.get(name, 0) * rng.standard_normal(200_000)
            for name in COMPONENTS
        ]
    )
    draws = crop(x)
    assert draws.mean() == pytest.approx(product.nominal_value, rel=0.002)
    assert draws.std() == pytest.approx(product.std_dev, rel=0.01)
