"""The docstring of every public name says what goes in and out, in which unit, and how far."""

import inspect
import re

import pytest

import cropload

PUBLIC = [name for name in cropload.__all__ if not name.endswith("Error")]
FUNCTIONS = [name for name in PUBLIC if inspect.isfunction(getattr(cropload, name))]
NUMERIC = re.compile(r"\b(float|int|ndarray|array|number)s?\b")
UNIT = re.compile(r"\[[^\]]+\]|\b[Yy]ear of (the )?harvest\b")

#: These move files; they compute nothing whose range could be told.
FILES = {"read_records", "write_template", "example_records"}


def sections(text):
    """Split a numpy-style docstring into {heading: body}."""
    parts = re.split(r"\n([A-Z][A-Za-z ]+)\n-{3,}\n", inspect.cleandoc(text))
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(body):
    """Yield (names, type, text) of each entry of a Parameters section."""
    for block in re.split(r"\n(?=\S)", body):
        head, _, text = block.partition("\n")
        names, _, kind = head.partition(" : ")
        yield [name.strip().lstrip("*") for name in names.split(",")], kind, text


@pytest.mark.parametrize("name", PUBLIC)
def test_every_public_name_is_explained(name):
    assert len(inspect.getdoc(getattr(cropload, name)) or "") > 60


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_parameter_is_explained(name):
    function = getattr(cropload, name)
    told = {
        n
        for names, _, _ in entries(sections(function.__doc__).get("Parameters", ""))
        for n in names
    }
    asked = set(inspect.signature(function).parameters)
    assert asked <= told


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_number_has_a_unit(name):
    body = sections(getattr(cropload, name).__doc__).get("Parameters", "")
    bare = [
        names
        for names, kind, text in entries(body)
        if NUMERIC.search(kind) and not UNIT.search(kind + text)
    ]
    assert not bare


@pytest.mark.parametrize("name", FUNCTIONS)
def test_what_comes_out_is_told_and_how_far_it_holds(name):
    parts = sections(getattr(cropload, name).__doc__)
    assert "Returns" in parts or name in FILES
    assert name in FILES or re.search(r"\bvalid\b", parts.get("Notes", ""), re.IGNORECASE)
