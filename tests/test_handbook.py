"""The handbook keeps its own rules, and its reader says what is wrong in one sentence."""

import math
import re
import subprocess
import sys
from pathlib import Path

import pytest
from scipy import constants

from cropload import handbook
from cropload.errors import CroploadError
from cropload.handbook import reader

ALL = handbook.keys()
PACKAGE = Path(reader.__file__).parents[1]
COMPONENTS = {
    "shoots_per_bud",
    "clusters_per_shoot",
    "cluster_weight_g",
    "recovery",
    "noncount_shoots",
    "pruning_weight_kg_per_m",
    "counting_bias",
    "increase_factor",
}


def test_every_cited_source_is_in_the_handbook():
    cited = {source for key in ALL for source in handbook.entry(key).sources}
    assert cited <= set(handbook.source_keys())
    assert all(len(handbook.citation(source)) > 20 for source in cited)


def named_in_code(source, code):
    """Whether a docstring names the first author and the year, as in 'Cochran (1977)'."""
    first, year = re.match(r"([A-Z]?[a-z]+|[A-Z]+)", source)[0], source[-4:]
    return re.search(rf"{first}\b[^\n]{{0,40}}{year}", code) is not None


def test_every_source_is_cited():
    cited = {source for key in ALL for source in handbook.entry(key).sources}
    code = "".join(path.read_text("utf-8") for path in PACKAGE.rglob("*.py"))
    idle = {key for key in set(handbook.source_keys()) - cited if not named_in_code(key, code)}
    assert idle == set(), "cite it in the sources of an entry, or by author and year in a docstring"


def test_keys_are_unique_and_there_are_enough_to_be_worth_a_test():
    assert len(ALL) == len(set(ALL)) > 120


@pytest.mark.parametrize("key", ALL)
def test_an_entry_keeps_the_rules(key):
    found = handbook.entry(key)
    assert found.unit.strip()
    assert found.grade in handbook.GRADES
    assert found.note.strip().endswith((".", ")")), "the note says what the figure is good for"
    if found.grade in ("read", "abstract", "trade"):
        assert found.sources, "a figure read somewhere names where"
    if found.grade == "common practice" or not found.sources:
        assert found.grade in ("common practice", "memory", "assumption")
    assert (found.low is None) == (found.high is None)
    if found.low is not None:
        assert found.low < found.high
        if isinstance(found.value, float | int):
            assert found.low <= found.value <= found.high
    if found.spread is not None:
        assert 0 < found.spread < 2
    numbers = found.value if isinstance(found.value, list) else [found.value]
    assert all(math.isfinite(each) for each in numbers if isinstance(each, float | int))


@pytest.mark.parametrize("key", ALL)
def test_an_entry_prints_within_80_columns_with_its_grade_and_sources(key):
    text = handbook.describe(key)
    found = handbook.entry(key)
    assert text.splitlines()[0] == key
    assert max(map(len, text.splitlines())) <= 80
    assert handbook.GRADES[found.grade] in " ".join(text.split())
    for source in found.sources:
        assert f"[{source}]" in text
    assert found.unit in text


@pytest.mark.parametrize("name", sorted(COMPONENTS))
def test_each_component_has_a_prior_and_four_spreads(name):
    prior = handbook.entry(f"prior.{name}")
    assert prior.value > 0
    assert prior.spread > 0
    for part in ("block", "season", "variety_season", "residual"):
        spread = handbook.entry(f"sd.{name}.{part}")
        assert 0 < spread.value <= prior.spread
        assert spread.extra["dof"] > 2, "a mean of the prior variance exists"


def test_the_prior_of_a_block_is_no_narrower_than_the_spread_between_blocks():
    for name in COMPONENTS:
        between = handbook.value(f"sd.{name}.block")
        assert handbook.entry(f"prior.{name}").spread >= between


def test_load_exponents_grow_from_the_first_season_to_the_settled_one():
    for part in ("burst", "fertility", "weight", "pruning"):
        first, settled = (handbook.value(f"load.{part}.{when}") for when in ("first", "settled"))
        assert settled <= first <= 0


def test_profiles_are_positive_and_best_in_the_middle():
    cane = handbook.value("profile.cane.fertility")
    assert len(cane) == len(handbook.value("profile.cane.burst")) == 15
    assert cane[0] == min(cane[:10])
    assert set(cane[3:10]) == {1.0}, "level from node 4 to 10 (INRA Colmar)"
    assert cane[10:] == sorted(cane[10:], reverse=True), "falls past 11 (INRA Colmar)"
    assert handbook.value("profile.spur.fertility") == cane[:4]


@pytest.mark.parametrize(
    ("key", "per", "printed"),
    [
        # Three to five shoots per ft: common practice, no source. Ohio: Smith 2023.
        ("band.shoots_per_m.us", 1 / constants.foot, (3, 5)),
        ("band.buds_per_m.ohio", 1 / constants.foot, (4, 6)),
        # From memory, as the handbook says.
        ("band.pruning_weight_kg_per_m.memory_us", constants.pound / constants.foot, (0.2, 0.4)),
        # UK guide: 8 to 12 cm2/g is moderate.
        ("band.leaf_area_m2_per_kg.moderate_uk", constants.centi**2 / constants.gram, (8, 12)),
    ],
)
def test_converted_bands_follow_the_exact_factors(key, per, printed):
    assert handbook.band(key) == pytest.approx([per * each for each in printed], rel=1e-12)
    assert f"{printed[0]}-{printed[1]} " in handbook.entry(key).extra["as_printed"]


@pytest.mark.parametrize(
    "name", ["Spätburgunder", "spatburgunder", "SPAETBURGUNDER", "pinot-noir", "Pinot  Noir"]
)
def test_a_variety_is_found_under_its_other_names(name):
    assert handbook.variety(name)["increase_factor"].value == 1.6


def test_no_name_stands_for_two_varieties():
    groups = reader._raw()["variety"]
    names = [
        reader._plain(name)
        for group in groups.values()
        for name in (group["name"], *group.get("aliases", ()))
    ]
    assert all(handbook.variety(name) is not None for name in handbook.variety_names())
    owners = {}
    for slug, group in groups.items():
        for name in {reader._plain(n) for n in (slug, group["name"], *group["aliases"])}:
            assert owners.setdefault(name, slug) == slug
    assert names


def test_an_unknown_variety_has_no_figures():
    assert handbook.variety("") == {}
    assert handbook.variety("Nobody's Grape") == {}


def test_a_misspelt_key_is_answered_with_a_near_one():
    with pytest.raises(handbook.HandbookError, match=r"band\.ravaz\.general"):
        handbook.entry("band.ravaz.generel")
    with pytest.raises(CroploadError, match="no entry 'zzz'"):
        handbook.value("zzz")
    with pytest.raises(CroploadError, match="no source"):
        handbook.citation("Nobody1900")
    with pytest.raises(CroploadError, match="no entry"):
        handbook.entry(["prior.recovery"])


def test_asking_for_a_value_of_a_range_says_what_to_ask_for():
    with pytest.raises(CroploadError, match=r"Ask for band\('band.ravaz.general'\)"):
        handbook.value("band.ravaz.general")
    with pytest.raises(CroploadError, match=r"Ask for value\('prior.recovery'\)"):
        handbook.band("prior.recovery")


def test_a_profile_given_out_cannot_change_the_handbook():
    handbook.value("profile.cane.burst")[0] = 99.0
    assert handbook.value("profile.cane.burst")[0] == 0.85


def test_reading_the_handbook_loads_no_heavy_library():
    code = (
        "import sys, cropload.handbook as h; h.describe('interval.level');"
        "print(sorted({'numpy', 'pandas', 'scipy', 'matplotlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("key", handbook.keys("band.") + handbook.keys("balanced."))
def test_what_a_user_chooses_from_has_a_label(key):
    assert handbook.entry(key).extra["label"].strip()
