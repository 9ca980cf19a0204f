"""Balance figures that can be computed again from what their sources print."""

import math

import numpy as np
import pytest
from scipy import constants

from cropload import handbook
from cropload.vine.balance import ravaz_index

# Kliewer and Dokoozlian 2005, AJEV 56:170, Table 4, Cabernet Sauvignon, Oakville 1992, per vine:
# shoots, clusters, yield [kg], prunings [kg]. The minimal vines' prunings are trimmings.
OAKVILLE = {
    "24 two-bud spurs": (36, 69, 9.8, 1.30),
    "hedged": (191, 225, 20.2, 1.53),
    "minimal": (314, 299, 15.9, 0.29),
}


@pytest.mark.parametrize(
    ("row", "index"), [("24 two-bud spurs", 7.5), ("hedged", 13.2), ("minimal", 54.8)]
)
def test_yield_over_prunings_of_the_oakville_rows(row, index):
    _, _, crop, wood = OAKVILLE[row]
    assert ravaz_index(crop, wood) == pytest.approx(index, abs=0.05)


def test_the_oakville_spurs_are_what_the_handbook_says_of_cabernet():
    shoots, clusters, crop, _ = OAKVILLE["24 two-bud spurs"]
    known = handbook.variety("Cabernet Sauvignon")
    assert known["clusters_per_shoot"].value == pytest.approx(clusters / shoots, abs=0.005)
    assert known["cluster_weight_g"].value == pytest.approx(1000 * crop / clusters, abs=0.5)


def test_two_oakville_treatments_together_are_judged_by_their_sums():
    crop, wood = np.array([9.8, 20.2]), np.array([1.30, 1.53])
    assert ravaz_index(crop, wood) == pytest.approx(10.60, abs=0.005)
    assert np.mean(crop / wood) == pytest.approx(10.37, abs=0.005)


@pytest.mark.parametrize(("row", "exponent"), [("hedged", -0.39), ("minimal", -0.67)])
def test_cluster_weight_on_clusters_in_the_oakville_rows(row, exponent):
    """The exponents behind the handbook's settled load response of cluster weight."""
    _, few, light_crop, _ = OAKVILLE["24 two-bud spurs"]
    _, many, heavy_crop, _ = OAKVILLE[row]
    ratio = (heavy_crop / many) / (light_crop / few)
    found = math.log(ratio) / math.log(many / few)
    assert found == pytest.approx(exponent, abs=0.005)
    ours = handbook.entry("load.weight.settled")
    assert abs(found - ours.value) < 2.5 * ours.spread


@pytest.mark.parametrize(
    ("fewer", "heavier"),
    [(0.37, 0.38), (0.23, 0.25)],  # Kurtural and others 2006, Chambourcin
)
def test_thinned_chambourcin_compensates_more_than_our_centre(fewer, heavier):
    found = math.log1p(heavier) / math.log1p(-fewer)
    assert found < handbook.value("load.weight.settled")


def test_niagara_prunings_fall_with_longer_canes_as_the_handbook_has_it():
    # Niagara, 3 to 9 nodes per cane, 1.53 to 1.12 kg of prunings per vine; read second hand.
    exponent = math.log(1.12 / 1.53) / math.log(9 / 3)
    assert handbook.value("load.pruning.settled") == pytest.approx(exponent, abs=0.005)


def test_leaf_area_that_ripens_fruit_in_both_printed_units():
    # Wolpert, eXtension: 12 cm2 a gram.
    per_kg = 12 * constants.centi**2 / constants.gram
    assert handbook.value("leaf_area.to_ripen") == pytest.approx(per_kg)
    low, high = handbook.band("band.leaf_area_m2_per_kg.single")
    assert low < per_kg <= high + 1e-12


def test_concord_carried_more_than_the_general_band_allows():
    # Bates 2021, AJEV 72(1): ripe at 20, prunings unchanged at 17.5. No band for vinifera.
    _, most = handbook.band("band.ravaz.general")
    assert handbook.band("band.ravaz.concord") == (17.5, 20)
    assert most < 17.5


def test_a_balanced_uk_vine_is_inside_both_of_its_own_bands():
    # Plumpton: 15 shoots per m, canes of 30 to 40 g; so 0.45 to 0.60 kg of prunings per m.
    light, heavy = handbook.band("band.cane_weight_g.cool_uk")
    assert (15 * light / 1000, 15 * heavy / 1000) == pytest.approx((0.45, 0.60))


def test_the_two_families_of_pruning_weight_bands_do_differ():
    # Kliewer and Dokoozlian 2005 in its abstract; Smart and Robinson 1991 from memory.
    single = handbook.band("band.pruning_weight_kg_per_m.single")
    remembered = handbook.band("band.pruning_weight_kg_per_m.memory_metric")
    assert single[0] > remembered[0]
    assert single[1] > remembered[1]
    assert handbook.entry("band.pruning_weight_kg_per_m.memory_metric").grade == "memory"


def test_inflorescences_per_node_of_a_warm_may():
    # Belvini and others 2020: 17.9 C in the May before gives 1.262; local to its site.
    constant, slope = handbook.value("fertility.may_temperature")
    assert constant + slope * 17.9 == pytest.approx(1.262, abs=5e-4)
