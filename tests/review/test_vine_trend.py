"""Weaker, holding or stronger: by hand, honest by simulation, and never from one season."""

import numpy as np
import pandas as pd
import pytest
from helpers import block_row, make_records, steady_counts

from cropload import example_records, handbook, vine_trend
from cropload.beliefs.spreads import prior_spreads
from cropload.errors import CroploadError
from cropload.review.vine_trend import (
    HOLDING,
    NOT_CLEAR,
    STRONGER,
    TOO_FEW,
    WEAKER,
    _noise,
    _slopes,
    ravaz_of,
    season_figures,
)

BLOCKS = ("Alder", "Birch", "Cedar")
YEARS = range(2019, 2026)


class Plain:
    """The handbook's spreads."""

    sd = prior_spreads()[0]


def pruned(yearly, years=YEARS, blocks=BLOCKS, kg=0.9):
    """Rows of prunings [kg/vine] that change by so much a year; grown the season before."""
    return [
        {"season": year + 1, "block": block, "plan": "2x10+2x2"}
        | {"pruning_weight_kg": kg * (1 + yearly) ** (year - min(years)), "vines_weighed": 40}
        for block in blocks
        for year in years
    ]


def estate(pruning, **tables):
    blocks = [block_row(block, "Riesling") for block in BLOCKS]
    return make_records(blocks=blocks, pruning=pruning, **tables)


def picked(tonnes, years=YEARS, blocks=BLOCKS):
    return [
        {"season": year, "block": block, "date": f"{year}-09-20", "tonnes": tonnes}
        for block in blocks
        for year in years
    ]


def of(table, figure, block="Alder"):
    return table[(table["figure"] == figure) & (table["block"] == block)].iloc[0]


# ------------------------------------------------------------------ figures of a season


def test_figures_are_set_against_the_season_in_which_the_wood_grew():
    """3 t of 1,000 vines over 0.9 kg of prunings weighed the winter after; 20 shoots."""
    shoots = [r for y in YEARS for r in steady_counts(y, "Alder", shoots=20)]
    records = estate(pruned(0.0), harvest=picked(3.0), counts=shoots)
    figures = season_figures(records).set_index(["block", "season"])
    row = figures.loc[("Alder", 2021)]
    assert row["ravaz"] == pytest.approx(3.0 / 0.9, rel=1e-6)
    assert row["pruning_weight"] == pytest.approx(0.9 / 1.5)
    assert row["cane_weight"] == pytest.approx(1000 * 0.9 / 20, rel=0.01)
    assert np.isnan(figures.loc[("Birch", 2021), "cane_weight"])


def test_the_index_of_a_variety_is_a_ratio_of_sums():
    """1 t over 0.5 t and 9 t over 1.5 t of prunings: 10 / 2 = 5, where the ratios' mean is 4."""
    pruning = pruned(0, [2024], ["Alder"], 0.5) + pruned(0, [2024], ["Birch"], 1.5)
    harvest = picked(1.0, [2024], ["Alder"]) + picked(9.0, [2024], ["Birch"])
    figures = season_figures(estate(pruning, harvest=harvest))
    for by in ("variety", "estate"):
        row = ravaz_of(figures, by).iloc[0]
        assert row["ravaz"] == pytest.approx(5.0)
        assert row["blocks"] == 2


def test_a_block_without_prunings_counts_on_neither_side():
    pruning = pruned(0, [2024], ["Alder"], 0.5)
    harvest = picked(2.0, [2024], ["Alder", "Birch"])
    row = ravaz_of(season_figures(estate(pruning, harvest=harvest))).iloc[0]
    assert (row["ravaz"], row["blocks"]) == (pytest.approx(4.0), 1)


def test_an_index_by_row_is_one_clear_message():
    with pytest.raises(CroploadError, match="variety or estate"):
        ravaz_of(season_figures(estate(pruned(0))), "row")


# ------------------------------------------------------------------ words


@pytest.mark.parametrize(("yearly", "label"), [(-0.12, WEAKER), (0.0, HOLDING), (0.12, STRONGER)])
def test_a_clear_change_has_its_word(yearly, label):
    years = range(1996, 2026)
    row = of(vine_trend(estate(pruned(yearly, years))), "pruning_weight")
    assert row["label"] == label
    chances = [row[f"chance_{word}"] for word in ("weaker", "holding", "stronger")]
    assert sum(chances) == pytest.approx(1)
    assert row["change_p10"] < row["change_p50"] < row["change_p90"]


def test_a_rising_index_is_getting_weaker():
    years = range(2006, 2026)
    table = vine_trend(estate(pruned(-0.15, years), harvest=picked(3.0, years)))
    assert of(table, "ravaz")["label"] == WEAKER
    assert of(table, "ravaz")["change_p50"] > 0


@pytest.mark.parametrize("seasons", [1, 2])
def test_too_few_seasons_have_no_word_however_steep(seasons):
    table = vine_trend(estate(pruned(-0.5, range(2024, 2024 + seasons))))
    assert set(table["label"]) == {TOO_FEW}
    assert handbook.value("trend.least_seasons") == 3


def test_a_block_weighed_once_has_no_word_beside_old_ones():
    rows = pruned(0.0, blocks=["Alder", "Birch"]) + pruned(0.0, [2025], ["Cedar"])
    table = vine_trend(estate(rows))
    assert of(table, "pruning_weight", "Cedar")["label"] == TOO_FEW
    assert of(table, "pruning_weight")["label"] != TOO_FEW


def test_a_word_needs_a_chance_above_the_handbooks_bound():
    """Ever steeper falls: no word at a chance below the bound, the right one above it."""
    bound, seen = handbook.value("trend.chance"), set()
    for yearly in (0.0, -0.02, -0.04, -0.06, -0.08, -0.10, -0.12):
        for row in vine_trend(estate(pruned(yearly))).frame.to_dict("records"):
            chances = {
                WEAKER: row["chance_weaker"],
                HOLDING: row["chance_holding"],
                STRONGER: row["chance_stronger"],
            }
            likeliest = max(chances, key=chances.get)
            assert row["label"] == (likeliest if chances[likeliest] > bound else NOT_CLEAR)
            seen.add(row["label"])
    assert {WEAKER, NOT_CLEAR} <= seen


def test_two_seasons_say_little_of_a_change():
    """A fall of half in a year is mostly weather: the middle stays far above it."""
    row = of(vine_trend(estate(pruned(-0.5, [2024, 2025]))), "pruning_weight")
    assert row["change_p50"] > -0.25
    assert row["change_p90"] > row["change_p50"]


def test_the_estate_is_the_mean_of_its_blocks():
    rows = pruned(-0.10, blocks=["Alder"]) + pruned(0.10, blocks=["Birch"])
    table = vine_trend(estate(rows))
    logs = [np.log1p(of(table, "pruning_weight", b)["change_p50"]) for b in ("Alder", "Birch")]
    whole = np.log1p(of(table, "pruning_weight", "estate")["change_p50"])
    assert whole == pytest.approx(np.mean(logs))


def test_without_prunings_there_is_one_clear_message():
    with pytest.raises(CroploadError, match="No prunings were weighed"):
        vine_trend(estate([]))


def test_the_sample_has_a_word_for_every_figure():
    table = vine_trend(example_records())
    assert set(table["figure"]) == {"pruning_weight", "ravaz", "cane_weight"}
    assert set(table["label"]) <= {WEAKER, HOLDING, STRONGER, NOT_CLEAR, TOO_FEW}


# ------------------------------------------------------------------ honest by simulation


def simulated(rng, blocks=4, seasons=6):
    """One estate by the model's own assumptions: rows for ``_slopes`` and the true changes."""
    season, variety, own = (np.sqrt(v) for v in _noise("pruning_weight", Plain))
    truth = handbook.value("trend.estate") * rng.standard_normal()
    truth = truth + handbook.value("trend.block") * rng.standard_normal(blocks)
    level, sampling = rng.normal(0, 0.4, blocks), 0.05
    year = np.arange(seasons)
    kin = np.arange(blocks) % 2
    log = level[:, None] + truth[:, None] * year + season * rng.standard_normal(seasons)
    log = log + (variety * rng.standard_normal((2, seasons)))[kin]
    log = log + own * rng.standard_normal(log.shape) + sampling * rng.standard_normal(log.shape)
    rows = pd.DataFrame(
        {
            "block": np.repeat([f"Block {b}" for b in range(blocks)], seasons),
            "variety": np.repeat([f"Variety {v}" for v in kin], seasons),
            "season": np.tile(2020 + year, blocks),
            "pruning_weight": np.exp(log).ravel(),
            "pruning_weight_variance": sampling**2,
        }
    )
    return rows, truth


@pytest.fixture(scope="module")
def many():
    """1,500 estates: true changes, and what is said of them, (estates, blocks)."""
    from scipy.special import ndtr

    rng, band = np.random.default_rng(9), handbook.value("trend.holding")
    truths, middles, spreads = [], [], []
    for _ in range(1500):
        rows, truth = simulated(rng)
        _, mean, covariance = _slopes(rows, "pruning_weight", Plain)
        truths.append(truth)
        middles.append(mean)
        spreads.append(np.sqrt(np.diag(covariance)))
    truth, middle, spread = map(np.array, (truths, middles, spreads))
    weaker = ndtr((np.log1p(-band) - middle) / spread)
    stronger = 1 - ndtr((np.log1p(band) - middle) / spread)
    return truth, middle, spread, np.stack([weaker, 1 - weaker - stronger, stronger])


def test_the_range_of_a_change_holds_the_truth_four_times_in_five(many):
    """Standard error of the share: about 0.7 %."""
    truth, middle, spread, _ = many
    inside = (np.abs(truth - middle) <= 1.2815515655 * spread).mean(1)
    assert inside.std() / np.sqrt(len(inside)) < 0.008
    assert 0.78 <= inside.mean() <= 0.82


def test_the_chance_of_a_word_is_how_often_it_is_true(many):
    """Among changes that are weaker with a chance of 40 to 60 %, half are."""
    truth, _, _, chances = many
    band = handbook.value("trend.holding")
    true = np.stack(
        [truth < np.log1p(-band), np.abs(np.expm1(truth)) <= band, truth > np.log1p(band)]
    )
    for chance, happened in zip(chances, true, strict=True):
        for low, high in ((0.0, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 1.0)):
            here = (chance >= low) & (chance < high)
            if here.sum() > 200:
                error = 2.6 * 0.5 / np.sqrt(here.sum() / 2)
                assert happened[here].mean() == pytest.approx(chance[here].mean(), abs=error)


def test_a_word_that_is_said_is_right_more_often_than_its_bound(many):
    truth, _, _, chances = many
    band, bound = handbook.value("trend.holding"), handbook.value("trend.chance")
    true = np.where(truth < np.log1p(-band), 0, np.where(truth > np.log1p(band), 2, 1))
    spoken = chances.max(0) > bound
    assert spoken.sum() > 300
    assert (chances.argmax(0) == true)[spoken].mean() > bound


def test_a_word_is_right_more_often_than_any_guess(many):
    truth, _, _, chances = many
    band = handbook.value("trend.holding")
    true = np.where(truth < np.log1p(-band), 0, np.where(truth > np.log1p(band), 2, 1))
    right = (chances.argmax(0) == true).mean()
    assert right == pytest.approx(chances.max(0).mean(), abs=0.02)
    assert right > np.bincount(true.ravel()).max() / true.size
