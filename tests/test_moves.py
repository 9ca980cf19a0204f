"""What assumptions move, as ``cropload source`` tells it, is what they move."""

import importlib.util
from dataclasses import replace
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


def test_every_assumption_has_its_reason_and_tells_what_it_moves():
    for entry in map(handbook.entry, handbook.keys()):
        key = entry.key
        if entry.grade == "assumption":
            assert entry.note, key
            told = handbook.describe(key)
            assert "what it moves" in told, key
            assert "not computed" not in told, key


def test_limits_of_doubt_move_no_forecast(monkeypatch):
    before = tool.usual("interval.level")
    held = dict(tool.reader._entries())
    for key in handbook.keys("plausible."):
        if held[key].low is not None:
            held[key] = replace(held[key], low=held[key].low * 0.9, high=held[key].high * 1.1)
    monkeypatch.setattr(tool.reader, "_entries", lambda: held)
    assert tool.usual("interval.level") == before


@pytest.mark.parametrize(
    "key",
    [
        "dates.veraison_to_harvest",
        "wood.rebuild_chance",
        "frost.steepness",
        handbook.most_moving(1)[0],
    ],
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
