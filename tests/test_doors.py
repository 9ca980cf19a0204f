"""Every public name has a door (a command or a panel), and every door's answer a public name."""

import ast
import functools
from pathlib import Path

import pytest

import cropload

PACKAGE = Path(cropload.__file__).parent
HOMES = cropload._HOME


def module_name(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


@functools.cache
def trees():
    """Return every module of the package, parsed."""
    return {module_name(p): ast.parse(p.read_text("utf-8")) for p in PACKAGE.rglob("*.py")}


@functools.cache
def doors():
    """Return the modules of commands and panels."""
    named = [name for name in trees() if {"commands", "panels"} & set(name.split("."))]
    return [*named, "cropload.pages.pruning_levels"]


@functools.cache
def imports(module):
    """Return (module, name) of everything a module takes from the package."""
    found = []
    for node in ast.walk(trees()[module]):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("cropload"):
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                found.append((inner, None) if inner in trees() else (node.module, alias.name))
    return found


@functools.cache
def reached():
    """Return every (module, name) that a command or panel uses, by itself or through others."""
    seen, names, open_ = set(), set(), list(doors())
    while open_:
        module = open_.pop()
        if module in seen:
            continue
        seen.add(module)
        for home, name in imports(module):
            names.add((home, name))
            open_.append(home)
    return names


@functools.cache
def at_the_door():
    """Return what commands and panels take themselves."""
    return {pair for door in doors() for pair in imports(door)}


@pytest.mark.parametrize("name", sorted(HOMES))
def test_every_public_name_has_a_door(name):
    home = HOMES[name]
    assert (home, name) in reached() or used_at_home(home, name)


def used_at_home(home, name):
    """Whether what a door takes from the same module leans on a name."""
    return any(module == home for module, _ in reached()) and any(
        isinstance(node, ast.Name) and node.id == name and isinstance(node.ctx, ast.Load)
        for node in ast.walk(trees()[home])
    )


def answers():
    """Return names of all classes that derive from Answer."""
    found, more = {"Answer"}, True
    while more:
        more = False
        for tree in trees().values():
            for node in ast.walk(tree):
                if isinstance(node, ast.ClassDef) and node.name not in found:
                    bases = {getattr(base, "id", getattr(base, "attr", "")) for base in node.bases}
                    if bases & found:
                        found.add(node.name)
                        more = True
    return found


def makers():
    """Yield (module, function) of each function that makes an answer and that a door uses."""
    kinds = answers()
    for module, tree in trees().items():
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                made = {
                    inner.func.id
                    for inner in ast.walk(node)
                    if isinstance(inner, ast.Call) and isinstance(inner.func, ast.Name)
                }
                if made & kinds and (module, node.name) in at_the_door():
                    yield module, node.name


def test_every_answer_of_a_door_is_a_public_name():
    found = {name: module for module, name in makers()}
    # The test sees what it should: the answer of the main job, and those that a panel makes of
    # answers that it holds already.
    assert {"compare_plans", "forecast_fan", "level_scores", "what_moved"} <= set(found)
    assert not {name for name, module in found.items() if HOMES.get(name) != module}


def test_a_private_copy_of_the_package_has_no_public_name_without_a_home():
    assert all(home in trees() for home in HOMES.values())
