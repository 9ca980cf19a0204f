"""How everything is drawn: colours, looks, axes in inches, room for words, legends, and SVG."""

import functools
import io
import re
import textwrap
import warnings
from contextlib import contextmanager
from html import escape
from importlib.resources import files
from typing import NamedTuple

BLUE, VERMILLION, GREEN, PURPLE = "#0072B2", "#D55E00", "#009E73", "#CC79A7"
DARK = "#333333"
#: Width of a figure [inch]: its smallest letters, 9 points, are 11 px where it is 560 px wide.
WIDTH = 6.4
#: The same of a figure for a phone, where it is 355 px wide [inch].
PHONE = 4.0
#: Size of the letters beside a mark, and of those at an axis or in a legend [point].
SMALL, PLAIN = 9, 9.5
#: Width of a letter in the mean [size of the letter].
_LETTER = 0.56
#: Height of a line of a legend or below an axis [inch].
LINE = 0.2


class Look(NamedTuple):
    """How a series is drawn: told apart by colour, marker and line, never by colour alone."""

    colour: str
    marker: str = "o"
    line: str = "-"
    hollow: bool = False
    size: float = 7

    def style(self, line=True):
        """Return the arguments of a line of this look, or of its markers alone."""
        return {
            "color": self.colour,
            "marker": self.marker,
            "linestyle": self.line if line else "none",
            "markerfacecolor": "white" if self.hollow else self.colour,
            "markersize": self.size,
            "markeredgewidth": 3 if self.marker == "|" else 1.6,
        }


#: Looks of series in their order.
LOOKS = (
    Look(BLUE),
    Look(VERMILLION, "s", "--", True),
    Look(GREEN, "^", "-."),
    Look(PURPLE, "D", ":", True),
    Look("#E69F00", "v", "--"),
    Look(DARK, "X", "-", True),
    Look("#56B4E9", "P", ":"),
    Look(DARK, "*", "-."),
)
#: Look of what all parts come to.
WHOLE = Look(DARK, "D", size=5)
#: Fill and pattern of parts in their order; pale, because marks and numbers stand over them.
FILLS = (
    ("#9CC5E3", ""),
    ("#F0E442", "///"),
    ("#A9DCC8", ""),
    ("#E69F00", "..."),
    ("#E3BBD2", ""),
    ("#FFFFFF", "\\\\\\"),
    ("#C9C9C9", "xxx"),
    ("#D55E00", ""),
)


@functools.cache
def _style():
    """Return the style sheet as a dict, read once."""
    import matplotlib

    path = str(files("cropload.show") / "cropload.mplstyle")
    return dict(matplotlib.rc_params_from_file(path, use_default_template=False))


@contextmanager
def house_style():
    """Use the style of the project for what is drawn inside; nothing global is changed after."""
    import matplotlib

    with matplotlib.rc_context(_style()):
        yield


def blank(height, width=WIDTH):
    """Return an empty figure [inch], made without any global state."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height))


def axes_at(drawn, left, bottom, wide, tall, **more):
    """Return axes at a place of a figure given in inches: quicker than a layout engine."""
    width, height = drawn.get_size_inches()
    with house_style():
        return drawn.add_axes((left / width, bottom / height, wide / width, tall / height), **more)


def room(text, size=PLAIN):
    """Return the width of the longest line of a text [inch], about."""
    return _LETTER * size * max(map(len, str(text).split("\n"))) / 72


def name_room(names):
    """Return the room that names beside an axis take, cut where they are long [inch]."""
    return 0.25 + max((room(cut_name(name), PLAIN + 0.5) for name in names), default=0)


def cut_name(name, most=24):
    """Return a name cut short where it would not fit beside an axis."""
    name = str(name)
    return name if len(name) <= most else name[: most - 1] + "…"


def wrapped(text, inches, size=PLAIN):
    """Return text broken into lines that are not wider [inch]."""
    return textwrap.fill(str(text), max(12, int(72 * inches / (_LETTER * size))))


def inches_wide(ax):
    """Return the width of axes [inch]."""
    return ax.figure.get_size_inches()[0] * ax.get_position().width


def key(series, parts=(), fills=FILLS, level=()):
    """Return what a legend shows, a handle a name; nothing where one name says nothing.

    Parameters
    ----------
    series : sequence of (Series, bool)
        Each with whether it is shown with its line.
    parts : sequence of Series
        Parts of stacked bars.
    fills : sequence of (str, str)
        Their fills and patterns.
    level : sequence of Series
        One of those with ranges, under the name of their level.
    """
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    named = {}
    for each, line in series:
        style = each.look.style(line) | {"markersize": min(each.look.size, 11)}
        named.setdefault(each.name, Line2D([], [], label=each.name, **style))
    for each, (fill, pattern) in zip(parts, fills, strict=False):
        look = {"facecolor": fill, "hatch": pattern, "edgecolor": DARK, "linewidth": 0.8}
        named[each.name] = Patch(label=each.name, **look)
    for each in level:
        look = {"color": each.look.colour, "marker": "|", "linestyle": "none", "markersize": 12}
        named[each.name] = (
            Patch(facecolor=each.look.colour, alpha=0.25, label=each.name)
            if each.band
            else Line2D([], [], label=each.name, **look)
        )
    named.pop("", None)
    return list(named.values()) if len(named) > 1 else []


def _key_columns(handles, inches):
    """Return the names of each column of a legend, as many columns as fit a width [inch]."""
    names = [handle.get_label() for handle in handles]
    for lines in range(1, len(names) + 1):
        columns = [names[start : start + lines] for start in range(0, len(names), lines)]
        if 0.2 + sum(0.6 + max(map(room, column)) for column in columns) <= inches:
            break
    return columns


def key_height(handles, inches):
    """Return the height that a legend takes above axes in a figure so wide [inch]."""
    return LINE * len(_key_columns(handles, inches)[0]) + 0.06 if handles else 0.06


def legend(ax, handles, lift=0.0):
    """Draw a legend in the room above axes, from the left edge of the figure on."""
    from matplotlib.transforms import blended_transform_factory

    if handles:
        width, height = ax.figure.get_size_inches()
        ax.legend(
            handles=handles,
            ncols=len(_key_columns(handles, width)),
            loc="lower left",
            bbox_to_anchor=(0.01, 1 + lift / (height * ax.get_position().height)),
            bbox_transform=blended_transform_factory(ax.figure.transFigure, ax.transAxes),
            borderaxespad=0.1,
        )


def svg(drawn):
    """Return a figure as SVG text, the same for the same figure, whatever alphabet it is in.

    Letters that the figure's own font lacks are left as text, for the reader's fonts to draw.
    """
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        text = _saved(drawn)
    if not any("missing from font" in str(each.message) for each in told):
        return text
    return _saved(drawn, {"svg.fonttype": "none"})


def page_svg(drawn, title, words, name, marks=()):
    """Return a figure as SVG for a page of its own, with real text and its text alternative.

    Parameters
    ----------
    drawn : matplotlib.figure.Figure
        The picture.
    title, words : str
        Its title and all of it in words.
    name : str
        Keeps its ids apart from those of other pictures on the page.
    marks : iterable of (left, top, width, height, words)
        Places that tell their words to a pointer [point].
    """
    text = _saved(drawn, {"svg.fonttype": "none"})
    body = text[text.index(">", text.index("<svg")) + 1 :]
    body = body.replace("xlink:href", "href")
    body = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{name}-", body)
    width, height = (72 * side for side in drawn.get_size_inches())
    told = "".join(
        f'<rect class="mark" x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{tall:.1f}" '
        f'fill-opacity="0"><title>{escape(text)}</title></rect>'
        for left, top, wide, tall, text in marks
    )
    body = body.replace("</svg>", f"{told}</svg>")
    return (
        f'<svg class="figure" viewBox="0 0 {width:.0f} {height:.1f}" role="img" '
        f'aria-labelledby="{name}-title {name}-told" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-told">{escape(words)}</desc>{body}'
    )


def _saved(drawn, more=None):
    import matplotlib

    stream = io.StringIO()
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    with house_style(), matplotlib.rc_context(more), warnings.catch_warnings():
        if more:
            warnings.filterwarnings("ignore", "Glyph")
        drawn.savefig(stream, format="svg", metadata=nothing)
    return stream.getvalue()
