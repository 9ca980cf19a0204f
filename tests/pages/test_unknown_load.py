"""A block without any plan on record: the plan is asked for first, once, in one line."""

import pytest

from cropload.pages.cli import main

BLOCKS = "block,variety,row_spacing_m,vine_spacing_m,vines,training\nNorth,Syrah,2.4,1.2,1000,{}\n"
ASKED = "Load unknown: no plan is on record for North. Which is carried now?"


@pytest.fixture
def said(tmp_path, capsys):
    """Return a function that runs a command on one block and returns its output as one line."""

    def ran(command, *more, training="cane", plan="", code=0):
        (tmp_path / "blocks.csv").write_text(BLOCKS.format(training), "utf-8")
        rows = "season,block,plan\n" + (f"2025,North,{plan}\n2026,North,{plan}\n" if plan else "")
        (tmp_path / "pruning.csv").write_text(rows, "utf-8")
        assert main([command, str(tmp_path), *more]) == code
        out, err = capsys.readouterr()
        return " ".join((out + err).split())

    return ran


COMMANDS = [
    ("check",),
    ("forecast", "--draws", "200"),
    ("compare", "--block", "North", "--plans", "2x8", "--draws", "200"),
    ("compare", "--all-blocks", "--draws", "200"),
    ("plan", "--block", "North", "--target-t-ha", "8", "--draws", "200"),
]


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: " ".join(command[:2]))
def test_the_plan_is_asked_for_first_and_once(said, command):
    text = said(*command)
    season, asks, text = text.partition("--season YEAR asks another. ")
    assert asks
    assert "arvest 2027" in season
    assert text.startswith(ASKED)
    assert text.count("Load unknown") == 1
    assert text.count("no plan") == 1


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: " ".join(command[:2]))
def test_a_plan_on_record_is_not_asked_for(said, command):
    assert "Load unknown" not in said(*command, plan="2x8")


def test_where_only_the_plan_of_the_season_is_on_record_the_one_before_is_asked_for(said):
    text = said("check", "--season", "2025", plan="2x8")
    asked = "Load unknown: no plan before that of 2025 is on record for North."
    assert text.startswith(f"Harvest 2025. {asked} Which was carried till then?")


def test_a_plan_that_is_told_is_not_asked_for(said):
    assert "Load unknown" not in said(*COMMANDS[2], "--reference-plan", "2x8")


@pytest.mark.parametrize(
    ("training", "like"),
    [
        ("", "3x6+3x2,3x8+3x2"),
        ("cane", "1x15+1x2,1x13+1x2,2x9+2x2"),
        ("cordon", "8x2,6x2,10x2"),
        ("minimal hedge", "60x2,48x2,72x2"),
    ],
)
def test_compare_suggests_plans_as_the_block_is_trained(said, training, like):
    text = said("compare", "--block", "North", training=training, code=2)
    assert f"like --plans {like}." in text


@pytest.mark.parametrize(("training", "spurs"), [("cordon", True), ("cane", False)])
def test_the_search_keeps_to_the_training(said, training, spurs, tmp_path):
    csv = tmp_path / "out.csv"
    said(*COMMANDS[4], "--csv", str(csv), training=training)
    plans = [row.split(",")[2] for row in csv.read_text("utf-8-sig").splitlines()[1:]]
    assert plans
    assert all(("+" not in plan and plan.endswith("x2")) == spurs for plan in plans)


def test_a_plan_with_canes_too_long_is_compared_and_asked_about_once(said):
    text = said("compare", "--block", "North", "--plans", "6x20,2x8", "--draws", "200", plan="2x8")
    asked = (
        "6x20: a cane of 20 buds is about 1.8 m long (1.5 to 2.0), and the vine has 1.2 m (15 "
        "buds). Is the number right?"
    )
    assert text.count(asked) == 1
    everywhere = said("compare", "--all-blocks", "--plans", "6x20", "--draws", "200", plan="2x8")
    assert everywhere.count(f"North, {asked}") == 1
