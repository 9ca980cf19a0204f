"""Weaker, holding or stronger: by hand, honest by simulation, and never from one season."""

from dataclasses import replace

import numpy as np
import pytest
from helpers import block_row, make_records, steady_counts
from scipy.stats import norm

from cropload import example_records, forecast, handbook, vine_trend
from cropload.errors import CroploadError
from cropload.review.vine_trend import (
    FALLING,
    HOLDING,
    NOT_CLEAR,
    RISING,
    STRONGER,
    TOO_FEW,
    WEAKER,
    ravaz_of,
    season_figures,
)

BLOCKS = ("Alder", "Birch", "Cedar")
YEARS = range(2019, 2026)


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


def test_a_change_needs_to_be_sure_and_holding_a_chance_above_its_bound():
    """Ever steeper falls: a word of change where one is sure, holding where its chance is high."""
    bound, sure, seen = handbook.value("trend.chance"), handbook.value("trend.sure"), set()
    for yearly in (0.0, -0.02, -0.04, -0.06, -0.08, -0.10, -0.12):
        for row in vine_trend(estate(pruned(yearly))).frame.to_dict("records"):
            middle, ends = np.log1p(row["change_p50"]), np.log1p(row["change_p90"])
            falls = norm.cdf(-middle / (ends - middle) * norm.ppf(0.9)) > sure
            if falls and row["change_p50"] < -handbook.value("trend.holding"):
                assert row["label"] == WEAKER
            else:
                assert row["label"] == (HOLDING if row["chance_holding"] > bound else NOT_CLEAR)
            seen.add(row["label"])
    assert {WEAKER, NOT_CLEAR} <= seen


def test_two_seasons_say_little_of_a_change():
    """A fall of half in a year is mostly weather: the middle stays far above it."""
    row = of(vine_trend(estate(pruned(-0.5, [2024, 2025]))), "pruning_weight")
    assert row["change_p50"] > -0.25
    assert row["change_p90"] > row["change_p50"]


def test_all_blocks_together_change_as_their_ratio_of_sums():
    """Alder bears three times Birch's crop, and its wood falls by 6 % a year, Birch's does not."""
    years = range(2012, 2026)
    pruning = pruned(-0.06, years, ["Alder"]) + pruned(0.0, years, ["Birch"])
    harvest = picked(3.0, years, ["Alder"]) + picked(1.0, years, ["Birch"])
    table = vine_trend(estate(pruning, harvest=harvest))
    sums = ravaz_of(table.figures, "estate")
    slope = np.polyfit(sums["season"], np.log(sums["ravaz"]), 1)[0]
    assert np.log1p(of(table, "ravaz", "estate")["change_p50"]) == pytest.approx(slope, abs=0.006)
    assert of(table, "ravaz")["change_p50"] == pytest.approx(1 / 0.94 - 1, abs=0.01)


def test_with_nothing_weighed_there_is_one_clear_message():
    with pytest.raises(CroploadError, match="No prunings and no crops"):
        vine_trend(estate([]))


def test_the_sample_has_a_word_for_every_figure():
    table = vine_trend(example_records())
    assert set(table["figure"]) == {"pruning_weight", "ravaz", "cane_weight", "crop"}
    words = {WEAKER, HOLDING, STRONGER, FALLING, RISING, NOT_CLEAR, TOO_FEW}
    assert set(table["label"]) <= words


# ------------------------------------------------------------------ the crop, as forecast


def falling(yearly, years=range(2014, 2026)):
    """Crops of one block that change by so much a year beside two steady ones."""
    rows = picked(3.0, years, ["Birch", "Cedar"])
    start = min(years)
    for year in years:
        rows += picked(4.0 * (1 + yearly) ** (year - start), [year], ["Alder"])
    plans = [
        {"season": year, "block": block, "plan": "2x10+2x2"} for block in BLOCKS for year in years
    ]
    return estate(plans, harvest=rows)


def test_the_crop_needs_no_prunings_and_is_told_before_it_is_drawn():
    table = vine_trend(falling(-0.08))
    row = of(table, "crop")
    assert set(table["figure"]) == {"crop"}
    assert row["change_p10"] < -0.08 < row["change_p90"]
    assert row["change_p50"] < row["forecast_change"] < 0
    assert row["label"] == FALLING
    assert any("a forecast uses Alder" in note for note in table.notes)


def test_a_forecast_names_a_falling_crop_by_its_own_seasons_and_says_what_it_uses():
    told = [
        note for note in forecast(falling(-0.08), 2026, draws=400).notes if "By its own" in note
    ]
    assert told == [
        "By its own seasons the crop falls by about 8 % a year in Alder (forecast: 8 %)."
    ]
    steady = forecast(falling(0.0), 2026, draws=400).notes
    assert not any("By its own" in note for note in steady)


def test_the_crop_is_told_per_hectare():
    row = season_figures(falling(0.0)).iloc[0]
    facts = block_row("Alder", "Riesling")
    hectares = facts["vines"] * facts["row_spacing_m"] * facts["vine_spacing_m"] / 10_000
    assert row["crop"] == pytest.approx(4.0 / hectares, rel=1e-6)


@pytest.mark.parametrize("records", [falling(-0.08), example_records()], ids=["falling", "sample"])
def test_review_and_forecast_have_one_trend_of_the_crop(records):
    """What a forecast goes on with is the difference that a year makes to its own centre."""
    table = vine_trend(records)
    season = int(table.figures["season"].max()) + 1
    made = forecast(records, season)
    at = {name: place for place, name in enumerate(made.estate.facts.names)}
    later = replace(made, estate=year_later(made.estate))
    moved = np.log(later.centre_tonnes() / made.centre_tonnes())
    mine = table.of("crop")
    for row in mine[mine["block"] != "estate"].to_dict("records"):
        # The chain bends by a few parts in a thousand of a change.
        change = np.log1p(row["forecast_change"])
        assert change == pytest.approx(moved[at[row["block"]]], rel=0.01, abs=1e-9)


def year_later(made):
    """The same beliefs, a year further along their trends."""
    since, all_since = made.since.copy(), made.estate_since.copy()
    since[:, -1] += 1
    all_since[-1] += 1
    later = replace(made)
    later.__dict__.update(since=since, estate_since=all_since)
    return later
