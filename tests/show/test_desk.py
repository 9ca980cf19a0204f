"""The desk: parts follow what they depend on, alone with their faults; folds wait."""

import asyncio
from dataclasses import replace

import pytest
from helpers import sample_copy

from cropload import example_records
from cropload.errors import CroploadError
from cropload.show.desk import Desk, Fold, Part, Said
from cropload.show.level_table import Levels, LevelTable, level_of, plan_of
from cropload.show.page import Page
from cropload.vine.plan import PlanError, PruningPlan


@pytest.fixture
def desk():
    return Desk(example_records(), draws=100)


class Counting(Part):
    """Counts how often it was shown."""

    def __init__(self, desk, needs):
        self.needs, self.times = needs, 0
        super().__init__(desk)

    def show(self):
        self.times += 1


def test_a_change_shows_again_only_what_depends_on_it(desk):
    of_block, of_units = Counting(desk, ("block",)), Counting(desk, ("units",))
    desk.block = "Long Acre"
    assert (of_block.times, of_units.times) == (1, 0)
    desk.open_with(units="us")
    assert (of_block.times, of_units.times) == (1, 1)
    desk.set(records=replace(desk.records))
    assert (of_block.times, of_units.times) == (2, 2)


def test_several_choices_changed_at_once_are_one_change(desk):
    part = Counting(desk, ("block", "season"))
    desk.open_with(block="Long Acre", season=2026)
    assert part.times == 1


def test_a_result_is_greyed_at_once_and_worked_out_when_there_is_a_moment(desk):
    part = Counting(desk, ("block",))

    async def change():
        desk.block = "Long Acre"
        desk.block = "Fox Hollow"
        assert part.times == 0
        assert "cl-stale" in part._dom_classes
        await asyncio.sleep(0.2)

    asyncio.run(change())
    assert part.times == 1
    assert "cl-stale" not in part._dom_classes


def test_a_fault_stays_in_its_part_and_goes_when_mended(desk):
    def say():
        if desk.block == "Long Acre":
            raise CroploadError("Not this <b>one</b>.")
        return desk.block

    faulty, sound = Said(desk, say), Counting(desk, ("block",))
    desk.block = "Long Acre"
    assert "Not this &lt;b&gt;one" in faulty.message.value
    assert sound.times == 1
    assert sound.message.value == ""
    desk.block = "Fox Hollow"
    assert faulty.message.value == ""
    assert faulty.text.value == "Fox Hollow"


def test_a_fault_nobody_expected_is_a_message_without_a_traceback(desk):
    part = Said(desk, lambda: 1 / 0)
    desk.block = "Long Acre"
    assert "ZeroDivisionError" in part.message.value
    assert "Traceback" not in part.message.value


def test_what_lies_in_a_closed_fold_waits(desk):
    made = []

    def make():
        made.append(Counting(desk, ("block",)))
        return made

    fold = Fold("more", make)
    desk.block = "Long Acre"
    assert made == []
    fold.button.click()
    [part] = made
    assert part.times == 1
    fold.button.click()
    desk.block = "Fox Hollow"
    assert part.times == 1
    fold.button.click()
    assert part.times == 2
    fold.button.click()
    fold.button.click()
    assert part.times == 2


def test_an_answer_is_worked_out_once_for_what_it_depends_on(desk):
    made = []

    def make():
        made.append(desk.block)
        if desk.block == "Long Acre":
            raise CroploadError("no")
        return desk.block

    first = desk.block
    for block in (first, first, "Long Acre", "Long Acre", first):
        desk.block = block
        if block == "Long Acre":
            with pytest.raises(CroploadError, match="no"):
                desk.once("it", ("block",), make)
        else:
            assert desk.once("it", ("block",), make) == block
    assert made == [first, "Long Acre"]
    desk.forget("it")
    desk.once("it", ("block",), make)
    assert len(made) == 3


def test_records_are_read_again_only_when_a_file_changed(tmp_path):
    folder = sample_copy(tmp_path / "own", "blocks", "pruning", "harvest")
    desk = Desk(folder, draws=100)
    desk.block = "Long Acre"
    before = desk.records
    desk.read_again()
    assert desk.records is before
    harvest = folder / "harvest.csv"
    harvest.write_bytes(harvest.read_bytes() + b"\n")
    desk.read_again()
    assert desk.records is not before
    assert desk.block == "Long Acre"


def test_a_page_without_records_says_why_and_offers_nothing():
    page = Page("no/such/folder")
    assert 'role="alert"' in page.message.value
    assert page.desk.parts == []


def test_a_day_or_block_that_is_none_is_told(desk):
    with pytest.raises(CroploadError, match="Long Acre"):
        desk.open_with(block="Long Aker")
    with pytest.raises(CroploadError, match="nonsense"):
        desk.open_with(as_of="nonsense")


@pytest.mark.parametrize("plan", ["3x8+3x2", "2x10", "14x2", "8x1"])
def test_a_plan_and_its_level_are_the_same(plan):
    plan = PruningPlan.parse(plan)
    assert plan_of(level_of(plan)) == plan


def test_a_level_that_is_no_plan_says_what_is_wrong():
    level = level_of(PruningPlan.parse("3x8+3x2")) | {"canes": float("nan")}
    with pytest.raises(PlanError, match="canes must be a whole number"):
        plan_of(level)


def test_a_table_of_levels_asks_once_for_each_change_and_is_answered():
    asked = []
    table = LevelTable(lambda: asked.append(table.levels))
    level = level_of(PruningPlan.parse("3x8+3x2"))
    table.set_by_hand([level])
    assert asked == [[level]]
    table.show([level], {}, [{}])
    assert table.answered == table.asked == 1
    assert len(asked) == 1


def test_steps_go_back_and_forth_and_a_new_one_ends_what_was_taken_back():
    levels = Levels([])
    first, second = [{"name": "a", "canes": 1}], [{"name": "b", "canes": 2}]
    levels.put(first)
    levels.put(second)
    levels.undo()
    assert levels.now == first
    levels.put(first)
    assert levels.can_redo
    levels.put([{"name": "c", "canes": 1}])
    assert not levels.can_redo
    levels.undo()
    assert levels.now == first
