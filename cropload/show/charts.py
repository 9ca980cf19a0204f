"""The drawings that recur, each with its text alternative made from the same description.

``Rows`` are rows of ranges, points and stacked parts on one axis; lines over dates, seasons and
nodes stand in `line_charts`.
All values are in the units shown; ``amounts`` converts them.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from cropload.beliefs import ranges
from cropload.show import drawing, wording
from cropload.show.drawing import DARK, FILLS, LINE, LOOKS, PLAIN, SMALL, WIDTH, Look, room, wrapped
from cropload.show.languages import marked, say
from cropload.units import METRIC

#: White ground of words that stand over lines.
GROUND = {"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 0.8}


@dataclass(frozen=True, eq=False)
class Series:
    """Numbers of one name: ranges, points, a line, or one part of stacked bars.

    Attributes
    ----------
    name : str
        As in the legend.
    ends : ndarray
        Low end, middle and high end, shape (3, n), or middles alone, shape (n,), in the unit
        shown; ``nan`` is drawn and told nowhere.
    look : Look
        As it is drawn.
    places : int
        Decimals in words [1].
    unit : str
        Unit in words.
    written : str
        What is written in the picture: ``"range"`` at its end, ``"middle"`` beside the marker,
        ``"ends"`` all three at their places, ``"row"`` at the end of the row, ``"outer"`` on the
        side away from the other series, or nothing.
    texts : tuple of str
        Written and told in place of the numbers, one a row.
    x : ndarray, optional
        Where each number stands: 0, 1, 2 and on when left out; of a part, where its bars begin.
    band : bool
        Draw ranges as a band with a line through the middles.
    told : bool
        Tell each number in the text alternative.
    show : callable, optional
        Makes a number text, where decimals alone do not say how.
    """

    name: str
    ends: np.ndarray
    look: Look = LOOKS[0]
    places: int = 1
    unit: str = ""
    written: str = ""
    texts: tuple = ()
    x: np.ndarray | None = None
    band: bool = False
    told: bool = True
    show: Callable | None = None

    @property
    def ranged(self):
        """Whether it has ranges."""
        return np.ndim(self.ends) == 2

    @property
    def three(self):
        """Low ends, middles and high ends, shape (3, n), those of a point all the same."""
        return np.asarray(self.ends, float) if self.ranged else np.tile(self.ends, (3, 1))

    @property
    def at(self):
        """Where each number stands, shape (n,)."""
        return np.arange(self.three.shape[1]) if self.x is None else np.asarray(self.x, float)

    def text(self, place, unit=False):
        """Return one number with its range in words; empty where there is none."""
        low, middle, high = self.three[:, place]
        if not np.isfinite(middle):
            return ""
        if self.texts:
            return self.texts[place]
        # Rounded like a cell of a table.
        places = self.places if wording.decimals(size=middle) else 0
        show = self.show or (lambda value: wording.number(value, places))
        text = wording.ranged((low, middle, high), show) if self.ranged else show(middle)
        return f"{text} {self.unit}" if unit and self.unit else text

    def saying(self, words):
        """Return the series with a state after each number, told even where it is not drawn."""
        texts = (self.text(place, unit=True) for place in range(self.three.shape[1]))
        said = tuple(f"{text}, {word}" for text, word in zip(texts, words, strict=True))
        return replace(self, texts=said)


def amounts(name, frame, column, quantity=None, units=METRIC, **more):
    """Return a series of a column of a result, converted to the units shown.

    Parameters
    ----------
    name : str
        Name of the series.
    frame : DataFrame
        Metric; has ``column``, or its three ends with the endings of a range.
    column : str
        Of a range without its ending.
    quantity : str, optional
        As in ``UnitSystem.show``; a bare number when left out.
    units : UnitSystem
        Units to show.
    more
        Further attributes of the series.
    """
    columns = [column] if column in frame else [f"{column}_{end}" for end in ranges.ENDINGS]
    ends = frame[columns].to_numpy(float).T
    ends = ends if len(columns) == 3 else ends[0]
    if quantity:
        ends = units.convert(quantity, ends)
        shown = {"places": wording.decimals(quantity, units), "unit": units.label(quantity)}
        more = shown | more
    return Series(name, ends, **more)


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows on one axis: ranges and points, stacked parts, and bands behind them.

    Attributes
    ----------
    title : str
        Opens the text alternative.
    names : sequence of str
        Names of the rows.
    axis : str
        What the axis shows, with its unit; the level of ranges is added to it.
    series : tuple of Series
        Ranges and points, a number a row.
    parts : tuple of Series
        Parts of the bars, a number a row, above 0 to the right and below it to the left.
    bands : tuple of (float, float)
        One band for all rows, or one a row; NaN where none is known.
    heading : str
        Written above the picture.
    side : str
        What the rows are, beside the axis.
    apart : bool
        Draw each series on a line of its own.
    above : bool
        Write names and numbers above the lines, for a narrow picture.
    from_zero : bool
        Begin the axis at 0, or below it where a value does.
    reference : float, optional
        Where a dotted line stands for comparison.
    fills : tuple
        Fill and pattern of the parts.
    plain : bool
        Tell the level of the ranges in a word of the trade, such as ``8 in 10``.
    """

    title: str
    names: tuple
    axis: str
    series: tuple = ()
    parts: tuple = ()
    bands: tuple = ()
    heading: str = ""
    side: str = ""
    apart: bool = False
    above: bool = False
    from_zero: bool = True
    reference: float | None = None
    fills: tuple = FILLS
    plain: bool = False

    @property
    def level(self):
        """The level of the ranges, or nothing where there is none."""
        if not any(each.ranged for each in self.series):
            return ""
        return say(ranges.often()) if self.plain else ranges.label()

    @property
    def empty(self):
        """Whether there is nothing to draw."""
        return not self.names

    def text(self):
        """Return the rows in words, for whoever cannot see them."""
        told = [f"{self.title}, {self.level}." if self.level else f"{self.title}."]
        one = len(self.series) + len(self.parts) == 1
        for place, name in enumerate(self.names):
            found = []
            for each in (*self.series, *self.parts):
                text = each.text(place, unit=True)
                # A part that rounds to nothing is no part.
                if re.search("[1-9]", text) or (text and each in self.series):
                    found.append(text if one else f"{each.name} {text}")
            told.append(f"{name}: {'; '.join(found) or 'nothing'}.")
        return " ".join(told).replace("\n", ", ")

    def plot(self, ax=None, width=WIDTH):
        """Draw the rows on axes, or on those of a new figure so wide [inch]; return the axes."""
        with drawing.house_style():
            return _draw_rows(self, _new_axes(self, width) if ax is None else ax)


def row_marks(rows, ax):
    """Return where each number of drawn rows stands, and it in words, for ``drawing.page_svg``.

    Parameters
    ----------
    rows : Rows
        What was drawn on the axes.
    ax : Axes
        Those of ``rows.plot()``.
    """
    width, height = (72 * side for side in ax.figure.get_size_inches())
    box, tall = ax.get_position(), 72 * rows_room(rows) / max(len(rows.names), 1)
    lines = len(rows.series) if rows.apart else 1
    tall, marks = (0.9 * tall - 72 * _HEAD * rows.above) / lines, []
    for each, shift in zip(rows.series, _shifts(rows), strict=True):
        for row, name in enumerate(rows.names):
            text = each.text(row, unit=True)
            y = ax.transAxes.inverted().transform(ax.transData.transform((0, row + shift)))[1]
            top = height * (1 - box.y0 - box.height * y) - tall / 2
            said = f"{name}: {text}" if len(rows.series) == 1 else f"{name}, {each.name}: {text}"
            if text:
                marks.append((width * box.x0, top, width * box.width, tall, said))
    return marks


def rows_room(rows):
    """Return the height that rows take, without what stands above and below them [inch]."""
    lines = len(rows.series) if rows.apart else 1
    each = _HEAD + _STEP * lines if rows.above else 0.34 if lines == 1 else 0.16 + 0.2 * lines
    return each * len(rows.names) + 0.06


#: Height of a name above its lines, and of each of them with its words [inch].
_HEAD, _STEP = 0.3, 0.31


def axis_room(rows, wide):
    """Return the height that the words below axes so wide take [inch]."""
    return 0.34 + 0.18 * (_axis_words(rows, wide).count("\n") + 1)


def _axis_words(rows, wide):
    level = say("middle and %(level)s", level=rows.level) if rows.level else ""
    words = ", ".join(filter(None, [rows.axis, level]))
    if room(words) > wide:
        words = f"{wrapped(rows.axis, wide)}\n{wrapped(level, wide)}".strip()
    return words


def _key(rows):
    """Return what the legend of rows shows; where names stand above the lines it is not needed."""
    series = [] if rows.above else [(each, each.ranged) for each in rows.series]
    return drawing.key(series, rows.parts, rows.fills)


def _new_axes(rows, width):
    left = 0.15 if rows.above else drawing.name_room(rows.names) + 0.25 * bool(rows.side)
    wide = width - left - 0.12
    heading = wrapped(rows.heading, wide, PLAIN + 1)
    heading = 0.08 + LINE * (heading.count("\n") + 1) if heading else 0.0
    top, below = drawing.key_height(_key(rows), width) + heading, axis_room(rows, wide)
    tall = rows_room(rows)
    return drawing.axes_at(drawing.blank(top + tall + below, width), left, below, wide, tall)


def _draw_rows(rows, ax):
    at = np.arange(len(rows.names))
    heights = [at + shift for shift in _shifts(rows)]
    bars = _bars(rows)
    written = [] if rows.above else _end_words(rows, heights, bars)
    _set_across(ax, rows, bars, written)
    _draw_bands(ax, rows)
    _draw_bars(ax, rows, bars)
    for each, y in zip(rows.series, heights, strict=True):
        low, middle, high = each.three
        if each.ranged:
            # One artist for all rows: a slider must not wait for the drawing.
            look = {"color": each.look.colour, "linestyle": each.look.line}
            ax.hlines(y, low, high, linewidth=2, **look)
        ax.plot(middle, y, label=each.name, clip_on=False, **each.look.style(line=False))
        if each.written == "middle":
            for x, each_y, row in zip(middle, y, at, strict=True):
                lift, va = (-5, "top") if each_y > row else (5, "bottom")
                words = wording.figure(x, each.places)
                beside(ax, words, (x, each_y), (0, lift), ha="center", va=va)
    for x, y, text, way in written:
        ha = "left" if way > 0 else "right"
        beside(ax, text, (x, y), (8 * way, 0), ha=ha, va="center", bbox=GROUND)
    names = [""] * len(at) if rows.above else [drawing.cut_name(name) for name in rows.names]
    ax.set_yticks(at, names, parse_math=False)
    ax.set_ylim(len(at) - 0.5, -0.5)
    # It would stand out of a picture of one row.
    ax.set_ylabel(rows.side if rows_room(rows) > room(rows.side) else "")
    ax.set_xlabel(_axis_words(rows, drawing.inches_wide(ax)))
    if rows.above:
        _write_above(ax, rows, heights)
    handles = _key(rows)
    drawing.legend(ax, handles)
    key = drawing.key_height(handles, ax.figure.get_size_inches()[0])
    heading = wrapped(rows.heading, drawing.inches_wide(ax), PLAIN + 1)
    ax.set_title(heading, pad=72 * key + 2, parse_math=False)
    return ax


def _shifts(rows):
    """Return how far below the middle of its row each series stands [rows]."""
    count = len(rows.series)
    if not rows.apart or count == 0:
        return np.zeros(count)
    if rows.above:
        # The name stands first, and each line has its words above it.
        tall = _HEAD + _STEP * count
        return -0.5 + (_HEAD - 0.06 + _STEP * np.arange(1, count + 1)) / tall
    return min(0.27, 0.8 / count) * (np.arange(count) - (count - 1) / 2)


def beside(ax, text, at, shift, **more):
    """Write a text at a distance from a point [points], never read as mathematics."""
    more = {"textcoords": "offset points", "fontsize": SMALL, "parse_math": False} | more
    return ax.annotate(text, at, shift, **more)


def _draw_bands(ax, rows):
    from matplotlib.patches import Rectangle

    count = len(rows.names)
    # Edges and hatching, because a pale strip alone is lost on paper.
    look = {"facecolor": "#F1F1F1", "edgecolor": "#BBBBBB", "hatch": "///", "linewidth": 0}
    for row, (low, high) in enumerate(rows.bands):
        if np.isnan(low):
            continue  # no band is known
        y, height = (row - 0.4, 0.8) if len(rows.bands) == count > 1 else (-0.5, count)
        ax.add_patch(Rectangle((low, y), high - low, height, zorder=0.5, **look))
        ax.vlines([low, high], y, y + height, color="#444444", linewidth=1, linestyle=":")


def _bars(rows):
    """Return (part, starts, values) of each stacked part."""
    right, left, bars = 0.0, 0.0, []
    for part in rows.parts:
        values = part.three[1]
        starts = np.where(values >= 0, right, left) if part.x is None else part.x
        right, left = right + values.clip(min=0), left + values.clip(max=0)
        bars.append((part, starts, values))
    return bars


def _draw_bars(ax, rows, bars):
    """Draw stacked parts, with the numbers of those that have room for them."""
    low, high = ax.get_xlim()
    each_inch = (high - low) / drawing.inches_wide(ax)
    for (part, starts, values), (fill, pattern) in zip(bars, rows.fills, strict=False):
        shown = np.flatnonzero(values)
        look = {"facecolor": fill, "hatch": pattern, "edgecolor": DARK, "linewidth": 0.8}
        ax.barh(shown, values[shown], 0.64, starts[shown], label=part.name, **look)
        for row in shown if part.written == "middle" else ():
            text = part.text(row)
            if (room(text, SMALL) + 0.06) * each_inch <= abs(values[row]):
                middle = (starts[row] + values[row] / 2, row)
                beside(ax, text, middle, (0, 0), ha="center", va="center", bbox=GROUND)


def _end_words(rows, heights, bars):
    """Return (x, y, text, way) of what is written at the end of a range, point, bar or row.

    ``way`` is 1 for words to the right of it, and -1 to the left.
    """
    ends = [(each, each.three[2], y) for each, y in zip(rows.series, heights, strict=True)]
    at = np.arange(len(rows.names))
    for part, starts, values in bars:
        tops = np.maximum(starts, starts + values)
        ends.append((part, np.where(values == 0, np.nan, tops), at))
    far = np.fmax.reduce([end for _, end, _ in ends])
    found = []
    for each, end, y in ends:
        if each.written in ("range", "row"):
            whole = each.written == "row" or not rows.apart
            x, y = (far, at) if whole else (end, y)
            at_end = np.flatnonzero(np.isfinite(end))
            found += [(x[row], y[row], each.text(row), 1) for row in at_end]
    outer = [(each, end, y) for each, end, y in ends if each.written == "outer"]
    middle = np.mean([end for _, end, _ in outer], axis=0) if outer else ()
    for place, (each, end, y) in enumerate(outer):
        for row in np.flatnonzero(np.isfinite(end)):
            aside = end[row] - middle[row]
            way = 1 if aside > 0 or (aside == 0 and place) else -1
            found.append((end[row], y[row], each.text(row), way))
    return found


def _set_across(ax, rows, bars, written):
    """Set limits that leave room for every text at an end, and as many ticks as can be read."""
    from matplotlib.ticker import MaxNLocator

    values = [np.ravel(each.three) for each in rows.series] + [np.ravel(rows.bands)]
    values += [np.ravel([starts, starts + value]) for _, starts, value in bars]
    values = np.concatenate(values)
    low, high = np.nanmin(values), np.nanmax(values)
    low = min(low, 0.0) if rows.from_zero else low
    space = 0.05 * max(high - low, 0.02 * abs(high), 1e-6)
    high = high + space
    low = low - space if low < 0 or not rows.from_zero else low
    wide = drawing.inches_wide(ax)
    # Room on one side takes some from the other: a few rounds settle it.
    for x, _, text, way in 6 * list(written):
        share = min((0.16 + room(text, SMALL)) / wide, 0.85 if way > 0 else 0.4)
        if way > 0:
            high = max(high, low + (x - low) / (1 - share))
        else:
            low = min(low, high - (high - x) / (1 - share))
    ax.set_xlim(low, high)
    for most in (7, 5, 4, 3, 2):
        ticks = MaxNLocator(most, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
        words = [marked(f"{tick:,.6g}" if abs(tick) < 1e6 else f"{tick:,.0f}") for tick in ticks]
        widest = max(map(room, words))
        # The last number may not stand out of the picture.
        last = high - (widest / 2 - 0.1) * (high - low) / wide
        shown = [pair for pair in zip(ticks, words, strict=True) if low <= pair[0] <= last]
        if len(shown) * (0.1 + widest) <= wide:
            break
    ax.set_xticks(*zip(*shown, strict=True))
    if low < 0 < high:
        ax.axvline(0, color=DARK, linewidth=1)
    if rows.reference is not None:
        ax.axvline(rows.reference, color="#444444", linewidth=1, linestyle=(0, (2, 3)))


def _write_above(ax, rows, heights):
    """Write each row's name, and over each line what it is with its numbers, on white ground."""
    look = {"xycoords": ax.get_yaxis_transform(), "ha": "left", "bbox": GROUND}
    bold = look | {"fontsize": PLAIN + 1, "fontweight": "bold", "va": "top"}
    for row, name in enumerate(rows.names):
        beside(ax, drawing.cut_name(name, 48), (0, row - 0.5), (0, -4), **bold)
        for each, y in zip(rows.series, heights, strict=True):
            beside(
                ax,
                f"{each.name} {each.text(row)}".strip(),
                (0, y[row]),
                (0, 5),
                va="bottom",
                **look,
            )
