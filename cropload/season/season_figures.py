"""Figures of one forecast: groups by size with their range, and what the range comes from."""

import numpy as np

from cropload.beliefs import ranges
from cropload.season.words import short
from cropload.show import wording
from cropload.show.figure_parts import DARK, LOOKS, cut_name, inch_axes, name_room
from cropload.show.figures import BLUE, house_style, legend_above
from cropload.units import METRIC

#: Parts of the spread below this share in every group are drawn together [1].
_SMALL = 0.03


def plot_ranking(table, by="block", units=METRIC, ax=None):
    """Draw groups in the order of a table, each with its middle and range.

    Parameters
    ----------
    table : DataFrame
        Of ``Forecast.frame_by(by)``, ordered as it should be drawn.
    by : str
        ``"block"``, ``"variety"`` or ``"estate"``.
    units : UnitSystem
        Units to show [t or short tons].
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with house_style():
        names = [cut_name(name) for name in table[by]]
        ax = inch_axes(1.0 + 0.34 * len(table), name_room(names), 0.34) if ax is None else ax
        at = np.arange(len(table))
        low, middle, high = (
            units.convert("tonnes", table[f"tonnes_{end}"].to_numpy(float))
            for end in ranges.ENDINGS
        )
        ax.barh(at, middle, height=0.62, facecolor="#D6E6F2", edgecolor=BLUE, label="middle")
        ax.errorbar(
            middle,
            at,
            xerr=np.maximum([middle - low, high - middle], 0.0),
            fmt="o",
            color=DARK,
            markersize=4,
            capsize=4,
            linewidth=1.6,
            label=ranges.label(),
        )
        texts = zip(middle, low, high, strict=True)
        for y, (m, lo, hi) in enumerate(texts):
            ax.annotate(
                f"{wording.figure(m)} ({wording.figure(lo)} to {wording.figure(hi)})",
                (hi, y),
                xytext=(7, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
            )
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(len(table) - 0.4, -0.6)
        ax.set_xlim(0, max(high.max(), 1e-6) * 1.32)
        ax.set_xlabel(f"crop at the scale [{units.label('tonnes')}]")
        legend_above(ax)
    return ax


def ranking_text(table, by="block", units=METRIC):
    """Return the ranking in words, for whoever cannot see it."""
    parts = [f"Crop of each {by} with its {ranges.label()}, in the order drawn."]
    for row in table.to_dict("records"):
        parts.append(
            f"{row[by]}: {wording.amount('tonnes', row['tonnes_p50'], units, unit=False)} "
            f"({wording.span('tonnes', row['tonnes_p10'], row['tonnes_p90'], units, unit=True)})."
        )
    return " ".join(parts)


def shares_table(contributions, by):
    """Return shares of the spread [1], groups x components, the small ones together.

    Parameters
    ----------
    contributions : DataFrame
        Of ``Forecast.contributions(by)``.
    by : str
        As there.

    Returns
    -------
    DataFrame
        Indexed by group; one column a component that carries 3 % or more somewhere, in the order
        of the chain, and ``the rest``. A row adds up to 1, or to 0 when nothing is left open.
    """
    order = list(dict.fromkeys(contributions["component"]))
    groups = list(dict.fromkeys(contributions[by]))
    wide = contributions.pivot(index=by, columns="component", values="share")
    wide = wide.reindex(index=groups, columns=order)
    large = wide.abs().max() >= _SMALL
    found = wide.loc[:, large].rename(columns=short)
    found["the rest"] = wide.loc[:, ~large].sum(axis=1)
    found.columns.name = None
    return found


def plot_contributions(contributions, by="block", ax=None):
    """Draw how much of the spread of each group every component carries, as stacked bars.

    Parameters
    ----------
    contributions : DataFrame
        Of ``Forecast.contributions(by)``.
    by : str
        ``"block"``, ``"variety"`` or ``"estate"``.
    ax : matplotlib.axes.Axes, optional
        Axes to draw on; new ones when not given.

    Returns
    -------
    matplotlib.axes.Axes

    Notes
    -----
    Components that hold each other in check may carry a negative share; it is drawn left of zero.
    """
    shares = 100 * shares_table(contributions, by)
    with house_style():
        count = len(shares)
        names = [cut_name(name) for name in shares.index]
        top = 0.14 + 0.2 * -(-len(shares.columns) // 3)
        if ax is None:
            ax = inch_axes(0.6 + top + 0.36 * count, name_room(names), top)
        at = np.arange(count)
        right, left = np.zeros(count), np.zeros(count)
        for place, name in enumerate(shares.columns):
            values = shares[name].to_numpy(float)
            start = np.where(values >= 0, right, left)
            fill, pattern = LOOKS[place % len(LOOKS)]
            ax.barh(
                at,
                values,
                left=start,
                height=0.66,
                facecolor=fill,
                hatch=pattern,
                edgecolor=DARK,
                linewidth=0.8,
                label=name,
            )
            for y, (value, begin) in enumerate(zip(values, start, strict=True)):
                if abs(value) >= 8:
                    ax.text(
                        begin + value / 2,
                        y,
                        f"{value:.0f}",
                        ha="center",
                        va="center",
                        fontsize=8.5,
                        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
                    )
            right = np.where(values >= 0, right + values, right)
            left = np.where(values < 0, left + values, left)
        ax.axvline(0, color=DARK, linewidth=1)
        ax.set_xlim(min(0.0, left.min() * 1.05), max(100.0, right.max() * 1.02))
        ax.set_yticks(at, names, parse_math=False)
        ax.set_ylim(count - 0.4, -0.6)
        ax.set_xlabel("share of what is still open about the crop [%]")
        legend_above(ax, 3)
    return ax


def contributions_text(contributions, by="block"):
    """Return the contributions in words, for whoever cannot see them."""
    shares = 100 * shares_table(contributions, by)
    parts = [f"Share of the spread of each {by} by component."]
    for group, row in shares.iterrows():
        told = [f"{name} {value:.0f} %" for name, value in row.items() if abs(value) >= 1]
        parts.append(f"{group}: {', '.join(told) or 'nothing is left open'}.")
    return " ".join(parts)
