"""Misses planted in made-up seasons: the part that was planted is the part that is named."""

import re

import numpy as np
import pytest
from helpers import make_records
from season_records import BLOCKS, block_rows, count_rows, small_estate, weight_row

from cropload import forecast
from cropload.review.split_miss import PARTS, split_miss
from cropload.review.words import block_sentence, estate_sentence
from cropload.vine.growth import COMPONENTS

SEASON = 2026
CLUSTERS, GRAMS, RECOVERY = 30.0, 108.0, 0.93
AFTER_LAG = "2026-08-01"
ONE = ["Cedar"]


def planted(blocks=(), *, count=1.0, weight=1.0, tonnes=1.0):
    """Return an estate whose season went as ever, but for what is planted in some blocks."""

    def times(block, factor):
        return factor if block in blocks else 1.0

    crop = CLUSTERS * GRAMS * RECOVERY / 1000
    return small_estate(
        counts=[r for b in BLOCKS for r in count_rows(b, CLUSTERS * times(b, count), 40)],
        weights=[weight_row(b, GRAMS / 2, clusters=200) for b in BLOCKS]
        + [
            weight_row(b, GRAMS * times(b, weight), "harvest", 300, SEASON, "09-15") for b in BLOCKS
        ],
        harvest=[
            {
                "season": SEASON,
                "block": b,
                "date": f"{SEASON}-09-20",
                "tonnes": crop * times(b, weight) * times(b, tonnes),
            }
            for b in BLOCKS
        ],
    )


def split_of(records):
    return split_miss(records, SEASON, forecast(records, SEASON, AFTER_LAG, draws=400))


def parts(split, block="Cedar"):
    return split[split["block"] == block].set_index("component")["log_miss"]


def per_cent(pattern, text):
    """Return the number that stands in a sentence at {}."""
    found = re.search(re.escape(pattern).replace(r"\{\}", r"(\d+)"), text)
    assert found, f"{pattern!r} is not in {text!r}"
    return int(found.group(1))


@pytest.mark.parametrize("blocks", [ONE, BLOCKS], ids=["one block", "all blocks"])
def test_a_fifth_too_few_counted_is_a_miss_of_the_count(blocks):
    split = split_of(planted(blocks, count=0.8))
    for block in blocks:
        found = parts(split, block)
        assert found.abs().idxmax() == "counting_bias"
        told = block_sentence(split, block)
        # 5 points either way: the sample and the history have a say as well.
        assert per_cent("as if {} % too few clusters were counted", told) == pytest.approx(
            20, abs=5
        )
        # How much of it the count alone bears is only likeliest: at least half.
        assert per_cent("likeliest: {} % too few clusters were counted", told) >= 10
    if len(blocks) == len(BLOCKS):
        told = estate_sentence(split)
        assert per_cent("as if {} % too few clusters were counted", told) == pytest.approx(
            20, abs=5
        )


def test_no_more_than_all_of_the_fruit_reaches_the_scale():
    """However far the count was off, recovery ends at 1, and the count bears the rest."""
    records = planted(BLOCKS, count=0.6)
    made = forecast(records, SEASON, AFTER_LAG, draws=400)
    split = split_miss(records, SEASON, made)
    usual = made.log_components[COMPONENTS.index("recovery")].mean(1)
    for at, block in enumerate(made.blocks):
        found = parts(split, block)
        assert usual[at] - found["recovery"] == pytest.approx(0, abs=1e-12)
        assert found["counting_bias"] + found["recovery"] == pytest.approx(np.log(0.6), abs=0.06)
        assert found["counting_bias"] < found["recovery"] < 0
        told = block_sentence(split, block)
        more = 100 * np.expm1(-found["recovery"])
        assert f"all of the fruit reached the scale, {more:.0f} % more than expected" in told


@pytest.mark.parametrize("blocks", [ONE, BLOCKS], ids=["one block", "all blocks"])
def test_clusters_a_fifth_heavier_are_a_miss_of_the_weight(blocks):
    split, as_ever = split_of(planted(blocks, weight=1.2)), split_of(planted())
    for block in blocks:
        found = parts(split, block)
        assert found.abs().idxmax() == "cluster_weight_g"
        assert abs(found["counting_bias"] + found["recovery"]) < 0.04
        grown = found["cluster_weight_g"] - parts(as_ever, block)["cluster_weight_g"]
        assert grown == pytest.approx(-np.log(1.2), abs=0.03)
    told = block_sentence(split, "Cedar")
    assert per_cent("the clusters were {} % heavier", told) == pytest.approx(20, abs=5)


def test_tonnes_that_count_and_weight_do_not_explain_are_said_to_be_that():
    split = split_of(planted(ONE, tonnes=0.8))
    found = parts(split)
    gap = found["counting_bias"] + found["recovery"]
    assert gap > 2 * found.drop(["counting_bias", "recovery"]).abs().max()
    told = block_sentence(split, "Cedar")
    pattern = "{} % less came over the scale than the clusters counted and weighed explain"
    assert per_cent(pattern, told) == pytest.approx(20, abs=5)
    assert found["recovery"] > 0.04
    assert "less of the fruit reached the scale" in told


def test_a_season_as_ever_names_no_part():
    told = block_sentence(split_of(planted()), "Cedar")
    assert not [int(n) for n in re.findall(r"(\d+) %", told) if int(n) > 6]


def test_parts_of_every_plant_add_up():
    records = planted(ONE, count=0.8)
    made = forecast(records, SEASON, AFTER_LAG, draws=400)
    split = split_miss(records, SEASON, made)
    middle = made.frame.set_index("block")["tonnes_p50"]
    picked = records.harvest.query("season == @SEASON").set_index("block")["tonnes"]
    for block in BLOCKS:
        mine = parts(split, block)
        assert tuple(mine.index) == PARTS
        assert mine.sum() == pytest.approx(np.log(middle[block] / picked[block]), abs=1e-12)


def season_rows(rng, season, plants):
    """Return count, weight and harvest rows of one made-up season with its own chance."""
    tables = {"counts": [], "weights": [], "harvest": []}
    good = rng.normal(0, 0.1)
    for block in BLOCKS:
        count, weight = plants.get(block, (1.0, 1.0))
        hanging = CLUSTERS * np.exp(good + rng.normal(0, 0.1))
        grams = GRAMS * np.exp(rng.normal(0, 0.06))
        recovery = min(RECOVERY * np.exp(rng.normal(0, 0.03)), 1.0)
        vines = rng.poisson(hanging * rng.gamma(16, 1 / 16, 30)) * count
        tables["counts"] += [
            {
                "season": season,
                "date": f"{season}-06-25",
                "block": block,
                "row": "1",
                "vine": str(vine),
                "clusters": round(clusters),
            }
            for vine, clusters in enumerate(vines, start=1)
        ]
        tables["weights"] += [
            weight_row(block, grams / 2 * np.exp(rng.normal(0, 0.04)), "lag", 60, season),
            weight_row(block, grams * weight * np.exp(rng.normal(0, 0.02)), "harvest", 300, season,
                       "09-15"),
        ]  # fmt: skip
        tonnes = hanging * grams * weight * recovery / 1000
        tables["harvest"].append(
            {"season": season, "block": block, "date": f"{season}-09-20", "tonnes": tonnes}
        )
    return tables


def simulated(seed, plants):
    rng = np.random.default_rng(seed)
    tables = {"counts": [], "weights": [], "harvest": []}
    for season in range(2022, SEASON + 1):
        made = season_rows(rng, season, plants if season == SEASON else {})
        tables = {name: rows + made[name] for name, rows in tables.items()}
    plans = [
        {"season": season, "block": block, "plan": "2x10+2x2"}
        for season in range(2022, SEASON + 1)
        for block in BLOCKS
    ]
    return make_records(blocks=block_rows(), pruning=plans, **tables)


def named(seeds):
    """Return the largest parts of blocks with a planted count and a planted weight."""
    largest = {"counting_bias": [], "cluster_weight_g": []}
    size = {"counting_bias": [], "cluster_weight_g": []}
    for seed in seeds:
        order = np.random.default_rng(1000 + seed).permutation(BLOCKS)
        plants = {order[0]: (0.8, 1.0), order[1]: (1.0, 1.2)}
        split = split_of(simulated(seed, plants))
        for block, part in zip(order[:2], largest, strict=True):
            found = parts(split, block)
            largest[part].append(found.abs().idxmax())
            gap = ["counting_bias", "recovery"] if part == "counting_bias" else [part]
            size[part].append(found[gap].sum())
    return largest, size


def test_on_average_the_planted_part_is_named_first():
    """Seasons with their own chance: sample, weights and recovery vary as they do.

    Over 40 such seasons a count a fifth too low was named first in 36, a weight a fifth higher
    in 40; the sums of their parts were -0.18 and -0.18 (planted: -0.22 and -0.18).
    """
    largest, size = named(range(12))
    for part, found in largest.items():
        assert np.mean([name == part for name in found]) >= 0.7
    assert np.mean(size["counting_bias"]) == pytest.approx(np.log(0.8), abs=0.06)
    assert np.mean(size["cluster_weight_g"]) == pytest.approx(-np.log(1.2), abs=0.06)
