"""One published figure beside ours, and the list of sources that hold them."""

import re
from collections.abc import Callable
from dataclasses import dataclass

#: Each source's figures, in the order in which they are told.
SOURCES = []


@dataclass(frozen=True)
class Figure:
    """A figure as a source prints it, and what is computed here.

    Attributes
    ----------
    what : str
        What it is of, with its unit.
    printed : str
        As printed: a number, a range like ``"30-44"``, or a word like ``"more"``.
    ours : float, (low, high) or str
        What is computed: a number, the ends of a range, or a word.
    missed : str
        Why ours does not hold it, where it does not.
    set_by : bool
        Whether a figure of the handbook was set by it, so that it is no independent check.
    """

    what: str
    printed: str
    ours: object
    missed: str = ""
    set_by: bool = False

    @property
    def theirs(self):
        """The ends of what is printed; one number twice."""
        numbers = [float(part.replace(",", "")) for part in re.split(r"(?<=\d)-", self.printed)]
        return numbers[0], numbers[-1]

    @property
    def tolerance(self):
        """Half of the last digit printed."""
        digits = max(len(p.partition(".")[2]) for p in re.split(r"(?<=\d)-", self.printed))
        return 0.5 * 10.0**-digits * (1 + 1e-9)

    @property
    def inside(self):
        """Whether ours holds theirs.

        A number must agree to half of the last digit printed, and lie in our range where we have
        one; a printed range must lie in ours, or hold our number.
        """
        if isinstance(self.ours, str):
            return self.ours == self.printed
        low, high = self.ours if isinstance(self.ours, tuple) else (self.ours, self.ours)
        first, last = self.theirs
        within = low - self.tolerance <= first and last <= high + self.tolerance
        return within or (first < last and first <= (low + high) / 2 <= last)


@dataclass(frozen=True)
class Source:
    """A source of published figures.

    Attributes
    ----------
    name : str
        Short, for a table.
    citation : str
        What it is, in our own words.
    grade : str
        How it was read, as the handbook grades its figures.
    figures : callable
        Returns its figures.
    """

    name: str
    citation: str
    grade: str
    figures: Callable


def source(name, citation, grade="read"):
    """Add a function that returns the figures of one source to the list."""

    def add(function):
        SOURCES.append(Source(name, citation, grade, function))
        return function

    return add
