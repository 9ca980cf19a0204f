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
    many : bool
        Whether it takes many folders at once, their rows kept as Parquet.
    """

    name: str
    group: str
    summary: str
    arguments: Sequence
    run: Callable
    example: str
    details: str = ""
    many: bool = False


@dataclass(frozen=True)
class Opening:
    """The first line over what a command says: which season it is of, and up to which day.

    Attributes
    ----------
    season : int
        Year of harvest.
    place : str
        The block, where one is asked about.
    day : str
        The day in words, where there is one.
    why : str
        Why this season is meant, where none was named.
    """

    season: int
    place: str = ""
    day: str = ""
    why: str = ""

    def words(self):
        """Return the line."""
        from cropload.show.wording import capital

        told = capital(", ".join(filter(None, (self.place, f"harvest {self.season}", self.day))))
        if not self.why:
            return f"{told}."
        return f"{told}; {self.season} is {self.why}" if self.day else f"{told}: {self.why}"

    def over(self, parts):
        """Return the parts of an answer under the line, without what it says already.

        An answer's own heading names block and season, for it is also read alone.
        """
        from cropload.show.terminal import paragraph
        from cropload.show.wording import capital

        parts, which, place = list(parts), f"arvest {self.season}: ", self.place
        leads = [f"H{which}", f"Season {self.season}: "]
        leads += [f"{place}, h{which}", f"{place}: "] if place else []
        for at, part in enumerate(parts):
            first, gap, rest = part.partition("\n\n")
            told = " ".join(first.split())
            lead = next((lead for lead in leads if told.startswith(lead)), "")
            if lead:
                parts[at] = paragraph(capital(told.removeprefix(lead))) + gap + rest
                break
        return [paragraph(self.words()), *parts]
