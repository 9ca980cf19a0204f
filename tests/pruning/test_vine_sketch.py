"""The sketch of one vine: all canes, spurs and buds of the plan, told apart without colour."""

import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cropload.pruning.vine_sketch import places, sketch_svg, spur_word
from cropload.units import US
from cropload.vine.plan import PruningPlan

SVG = "{http://www.w3.org/2000/svg}"


def drawn(text, **kwargs):
    return ET.fromstring(sketch_svg(PruningPlan.parse(text), 1.8, **kwargs))


def letters(picture):
    words = [element.text for element in picture.iter(f"{SVG}text")]
    return words.count("C"), words.count("S")


@given(st.integers(0, 20), st.integers(0, 40), st.integers(1, 3))
def test_every_cane_and_spur_has_a_place(canes, spurs, walls):
    order = "".join(places(canes, spurs, walls))
    assert (order.count("c"), order.count("s")) == (canes, spurs)


@given(st.integers(1, 8))
def test_canes_and_renewal_spurs_alternate_where_there_are_as_many(canes):
    # Common practice, no source: production wood and renewal spurs alternate along the arm.
    assert places(canes, canes) == ["cs" * canes]


@pytest.mark.parametrize("text", ["3x8+3x2", "1x12+1x2", "24x2", "4x11+4x2"])
def test_every_bud_is_drawn(text):
    plan = PruningPlan.parse(text)
    picture = drawn(text)
    # One more round and one more square bud stand in the legend of each kind of wood.
    rounds = len(picture.findall(f".//{SVG}circle")) - bool(plan.canes)
    squares = len(picture.findall(f".//{SVG}rect")) - bool(plan.spurs)
    assert rounds == plan.canes * plan.buds_per_cane
    assert squares == plan.spurs * plan.buds_per_spur


def test_canes_are_full_lines_and_spurs_are_dashed_and_both_are_named():
    picture = drawn("3x8+2x2")
    dashed = [line for line in picture.iter(f"{SVG}line") if line.get("stroke-dasharray")]
    assert len(dashed) == 2 + 1
    words = " ".join(element.text for element in picture.iter(f"{SVG}text"))
    assert "C production cane: 3 x 8 buds" in words
    assert "S renewal spur: 2 x 2 buds" in words


def test_shoots_per_metre_are_written_in_the_units_asked_for():
    assert "about 16.1 shoots per m of canopy" in sketch_svg(
        PruningPlan.parse("3x8"), 1.8, shoots_per_m=16.1
    )
    # 16.1 per m times 0.3048 m a foot is 4.9 per ft.
    assert "about 4.9 shoots per ft of canopy" in sketch_svg(
        PruningPlan.parse("3x8"), 1.8, shoots_per_m=16.1, units=US
    )


def test_divided_canopy_has_two_walls_of_half_the_length():
    picture = drawn("4x11+4x2", canopies=2)
    words = [element.text for element in picture.iter(f"{SVG}text")]
    assert "wall 1 of 2" in words
    assert "wall 2 of 2" in words
    assert "canopy of each wall 0.90 m" in words


@pytest.mark.parametrize("text", ["3x8+3x2", "2x14+9x2", "60x2", "1x20", "8x20+8x2"])
@pytest.mark.parametrize("length", [0.8, 1.8, 6.0])
def test_nothing_leaves_the_drawing(text, length):
    picture = ET.fromstring(sketch_svg(PruningPlan.parse(text), length))
    _, _, wide, high = (float(part) for part in picture.get("viewBox").split())
    for line in picture.iter(f"{SVG}line"):
        assert all(0 <= float(line.get(name)) <= wide for name in ("x1", "x2"))
        assert all(0 <= float(line.get(name)) <= high for name in ("y1", "y2"))


def test_title_from_outside_cannot_add_markup():
    text = sketch_svg(PruningPlan.parse("3x8"), 1.8, title='<script>"&')
    assert "<script>" not in text
    ET.fromstring(text)


def test_spurs_beyond_the_canes_are_not_called_renewal():
    words = [spur_word(PruningPlan.parse(text)) for text in ("3x8+3x2", "3x8+5x2", "24x2")]
    assert words == ["renewal spur", "spur", "bearing spur"]
