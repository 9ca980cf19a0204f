"""What assumptions move, as ``cropload source`` tells it, is what they move."""

import importlib.util
from pathlib import Path

import pytest

from cropload import handbook

PLACE = Path(__file__).parent / "benchmarks" / "handbook_moves.py"
SPEC = importlib.util.spec_from_file_location("handbook_moves", PLACE)
tool = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(tool)


def test_every_assumption_that_can_reach_an_answer_was_looked_at():
    asked = tool.keys()
    unseen = [key for key in asked if handbook.moves(key) is None]
    # An end that the model refuses is not told.
    assert len(unseen) <= 5 < len(asked)


@pytest.mark.parametrize(
    "key", ["dates.veraison_to_harvest", "frost.steepness", handbook.most_moving(1)[0]]
)
def test_a_move_told_is_the_one_computed(key):
    """A tenth of play, for a default elsewhere may have moved since; then make the file anew."""
    told, (name, low, high) = handbook.moves(key), tool.most(key)
    assert told[0] == name
    assert told[1:] == pytest.approx((low, high), rel=0.1)


def test_source_lists_the_twenty_that_move_most_and_tells_how_far(capsys):
    from cropload.pages.cli import main

    first, *_ = listed = handbook.most_moving()
    assert len(listed) == 20
    assert main(["source"]) == 0
    out = capsys.readouterr().out
    assert out.index(f"  {first}\n") < out.index(f"  {listed[-1]}\n")
    assert main(["source", first]) == 0
    assert "what it moves" in capsys.readouterr().out
