"""Where each component came from: own records, the variety's, or the handbook."""

import pytest
from helpers import block_row, make_records, steady_counts

from cropload import handbook
from cropload.beliefs.history import build_estate
from cropload.beliefs.origins import HANDBOOK, OWN, UNITS, VARIETY, WORDS, component_origins
from cropload.vine.growth import COMPONENTS


@pytest.fixture(scope="module")
def origins():
    counts = [
        row
        for season in (2023, 2024)
        for row in steady_counts(season, "North", buds=24, shoots=22, clusters=40)
    ]
    records = make_records(
        blocks=[block_row(), block_row("Sister"), block_row("Other", variety="Riesling")],
        pruning=[{"season": s, "block": "North", "plan": "2x10+2x2"} for s in (2023, 2024)],
        counts=counts,
        harvest=[{"season": 2024, "block": "Sister", "tonnes": 3}],
    )
    estate = build_estate(records, 2025)
    return {
        name: {part["component"]: part for part in component_origins(estate, name)}
        for name in estate.facts.names
    }


def test_every_component_has_words_a_unit_and_a_key(origins):
    assert set(WORDS) == set(UNITS) == set(COMPONENTS)
    for part in origins["North"].values():
        assert part["centre"] > 0
        assert part["spread"] > 0
        assert part["unit"] == UNITS[part["component"]]
        handbook.entry(part["key"])


def test_own_records_come_first(origins):
    part = origins["North"]["shoots_per_bud"]
    assert (part["came_from"], part["detail"]) == (OWN, "2 seasons")


def test_then_the_variety_on_this_estate(origins):
    part = origins["Sister"]["clusters_per_shoot"]
    assert part["came_from"] == VARIETY
    assert part["detail"] == "2 seasons in 1 other block of Anyvine"


def test_then_the_handbook_with_its_grade(origins):
    part = origins["Other"]["clusters_per_shoot"]
    assert part["came_from"] == HANDBOOK
    # Riesling has a long-term mean of 2.26 clusters a shoot (LVWO Weinsberg).
    assert part["key"].startswith("variety.")
    assert "grade:" in part["detail"]
    assert "held to 1 harvest of this block" in origins["Sister"]["cluster_weight_g"]["detail"]


def test_a_told_spread_is_that_of_the_draws_trends_in_it():
    """Crops that fall for eight seasons leave a trend open, and with it clusters and weight."""
    crops = [
        {"season": year, "block": name, "tonnes": 4.0 * 0.93 ** (year - 2017)}
        for year in range(2017, 2025)
        for name in ("North", "South")
    ]
    estate = build_estate(
        make_records(blocks=[block_row(), block_row("South")], harvest=crops), 2028
    )
    drawn, _ = estate.draw([0, 1], 20_000, 1)
    k = len(COMPONENTS)
    # Standard error of a standard deviation from 20,000 draws: 0.5 %.
    assert estate.spread() == pytest.approx(drawn[:k].std(-1).T, rel=0.02)
    told = [part["spread"] for part in component_origins(estate, "South")]
    assert told == pytest.approx(estate.spread([1])[0])
    at = COMPONENTS.index("clusters_per_shoot")
    assert told[at] > 1.01 * estate.beliefs.spread()[1, at]
