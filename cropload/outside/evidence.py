"""The table of evidence: published figures beside ours, what is missed included."""

from dataclasses import dataclass

import pandas as pd

from cropload.answer import Answer
from cropload.outside import accuracy, arithmetic, trials  # noqa: F401  they fill SOURCES
from cropload.outside.figure import SOURCES
from cropload.show.table import Column, Table
from cropload.show.wording import significant


@dataclass(frozen=True, eq=False, repr=False)
class Evidence(Answer):
    """Published figures beside ours; its frame has a row a figure."""

    printed = 3

    def heading(self, units="metric"):
        """Return how many figures there are, from how many sources, and how many ours hold."""
        own = self.frame[self.frame["independent"]]
        return (
            f"{len(own)} published figures from {own['source'].nunique()} sources that set nothing "
            f"here, beside what is computed: {int(own['inside'].sum())} inside, "
            f"{int((~own['inside']).sum())} not."
        )

    def tables(self, units="metric"):
        """Return the figures, and what is missed with its reason."""
        rows = self.frame.to_dict("records")
        figures = (
            (Column("figure"), "figure"),
            (Column("source"), "source"),
            (Column("grade"), lambda row: row["grade"].removeprefix("common ")),
            (Column("theirs"), "printed"),
            (Column("ours"), "computed"),
            (Column("inside"), lambda row: "yes" if row["inside"] else "no"),
        )
        missed = (
            (Column("figure"), "figure"),
            (Column("source"), "source"),
            (Column("why ours does not hold it"), "missed"),
        )
        own = [row for row in rows if row["independent"]]
        others = [row for row in rows if not row["independent"]]
        away = [row for row in rows if not row["inside"]]
        return [
            Table.of("evidence", "Published figures beside ours", own, figures),
            Table.of("set_by", "Figures that the handbook was set by, no check", others, figures),
            Table.of("missed", "What is missed, and why", away, missed),
        ]


def _written(figure):
    """Return ours as it is shown: a number to the digits printed, one more where it misses."""
    if isinstance(figure.ours, str):
        return figure.ours
    if isinstance(figure.ours, tuple):
        between = " to " if figure.ours[0] < 0 else "-"
        return between.join(significant(part, 3) for part in figure.ours)
    places = len(figure.printed.split("-")[0].partition(".")[2]) + (not figure.inside)
    return f"{figure.ours:,.{places}f}"


def evidence():
    """Return every published figure the tool is held against, beside what it computes.

    Returns
    -------
    Evidence
        Its frame has a row a figure: figure (what it is of, with its unit), source, citation,
        grade, printed (as the source prints it), computed (in words), low and high (ends of ours,
        NaN where it is a word), inside, independent (nothing here was set by it), missed (why
        ours does not hold it).

    Notes
    -----
    A number agrees to half of its last printed digit, or lies in our range; a printed range lies
    in ours or holds our number. Errors by stage are those of the invented sample estate.
    Valid for the handbook as it ships; lessons that you accepted move none of it.

    Examples
    --------
    >>> found = evidence()
    >>> found.frame.set_index("figure").loc["8 x 9 ft, vines/ac", "printed"]
    '605'
    """
    rows = []
    for held in SOURCES:
        for figure in held.figures():
            ours = figure.ours if isinstance(figure.ours, tuple) else (figure.ours,) * 2
            low, high = (None, None) if isinstance(figure.ours, str) else ours
            rows.append(
                {
                    "figure": figure.what,
                    "source": held.name,
                    "citation": held.citation,
                    "grade": held.grade,
                    "printed": figure.printed,
                    "computed": _written(figure),
                    "low": low,
                    "high": high,
                    "inside": figure.inside,
                    "independent": not figure.set_by,
                    "missed": "" if figure.inside else figure.missed,
                }
            )
    notes = (
        "Grades: read in the source, in its abstract, told in the trade press, or a practice of "
        "the trade without a source.",
        "Unit conversions are not listed. Errors by stage are those that the ranges of the "
        "invented sample estate own up to, from its total to one of its blocks.",
    )
    frame = pd.DataFrame(rows).astype({"low": float, "high": float})
    return Evidence(frame, notes)
