"""The figure of what the seasons taught: each lesson before and after, with its range."""

import numpy as np

from cropload.beliefs import ranges
from cropload.review.lesson_words import (
    LOADS,
    in_per_cent,
    lesson_kind,
    lesson_sentence,
    seasons_words,
)
from cropload.show.figure_parts import DARK, cut_name, inch_axes, name_room
from cropload.show.figures import BLUE, house_style

_LOAD_AXIS = (
    "change with 10 % more buds, once settled [%]\n(cluster weight: with 10 % more clusters)"
)


def plot_lessons(table, kind, ax=None):
    """Draw lessons of one kind, each before and after with its range.

    Parameters
    ----------
    table : DataFrame
        Of ``learn``.
    kind : str
        The part of their key before the colon.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    mine = table[np.array(lesson_kind(table)) == kind]
    labels = list(mine["of"])
    if kind == "load":
        labels = [LOADS[key.split(":")[1]] for key in mine["key"]]
        # In per cent, as the words and the tables tell it.
        ends = [f"{part}{end}" for part in ("before", "after") for end in ("_low", "", "_high")]
        mine = mine.assign(**{end: in_per_cent(mine[end]) for end in ends})
    with house_style():
        names = [cut_name(name) for name in labels]
        count = len(names)
        ax = inch_axes(1.0 + 0.5 * count, name_room(names), 0.34) if ax is None else ax
        at = np.arange(count)
        for part, shift, colour, marker, line in (
            ("before", -0.17, DARK, "o", "--"),
            ("after", 0.17, BLUE, "D", "-"),
        ):
            low, middle, high = (
                mine[name].to_numpy(float) for name in (f"{part}_low", part, f"{part}_high")
            )
            drawn = ax.errorbar(
                middle,
                at + shift,
                xerr=np.maximum([middle - low, high - middle], 0),
                fmt=marker,
                color=colour,
                markerfacecolor="white" if part == "before" else colour,
                markersize=6,
                capsize=4,
                linewidth=1.6,
                label=f"{part}, {ranges.label()}",
            )
            drawn[2][0].set_linestyle(line)
        right = mine[["before_high", "after_high"]].to_numpy(float).max(1)
        for y, (x, row) in enumerate(zip(right, mine.to_dict("records"), strict=True)):
            ax.annotate(
                f"{row['said']}\n{seasons_words(row['seasons'])}",
                (x, y),
                xytext=(9, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
            )
        least = mine[["before_low", "after_low"]].to_numpy(float).min()
        reach = max(right.max() - least, 1e-6)
        ax.set_xlim(least - 0.06 * reach, right.max() + 0.34 * reach)
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(count - 0.4, -0.6)
        words = mine["words"].iloc[0]
        ax.set_xlabel(_LOAD_AXIS if kind == "load" else f"{words} [1]")
        ax.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=2, borderaxespad=0.2)
    return ax


def lessons_text(table, kind):
    """Return the lessons of one kind in words, for whoever cannot see them."""
    mine = table[np.array(lesson_kind(table)) == kind]
    parts = [f"Before and after, with the {ranges.label()}."]
    parts += [lesson_sentence(row) for row in mine.to_dict("records")]
    return " ".join(parts)
