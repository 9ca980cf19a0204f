"""What is decided in one place stands nowhere else: the day, the level of ranges, the draws."""

import ast
import functools
import re
from pathlib import Path

import pytest

import cropload
from cropload.beliefs import ranges

ROOT = Path(cropload.__file__).parent
FILES = sorted(path for path in ROOT.rglob("*.py") if "_shipped" not in path.parts)
CLOCK, RANGES = ROOT / "clock.py", ROOT / "beliefs" / "ranges.py"
#: Calls that turn a share into a quantile, and shares that only the level of a range explains.
QUANTILES = {"quantile", "nanquantile", "percentile", "nanpercentile", "ndtri", "ppf", "inv_cdf"}
SHARES = {0.1, 0.8, 0.9, 10, 80, 90}
OWN_SHARES = {}
#: A number of its own: the sample sizes that the two-step sample looks through.
OWN_NUMBERS = {"season/two_step.py": 2}


@functools.cache
def tree_of(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def name_of(call):
    return getattr(call.func, "attr", getattr(call.func, "id", ""))


def numbers(node):
    """Return the literal numbers anywhere below a node."""
    found = [n.value for n in ast.walk(node) if isinstance(n, ast.Constant)]
    return [value for value in found if type(value) in (int, float)]


def docstrings(tree):
    """Return the places of strings that only explain."""
    return {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}


def clocks(tree):
    """Return the lines on which the machine is asked for the day or the moment."""
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and name_of(node) in {"today", "now", "utcnow", "localtime", "gmtime"}
        and re.search(r"\b(date|datetime|Timestamp|pd|time)\.\w+$", ast.unparse(node.func))
    ]


def levels(tree):
    """Return the lines on which a range's level, its name or its three ends are written out."""
    explains = docstrings(tree)
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            given = [*node.args, *(word.value for word in node.keywords)]
            quantile = name_of(node) in QUANTILES and any(
                SHARES & set(numbers(part)) for part in given
            )
            read = name_of(node) in ("value", "entry") and any(
                isinstance(part, ast.Constant) and part.value == "interval.level" for part in given
            )
            if quantile or read:
                found.append(node.lineno)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            if id(node) not in explains and re.search(r"80\s?%|eight in ten", node.value):
                found.append(node.lineno)
        elif isinstance(node, (ast.Tuple, ast.List)):
            words = [part.value for part in node.elts if isinstance(part, ast.Constant)]
            if {"p10", "p50", "p90"} <= set(words):
                found.append(node.lineno)
    return found


def default_draws(tree):
    """Return the lines on which the default number of draws is written out."""
    explains = docstrings(tree)
    usual = re.compile(rf"\b{ranges.DEFAULT_DRAWS}\b")
    return [
        node.lineno
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and id(node) not in explains
        and (
            node.value == ranges.DEFAULT_DRAWS
            or (isinstance(node.value, str) and usual.search(node.value))
        )
    ]


def elsewhere(rule, home, own=()):
    """Return where a rule finds something outside its home and beyond what is a file's own."""
    found = []
    for path in FILES:
        name = path.relative_to(ROOT).as_posix()
        lines = rule(tree_of(path))
        if path != home and len(lines) > dict(own).get(name, 0):
            found.append((name, lines))
    return found


@pytest.mark.parametrize(
    ("rule", "code"),
    [
        (clocks, "import datetime\nx = datetime.date.today()"),
        (clocks, "now = datetime.datetime.now(datetime.UTC)"),
        (clocks, "day = pd.Timestamp.today()"),
        (levels, "x = np.quantile(draws, [0.1, 0.5, 0.9], axis=-1)"),
        (levels, "z = ndtri(0.9)"),
        (levels, "z = NormalDist().inv_cdf((1 + 0.8) / 2)"),
        (levels, "level = handbook.value('interval.level')"),
        (levels, "label = f'{name}, 80 % range'"),
        (levels, "for end in ('p10', 'p50', 'p90'): pass"),
        (default_draws, "def forecast(records, *, draws=4000): pass"),
        (default_draws, "option('--draws', 'N', 'draws', whole, 4_000)"),
        (default_draws, "help = 'draws; 4000 by default'"),
    ],
)
def test_the_rules_see_what_they_are_for(rule, code):
    assert rule(ast.parse(code))


def test_each_home_holds_what_it_is_the_home_of():
    assert clocks(ast.parse(CLOCK.read_text(encoding="utf-8")))
    home = ast.parse(RANGES.read_text(encoding="utf-8"))
    assert levels(home)
    assert len(default_draws(home)) == 1
    assert len(FILES) > 100


def test_only_the_clock_asks_what_day_it_is():
    assert elsewhere(clocks, CLOCK) == []


def test_the_level_of_ranges_stands_in_one_file():
    assert elsewhere(levels, RANGES, OWN_SHARES) == []


def test_the_default_number_of_draws_stands_in_one_file():
    assert elsewhere(default_draws, RANGES, OWN_NUMBERS) == []
