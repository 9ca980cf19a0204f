"""Published chains from buds or shoots to crop, run through the vine model itself."""

import numpy as np
import pytest
from scipy import constants

from cropload import handbook
from cropload.units import US, vines_per_hectare
from cropload.vine.growth import COMPONENTS, RESPONSES, LoadExponents, LoadState, grow
from cropload.vine.plan import PruningPlan
from cropload.vine.plan_shape import PlanShape

NO_RESPONSE = LoadExponents(
    **{f"{name}_{when}": 0.0 for name in RESPONSES for when in ("first", "settled")}
)


def vine(buds, **components):
    """Grow one vine whose nodes are all alike and whose load is what it has long carried."""
    known = dict.fromkeys(COMPONENTS, 1.0) | {"noncount_shoots": 1e-12} | components
    load = np.log(buds)
    logs = np.log([known[name] for name in COMPONENTS])
    clusters = buds * known["shoots_per_bud"] * known["clusters_per_shoot"]
    state = LoadState(load, load, np.log(clusters))
    return grow(logs, PlanShape(load, 0.0, 0.0), state, NO_RESPONSE)


@pytest.mark.parametrize(("row_ft", "short_tons"), [(10, 2.16), (5, 4.31)])
def test_three_shoots_a_foot(row_ft, short_tons):
    # Cortell, "Fruit by the Foot", Oregon Wine Press: 3 shoots per ft, 1.5 clusters, 0.22 lb.
    spacing_ft = 6
    grown = vine(
        3 * spacing_ft, clusters_per_shoot=1.5, cluster_weight_g=0.22 * constants.pound / 1e-3
    )
    vines = vines_per_hectare(row_ft * constants.foot, spacing_ft * constants.foot)
    t_ha = vines * grown.kg_on_vine / 1000
    assert US.convert("t_ha", t_ha) == pytest.approx(short_tons, abs=0.005)


def test_twenty_four_buds_at_eighty_percent_budbreak():
    # A grower's published example, 2009, trade press; it rounds 9.6 lb to 9.
    grown = vine(
        24,
        shoots_per_bud=0.8,
        clusters_per_shoot=2.0,
        cluster_weight_g=0.25 * constants.pound / 1e-3,
    )
    assert US.convert("kg_per_vine", grown.kg_on_vine) == pytest.approx(9.6, abs=1e-9)


@pytest.mark.parametrize(
    ("clusters", "grams", "per_shoot", "off"),
    [(1.8, 82.0, 153.5, -0.038), (1.6, 67.7, 106.7, 0.015)],
)
def test_a_product_of_means_is_not_the_mean_of_products(clusters, grams, per_shoot, off):
    # Epee and others 2024, OENO One 58(3), Sauvignon blanc at the lightest and heaviest load.
    grown = vine(1, clusters_per_shoot=clusters, cluster_weight_g=grams)
    assert 1000 * grown.kg_on_vine / per_shoot - 1 == pytest.approx(off, abs=5e-4)


def test_twenty_four_two_bud_spurs_bear_three_shoots_on_four_nodes():
    # Kliewer and Dokoozlian 2005, Table 4: 24 two-bud spurs, 36 shoots, 69 clusters, 9.8 kg.
    plan = PruningPlan.parse("0x0+24x2")
    assert plan.buds == 48
    assert 36 / plan.buds == handbook.value("layout.spur_shoots_per_node")
    cabernet = handbook.variety("Cabernet Sauvignon")
    grown = vine(
        plan.buds,
        shoots_per_bud=handbook.value("layout.spur_shoots_per_node"),
        clusters_per_shoot=cabernet["clusters_per_shoot"].value,
        cluster_weight_g=cabernet["cluster_weight_g"].value,
    )
    assert grown.shoots == pytest.approx(36)
    assert grown.clusters == pytest.approx(69, abs=0.5)
    assert grown.kg_on_vine == pytest.approx(9.8, abs=0.05)


def test_a_cane_with_its_renewal_spur_has_the_buds_of_six_spurs():
    # Pinot noir, Oregon, Catalyst 4(1): 12 nodes either way.
    nodes = handbook.value("layout.cane_and_spur_or_spurs")
    assert PruningPlan.parse("1x10+1x2").buds == PruningPlan.parse("0x0+6x2").buds == nodes


@pytest.mark.parametrize(
    ("variety", "clusters_per_shoot"),
    [
        ("Trollinger", 1.30),
        ("Lemberger", 1.72),
        ("Meunier", 1.80),
        ("Dornfelder", 1.77),
        ("Riesling", 2.26),
        ("Kerner", 1.93),
        ("Mueller-Thurgau", 2.04),
        ("Silvaner", 1.95),
    ],
)
def test_long_term_fertility_at_weinsberg(variety, clusters_per_shoot):
    # LVWO Weinsberg, "Ertragssteuerung im Weinbau".
    found = handbook.variety(variety)["clusters_per_shoot"]
    assert found.value == clusters_per_shoot
    assert found.sources == ("LVWOWeinsberg",)


@pytest.mark.parametrize(
    ("variety", "low", "high"),
    [
        ("Pinot noir", 1.5, 1.7),
        ("Cabernet Sauvignon", 1.3, 1.5),
        ("Sauvignon blanc", 2.0, 2.0),
        ("Chardonnay", 2.0, 2.0),
    ],
)
def test_increase_factors_by_variety(variety, low, high):
    # Cohen 2013, trade press; 2.0 in general after Fiola, University of Maryland Extension.
    found = handbook.variety(variety)["increase_factor"]
    assert low <= found.value <= high
    assert handbook.value("prior.increase_factor") == 2.0
