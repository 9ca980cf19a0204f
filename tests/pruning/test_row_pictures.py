"""Pictures of a row: one axis for all levels, marks where the numbers are, words of the same."""

import xml.etree.ElementTree as ET

import pandas as pd
import pytest

from cropload.pruning.row_pictures import axes
from cropload.units import METRIC, US
from cropload.vine.bands import Band

SVG = "{http://www.w3.org/2000/svg}"
DENSITY, BALANCE = Band(12.0, 15.0, "undivided canopy"), Band(4.0, 10.0, "single canopy")


def level(shoots, crop, settled, ratio):
    """Return a row with ranges of a tenth either way."""
    row = {}
    names = ("shoots_per_m", "t_ha", "t_ha_settled", "ravaz", "ravaz_settled")
    for name, middle in zip(names, (shoots, crop, settled, ratio, ratio), strict=True):
        row |= {f"{name}_p10": 0.9 * middle, f"{name}_p50": middle, f"{name}_p90": 1.1 * middle}
    row["density_word"] = DENSITY.word(shoots)
    row["balance_word"] = row["balance_settled_word"] = BALANCE.word(ratio)
    return row


FRAME = pd.DataFrame([level(16, 8, 7.5, 5.6), level(14, 6.8, 7, 4.6), level(18, 9.1, 8, 11)])


def drawn(text):
    return ET.fromstring(text)


def share(element, name="cx"):
    return float(element.get(name).removesuffix("%"))


def ticks(head):
    """Return {number: place} of the ticks that a head names, where none was moved inwards."""
    found = [text for text in drawn(head).iter(f"{SVG}text") if text.get("text-anchor") == "middle"]
    return {float(text.text): share(text, "x") for text in found}


def on_axis(scale, value):
    """Return where a value stands, by the scale's two ends: a check apart from the code's own."""
    return 5 + 90 * (value - scale.low) / (scale.high - scale.low)


def test_middles_of_all_levels_stand_on_one_axis():
    found = axes(FRAME, DENSITY, BALANCE)
    for _, row in FRAME.iterrows():
        first, settled = drawn(found.crop(row)).iter(f"{SVG}circle")
        for mark, name in ((first, "t_ha_p50"), (settled, "t_ha_settled_p50")):
            assert share(mark) == pytest.approx(on_axis(found.crop_scale, row[name]), abs=0.01)


def test_ticks_of_the_head_stand_where_the_marks_of_their_numbers_would():
    found = axes(FRAME, DENSITY, BALANCE)
    for head, scale in (
        (found.head_crop(), found.crop_scale),
        (found.head_balance(), found.balance_scale),
    ):
        assert ticks(head)
        for number, place in ticks(head).items():
            assert place == pytest.approx(on_axis(scale, number), abs=0.01)


def test_a_mark_outside_its_band_is_a_square_and_inside_it_a_circle():
    found = axes(FRAME, DENSITY, BALANCE)
    rounds = [
        len(list(drawn(found.shoots(row)).iter(f"{SVG}circle"))) for _, row in FRAME.iterrows()
    ]
    assert rounds == [0, 1, 0]


def test_words_are_those_of_the_numbers_in_both_units():
    row = FRAME.iloc[0]
    metric, us = (axes(FRAME, DENSITY, BALANCE, units) for units in (METRIC, US))
    assert metric.crop_told(row) == "crop 8.0 t/ha, 8 in 10: 7.2 to 8.8; settled 7.5 (6.8-8.2)"
    # 8 t/ha x 0.40469 ha an acre / 0.90718 t a short ton is 3.57 (both by definition).
    assert us.crop_told(row).startswith("crop 3.6 ton/ac, 8 in 10: 3.2 to 3.9")
    # 16 per m x 0.3048 m a foot is 4.9.
    assert drawn(us.shoots(row)).get("aria-label").startswith("shoots 4.9 per ft")
    assert drawn(metric.shoots(row)).get("aria-label").endswith("above the band")


def test_title_and_label_say_the_same():
    found = axes(FRAME, DENSITY, BALANCE)
    for picture in (found.crop, found.shoots, found.balance):
        svg = drawn(picture(FRAME.iloc[1]))
        assert svg.find(f"{SVG}title").text == svg.get("aria-label")


def test_letters_keep_their_size():
    found = axes(FRAME, DENSITY, BALANCE)
    for head in (found.head_shoots(), found.head_crop(), found.head_balance()):
        svg = drawn(head)
        assert svg.get("viewBox") is None
        assert all(float(text.get("font-size")) >= 11 for text in svg.iter(f"{SVG}text"))


def test_a_band_too_narrow_for_two_numbers_is_written_as_one():
    wide = pd.DataFrame([level(16, 8, 7.5, 5.6), level(160, 40, 20, 60)])
    texts = [
        text.text for text in drawn(axes(wide, DENSITY, BALANCE).head_shoots()).iter(f"{SVG}text")
    ]
    assert texts == ["12-15"]


def test_what_is_not_known_is_told_and_not_drawn():
    row = FRAME.iloc[0].copy()
    row[[f"ravaz_{end}" for end in ("p10", "p50", "p90")]] = float("nan")
    svg = drawn(axes(FRAME, DENSITY, BALANCE).balance(row))
    assert not list(svg.iter(f"{SVG}circle"))
    assert "not known" in svg.get("aria-label")


def test_one_level_with_no_crop_still_has_an_axis():
    bare = pd.DataFrame([level(14, 0.0, 0.0, 5)])
    scale = axes(bare, DENSITY, BALANCE).crop_scale
    assert scale.low == 0 < scale.high
