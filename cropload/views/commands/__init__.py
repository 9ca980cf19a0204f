"""The commands of the command line, one module for each or for a small family.

A module here that holds ``COMMANDS``, a tuple of :class:`Command`, is found by itself: adding a
command is adding a file.  Its top must import nothing heavy (no numpy, pandas or jupyter), so that
``cropload --help`` stays quick; what a command needs is imported inside its ``run``.
"""

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pkgutil import iter_modules

#: Headings of the list of commands, in the order of the season.
GROUPS = ("Start", "Winter pruning", "The growing season", "After harvest", "Look up")


@dataclass(frozen=True)
class Command:
    """One command of the command line.

    Attributes
    ----------
    name : str
        What the user types.
    group : str
        One of ``GROUPS``.
    summary : str
        One line for the list of commands.
    arguments : callable
        Takes the parser and adds the arguments.
    run : callable
        Takes the parsed arguments and returns the text for standard output (or None).
    example : str
        Lines to copy, with what they do; shown at the end of the command's help.
    details : str
        What it does, with units; shown at the top of the command's help.
    """

    name: str
    group: str
    summary: str
    arguments: Callable
    run: Callable
    example: str
    details: str = ""


def all_commands():
    """Return {name: Command} of every command, in the order of the help."""
    found = []
    for module in sorted(module.name for module in iter_modules(__path__)):
        found += getattr(import_module(f"{__name__}.{module}"), "COMMANDS", ())
    found.sort(key=lambda command: GROUPS.index(command.group))
    return {command.name: command for command in found}
