"""Small parts that figures share: axes in inches, names beside them, fills with patterns."""

import numpy as np

from cropload.show.figures import BLUE, GREEN, PURPLE, VERMILLION

DARK = "#333333"
#: Fill, pattern: parts of a bar are told apart by both, and by words.
LOOKS = (
    (BLUE, ""),
    ("#F0E442", "///"),
    (GREEN, ""),
    ("#E69F00", "..."),
    (PURPLE, ""),
    ("#56B4E9", "\\\\\\"),
    (VERMILLION, ""),
    ("#BBBBBB", "xxx"),
)


def inch_axes(height, left, top, bottom=0.56, width=7.4, right=0.15):
    """Return axes with margins in inches: quicker than a layout engine, and steady."""
    from matplotlib.figure import Figure

    drawn = Figure(figsize=(width, height))
    return drawn.add_axes(
        (
            left / width,
            bottom / height,
            (width - left - right) / width,
            (height - top - bottom) / height,
        )
    )


def name_room(names):
    """Return the room that names beside an axis take [inch]."""
    return 0.25 + 0.082 * max((len(name) for name in names), default=0)


def cut_name(name, most=24):
    """Return a name cut short where it would not fit beside an axis."""
    name = str(name)
    return name if len(name) <= most else name[: most - 1] + "…"


#: Half the width and the height of a short number [points], and the room about it.
_HALF_WIDTH, _HEIGHT, _CLEAR = 10, 10, 2
#: Distances at which a number is tried, nearest first: above (positive) and below its point.
_PLACES = (6, -6, 12, -12, 18, -18, 26, -26)


def free_place(ax, x, value, lines):
    """Return how far from a point a short number stands clear of lines [points].

    Parameters
    ----------
    ax : matplotlib.axes.Axes
        Axes whose limits and margins are set.
    x, value : float
        The point, in data units.
    lines : sequence of (ndarray, ndarray)
        Lines drawn, in data units.

    Returns
    -------
    float
        Above 0: the number's lower edge stands so far above the point; below 0: its upper edge
        so far below. The place with the most room where none is quite free.
    """
    scale = 72 / ax.figure.dpi
    shown = [ax.transData.transform(np.column_stack(line)) * scale for line in lines]
    here, there = ax.transData.transform((x, value)) * scale
    across = here + np.linspace(-_HALF_WIDTH, _HALF_WIDTH, 9)
    heights = [np.interp(across, line[:, 0], line[:, 1], np.nan, np.nan) for line in shown]
    heights = np.concatenate(heights)
    heights = heights[np.isfinite(heights)]
    floor, ceiling = (ax.transAxes.transform((0, y))[1] * scale for y in (0, 1))
    best, most = _PLACES[0], -np.inf
    for place in _PLACES:
        low = there + (place if place > 0 else place - _HEIGHT)
        if low < floor or low + _HEIGHT > ceiling + _HEIGHT:
            continue
        room = np.maximum(low - heights, heights - low - _HEIGHT).min(initial=np.inf)
        if room >= _CLEAR:
            return place
        if room > most:
            best, most = place, room
    return best
