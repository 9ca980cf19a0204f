"""Small parts that figures share: axes in inches, names beside them, fills with patterns."""

from cropload.views.figures import BLUE, GREEN, PURPLE, VERMILLION

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
