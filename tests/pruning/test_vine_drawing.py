"""The drawing of vines: every bud of the plan, wood that never overlaps, one scale, a fair text."""

import itertools
import math
import xml.etree.ElementTree as ET
from types import SimpleNamespace

import pandas as pd
import pytest

from cropload.pruning.panels.vine_drawing import VineDrawing
from cropload.pruning.vine_drawing import (
    drawing_text,
    past_words,
    spur_word,
    vine_drawings,
    vines_html,
)
from cropload.pruning.vine_shape import bearing_wood
from cropload.units import METRIC, US
from cropload.vine.plan import PruningPlan

SVG = "{http://www.w3.org/2000/svg}"
parse = PruningPlan.parse

CASES = [
    ("1x8+1x2", "cane"),
    ("2x10+2x2", "cane"),
    ("4x10", "cane"),
    ("3x8+5x2", "cane"),
    ("8x20", "cane"),
    ("8x20+8x2", "cane"),
    ("14x2", "cordon"),
    ("40x2", "cordon"),
    ("40x2", "head"),
    ("9x2", "head"),
    ("200x2", "minimal hedge"),
]


def wood(text, training="cane", wall=1.8, scale=300.0):
    plan = parse(text)
    return bearing_wood(plan, plan.canes, plan.spurs, wall, training, scale)


def pieces(text, training="", wall=1.8, scale=300.0, kind="cane"):
    return [each for each in wood(text, training, wall, scale).pieces if each.kind == kind]


def drawn(texts, length=1.8, training="", **more):
    return [
        ET.fromstring(svg)
        for svg in vine_drawings([parse(text) for text in texts], length, training, **more)
    ]


def buds(picture, kind):
    return [e for e in picture.iter() if e.get("class") == "cl-bud" and e.get(f"data-{kind}")]


@pytest.mark.parametrize(("text", "training"), CASES)
@pytest.mark.parametrize("canopies", [1, 2])
def test_every_bud_is_drawn_and_numbered(text, training, canopies):
    plan = parse(text)
    (picture,) = drawn([text], 1.8 * canopies, training, canopies=canopies)
    for kind, count, each in (
        ("cane", plan.canes, plan.buds_per_cane),
        ("spur", plan.spurs, plan.buds_per_spur),
    ):
        named = {(e.get(f"data-{kind}"), e.get("data-bud")) for e in buds(picture, kind)}
        assert named == {
            (str(at), str(bud)) for at in range(1, count + 1) for bud in range(1, each + 1)
        }


@pytest.mark.parametrize(("text", "training"), CASES)
@pytest.mark.parametrize("wall", [0.9, 1.8, 3.0])
def test_no_two_pieces_of_wood_touch(text, training, wall):
    picture = vine_drawings([parse(text)], wall, training)[0]
    found = ET.fromstring(picture)
    lines = [
        [tuple(map(float, pair.split(","))) for pair in line.get("points").split()]
        for line in found.iter(f"{SVG}polyline")
    ]
    courses = [dense(line) for line in lines]
    for one, other in itertools.combinations(courses, 2):
        if min(other)[0] - max(one)[0] > 10 or min(one)[0] - max(other)[0] > 10:
            continue
        least = min(math.dist(a, b) for a in one for b in other)
        # Two lines of thickness 4 that are 6 apart have air between them.
        assert least >= 6, (text, wall, least)


def dense(points, step=4.0):
    """Return points at most a step apart along a course."""
    found = []
    for (x1, y1), (x2, y2) in itertools.pairwise(points):
        many = max(1, math.ceil(math.dist((x1, y1), (x2, y2)) / step))
        found += [
            (x1 + (x2 - x1) * at / many, y1 + (y2 - y1) * at / many) for at in range(many + 1)
        ]
    return found


@pytest.mark.parametrize(("text", "training"), CASES)
@pytest.mark.parametrize("wall", [0.9, 1.8, 3.0])
def test_nothing_leaves_the_drawing(text, training, wall):
    (picture,) = drawn([text], wall, training)
    _, _, wide, high = (float(part) for part in picture.get("viewBox").split())
    group = picture.find(f"{SVG}g")
    dx, dy = map(float, group.get("transform")[len("translate(") : -1].split())
    for line in group.iter(f"{SVG}polyline"):
        for pair in line.get("points").split():
            x, y = map(float, pair.split(","))
            assert 0 <= x + dx <= wide
            assert 0 <= y + dy <= high


def test_all_levels_have_one_scale_and_one_height():
    pictures = drawn(["3x8+3x2", "3x6+3x2", "3x14+3x2"], 1.8, "cane")
    assert len({picture.get("viewBox") for picture in pictures}) == 1
    gaps = set()
    for picture in pictures:
        x = [float(e.get("cx")) for e in buds(picture, "cane") if e.get("data-cane") == "1"]
        gaps.add(round(abs(x[-1] - x[-2]), 1))
    assert len(gaps) == 1


def test_canes_lie_along_the_wire_both_ways_and_are_as_long_as_their_buds():
    # Ten internodes of 89 mm, the middle of 76 to 102 mm (Hellman, layout.internode_mm).
    canes = pieces("2x10+2x2")
    assert sorted(math.copysign(1, cane.points[-1][0]) for cane in canes) == [-1, 1]
    for cane in canes:
        length = sum(math.dist(*pair) for pair in itertools.pairwise(cane.points))
        assert length == pytest.approx(10 * 0.089 * 300, rel=0.001)
        assert cane.points[-1][1] == cane.points[-2][1]


def test_each_renewal_spur_is_below_its_cane_and_nearer_the_head():
    # Common practice, no source.
    found = wood("4x10+4x2").pieces
    for side in (1, -1):
        here = [each for each in found if each.points[0][0] * side > 0]
        bases = sorted((abs(each.points[0][0]), each.kind) for each in here)
        assert [kind for _, kind in bases] == ["spur", "cane"] * 2
        spur_tips = [each.points[-1][1] for each in here if each.kind == "spur"]
        cane_tips = [each.points[-1][1] for each in here if each.kind == "cane"]
        # y runs down.
        assert min(spur_tips) > max(cane_tips)


def test_spurs_of_a_cordon_stand_at_even_places_along_its_arms():
    x = [spur.points[0][0] for spur in pieces("14x2", "cordon", kind="spur")]
    gaps = [b - a for a, b in itertools.pairwise(x)]
    assert max(gaps) == pytest.approx(min(gaps))
    assert x[0] == pytest.approx(-x[-1])


def test_a_cut_has_its_stub():
    for text, training in CASES:
        assert wood(text, training).stubs, text


def test_a_cane_past_its_place_is_marked_with_its_length():
    # 12 x 0.089 m is 1.07 m; canes both ways have half of 1.8 m each.
    assert past_words(parse("2x12"), 1.8) == (
        "A cane of 12 buds is about 1.07 m long; its place is 0.90 m."
    )
    assert past_words(parse("1x12"), 1.8) == ""
    assert past_words(parse("2x10"), 1.8) == ""
    # 1.068 m / 0.3048 m a foot is 3.5 ft.
    assert "3.5 ft long" in past_words(parse("2x12"), 1.8, US)
    long, short = drawn(["2x12", "2x10"], 1.8, "cane")
    assert [text.text for text in long.iter(f"{SVG}text")] == ["1.07 m"] * 2
    assert not list(short.iter(f"{SVG}text"))


def test_a_cane_of_hundreds_of_buds_is_cut_off_and_says_so():
    (picture,) = drawn(["1x200"], 1.2, "cane")
    (text,) = picture.iter(f"{SVG}text")
    shown = len(buds(picture, "cane"))
    assert text.text.endswith(f" +{200 - shown}")


def test_letters_are_11_px_where_a_drawing_is_350_px_wide():
    (picture,) = drawn(["4x14+4x2"], 3.6, "cane", canopies=2)
    wide = float(picture.get("viewBox").split()[2])
    texts = list(picture.iter(f"{SVG}text"))
    assert texts
    assert all(float(text.get("font-size")) * 360 / wide >= 11 for text in texts)


def test_divided_canopy_has_a_wall_under_the_other():
    (picture,) = drawn(["4x9+4x2"], 3.6, "cane", canopies=2)
    assert [t.text for t in picture.iter(f"{SVG}text")] == ["1/2", "2/2"]


def test_text_alternative_is_that_of_the_data():
    plan = parse("3x8+3x2")
    told = drawing_text(plan, 1.8, 16.1, title="as last winter")
    assert told == (
        "as last winter: one vine with 3 canes of 8 buds and 3 spurs of 2, 30 buds, along 1.80 m "
        "of canopy; about 16.1 per m shoots."
    )
    (picture,) = drawn(["3x8+3x2"], titles=["as last winter"], shoots_per_m=[16.1])
    assert picture.get("aria-label") == picture.find(f"{SVG}title").text == told


def test_title_from_outside_cannot_add_markup():
    text = vines_html([parse("3x8")], 1.8, titles=['<script>"&'])
    assert "<script>" not in text


def test_choosing_wood_says_that_it_has_no_source():
    assert "Common practice, no source." in vines_html([parse("3x8")], 1.8)


def test_spurs_beyond_the_canes_are_not_called_renewal():
    words = [spur_word(parse(text)) for text in ("3x8+3x2", "3x8+5x2", "24x2")]
    assert words == ["renewal spur", "spur", "bearing spur"]


def test_the_widget_draws_levels_and_the_same_bud_can_be_chosen_twice():
    plans = [parse("3x8+3x2"), parse("2x10")]
    frame = pd.DataFrame({"canopy_length_m": [1.8] * 2, "shoots_per_m_p50": [16.0, 12.0]})
    desk = SimpleNamespace(facts={"training": "cane", "canopies": 1.0}, units=METRIC)
    widget, heard = VineDrawing(), []
    widget.observe(lambda change: heard.append(change["new"]), "chosen")
    for _ in range(2):
        widget.chosen = {"level": 0, "buds_per_cane": 6}
        widget.show(SimpleNamespace(frame=frame), plans, ["as last winter", ""], desk)
    assert heard == [{"level": 0, "buds_per_cane": 6}, {}] * 2
    assert "level 2: 2x10" in widget.html
    assert 'data-level="1"' in widget.html
