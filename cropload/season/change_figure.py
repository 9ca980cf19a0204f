"""The figure of a change: the steps from an earlier forecast to this one, by component."""

import numpy as np

from cropload.season.words import change_steps, moved, short
from cropload.show import wording
from cropload.show.figure_parts import DARK, inch_axes, name_room
from cropload.show.figures import GREEN, VERMILLION, house_style
from cropload.units import METRIC


def plot_change(change, before_t, units=METRIC, ax=None):
    """Draw the steps from an earlier forecast to this one, component by component.

    Parameters
    ----------
    change : DataFrame
        Of ``Forecast.explain``.
    before_t : float
        Middle of the earlier forecast of the estate [t].
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    The steps add up exactly: the last bar is where they end.
    """
    steps = _steps(change)
    with house_style():
        names = ["before", *(name for name, _ in steps), "now"]
        ax = inch_axes(0.75 + 0.34 * len(names), name_room(names), 0.12) if ax is None else ax
        moves = units.convert("tonnes", np.array([move for _, move in steps], float))
        before = units.convert("tonnes", before_t)
        ends = before + np.concatenate([[0.0], np.cumsum(moves)])
        # Steps too small to draw are in the end all the same.
        ends[-1] = units.convert("tonnes", before_t + change.change_t)
        at = np.arange(len(names))
        for place, value in ((0, before), (len(names) - 1, ends[-1])):
            ax.plot([value], [place], color=DARK, marker="D")
            ax.annotate(
                wording.figure(value, 2),
                (value, place),
                xytext=(9, 0),
                textcoords="offset points",
                va="center",
                fontsize=9,
            )
        for place, (start, move) in enumerate(zip(ends[:-1], moves, strict=True), start=1):
            up = move >= 0
            ax.barh(
                place,
                move,
                left=start,
                height=0.62,
                facecolor="#CBE8DE" if up else "#F6D5C2",
                hatch="" if up else "///",
                edgecolor=GREEN if up else VERMILLION,
            )
            ax.annotate(
                f"{move:+.2f} {'more' if up else 'less'}",
                (max(start, start + move), place),
                xytext=(5, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
            )
        for place, value in enumerate(ends):
            ax.plot([value, value], [place, place + 1], color=DARK, linewidth=0.7, zorder=0)
        least, most = ends.min(), ends.max()
        spread = max(most - least, 0.02 * most, 1e-6)
        # The scale begins near the steps, because they are small beside the whole crop.
        ax.set_xlim(max(0.0, least - 0.35 * spread), most + 0.45 * spread)
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(len(names) - 0.4, -0.6)
        ax.set_xlabel(
            f"middle of the estate's crop [{units.label('tonnes')}]; the scale need not begin at 0"
        )
    return ax


def _steps(change):
    """Return (name, move [t]) in the order of the chain, moves under 5 kg together at the end."""
    steps, rest = [], 0.0
    for name, move in change_steps(change, 0.0):
        if abs(move) >= 0.005:
            steps.append((short(name), move))
        else:
            rest += move
    return [*steps, ("the rest", rest)] if abs(rest) >= 0.005 else steps


def change_text(change, before_t, units=METRIC):
    """Return the change in words, for whoever cannot see it."""
    after = before_t + change.change_t
    told = [f"{name} {moved(value, units)}" for name, value in _steps(change)]
    return (
        f"Middle of the estate before: {wording.amount('tonnes', before_t, units)}. "
        f"{'; '.join(told) or 'No change'}. Now: {wording.amount('tonnes', after, units)}."
    )
