"""Figures of a comparison of plans: crop with its range, shoot density and balance with bands."""

import numpy as np

from cropload.beliefs import ranges
from cropload.show import wording
from cropload.show.figures import BLUE, VERMILLION, axes_at, house_style, legend_above, new_axes
from cropload.units import METRIC

#: Crop of the first season and settled crop; told apart by marker, line and label, not colour only.
FIRST = {"color": BLUE, "marker": "o", "linestyle": "-", "markerfacecolor": BLUE}
SETTLED = {"color": VERMILLION, "marker": "s", "linestyle": "--", "markerfacecolor": "white"}
FIRST_LABEL, SETTLED_LABEL = "first season", "settled (third season on)"

#: Longest plan written beside an axis before it is cut [characters].
_LONGEST_LABEL = 22


def _labels(comparison):
    labels = []
    for place, plan in enumerate(comparison["plan"], start=1):
        short = plan if len(plan) <= _LONGEST_LABEL else plan[: _LONGEST_LABEL - 1] + "…"
        labels.append(f"{place}: {short}")
    return labels


def _levels_axis(ax, comparison, named=True):
    count = len(comparison)
    ax.set_ylim(count - 0.4, -0.6)
    ax.set_yticks(np.arange(count), _labels(comparison) if named else [""] * count)
    if named:
        ax.set_ylabel("level: plan")


def _ranges(ax, comparison, name, convert, shift, style, label, places, spelt=False):
    """Draw one range a level, with its middle beside the marker or (spelt) all of it at its end."""
    ends = [convert(comparison[f"{name}_{end}"].to_numpy()) for end in ranges.ENDINGS]
    heights = np.arange(len(comparison)) + shift
    line = {"color": style["color"], "linestyle": style["linestyle"]}
    # One artist for all levels: a slider must not wait for the drawing.
    ax.hlines(heights, ends[0], ends[2], linewidth=2, **line)
    ax.plot(ends[1], heights, label=label, markeredgewidth=1.6, **style | {"linestyle": "none"})
    for at, low, middle, high in zip(heights, *ends, strict=True):
        text = wording.figure(middle, places)
        if spelt:
            text += f" ({wording.figure(low, places)} to {wording.figure(high, places)})"
            where = {"xy": (high, at), "xytext": (6, 0), "ha": "left", "va": "center"}
        else:
            under = shift > 0
            va = "top" if under else "bottom"
            where = {
                "xy": (middle, at),
                "xytext": (0, -5 if under else 5),
                "ha": "center",
                "va": va,
            }
        ax.annotate(text, textcoords="offset points", fontsize=8.5, **where)
    # Room for the text at the end of the longest range.
    ax.set_xlim(0, max(ax.get_xlim()[1], ends[-1].max() * (1.28 if spelt else 1.06)))


def _legend_lines():
    """Return a line with its marker for each season, as they are drawn."""
    from matplotlib.lines import Line2D

    pairs = ((FIRST, FIRST_LABEL), (SETTLED, SETTLED_LABEL))
    return [Line2D([], [], label=label, markeredgewidth=1.6, **style) for style, label in pairs]


def _band(ax, low, high, text):
    """Draw a band as a hatched strip with dark edges, and its name above the axes."""
    ax.axvspan(low, high, facecolor="#F1F1F1", edgecolor="#DDDDDD", hatch="///", linewidth=0)
    for end in (low, high):
        ax.axvline(end, color="#444444", linewidth=1, linestyle=":")
    ax.set_title(text, fontsize=9.5, fontweight="normal")
    ax.set_xlim(0, max(ax.get_xlim()[1], high * 1.1))
    ax.locator_params(axis="x", nbins=6, steps=[1, 2, 5, 10])


def plot_crop(comparison, units=METRIC, ax=None):
    """Draw the crop per area of each plan: first season and settled, side by side.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``.
    units : UnitSystem
        Units to show [t/ha or ton/ac].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with house_style():
        ax = new_axes() if ax is None else ax
        places = wording.decimals("t_ha", units)

        def convert(values):
            return units.convert("t_ha", values)

        _ranges(ax, comparison, "t_ha", convert, -0.2, FIRST, FIRST_LABEL, places, True)
        _ranges(ax, comparison, "t_ha_settled", convert, 0.2, SETTLED, SETTLED_LABEL, places, True)
        _levels_axis(ax, comparison)
        ax.set_xlabel(f"crop at the scale [{units.label('t_ha')}], {ranges.label()}")
        legend_above(ax, handles=_legend_lines())
    return ax


def plot_density(comparison, band, units=METRIC, ax=None, named=True):
    """Draw shoots per metre of canopy of each plan against a band.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``.
    band : Band
        Band of shoots per metre [1/m].
    units : UnitSystem
        Units to show.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.
    named : bool
        Write the plans beside the axis.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with house_style():
        ax = new_axes() if ax is None else ax

        def convert(values):
            return units.convert("per_m", values)

        _ranges(ax, comparison, "shoots_per_m", convert, 0, FIRST, FIRST_LABEL, 1)
        _levels_axis(ax, comparison, named)
        words = wording.band_text(band, units, "per_m").replace(" (", "\n(", 1)
        _band(ax, convert(band.low), convert(band.high), f"band {words}")
        ax.set_xlabel(f"shoots {units.label('per_m')} of canopy,\n{ranges.label()}")
    return ax


def plot_balance(comparison, band, ax=None, named=True):
    """Draw yield to pruning weight of each plan, first season and settled, against a band.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``.
    band : Band
        Band of yield to pruning weight [kg/kg].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.
    named : bool
        Write the plans beside the axis.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with house_style():
        ax = new_axes() if ax is None else ax

        def same(values):
            return values

        _ranges(ax, comparison, "ravaz", same, -0.14, FIRST, FIRST_LABEL, 1)
        _ranges(ax, comparison, "ravaz_settled", same, 0.14, SETTLED, SETTLED_LABEL, 1)
        _levels_axis(ax, comparison, named)
        words = wording.band_text(band).replace(" (", "\n(", 1)
        _band(ax, band.low, band.high, f"band {words}")
        ax.set_xlabel(f"yield / pruning weight [kg/kg],\n{ranges.label()}")
    return ax


def plans_figure(comparison, density, balance, units=METRIC):
    """Draw the whole comparison: crop above, shoot density and balance with their bands below.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``, one a level.
    density, balance : Band
        Bands of shoots per metre [1/m] and of yield to pruning weight [kg/kg].
    units : UnitSystem
        Units to show.

    Returns
    -------
    matplotlib.figure.Figure
        Made without any global state; save it with `svg`.
    """
    from matplotlib.figure import Figure

    levels = len(comparison)
    with house_style():
        height = 2.7 + 1.0 * levels
        drawn = Figure(figsize=(7.4, height))
        # Margins in inches, so that the text keeps its room for one level as for five.
        top, middle, bottom = 0.36, 1.12, 0.66
        room = (height - top - middle - bottom) / 2
        left = 0.55 + 0.085 * max(len(text) for text in _labels(comparison))

        plot_crop(comparison, units, axes_at(drawn, left, height - top - room, 7.25 - left, room))
        half = (7.25 - left - 0.3) / 2
        plot_density(comparison, density, units, axes_at(drawn, left, bottom, half, room))
        beside = axes_at(drawn, left + half + 0.3, bottom, half, room)
        plot_balance(comparison, balance, beside, named=False)
    return drawn


def figure_text(comparison, density, balance, units=METRIC):
    """Return the figure in words, for whoever cannot see it.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``, one a level.
    density, balance : Band
        As in `plans_figure`.
    units : UnitSystem
        Units to show.
    """
    label = units.label("t_ha")
    parts = [f"Crop of each level with its {ranges.label()}."]
    for place, row in enumerate(wording.levels(comparison), start=1):
        parts.append(
            f"Level {place}, {row['plan']}: "
            f"{wording.amount('t_ha', row['t_ha_p50'], units, unit=False)} "
            f"({wording.span('t_ha', row['t_ha_p10'], row['t_ha_p90'], units)}) {label} first "
            f"season, {wording.amount('t_ha', row['t_ha_settled_p50'], units, unit=False)} {label} "
            f"settled; {wording.amount('per_m', row['shoots_per_m_p50'], units)} shoots, "
            f"{row['density_word']} the band; yield to pruning weight "
            f"{wording.figure(row['ravaz_p50'])}, {row['balance_word']} the band."
        )
    parts.append(
        f"Bands: shoots {wording.band_text(density, units, 'per_m')}; "
        f"yield to pruning weight {wording.band_text(balance)}."
    )
    return " ".join(parts)
