"""Figures of the vines: how strong they are over the seasons, and fertility by node."""

import numpy as np

from cropload.beliefs import ranges
from cropload.review.lesson_words import (
    TREND_UNITS,
    trend_label,
    trend_tag,
    trend_values,
    trend_words,
)
from cropload.show.charts import Series, amounts
from cropload.show.drawing import BLUE, DARK, GREEN, LOOKS, VERMILLION, Look, cut_name
from cropload.show.line_charts import Panel, plot_panels
from cropload.units import METRIC

#: Blocks that a figure of trends draws at most.
MOST_BLOCKS = 12


def trend_panels(figures, trend, figure, blocks, units=METRIC):
    """Return a figure of the vines over the seasons, a panel a block, to draw or to tell.

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

    Notes
    -----
    The range of a season is what its weighing leaves open; the line is the yearly change through
    the middle of what was measured, and the band that of the slower and the faster change.
    """
    z = ranges.reach() * np.array([[-1.0], [0.0], [1.0]])
    rows = figures[figures[figure] > 0].sort_values("season")
    lines = trend[trend["figure"] == figure].set_index("block")
    panels = []
    for name in [name for name in blocks if (rows["block"] == name).any()][:MOST_BLOCKS]:
        mine, change = rows[rows["block"] == name], lines.loc[name]
        value, year = (mine[column].to_numpy(float) for column in (figure, "season"))
        spread = np.sqrt(np.nan_to_num(mine[f"{figure}_variance"].to_numpy(float)))
        ends = trend_values(figure, value * np.exp(z * spread), units)
        series = [
            Series("measured", ends, Look(DARK), TREND_UNITS[figure][1][units.name == "us"], x=year)
        ]
        if len(mine) > 1:
            span = np.linspace(year.min(), year.max(), 20)
            steps = 1 + change[[f"change_{end}" for end in ranges.ENDINGS]].to_numpy(float)
            level = np.exp(np.log(value).mean())
            fan = np.sort(level * steps[:, None] ** (span - year.mean()), axis=0)
            fan = trend_values(figure, fan, units)
            look = Look(BLUE, "")
            series.append(Series("yearly change", fan, look, x=span, band=True, told=False))
        panels.append(
            Panel(name, tuple(series), up=f"[{trend_label(figure, units)}]",
                  heading=cut_name(name, 18), note=trend_tag(change), said=trend_words(change))
        )  # fmt: skip
    return panels


def plot_trend(figures, trend, figure, blocks, units=METRIC):
    """Draw a figure of the vines over the seasons, a small chart for each block."""
    return plot_panels(trend_panels(figures, trend, figure, blocks, units), columns=3)


def trend_text(figures, trend, figure, blocks, units=METRIC):
    """Return a figure of the vines in words, for whoever cannot see it."""
    words = trend.loc[trend["figure"] == figure, "words"].iloc[0]
    opening = (
        f"{words[0].upper()}{words[1:]} by season [{trend_label(figure, units)}], {ranges.label()}."
    )
    panels = trend_panels(figures, trend, figure, blocks, units)
    return " ".join([opening, *(panel.text(level=False) for panel in panels)])


def fertility_panels(table, name, what):
    """Return fitted burst or fertility by node against the handbook, a panel a kind of wood.

    Parameters
    ----------
    table : BudFertility
        Of ``bud_fertility`` [1].
    name : str
        A variety or block of it.
    what : str
        ``"burst"`` or ``"fertility"``.
    """
    mine = table.of(name, what)
    words = "clusters per shoot" if what == "fertility" else "shoots per bud"
    panels = []
    for wood, rows in mine.groupby("wood", sort=False):
        node = rows["node"].to_numpy(int)
        shape = Look(VERMILLION, "s", "--", True, 4)
        series = [
            amounts("fitted", rows, "relative", look=LOOKS[0], places=2, x=node),
            amounts("handbook's shape", rows, "handbook", look=shape, places=2, x=node),
        ]
        off = node[rows["differs"].to_numpy(bool)]
        if len(off):
            texts = ("",) * len(off)
            series.append(
                Series("differs from the handbook", np.full(len(off), 0.06),
                       Look(GREEN, "*", "", size=9), x=off, texts=texts)
            )  # fmt: skip
        panels.append(
            Panel(f"{wood}s", tuple(series), "node from the base", f"{words},\nrelative [1]",
                  heading=f"{wood}s", step="node")
        )  # fmt: skip
    return panels


def plot_fertility(table, name, what):
    """Draw fitted burst or fertility by node with its range, against the handbook's shape."""
    panels = fertility_panels(table, name, what)
    # A short spur keeps room for its head and the name of its axis.
    widths = [max(np.max(panel.series[0].at), 5) for panel in panels]
    return plot_panels(panels, len(panels), tall=2.0, widths=widths)


def fertility_text(table, name, what):
    """Return the fitted nodes in words, for whoever cannot see them."""
    words = "Clusters per shoot" if what == "fertility" else "Shoots per bud"
    opening = f"{words} by node of {name}, relative, with the {ranges.label()}."
    return " ".join(
        [opening, *(panel.text(level=False) for panel in fertility_panels(table, name, what))]
    )
