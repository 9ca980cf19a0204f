"""Rooms look only down: the contracts of pyproject.toml hold, root files included."""

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def test_every_room_uses_only_rooms_below_it():
    cli = pytest.importorskip("importlinter.cli")
    assert cli.lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0
