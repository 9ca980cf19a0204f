"""Rooms look only to the left: records, vine, forecasting, decisions, views."""

import ast
from pathlib import Path

import pytest

import cropload

ROOMS = ("records", "vine", "forecasting", "decisions", "views")
PACKAGE = Path(cropload.__file__).parent
MODULES = sorted(path for room in ROOMS for path in (PACKAGE / room).rglob("*.py"))


def imported(path):
    """Names of every module of the package that a file imports, at the top or inside."""
    inside = path.relative_to(PACKAGE.parent).with_suffix("").parts
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = inside[: len(inside) - node.level] if node.level else ()
            yield ".".join([*base, *([node.module] if node.module else [])])


def test_every_room_is_there():
    assert {path.relative_to(PACKAGE).parts[0] for path in MODULES} == set(ROOMS)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_room_never_reaches_to_its_right(path):
    room = ROOMS.index(path.relative_to(PACKAGE).parts[0])
    right = {f"cropload.{name}" for name in ROOMS[room + 1 :]}
    reached = {name for name in imported(path) if ".".join(name.split(".")[:2]) in right}
    assert not reached
