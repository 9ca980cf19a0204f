"""Drawings that recur: picture and words come from one description, and nothing is cut off."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pandas as pd
import pytest

from cropload.show.charts import Rows, Series, amounts
from cropload.show.drawing import LOOKS, cut_name, page_svg, svg
from cropload.show.line_charts import Panel, plot_panels
from cropload.units import METRIC, US

NAMES = ("North", "South")
ENDS = np.array([[1.0, 4.0], [2.0, 5.5], [4.0, 9.0]])


def rows(**more):
    series = (
        Series("now", ENDS, unit="t", written="range"),
        Series("then", ENDS + 1, LOOKS[1], unit="t", written="range"),
    )
    return Rows("Crop", NAMES, "crop [t]", **{"series": series, "apart": True} | more)


def inside(ax):
    """Return whether every word of a picture stands inside its figure."""
    ax.figure.canvas.draw()
    words = [*ax.texts, *ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label, ax.title]
    if ax.get_legend():
        words += ax.get_legend().get_texts()
    whole = ax.figure.bbox
    boxes = [word.get_window_extent() for word in words if word.get_text()]
    return all(whole.x0 <= b.x0 and b.x1 <= whole.x1 and b.y1 <= whole.y1 for b in boxes)


def test_words_are_those_written_in_the_picture():
    ax = rows().plot()
    written = [text.get_text() for text in ax.texts]
    assert written == [
        "2.0 (1.0-4.0)",
        "5.5 (4.0-9.0)",
        "3.0 (2.0-5.0)",
        "6.5 (5.0-10.0)",
    ]
    told = rows().text()
    assert told.startswith("Crop, 80 % range, equal tails. North: now 2.0 (1.0-4.0) t; then 3.0")
    assert all(text in told for text in written)


def test_the_level_of_ranges_is_named_once_at_the_axis():
    ax = rows().plot()
    words = [ax.get_xlabel(), *(text.get_text() for text in ax.get_legend().get_texts())]
    assert sum("80 % range" in text for text in words) == 1
    points = rows(series=(Series("now", ENDS[1]),)).plot()
    assert "range" not in points.get_xlabel()


@pytest.mark.parametrize("scale", [1.0, 1e8])
@pytest.mark.parametrize("above", [False, True])
def test_no_word_is_cut_however_large_the_numbers(scale, above):
    series = tuple(Series("a season", ENDS * scale, written="range") for _ in range(2))
    heading = "What each scenario leaves over in a season [a currency with a long name]"
    assert inside(rows(series=series, above=above, heading=heading).plot(width=4.9))


@pytest.mark.parametrize("above", [False, True])
def test_words_over_lines_never_meet(above):
    ax = rows(above=above).plot(width=4.9)
    ax.figure.canvas.draw()
    # Without the ground about a word, which reaches into the room between two.
    boxes = [text.get_window_extent() for text in ax.texts]
    assert not any(a.overlaps(b) for at, a in enumerate(boxes) for b in boxes[:at])


def test_a_range_below_zero_shows_where_zero_is_and_keeps_off_the_frame():
    below = rows(series=(Series("margin", ENDS - 5),))
    ax = below.plot()
    assert [0, 0] in [list(line.get_xdata()) for line in ax.lines]
    low, high = ax.get_xlim()
    assert low < -4.1
    assert high > 4.1
    assert [0, 0] not in [list(line.get_xdata()) for line in rows().plot().lines]


def test_parts_stack_from_zero_to_both_sides():
    parts = (Series("a", np.array([2.0, -3.0])), Series("b", np.array([4.0, 1.0])))
    parts += (Series("c", np.array([-1.0, 0.0])),)
    ax = rows(series=(), parts=parts).plot()
    bars = [(round(b.get_y() + 0.32), b.get_x(), b.get_width()) for b in ax.patches]
    assert bars == [(0, 0, 2), (1, 0, -3), (0, 2, 4), (1, 0, 1), (0, 0, -1)]
    told = rows(series=(), parts=parts).text()
    # A part of nothing is not told.
    assert told.endswith("North: a 2.0; b 4.0; c -1.0. South: a -3.0; b 1.0.")


def test_what_is_not_known_is_neither_drawn_nor_told():
    some = rows(series=(Series("limit", np.array([2.0, np.nan]), written="range"),))
    assert [text.get_text() for text in some.plot().texts] == ["2.0"]
    assert some.text() == "Crop. North: 2.0. South: nothing."


def test_a_state_is_told_with_its_number():
    said = Series("scale", ENDS[1], unit="t", written="range").saying(["inside", "above"])
    assert [text.get_text() for text in rows(series=(said,)).plot().texts] == [
        "2.0 t, inside",
        "5.5 t, above",
    ]


@pytest.mark.parametrize(("units", "factor"), [(METRIC, 1.0), (US, 1 / 0.90718474)])
def test_amounts_are_in_the_units_shown(units, factor):
    # 1 short ton is 907.18474 kg by definition.
    columns = [f"tonnes_{end}" for end in ("p10", "p50", "p90")]
    frame = pd.DataFrame(dict(zip(columns, ENDS, strict=True)))
    made = amounts("crop", frame, "tonnes", "tonnes", units)
    assert made.ends == pytest.approx(ENDS * factor)
    assert made.unit == units.label("tonnes")
    assert amounts("middle", frame, "tonnes_p50").ends == pytest.approx(ENDS[1])


def panel(**more):
    series = (
        Series("forecast", ENDS, band=True, written="ends"),
        Series("guess", np.array([np.nan, 3.0]), LOOKS[1]),
    )
    return Panel("Crop", series, ticks=("after\npruning", "before\npicking"), **more)


def test_a_panel_tells_each_number_and_leaves_out_what_is_not_there():
    assert panel(note="not clear").text() == (
        "Crop, 80 % range, equal tails: after pruning: forecast 2.0 (1.0-4.0); "
        "before picking: forecast 5.5 (4.0-9.0), guess 3.0; not clear."
    )
    written = [text.get_text() for text in panel().plot().texts]
    assert written == ["1.0", "4.0", "2.0", "5.5", "4.0", "9.0"]


def test_small_multiples_share_their_scale_and_one_legend():
    other = Panel("Other", (Series("forecast", 10 * ENDS[1]),), ticks=("a", "b"))
    drawn = plot_panels([panel(heading="Crop"), other, panel()], columns=2)
    assert len({ax.get_ylim() for ax in drawn.axes[:3]}) == 1
    assert drawn.axes[0].get_ylim()[1] > 55
    assert sum(ax.get_legend() is not None for ax in drawn.axes) == 1
    assert inside(drawn.axes[0])
    apart = plot_panels([panel(), other], alike=False)
    assert len({ax.get_ylim() for ax in apart.axes}) == 2


@pytest.mark.parametrize("names", [("$x$", "<b>&"), ("葡萄园", "a" * 200)])
def test_names_of_any_kind_are_drawn_as_they_are(names):
    odd = Rows("Crop", names, "t", (Series("now", ENDS),))
    assert [label.get_text() for label in odd.plot().get_yticklabels()] == list(
        map(cut_name, names)
    )
    assert svg(odd.plot().figure).lstrip().startswith("<?xml")


def test_a_picture_of_a_page_is_one_element_with_its_words_and_ids_of_its_own():
    odd = Rows("Crop of <b>", NAMES, "crop [t]", (Series("now", ENDS, written="range"),))
    made = [page_svg(odd.plot().figure, "<b>", odd.text(), name) for name in ("one", "two")]
    found = [ET.fromstring(text) for text in made]
    space = "{http://www.w3.org/2000/svg}"
    assert all(each.find(f"{space}desc").text == odd.text() for each in found)
    ids = [{each.get("id") for each in page.iter() if each.get("id")} for page in found]
    assert not ids[0] & ids[1]
    for text, own in zip(made, ids, strict=True):
        used = re.findall(r'(?:url\(|href=")#([^)"]+)', text)
        assert used
        assert set(used) <= own
    assert "2.0 (1.0-4.0)" in re.sub("<[^>]+>", "", made[0])
