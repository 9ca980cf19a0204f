"""Figures of the vines: how strong they are over the seasons, and fertility by node."""

import numpy as np

from cropload.beliefs import ranges
from cropload.review.lesson_words import (
    trend_label,
    trend_number,
    trend_tag,
    trend_values,
    trend_words,
)
from cropload.show.figure_parts import DARK, cut_name
from cropload.show.figures import BLUE, GREEN, VERMILLION, house_style
from cropload.units import METRIC

#: Blocks that a figure of trends draws at most.
MOST_BLOCKS = 12


def plot_trend(figures, trend, figure, blocks, units=METRIC):
    """Draw a figure of the vines over the seasons, a small chart for each block.

    Parameters
    ----------
    figures : DataFrame
        Of ``season_figures``.
    trend : DataFrame
        Of ``vine_trend``.
    figure : str
        ``"pruning_weight"``, ``"ravaz"`` or ``"cane_weight"``.
    blocks : sequence of str
        Blocks to draw, ``MOST_BLOCKS`` at most.
    units : UnitSystem
        Units to show.

    Returns
    -------
    matplotlib.figure.Figure

    Notes
    -----
    The range of a season is what its weighing leaves open; the line is the yearly change through
    the middle of what was measured, and the band that of the slower and the faster change.
    """
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator
    from scipy.special import ndtri

    z = float(ndtri((1 + ranges.level()) / 2))
    rows = figures[figures[figure] > 0]
    blocks = [name for name in blocks if (rows["block"] == name).any()][:MOST_BLOCKS]
    columns = min(3, len(blocks))
    deep = -(-len(blocks) // columns)
    first, last = int(rows["season"].min()), int(rows["season"].max())
    lines = trend[trend["figure"] == figure].set_index("block")
    height = 0.62 + 1.75 * deep + 0.3
    with house_style():
        drawn = Figure(figsize=(7.4, height))
        grid = drawn.subplots(deep, columns, sharex=True, sharey=True, squeeze=False)
        drawn.subplots_adjust(
            left=0.095, right=0.985, bottom=0.5 / height, top=1 - 0.62 / height,
            hspace=0.42, wspace=0.09,
        )  # fmt: skip
        for ax, name in zip(grid.ravel(), blocks, strict=False):
            mine = rows[rows["block"] == name].sort_values("season")
            value = mine[figure].to_numpy(float)
            year = mine["season"].to_numpy(float)
            spread = z * np.sqrt(np.nan_to_num(mine[f"{figure}_variance"].to_numpy(float)))
            low, middle, high = (
                trend_values(figure, value * np.exp(side * spread), units) for side in (-1, 0, 1)
            )
            ax.errorbar(
                year,
                middle,
                yerr=np.maximum([middle - low, high - middle], 0),
                fmt="o",
                color=DARK,
                markersize=4,
                capsize=2.5,
                linewidth=1.2,
                label=f"measured, {ranges.label()}",
            )
            row = lines.loc[name]
            if len(mine) > 1:
                span = np.array([year.min(), year.max()])
                span = np.linspace(*span, 20)
                level = np.exp(np.log(value).mean())
                steps = [
                    trend_values(figure, level * (1 + row[c]) ** (span - year.mean()), units)
                    for c in ("change_p10", "change_p50", "change_p90")
                ]
                ax.fill_between(
                    span, np.minimum(*steps[::2]), np.maximum(*steps[::2]), facecolor=BLUE,
                    alpha=0.18, label="yearly change, 80 % range",
                )  # fmt: skip
                ax.plot(span, steps[1], color=BLUE, linewidth=1.5)
            ax.set_title(cut_name(name, 22), fontsize=9.5, pad=13, parse_math=False)
            ax.annotate(
                trend_tag(row), (0, 1), xycoords="axes fraction", xytext=(0, 2),
                textcoords="offset points", fontsize=8.5, va="bottom",
            )  # fmt: skip
            ax.grid(True, axis="y")
        for ax in grid.ravel()[len(blocks) :]:
            ax.set_axis_off()
        for ax in grid.ravel()[: len(blocks)][-columns:]:
            ax.tick_params(labelbottom=True)
        grid[0, 0].set_xlim(first - 0.5, last + 0.5)
        grid[0, 0].set_ylim(0, None)
        grid[0, 0].xaxis.set_major_locator(MaxNLocator(4, integer=True))
        drawn.supylabel(f"[{trend_label(figure, units)}]", fontsize=10)
        handles, labels = grid[0, 0].get_legend_handles_labels()
        for ax in grid.ravel()[1 : len(blocks)]:
            if len(labels) < 2:
                handles, labels = ax.get_legend_handles_labels()
        drawn.legend(handles, labels, loc="upper left", ncols=2, bbox_to_anchor=(0.08, 1.0))
    return drawn


def trend_text(figures, trend, figure, blocks, units=METRIC):
    """Return a figure of the vines in words, for whoever cannot see it."""
    lines = trend[trend["figure"] == figure].set_index("block")
    label = trend_label(figure, units)
    parts = []
    for name in blocks[:MOST_BLOCKS]:
        mine = figures[(figures["block"] == name) & (figures[figure] > 0)]
        if mine.empty:
            continue
        told = ", ".join(
            f"{season} {trend_number(figure, value, units)}"
            for season, value in zip(mine["season"], mine[figure], strict=True)
        )
        parts.append(f"{name} [{label}]: {told}; {trend_words(lines.loc[name])}.")
    words = lines["words"].iloc[0]
    return " ".join([f"{words[0].upper()}{words[1:]} by season.", *parts])


def plot_fertility(table, name, what):
    """Draw fitted burst or fertility by node with its range, against the handbook's shape.

    Parameters
    ----------
    table : BudFertility
        Of ``bud_fertility``.
    name : str
        A variety or block of it.
    what : str
        ``"burst"`` or ``"fertility"``.

    Returns
    -------
    matplotlib.figure.Figure
    """
    from matplotlib.figure import Figure

    mine = table.of(name, what)
    woods = list(dict.fromkeys(mine["wood"]))
    nodes = [int(mine.loc[mine["wood"] == wood, "node"].max()) for wood in woods]
    with house_style():
        drawn = Figure(figsize=(7.4, 3.4))
        axes = drawn.subplots(
            1, len(woods), sharey=True, squeeze=False,
            width_ratios=[max(each, 4) for each in nodes],
        )[0]  # fmt: skip
        drawn.subplots_adjust(left=0.1, right=0.985, bottom=0.15, top=0.78, wspace=0.06)
        for ax, wood in zip(axes, woods, strict=True):
            rows = mine[mine["wood"] == wood]
            low, middle, high = (rows[f"relative_{end}"].to_numpy(float) for end in ranges.ENDINGS)
            at = rows["node"].to_numpy(int)
            ax.plot(
                at, rows["handbook"], color=VERMILLION, linestyle="--", marker="s", markersize=4,
                markerfacecolor="white", label="handbook's shape",
            )  # fmt: skip
            ax.errorbar(
                at,
                middle,
                yerr=np.maximum([middle - low, high - middle], 0),
                fmt="o",
                color=BLUE,
                markersize=5,
                capsize=3,
                linewidth=1.5,
                label=f"fitted, {ranges.label()}",
            )
            off = rows["differs"].to_numpy(bool)
            if off.any():
                ax.plot(
                    at[off], np.full(off.sum(), 0.06), linestyle="none", marker="*", color=GREEN,
                    markersize=9, markeredgecolor=DARK, label="differs from the handbook",
                )  # fmt: skip
            ax.set_title(f"{wood}s", pad=4)
            ax.set_xticks(at)
            ax.set_xlim(at.min() - 0.7, at.max() + 0.7)
            ax.set_xlabel("node from the base")
            ax.grid(True, axis="y")
            ax.grid(False, axis="x")
        words = "clusters per shoot" if what == "fertility" else "shoots per bud"
        axes[0].set_ylabel(f"{words},\nrelative [1]")
        axes[0].set_ylim(0, None)
        found = {}
        for ax in axes:
            handles, labels = ax.get_legend_handles_labels()
            found.update(zip(labels, handles, strict=True))
        drawn.legend(
            found.values(), found.keys(), loc="upper left", ncols=3, bbox_to_anchor=(0.08, 1.0)
        )
    return drawn


def fertility_text(table, name, what):
    """Return the fitted nodes in words, for whoever cannot see them."""
    mine = table.of(name, what)
    words = "Clusters per shoot" if what == "fertility" else "Shoots per bud"
    parts = [f"{words} by node of {name}, relative, with the {ranges.label()}."]
    for wood, rows in mine.groupby("wood", sort=False):
        told = [
            f"node {row['node']} {row['relative_p50']:.2f} ({row['relative_p10']:.2f} to "
            f"{row['relative_p90']:.2f}), handbook {row['handbook']:.2f}"
            for row in rows.to_dict("records")
        ]
        parts.append(f"{wood.capitalize()}s: {'; '.join(told)}.")
    return " ".join(parts)
