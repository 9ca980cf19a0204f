"""Lines, ranges and bands over dates, seasons or nodes, alone or as small multiples."""

from dataclasses import dataclass, replace

import numpy as np

from cropload.beliefs import ranges
from cropload.show import drawing, wording
from cropload.show.charts import GROUND, beside
from cropload.show.drawing import LINE, WIDTH, room, wrapped


@dataclass(frozen=True, eq=False)
class Panel:
    """Lines, ranges and bands over dates, seasons, nodes or any number.

    Attributes
    ----------
    title : str
        Opens the text alternative.
    series : tuple of Series
        What is drawn.
    across, up : str
        What both axes show, with the unit.
    ticks : tuple of str
        Names of 0, 1, 2 and on; the numbers themselves when left out.
    heading : str
        Written above it.
    note : str
        A state in words, under the title.
    said : str
        Told in words, in place of the note.
    step : str
        What a tick is called in words, such as ``"node"``.
    from_zero : bool
        Begin the upright axis at 0.
    plain : bool
        Tell the level of the ranges in a word of the trade, such as ``8 in 10``.
    """

    title: str
    series: tuple
    across: str = ""
    up: str = ""
    ticks: tuple = ()
    heading: str = ""
    note: str = ""
    said: str = ""
    step: str = ""
    from_zero: bool = True
    plain: bool = False

    @property
    def level(self):
        """The level of the ranges in words."""
        return ranges.often() if self.plain else ranges.label()

    @property
    def empty(self):
        """Whether there is nothing to draw."""
        return not self.series

    def text(self, level=True):
        """Return the panel in words, number by number, with the level of its ranges or without."""
        told = {}
        shown = [each for each in self.series if each.told]
        for each in shown:
            for place, x in enumerate(each.at):
                if np.isfinite(each.three[1, place]):
                    name = f"{each.name} " if len(shown) > 1 else ""
                    text = f"{name}{each.text(place, unit=True)}".strip()
                    told.setdefault(x, []).append(text)
        words = []
        for x in sorted(told):
            name = " ".join(self.ticks[int(x)].split()) if self.ticks else f"{x:g}"
            words.append(f"{self.step} {name}: {', '.join(told[x])}".strip())
        ranged = level and any(each.ranged for each in self.series)
        title = f"{self.title}, {self.level}" if ranged else self.title
        return f"{title}: {'; '.join(filter(None, [*words, self.said or self.note]))}."

    def plot(self, ax=None, tall=2.3, width=WIDTH):
        """Draw the panel on axes, or those of a new figure of a size [inch]; return the axes."""
        if ax is None:
            return plot_panels([self], tall=tall, width=width).axes[0]
        with drawing.house_style():
            _draw_panel(self, ax, [self])
            drawing.legend(ax, _key([self]), LINE if self.heading else 0.0)
        return ax


def plot_panels(panels, columns=1, tall=1.45, widths=None, alike=True, width=WIDTH):
    """Draw small multiples, one legend above them all.

    Parameters
    ----------
    panels : sequence of Panel
        In the order of reading.
    columns : int
        Panels beside each other, at most [1].
    tall : float
        Height of one [inch].
    widths : sequence of float, optional
        Shares of the width, one a column.
    alike : bool
        Draw all on the same scales; otherwise they share the axis across alone.
    width : float
        Width of the figure [inch].

    Returns
    -------
    matplotlib.figure.Figure
    """
    columns = min(columns, len(panels))
    deep = -(-len(panels) // columns)
    handles = _key(panels)
    above = drawing.key_height(handles, width)
    heads = LINE * (any(p.heading for p in panels) + any(p.note for p in panels)) + 0.05
    ticks = max((tick.count("\n") for panel in panels for tick in panel.ticks), default=0)
    below = 0.28 + 0.17 * ticks + 0.2 * any(panel.across for panel in panels)
    between = heads + (0.3 if alike else 0.1)
    height = above + heads + deep * tall + (deep - 1) * between + below
    with drawing.house_style():
        drawn = drawing.blank(height, width)
        grid = drawn.subplots(
            deep, columns, sharex=widths is None, sharey=alike, squeeze=False, width_ratios=widths
        )
        drawn.subplots_adjust(
            left=0.72 / width, right=1 - 0.12 / width, bottom=below / height,
            top=1 - (above + heads) / height, hspace=between / tall, wspace=0.1,
        )  # fmt: skip
        for ax, panel in zip(grid.ravel(), panels, strict=False):
            _draw_panel(panel, ax, panels if alike else [panel])
        for ax in grid.ravel()[len(panels) :]:
            ax.set_axis_off()
        for ax in grid[:, 1:].ravel():
            ax.set_ylabel("")
        for ax in grid.ravel()[: len(panels)][-columns:]:
            ax.tick_params(labelbottom=True)
        drawing.legend(grid[0, 0], handles, heads)
    return drawn


def _key(panels):
    """Return what the legend of panels shows; the level of ranges is named once in it."""
    series = [each for panel in panels for each in panel.series]
    ranged = [each for each in series if each.ranged]
    level = [replace(ranged[0], name=panels[0].level)] if ranged else []
    return drawing.key([(s, s.band or not s.ranged) for s in series], level=level)


def _draw_panel(panel, ax, alike):
    """Draw a panel on the scale that ``alike`` panels share."""
    for each in panel.series:
        _draw_series(ax, each)
    _set_limits(ax, panel, alike)
    if panel.ticks:
        ax.set_xticks(range(len(panel.ticks)), panel.ticks)
    else:
        from matplotlib.ticker import MaxNLocator

        last = max(np.max(each.at) for each in panel.series)
        most = max(1, int(drawing.inches_wide(ax) / (room(f"{last:g}") + 0.13)))
        ax.xaxis.set_major_locator(MaxNLocator(most, integer=True, min_n_ticks=1))
        ax.margins(x=0.08)
    ax.set_xlabel(panel.across)
    ax.set_ylabel(panel.up)
    ax.grid(True, axis="y")
    ax.grid(False, axis="x")
    lift = 14 if panel.note else 5
    ax.set_title(wrapped(panel.heading, drawing.inches_wide(ax)), pad=lift, parse_math=False)
    if panel.note:
        beside(ax, panel.note, (0, 1), (0, 2), xycoords="axes fraction", va="bottom")
    for each in panel.series:
        _write_numbers(ax, each)
    return ax


def _draw_series(ax, series):
    low, middle, high = series.three
    style = series.look.style()
    if series.band:
        # A single date is a bar, because a band between dates would have no width.
        x = series.at if len(series.at) > 1 else series.at[0] + np.array([-0.12, 0.12])
        edges = [np.broadcast_to(end, x.shape) for end in (low, high)]
        ax.fill_between(x, *edges, facecolor=series.look.colour, alpha=0.18)
        for edge in edges:
            ax.plot(x, edge, color=series.look.colour, linewidth=0.8)
    elif series.ranged:
        sides = np.maximum([middle - low, high - middle], 0.0)
        style = style | {"linestyle": "none", "markersize": 5}
        ax.errorbar(series.at, middle, yerr=sides, capsize=3, linewidth=1.4, **style,
                    label=series.name)  # fmt: skip
        return
    ax.plot(series.at, middle, label=series.name, **style)


def _set_limits(ax, panel, alike):
    values = np.concatenate([each.three.ravel() for other in alike for each in other.series])
    low, high = np.nanmin(values), np.nanmax(values)
    space = 0.14 * max(high - (0.0 if panel.from_zero else low), 0.02 * abs(high), 1e-6)
    ax.set_ylim(0.0 if panel.from_zero else max(0.0, low - space), high + space)
    if panel.ticks:
        count = len(panel.ticks)
        ax.set_xlim((-1.2, 1.2) if count == 1 else (-0.4, count - 0.6))


def _write_numbers(ax, series):
    """Write middles, or all three ends of each range, on white ground over the lines."""
    lifts = {"middle": {1: 6}, "ends": {0: -4, 1: 6, 2: 3}}.get(series.written, {})
    for end, lift in lifts.items():
        for x, value in zip(series.at, series.three[end], strict=True):
            if np.isfinite(value):
                words, va = wording.figure(value, series.places), "top" if lift < 0 else "bottom"
                look = {"ha": "center", "va": va, "bbox": GROUND | {"pad": 0.3}, "zorder": 4}
                beside(ax, words, (x, value), (0, lift), **look)
