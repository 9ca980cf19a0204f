"""What a command of the command line is.

A module that holds ``COMMANDS``, a tuple of :class:`Command`, in the folder ``commands`` of a
question or of the pages is found by itself: adding a command is adding a file.  Its top must
import nothing heavy (no numpy, pandas or jupyter), so that ``cropload --help`` stays quick; what
a command needs is imported inside its ``run``.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

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
    arguments : sequence of callable
        What it takes, in the order of its help, as from ``options.option``.
    run : callable
        Takes the parsed arguments and returns the text for standard output (or None), or yields
        it part by part; blank ones are left out.
    example : str
        Lines to copy, with what they do; shown at the end of the command's help.
    details : str
        What it does, with units; shown at the top of the command's help.
    """

    name: str
    group: str
    summary: str
    arguments: Sequence
    run: Callable
    example: str
    details: str = ""
