"""Every view that uses what was accepted names every kind of lesson in force as its source."""

import shutil
from pathlib import Path

import pytest

from cropload import accept, after_frost, forecast, learn, read_records
from cropload.pages.cli import main
from cropload.pruning.compare_blocks import compare_blocks
from cropload.records.example import shipped

#: Kind of lesson -> the words that name it, of the variety or counter at hand.
NAMED = {
    "counting_bias": "Clusters counted / clusters there, ",
    "increase_factor": "Cluster weight at harvest / at lag phase, ",
    "ripening_factor": "Cluster weight at harvest / at veraison, ",
    "recovery": "Share of the fruit that reaches the scale, ",
    "counter": "Clusters counted by crew A are corrected",
    "load": "Response to the load (",
    "profile": "Node profile of ",
}
BLOCK = ["--block", "Long Acre"]
LATER = ["--season", "2026"]
COMMANDS = {
    "compare": ["compare", *BLOCK, *LATER, "--plans", "2x10+2x2,3x8+3x2"],
    "plan": ["plan", *BLOCK, *LATER, "--target-t-ha", "8"],
    "forecast": ["forecast", *LATER, "--as-of", "2026-07-15"],
    "next": ["next", *LATER, "--as-of", "2026-07-15"],
    "thin": ["thin", *BLOCK, *LATER, "--as-of", "2026-07-15", "--target-t-ha", "6"],
    "intake": ["intake", "--all", *LATER, "--as-of", "2026-07-15"],
    "frost": ["frost", *BLOCK, *LATER, "--plans", "2x10+2x2,2x12+2x2"],
}


@pytest.fixture(scope="module")
def taught(tmp_path_factory):
    """A copy of the sample with every lesson of the seasons up to 2025 accepted, read once."""
    folder = tmp_path_factory.mktemp("taught") / "mine"
    shutil.copytree(shipped("sample_data") / "quillfoot", folder)
    records = read_records(folder)
    lessons = learn(records, 2025)
    assert {key.split(":")[0] for key in lessons.entries} == set(NAMED)
    accept(records, lessons)
    held = read_records(folder)

    def once(path):
        return held if Path(path) == folder else read_records(path)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("cropload.records.records.read_records", once)
        yield folder


def unnamed(text):
    """Return the kinds that a text does not name, with where and when they were learned."""
    flat = " ".join(text.split())
    assert "learned on this estate from" in flat
    return [kind for kind, words in NAMED.items() if words not in flat]


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_names_every_kind_once(command, taught, capsys):
    name, *more = COMMANDS[command]
    assert main([name, str(taught), *more, "--draws", "200"]) == 0
    text = capsys.readouterr().out
    assert unnamed(text) == []
    flat = " ".join(text.split())
    assert all(flat.count(words) == 1 for words in NAMED.values())


def test_functions_name_every_kind(taught):
    records = read_records(taught)
    found = forecast(records, 2026, "2026-05-20", draws=200)
    assert unnamed(" ".join(found.notes)) == []
    cut = after_frost(found, "Long Acre", 30, 100)
    assert unnamed(" ".join(cut.notes)) == []
    table = compare_blocks(records, ["2x10+2x2"], season=2026, draws=200)
    assert unnamed(" ".join(table.notes)) == []


def test_nothing_accepted_is_named_nowhere(capsys):
    assert main(["forecast", "--example", *LATER, "--as-of", "2026-07-15"]) == 0
    assert "learned on this estate" not in " ".join(capsys.readouterr().out.split())
