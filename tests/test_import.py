"""The public names, and what starting up must not load."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

import cropload

#: Slow to import; nothing at the start may need them.
HEAVY = (
    *("numpy", "pandas", "scipy", "scipy.stats", "statsmodels"),
    *("matplotlib", "matplotlib.pyplot", "IPython", "jupyterlab"),
)


def loaded_by(code):
    """Return which heavy modules a fresh Python holds after some code."""
    check = f"{code}\nimport sys\nprint(*[m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", check], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1].split()


def test_public_names_are_sorted_and_unique():
    assert cropload.__all__ == sorted(set(cropload.__all__))


@pytest.mark.parametrize("name", cropload.__all__)
def test_every_public_name_can_be_had(name):
    found = getattr(cropload, name)
    assert found.__doc__
    assert found.__name__ == name
    assert name in dir(cropload)


def test_the_names_of_the_design_are_public():
    """Those a notebook or a script of a user's own is built on."""
    assert {
        "PruningPlan",
        "Records",
        "RecordsError",
        "balanced_buds",
        "compare_blocks",
        "compare_plans",
        "example_records",
        "find_plans",
        "forecast",
        "mean_from_sample",
        "ravaz_index",
        "read_records",
        "replacement_buds",
        "sample_size",
        "vines_per_hectare",
        "write_template",
    } <= set(cropload.__all__)


def test_a_name_that_is_not_there_is_said_so():
    with pytest.raises(AttributeError, match="no attribute 'nothing_like_it'"):
        _ = cropload.nothing_like_it


def test_star_import_gives_exactly_the_public_names():
    scope = {}
    exec("from cropload import *", scope)
    assert set(scope) - {"__builtins__"} == set(cropload.__all__)


def test_importing_the_package_loads_nothing_heavy():
    assert loaded_by("import cropload") == []


@pytest.mark.parametrize("arguments", [["--help"], ["compare", "--help"], ["--version"]])
def test_help_loads_nothing_heavy(arguments):
    assert loaded_by(f"from cropload.pages.cli import main\nmain({arguments!r})") == []


def test_a_source_is_told_without_anything_heavy():
    code = "from cropload.pages.cli import main\nmain(['source', 'interval.level'])"
    assert loaded_by(code) == []


ANSWERS = (
    ["compare", "--block", "Long Acre", "--plans", "3x8", "--draws", "100"],
    ["forecast", "--draws", "100"],
    ["thin", "--block", "Long Acre", "--target-t-ha", "7", "--as-of", "2026-07-15"],
)


def test_answers_need_neither_plotting_nor_jupyter_nor_statistics_packages():
    asked = [[*words[:1], "--example", *words[1:]] for words in ANSWERS]
    code = f"from cropload.pages.cli import main\nassert not sum(map(main, {asked!r}))"
    assert not set(UNUSED) & set(loaded_by(code))


#: Slow to import, and used by no answer: scipy.special has the distributions.
UNUSED = ("scipy.stats", "statsmodels", "matplotlib.pyplot", "IPython", "jupyterlab")


def test_no_command_but_that_of_strips_can_come_to_a_statistics_package():
    slow = re.compile(
        r"^\s*(?:import|from) +(?:scipy\.stats|statsmodels|scipy +import.*\bstats)", re.M
    )
    files = [*Path(cropload.__file__).parent.rglob("*.py")]
    assert len(files) > 100
    found = {file.name for file in files if slow.search(file.read_text(encoding="utf-8"))}
    # Trials in strips are judged by mixed models, which only that package has.
    assert found == {"strips.py"}
