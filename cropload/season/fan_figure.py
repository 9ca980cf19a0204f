"""The figure of a season's forecasts: the range that narrows from date to date."""

import numpy as np

from cropload.beliefs import ranges
from cropload.season.words import total_words
from cropload.show import wording
from cropload.show.figure_parts import inch_axes
from cropload.show.figures import BLUE, VERMILLION, house_style, legend_above
from cropload.units import METRIC


def plot_fan(fan, harvest=None, units=METRIC, ax=None):
    """Draw how the range of a total narrows over the dates of a season.

    Parameters
    ----------
    fan : Fan
        Of ``fan_of``: one row a day.
    harvest : Harvested, optional
        What the scale said; drawn as a line when it is known.
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    The dates stand evenly spaced, whatever the time between them, so that none hides another.
    """
    with house_style():
        ax = inch_axes(4.1, 0.75, 0.82, 0.86) if ax is None else ax
        at = np.arange(len(fan))
        low, middle, high = (
            units.convert("tonnes", fan[f"tonnes_{end}"].to_numpy(float)) for end in ranges.ENDINGS
        )
        # A single date is a bar, because a band between dates would have no width.
        wide = at if len(fan) > 1 else np.array([-0.12, 0.12])
        edges = [np.broadcast_to(end, wide.shape) for end in (low, high)]
        ax.fill_between(wide, *edges, facecolor=BLUE, alpha=0.18, label=ranges.label())
        for end in edges:
            ax.plot(wide, end, color=BLUE, linewidth=1)
        ax.plot(at, middle, color=BLUE, marker="o", label="middle of the forecast")
        for x, ends in enumerate(zip(low, middle, high, strict=True)):
            for value, va, shift in zip(ends, ("top", "bottom", "bottom"), (-4, 5, 3), strict=True):
                ax.annotate(
                    wording.figure(value, 1),
                    (x, value),
                    xytext=(0, shift),
                    textcoords="offset points",
                    ha="center",
                    va=va,
                    fontsize=8.5,
                    bbox={"facecolor": "white", "alpha": 0.7, "edgecolor": "none", "pad": 0.2},
                )
        top, bottom = high.max(), low.min()
        if harvest is not None:
            value = units.convert("tonnes", harvest.tonnes)
            ax.axhline(
                value, color=VERMILLION, linestyle="--", label=_harvest_words(harvest, units)
            )
            top, bottom = max(top, value), min(bottom, value)
        room = 0.14 * max(top - bottom, 0.02 * top, 1e-9)
        ax.set_ylim(max(0.0, bottom - room), top + room)
        ax.set_xlim(-0.4, len(fan) - 0.6)
        labels = [
            "\n".join([*words.split(), f"{day:%d %b}"])
            for words, day in zip(fan["words"], fan["day"], strict=True)
        ]
        ax.set_xticks(at, labels)
        ax.grid(True, axis="y")
        ax.grid(False, axis="x")
        label = units.label("tonnes")
        ax.set_ylabel(f"crop at the scale [{label}]")
        words = total_words(fan.by, fan.name)
        ax.set_title(
            f"{words[0].upper()}{words[1:]}, season {fan.season}", pad=40, parse_math=False
        )
        legend_above(ax)
    return ax


def _harvest_words(harvest, units):
    text = f"harvest {wording.amount('tonnes', harvest.tonnes, units)}"
    if harvest.missing:
        every = len(harvest.picked) + len(harvest.missing)
        text += f" ({len(harvest.picked)} of {every} blocks)"
    return text


def fan_text(fan, harvest=None, units=METRIC):
    """Return the fan in words, for whoever cannot see it."""
    words = total_words(fan.by, fan.name)
    parts = [f"Forecast of {words}, season {fan.season}, with its {ranges.label()}."]
    for row in fan.frame.to_dict("records"):
        parts.append(
            f"{row['words'].capitalize()} ({row['day']:%Y-%m-%d}): "
            f"{wording.amount('tonnes', row['tonnes_p50'], units, unit=False)} "
            f"({wording.span('tonnes', row['tonnes_p10'], row['tonnes_p90'], units, unit=True)})."
        )
    if harvest is None:
        parts.append("The harvest is not known yet.")
    else:
        parts.append(f"{_harvest_words(harvest, units).capitalize()}.")
    return " ".join(parts)
