"""Bud fertility by node: held to the handbook's shape, honest in its ranges, and how many do."""

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records
from length import repeats, widened

from cropload import bud_fertility, example_records, handbook
from cropload.errors import CroploadError
from cropload.review.bud_fertility import fit_nodes, fitted_profile
from cropload.vine.plan_shape import NodeProfile

Z = 1.2815515655
SHAPE = NodeProfile.from_handbook().cane_fertility


def node_rows(clusters, buds=50, shoots=45, season=2025, block="Alder", wood="cane"):
    """One row a node from the base up, of so many clusters each."""
    return [
        {"season": season, "block": block, "wood": wood, "node": node}
        | {"buds": buds, "shoots": shoots, "clusters": many}
        for node, many in enumerate(clusters, start=1)
    ]


def estate(rows):
    blocks = [block_row("Alder", "Riesling"), block_row("Fir", "Pinot noir")]
    return make_records(blocks=blocks, fertility=rows)


def of(table, what, wood="cane"):
    return table[(table["what"] == what) & (table["wood"] == wood)].set_index("node")


# ------------------------------------------------------------------ the fit


def test_counts_of_the_handbooks_shape_give_the_handbooks_shape():
    clusters = np.round(1000 * SHAPE[:10])
    found = of(bud_fertility(estate(node_rows(clusters, 700, 600))), "fertility")
    assert found["relative_p50"].to_numpy() == pytest.approx(SHAPE[:10], rel=0.003)
    assert not found["differs"].any()
    assert found["value_p50"].to_numpy() == pytest.approx(clusters / 600, rel=0.003)


def test_few_shoots_leave_the_handbook_nearly_as_it_was_and_many_replace_it():
    """Node 1 as fertile as any other, where the handbook has it a fifth lower."""
    few, many = (
        of(bud_fertility(estate(node_rows([m] * 8, m, m))), "fertility").loc[1] for m in (5, 5000)
    )
    assert few["relative_p50"] == pytest.approx(SHAPE[0], rel=0.05)
    assert many["relative_p50"] > SHAPE[0] * 1.12
    assert not few["differs"]
    assert many["differs"]
    assert many["relative_p90"] / many["relative_p10"] < few["relative_p90"] / few["relative_p10"]


def test_a_season_or_block_with_more_of_everything_does_not_bend_the_shape():
    one = node_rows(np.round(200 * SHAPE[:6]), 200, 200)
    rich = node_rows(np.round(600 * SHAPE[:6]), 200, 200, season=2024)
    found = of(bud_fertility(estate(one + rich)), "fertility")
    assert found["relative_p50"].to_numpy() == pytest.approx(SHAPE[:6], rel=0.01)


def test_a_node_that_one_good_season_alone_examined_is_not_called_fertile():
    flat = node_rows([40] * 4, season=2024)
    rich = node_rows([80] * 5, season=2025)
    found = of(bud_fertility(estate(flat + rich)), "fertility")["relative_p50"]
    assert found[5] < 1.1 * found[4]


def test_counts_that_vary_more_than_chance_have_wider_ranges():
    rng = np.random.default_rng(1)
    even = [r for s in range(2015, 2025) for r in node_rows([60] * 4, season=s)]
    wild = [
        row | {"clusters": int(n)} for row, n in zip(even, rng.choice([20, 100], 40), strict=True)
    ]
    a, b = (of(bud_fertility(estate(rows)), "fertility") for rows in (even, wild))
    width = [np.log(t["relative_p90"] / t["relative_p10"]).mean() for t in (a, b)]
    assert width[1] > 1.5 * width[0]
    assert (b["buds_enough"] > 5 * a["buds_enough"]).all()


def test_more_than_one_shoot_a_bud_is_no_share():
    rows = pd.DataFrame(node_rows([60] * 4, 50, 60))
    assert fit_nodes(rows, "burst", np.ones(15)).family == "Poisson"
    assert fit_nodes(rows.assign(shoots=40), "burst", np.ones(15)).family == "binomial"


def test_every_bud_burst_and_no_cluster_at_all_still_have_a_range():
    rows = node_rows([0, 30, 30, 30], 30, 30)
    table = bud_fertility(estate(rows))
    assert np.isfinite(table[["relative_p10", "relative_p90", "value_p10", "value_p90"]]).all(
        axis=None
    )
    assert (of(table, "burst")["value_p90"] <= 1).all()
    node = of(table, "fertility").loc[1]
    assert node["relative_p90"] < SHAPE[0]
    assert node["buds_enough"] == np.ceil((Z / handbook.value("fertility.error")) ** 2 / (0.5 / 30))


def test_varieties_and_blocks_are_kept_apart():
    rows = node_rows([40] * 4) + node_rows([60] * 4, block="Fir") + node_rows([30] * 2, wood="spur")
    by_variety, by_block = (bud_fertility(estate(rows), by) for by in ("variety", "block"))
    assert set(by_variety["variety"]) == {"Riesling", "Pinot noir"}
    assert set(by_block["block"]) == {"Alder", "Fir"}
    assert len(of(by_variety, "fertility", "spur")) == 2


def test_what_cannot_be_asked_is_one_clear_message():
    with pytest.raises(CroploadError, match="Table fertility is empty"):
        bud_fertility(estate([]))
    with pytest.raises(CroploadError, match="by variety or block"):
        bud_fertility(estate(node_rows([40])), "row")
    with pytest.raises(CroploadError, match="No clusters by node"):
        fit_nodes(pd.DataFrame(node_rows([0, 0])), "fertility", SHAPE)


def test_the_fitted_profile_keeps_the_handbook_where_nothing_was_examined():
    base = NodeProfile.from_handbook()
    found, shoots = fitted_profile(estate(node_rows([20, 50, 50])), "Riesling")
    assert shoots == 3 * 45
    assert np.array_equal(found.cane_fertility[3:], base.cane_fertility[3:])
    assert np.array_equal(found.spur_burst, base.spur_burst)
    assert found.cane_fertility[0] < base.cane_fertility[0]
    assert fitted_profile(estate(node_rows([20])), "Pinot noir")[1] == 0


def test_a_node_beyond_the_handbooks_last_is_fitted_against_its_last_value():
    table = bud_fertility(estate(node_rows([40] * 18)))
    assert of(table, "fertility").loc[18, "handbook"] == SHAPE[-1]
    found, _ = fitted_profile(estate(node_rows([40] * 18)), "Riesling")
    assert len(found.cane_fertility) == len(SHAPE)


def test_the_sample_tells_of_each_variety_it_examined():
    table = bud_fertility(example_records())
    assert (table["relative_p10"] < table["relative_p50"]).all()
    assert (table["relative_p50"] < table["relative_p90"]).all()


# ------------------------------------------------------------------ honest, and how many do


@pytest.mark.long
def test_the_range_of_a_node_holds_the_truth_four_times_in_five():
    """Nodes drawn about the handbook's shape by its own spread; 300 vines' worth of samples.

    Standard error of the share: about 1.2 % (ten nodes of a sample err together in part); in the
    short form, of 100 samples, sqrt(3) as much.
    """
    rng, spread = np.random.default_rng(4), handbook.value("fertility.node")
    inside, nodes = [], np.arange(1, 11)
    old = SHAPE[:10]
    for _ in range(repeats(300, 3)):
        truth = old * np.exp(spread * rng.standard_normal(10))
        rows = pd.DataFrame({"season": 2025, "block": "A", "node": nodes, "buds": 40, "shoots": 30})
        rows["clusters"] = rng.poisson(30 * 1.5 * truth)
        fit = fit_nodes(rows, "fertility", SHAPE)
        # At the level at which the nodes examined add up to what the handbook's do.
        truth = truth * old.sum() / truth.sum()
        inside.append(((fit.relative[0] <= truth) & (truth <= fit.relative[2])).mean())
    inside = np.array(inside)
    assert inside.std() / np.sqrt(len(inside)) < widened(0.012, 3)
    assert abs(inside.mean() - 0.80) <= widened(0.02, 3)


@pytest.mark.parametrize("per_bud", [0.6, 1.5])
def test_buds_that_are_enough_give_the_error_that_is_named(per_bud):
    """Clusters on so many buds, 20,000 times: within the stated error four times in five."""
    buds, error = 100, handbook.value("fertility.error")
    table = bud_fertility(estate(node_rows([round(per_bud * buds)] * 3, buds, buds)))
    enough = of(table, "fertility")["buds_enough"].iloc[0]
    rng = np.random.default_rng(5)
    seen = rng.poisson(per_bud * enough, 20_000) / (per_bud * enough)
    assert (np.abs(seen - 1) <= error).mean() == pytest.approx(0.80, abs=0.03)
    half = rng.poisson(per_bud * enough / 2, 20_000) / (per_bud * enough / 2)
    assert (np.abs(half - 1) <= error).mean() < 0.70


def test_fewer_buds_are_enough_for_burst_since_most_do():
    """A share of 0.5, within a fifth of itself: 42 buds by (z / 0.2)^2 x (1 - p) / p."""
    buds, error = 4000, handbook.value("fertility.error")
    flat = np.ones(15)
    rows = pd.DataFrame(node_rows([1000] * 3, buds, buds // 2))
    assert fit_nodes(rows, "burst", flat).absolute[1] == pytest.approx(0.5, abs=0.01)
    table = bud_fertility(estate(node_rows([4000] * 8, buds, buds // 2)))
    enough = of(table, "burst").loc[5, "buds_enough"]
    assert enough == pytest.approx((Z / error) ** 2, abs=2)
    seen = np.random.default_rng(6).binomial(enough, 0.5, 20_000) / enough
    assert (np.abs(seen / 0.5 - 1) <= error).mean() == pytest.approx(0.80, abs=0.05)
    assert enough < of(table, "fertility").loc[5, "buds_enough"] * 1.1
