"""What the package declares to type checkers is what its functions take."""

import ast
import inspect
from pathlib import Path

import pytest

import cropload

STUB = Path(cropload.__file__).with_suffix(".pyi")
DECLARED = {
    node.name: node.args
    for node in ast.parse(STUB.read_text("utf-8")).body
    if isinstance(node, ast.FunctionDef)
}
FUNCTIONS = [name for name in cropload.__all__ if not isinstance(getattr(cropload, name), type)]


def shape(parameters):
    """Return what a caller sees of parameters: name, kind, and whether it may be left out."""
    for each in parameters:
        yield each.name, each.kind.name, each.default is not each.empty


def declared_shape(arguments):
    plain = [*arguments.posonlyargs, *arguments.args]
    defaulted = len(plain) - len(arguments.defaults)
    for place, each in enumerate(plain):
        yield each.arg, "POSITIONAL_OR_KEYWORD", place >= defaulted
    for each, default in zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True):
        yield each.arg, "KEYWORD_ONLY", default is not None
    if arguments.kwarg:
        yield arguments.kwarg.arg, "VAR_KEYWORD", False


def test_every_public_name_is_declared():
    text = STUB.read_text("utf-8")
    kinds = [name for name in cropload.__all__ if name not in FUNCTIONS]
    assert set(DECLARED) == set(FUNCTIONS)
    assert all(f"import {name} as {name}" in text for name in kinds)
    assert STUB.with_name("py.typed").is_file()


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_is_declared_as_it_is(name):
    signature = inspect.signature(getattr(cropload, name))
    assert list(declared_shape(DECLARED[name])) == list(shape(signature.parameters.values()))
