"""Small pieces of the panels: number boxes with sliders, and tables on narrow screens."""

import inspect
import re

from cropload import frost_cover
from cropload.pages.frost_cover import FrostCover
from cropload.show.panels import parts


def test_the_frost_panel_and_the_command_take_the_same_draws():
    panel, direct = (inspect.signature(each).parameters for each in (FrostCover, frost_cover))
    assert panel["draws"].default == direct["draws"].default
    assert panel["seed"].default == direct["seed"].default


def stacks_below(shown):
    return int(re.search(r"cl-below-(\d+)", shown)[1])


def test_a_wider_table_becomes_lists_on_a_wider_screen():
    few = parts.table(["block", "t"], [["Long Acre", "24.5"]])
    rows = [["block, first season [t]", *["24.5 (16.0 to 37.3)"] * 3]]
    many = parts.table(["", *["Level 1: 3x8+3x2"] * 3], rows)
    assert stacks_below(few) < stacks_below(many)
    for each in (few, many):
        assert f"@container (max-width: {stacks_below(each)}px)" in parts.STYLE


def test_each_cell_says_its_head_where_the_heads_are_gone_and_nothing_is_taken_as_html():
    shown = parts.table(["block", 'low <in> "block"'], [["A & B", "<1>"]])
    assert 'data-head="low &lt;in&gt; &quot;block&quot;">&lt;1&gt;</td>' in shown
    assert "A &amp; B" in shown
