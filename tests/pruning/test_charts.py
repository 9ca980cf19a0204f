"""Figures: what is written on them, what they draw, and that they leave nothing global behind."""

import matplotlib
import numpy as np
import pytest

from cropload import compare_plans, example_records
from cropload.pruning import charts
from cropload.show.drawing import svg
from cropload.units import METRIC, US
from cropload.vine.bands import Band

DENSITY, BALANCE = Band(12, 15, "undivided canopy"), Band(4, 10, "single canopy")


@pytest.fixture(scope="module")
def comparison():
    return compare_plans(example_records(), "Long Acre", "3x8+3x2,3x6+3x2,3x12+3x2").frame


def markers(ax):
    """Return the places of the markers of each series that has any."""
    return [line.get_xdata() for line in ax.get_lines() if line.get_marker() in ("o", "s")]


def spans(ax):
    """Return the ends of the ranges of each series."""
    found = []
    for lines in ax.collections:
        if hasattr(lines, "get_segments"):
            found.append(np.array([segment[:, 0] for segment in lines.get_segments()]))
    return found


def texts(ax):
    return [text.get_text() for text in ax.texts]


@pytest.mark.parametrize(("units", "factor"), [(METRIC, 1.0), (US, 1 / 2.2417023)])
def test_crop_draws_the_middle_and_the_range_of_both_seasons(comparison, units, factor):
    ax = charts.crop_rows(comparison, units).plot()
    for drawn, name in zip(markers(ax), ("t_ha", "t_ha_settled"), strict=True):
        assert drawn == pytest.approx(comparison[f"{name}_p50"].to_numpy() * factor, rel=1e-6)
    for drawn, name in zip(spans(ax), ("t_ha", "t_ha_settled"), strict=True):
        ends = comparison[[f"{name}_p10", f"{name}_p90"]].to_numpy() * factor
        assert drawn == pytest.approx(ends, rel=1e-6)


def test_axes_name_the_unit_and_the_range(comparison):
    assert charts.crop_rows(comparison).plot().get_xlabel() == (
        "crop at the scale [t/ha], middle and 80 % range, equal tails"
    )
    assert "ton/ac" in charts.crop_rows(comparison, US).plot().get_xlabel()
    for ax in (
        charts.density_rows(comparison, DENSITY).plot(),
        charts.balance_rows(comparison, BALANCE).plot(),
    ):
        assert "80 % range, equal tails" in ax.get_xlabel()
    ax = charts.crop_rows(comparison).plot()
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels == ["1: 3x8+3x2", "2: 3x6+3x2", "3: 3x12+3x2"]


def test_the_two_seasons_differ_in_marker_line_and_label(comparison):
    first, settled = charts.FIRST, charts.SETTLED
    assert first.marker != settled.marker
    assert first.line != settled.line
    legend = charts.crop_rows(comparison).plot().get_legend()
    words = [text.get_text() for text in legend.get_texts()]
    assert words == ["first season", "settled (third season on)"]


def test_bands_are_named_and_drawn_where_they_are(comparison):
    ax = charts.density_rows(comparison, DENSITY, US).plot()
    # 12 and 15 per m times 0.3048 m a foot.
    assert ax.get_title(loc="left") == "band 3.66 to 4.57 per ft (undivided canopy)"
    band = ax.patches[0]
    assert band.get_x() == pytest.approx(12 * 0.3048)
    assert band.get_x() + band.get_width() == pytest.approx(15 * 0.3048)
    assert "4 to 10" in charts.balance_rows(comparison, BALANCE).plot().get_title(loc="left")


def test_each_range_is_also_written_in_numbers(comparison):
    row = comparison.iloc[0]
    words = f"{row['t_ha_p50']:.1f} ({row['t_ha_p10']:.1f}-{row['t_ha_p90']:.1f})"
    assert words in texts(charts.crop_rows(comparison).plot())


def test_text_alternative_has_every_level_and_both_bands(comparison):
    words = charts.figure_text(comparison, DENSITY, BALANCE)
    for row in comparison.to_dict("records"):
        assert row["plan"] in words
        assert f"{row['t_ha_p50']:.1f} ({row['t_ha_p10']:.1f}-{row['t_ha_p90']:.1f})" in words
        assert f"per m, {row['density_word']} the band" in words
        for column in ("ravaz", "ravaz_settled"):
            ends = [row[f"{column}_{end}"] for end in ("p10", "p50", "p90")]
            told = "{1:.1f} ({0:.1f}-{2:.1f})".format(*ends)
            assert f"{told}, {BALANCE.word(ends[1])} the band" in words
    assert "12 to 15 per m (undivided canopy)" in words
    assert "80 % range, equal tails" in words


def test_drawing_leaves_global_settings_alone(comparison):
    before = dict(matplotlib.rcParams)
    svg(charts.plans_figure(comparison, DENSITY, BALANCE))
    assert dict(matplotlib.rcParams) == before


def test_same_comparison_gives_the_same_svg(comparison):
    pair = [svg(charts.plans_figure(comparison, DENSITY, BALANCE)) for _ in range(2)]
    assert pair[0] == pair[1]


def test_given_axes_are_used(comparison):
    from matplotlib.figure import Figure

    mine = Figure().add_subplot()
    assert charts.crop_rows(comparison).plot(mine) is mine


@pytest.mark.parametrize("levels", [1, 5])
def test_no_text_overlaps_another(levels):
    plans = ["3x8+3x2", "3x6+3x2", "3x10+3x2", "2x12+2x2", "12x14+24x2"][-levels:]
    found = compare_plans(example_records(), "Long Acre", plans)
    drawn = charts.plans_figure(found, DENSITY, BALANCE)
    drawn.draw_without_rendering()
    for ax in drawn.axes:
        boxes = [text.get_window_extent() for text in ax.texts]
        boxes += [tick.get_window_extent() for tick in ax.get_yticklabels() if tick.get_text()]
        for at, box in enumerate(boxes):
            assert not any(box.overlaps(other) for other in boxes[:at])
            assert drawn.bbox.x0 <= box.x0
            assert box.x1 <= drawn.bbox.x1
