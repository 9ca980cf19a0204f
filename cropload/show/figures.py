"""What all figures share: colours, the style of the project, axes, and the way to SVG."""

import functools
import io
import warnings
from contextlib import contextmanager
from importlib.resources import files

BLUE, VERMILLION, GREEN, PURPLE = "#0072B2", "#D55E00", "#009E73", "#CC79A7"


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


def new_axes():
    """Return axes of a figure of their own, for whoever draws one picture alone."""
    from matplotlib.figure import Figure

    return Figure(figsize=(7.2, 2.6), layout="constrained").add_subplot()


def axes_at(drawn, left, bottom, wide, tall, **more):
    """Return axes at a place of a figure given in inches: quicker than a layout engine."""
    width, height = drawn.get_size_inches()
    return drawn.add_axes((left / width, bottom / height, wide / width, tall / height), **more)


def legend_above(ax, ncols=2, **more):
    """Draw the legend in the room above the axes, so that it hides nothing."""
    return ax.legend(
        loc="lower left", bbox_to_anchor=(0, 1.0), ncols=ncols, borderaxespad=0.2, **more
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
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")
        return _saved(drawn, {"svg.fonttype": "none"})


def _saved(drawn, more=None):
    import matplotlib

    stream = io.StringIO()
    with house_style(), matplotlib.rc_context(more):
        drawn.savefig(stream, format="svg", metadata={"Date": None, "Creator": None})
    return stream.getvalue()
