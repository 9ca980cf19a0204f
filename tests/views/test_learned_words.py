"""Words of what was learned: no more is said than is known."""

import pandas as pd
import pytest

from cropload.decisions.vine_trend import NOT_CLEAR, TOO_FEW, WEAKER
from cropload.views import learned_words as words


def trend(*rows):
    """Rows of a trend: block, figure, label and the chances of weaker, holding and stronger."""
    names = ["block", "figure", "label", "chance_weaker", "chance_holding", "chance_stronger"]
    return pd.DataFrame(rows, columns=names).assign(words=lambda t: "the " + t["figure"])


def test_headline_gives_the_chances_and_the_other_figures():
    told = words.trend_sentence(
        trend(
            ("Alder", "wood", WEAKER, 0.91, 0.08, 0.01),
            ("Birch", "wood", NOT_CLEAR, 0.51, 0.40, 0.09),
            ("Cedar", "wood", TOO_FEW, 0.9, 0.1, 0.0),
            ("estate", "wood", NOT_CLEAR, 0.3, 0.7, 0.0),
            ("estate", "index", WEAKER, 0.95, 0.05, 0.0),
        ),
        "wood",
    )
    assert "Getting weaker: Alder (91 %)." in told
    assert "Not clear: Birch (weaker 51 %, holding 40 %, stronger 9 %)." in told
    assert "Too few seasons to say: Cedar." in told
    assert "All blocks together: not clear (weaker 30 %, holding 70 %, stronger 0 %)." in told
    assert told.endswith("by other figures: the index, getting weaker (95 %).")
    assert "no block can be called" not in told


def test_headline_says_so_when_nothing_is_clear():
    told = words.trend_sentence(trend(("Birch", "wood", NOT_CLEAR, 0.54, 0.4, 0.06)), "wood")
    assert "no block can be called weaker or stronger yet" in told
    assert "etting weaker" not in told


@pytest.mark.parametrize("count", [12, 40])
def test_headline_of_many_blocks_stays_short(count):
    rows = [(f"B{at}", "wood", NOT_CLEAR, 0.5, 0.4, 0.1) for at in range(count)]
    told = words.trend_sentence(trend(*rows), "wood")
    assert told.count("weaker 50 %") == 12
    assert ("28 more" in told) == (count == 40)
