"""Small pieces of the panels: number boxes with sliders, and tables on narrow screens."""

import asyncio
import inspect
import re
from concurrent.futures import ThreadPoolExecutor

from cropload import frost_cover
from cropload.pages.frost_cover import FrostCover
from cropload.pages.pruning_levels import PruningLevels
from cropload.show.panels import parts
from cropload.show.panels.level_rows import LevelRows
from cropload.vine.plan import PruningPlan


def in_a_kernel(work):
    """Run an async function where a loop runs, as it does in a notebook."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(lambda: asyncio.run(work())).result()


def test_the_box_follows_the_slider_while_it_is_dragged():
    field = parts.NumberField("Level 1 canes", 2, 0, 8)
    assert field.slider.continuous_update
    assert int(field.slider.layout.width.removesuffix("px")) >= 150
    field.slider.value = 5
    assert field.number == 5


def test_a_number_beyond_the_slider_stays_as_it_was_typed():
    field = parts.NumberField("Level 1 canes", 2, 0, 8)
    field.box.value = 50
    assert (field.number, field.slider.value) == (50, 8)


def test_a_drag_is_answered_once_when_it_rests_and_a_button_need_not_wait_for_that():
    told = []

    async def drag():
        levels = LevelRows(lambda: told.append([str(plan) for plan in levels.plans()]))
        levels.set([PruningPlan(2, 8, 2, 2)], ["as last winter"])
        told.clear()
        canes = levels.rows[0].fields["canes"]
        for number in (3, 4, 5):
            canes.slider.value = number
            assert (canes.number, told) == (number, [])
        levels.settle()
        assert told == [["5x8+2x2"]]
        canes.slider.value = 6
        while len(told) < 2:
            await asyncio.sleep(0.02)

    in_a_kernel(drag)
    assert told[1:] == [["6x8+2x2"]]


def test_a_crew_card_never_shows_another_plan_than_the_screen(tmp_path):
    async def drag_and_click():
        panel = PruningLevels(block="Long Acre", results_folder=tmp_path, draws=200)
        slider = panel.levels.rows[0].fields["buds_per_cane"].slider
        slider.value = 10
        panel.keep.card_button.click()
        # The browser held this move back until the click was on its way.
        slider.value = 11
        while not panel.keep.kept.value:
            await asyncio.sleep(0.02)
        return panel

    panel = in_a_kernel(drag_and_click)
    assert str(panel.plans[0]) == "3x11+3x2"
    assert "the card for 3x11+3x2 is in" in panel.keep.kept.value


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
