"""The card for the crew: what it says, that it is safe, and that it needs no outside address."""

import re

import pytest

from cropload.pruning.cards import bud_tolerance, crew_card
from cropload.vine.plan import PruningPlan


def card(text="3x8+3x2", block="Long Acre", **kwargs):
    return crew_card(PruningPlan.parse(text), block, 2027, canopy_length_m=1.8, **kwargs)


def test_card_says_the_plan_the_buds_and_what_is_on_plan():
    text = card(shoots_per_m=16.1)
    for words in ("3 canes of 8 buds", "3 renewal spurs of 2 buds", "30 buds on each vine"):
        assert words in text
    assert "27 to 33 is on plan" in text


def test_one_cane_of_one_spur_bud_is_singular():
    text = card("1x12+1x1")
    assert "1 cane of 12 buds" in text
    assert "1 renewal spur of 1 bud<" in text


@pytest.mark.parametrize("word", ["Eyes", "Hands", "Footing", "Wounds"])
def test_card_carries_the_cautions(word):
    assert f"<strong>{word}.</strong>" in card()


def test_text_from_records_is_escaped():
    text = card(block='<b>"x"</b>', variety="<script>alert(1)</script>")
    assert "<script>" not in text
    assert "<b>" not in text


def test_card_asks_no_outside_address():
    text = card().replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?:|//[a-z]|url\(|@import|<script|<link|<iframe| src=", text)


def test_invented_records_are_said_to_be_invented():
    assert "invented" in card(invented=True)
    assert "invented" not in card()


@pytest.mark.parametrize(("buds", "ends"), [(30, (27, 33)), (8, (7, 9)), (48, (44, 52))])
def test_tolerance_is_a_tenth_rounded_inwards_and_at_least_one_bud(buds, ends):
    # A tenth is our assumption, see sampling.crew_vine_tolerance in the handbook.
    assert bud_tolerance(buds) == ends
