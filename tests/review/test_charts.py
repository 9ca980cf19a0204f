"""Figures after harvest: what is drawn is what was computed, told apart by more than colour."""

import re
import warnings
from itertools import pairwise

import numpy as np
import pytest

from cropload import example_records, review_season
from cropload.review import charts, vine_charts
from cropload.review.bud_fertility import bud_fertility
from cropload.review.learning import learn
from cropload.review.lesson_words import lesson_kind, trend_tag
from cropload.review.scores import level_scores
from cropload.review.split_miss import split_miss
from cropload.review.vine_trend import season_figures, vine_trend
from cropload.show.drawing import svg
from cropload.units import METRIC, US

NAMED = "80 % range, equal tails"


@pytest.fixture(scope="module")
def records():
    return example_records()


@pytest.fixture(scope="module")
def review(records):
    return review_season(records, 2025, moments=["pruning", "clusters"], draws=300)


@pytest.fixture(scope="module")
def crops(review):
    found = review.blocks
    return found[found["moment"] == "clusters"].reset_index(drop=True)


@pytest.fixture(scope="module")
def split(records, review):
    return split_miss(records, 2025, review.forecasts["clusters"]).frame


@pytest.fixture(scope="module")
def lessons(records):
    return learn(records).frame


def legend(ax):
    found = ax.get_legend() or ax.figure.legends[0]
    return [text.get_text() for text in found.get_texts()]


@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "us"])
def test_ranges_and_scale_are_drawn_in_the_units(crops, units):
    rows = charts.scale_rows(crops, units)
    ax = rows.plot()
    spans = [segment[:, 0] for segment in ax.collections[0].get_segments()]
    want = units.convert("tonnes", crops[["tonnes_p10", "tonnes_p90"]].to_numpy(float))
    assert np.allclose(spans, want)
    scale = next(line for line in ax.lines if line.get_label() == "what the scale said")
    assert np.allclose(scale.get_xdata(), units.convert("tonnes", crops["picked_t"]))
    assert NAMED in ax.get_xlabel()
    assert units.label("tonnes") in ax.get_xlabel()
    assert legend(ax) == ["forecast", "what the scale said"]
    assert NAMED in rows.text()
    assert rows.text().count("; what the scale said") == len(crops)


def test_a_crop_outside_its_range_is_said_to_be(crops):
    outside = crops.assign(picked_t=crops["tonnes_p90"] * 1.5)
    ax = charts.scale_rows(outside).plot()
    told = [text.get_text() for text in ax.texts]
    assert all(text.endswith(", above") for text in told)
    assert ax.get_xlim()[1] > outside["picked_t"].max()


def test_misses_are_drawn_beside_each_guess_with_marks_of_their_own(review):
    table = level_scores([review]).frame
    panel = charts.misses_panel(table)
    drawn = {line.get_label(): line for line in panel.plot().lines}
    assert np.allclose(drawn["forecast"].get_ydata(), 100 * table["weighted_miss"])
    last = drawn["same as last season"]
    assert np.allclose(last.get_ydata(), 100 * table["last_season_miss"])
    looks = {(line.get_marker(), line.get_linestyle()) for line in drawn.values()}
    assert len(looks) == len(drawn) == 5
    assert "the block's mean so far" in panel.text()


def test_numbers_stand_on_a_ground_over_the_lines(review):
    table = level_scores([review]).frame
    ax = charts.misses_panel(table).plot()
    assert len(ax.texts) == len(table)
    assert all(text.get_bbox_patch().get_facecolor()[:3] == (1, 1, 1) for text in ax.texts)
    assert min(text.zorder for text in ax.texts) > max(line.zorder for line in ax.lines)


def test_bars_of_a_block_add_up_to_its_miss(split):
    rows = charts.split_rows(split)
    ax = rows.plot()
    crop = split.drop_duplicates("block").set_index("block")
    whole = 100 * (crop["forecast_t"] / crop["picked_t"] - 1)
    for at, (block, miss) in enumerate(whole.items()):
        bars = [bar for bar in ax.patches if round(bar.get_y() + bar.get_height() / 2) == at]
        assert sum(bar.get_width() for bar in bars) == pytest.approx(miss)
        assert f"{block}: all together {miss:+.0f} %" in rows.text()
    line = next(line for line in ax.lines if line.get_label() == "all together")
    assert np.allclose(line.get_xdata(), whole)


def test_parts_are_told_apart_without_colour(split):
    ax = charts.split_rows(split).plot()
    one = [bar for bar in ax.patches if round(bar.get_y() + bar.get_height() / 2) == 0]
    side_by_side = [bar.get_hatch() for bar in one]
    # Neighbours in the order of the chain never share a pattern.
    assert all(a != b for a, b in pairwise(side_by_side))
    assert "cluster weight" in legend(ax)


def test_no_name_of_a_legend_is_cut(split):
    ax = charts.split_rows(split).plot()
    ax.figure.canvas.draw()
    whole = ax.figure.bbox
    boxes = [text.get_window_extent() for text in ax.get_legend().get_texts()]
    assert all(whole.x0 <= box.x0 and box.x1 <= whole.x1 for box in boxes)
    assert all(box.y1 <= whole.y1 for box in boxes)


def test_lessons_stand_before_and_after(lessons):
    for kind in dict.fromkeys(lesson_kind(lessons)):
        mine = lessons[np.array(lesson_kind(lessons)) == kind]
        ax = charts.lesson_ranges(lessons, kind).plot()
        assert legend(ax) == ["before", "after"]
        assert NAMED in " ".join(ax.get_xlabel().split("\n"))
        points = {tuple(np.round(line.get_xdata(), 9)) for line in ax.lines}
        for part in ("before", "after"):
            drawn = mine[part].to_numpy(float)
            if kind == "load":
                # In per cent, as the tables: 1.1 to the power of each, less one.
                drawn = 100 * (1.1**drawn - 1)
            assert tuple(np.round(drawn, 9)) in points
        words = charts.lessons_text(lessons, kind)
        assert all(f"({of})" in words for of in mine["of"])


@pytest.mark.parametrize("figure", ["pruning_weight", "ravaz", "cane_weight", "crop"])
@pytest.mark.parametrize("units", [METRIC, US], ids=["metric", "us"])
def test_trend_draws_each_block_with_its_label(records, figure, units):
    figures, trend = season_figures(records), vine_trend(records).frame
    blocks = [str(name) for name in records.blocks["block"]]
    drawn = vine_charts.plot_trend(figures, trend, figure, blocks, units)
    rows = trend[trend["figure"] == figure].to_dict("records")
    label = {row["block"]: trend_tag(row) for row in rows}
    axes = [ax for ax in drawn.axes if ax.get_title(loc="left")]
    measured = figures[figures[figure] > 0].groupby("block")[figure]
    assert {ax.get_title(loc="left") for ax in axes} == set(measured.groups)
    for ax in axes:
        name = ax.get_title(loc="left")
        assert label[name] in [text.get_text() for text in ax.texts]
        want = vine_charts.trend_values(figure, measured.get_group(name).to_numpy(float), units)
        assert any(np.allclose(line.get_ydata(), want) for line in ax.lines
                   if len(line.get_ydata()) == len(want))  # fmt: skip
    words = vine_charts.trend_text(figures, trend, figure, blocks, units)
    assert vine_charts.trend_label(figure, units) in words
    assert f"not clear ({'falling' if figure == 'crop' else 'weaker'} " in words


def test_a_long_list_of_blocks_is_cut(records):
    figures, trend = season_figures(records), vine_trend(records).frame
    many = [*trend["block"].unique()] * 4
    drawn = vine_charts.plot_trend(figures, trend, "ravaz", many)
    assert len(drawn.axes) <= vine_charts.MOST_BLOCKS


@pytest.mark.parametrize("what", ["burst", "fertility"])
def test_fertility_is_drawn_against_the_handbook(records, what):
    table = bud_fertility(records)
    drawn = vine_charts.plot_fertility(table, "Riesling", what)
    assert [ax.get_title(loc="left") for ax in drawn.axes] == ["canes", "spurs"]
    mine = table[(table["variety"] == "Riesling") & (table["what"] == what)]
    canes = mine[mine["wood"] == "cane"]
    lines = [line.get_ydata() for line in drawn.axes[0].lines]
    for column in ("handbook", "relative_p50"):
        want = canes[column].to_numpy(float)
        assert any(len(y) == len(want) and np.allclose(y, want) for y in lines)
    assert "handbook's shape" in legend(drawn.axes[0])
    words = vine_charts.fertility_text(table, "Riesling", what)
    assert len(re.findall(r"node \d", words)) == len(mine)


def test_names_of_any_alphabet_and_signs_are_drawn(crops, split):
    odd = crops.assign(name=["$x_1$ <b>", "Weinberg Süd", "葡萄园", *crops["name"][3:]])
    names = dict(zip(split["block"].unique(), odd["name"], strict=True))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for ax in (
            charts.scale_rows(odd).plot(),
            charts.split_rows(split.assign(block=split["block"].map(names))).plot(),
        ):
            assert "<svg" in svg(ax.figure)
