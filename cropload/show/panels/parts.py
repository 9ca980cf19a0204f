"""Small widgets that the panels share, and the pieces of HTML they hold."""

import functools

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.show.html import (  # noqa: F401  (panels take their pieces of HTML from here)
    STYLE,
    done,
    error,
    escape,
    fitting_picture,
    head,
    image,
    note,
    picture,
    points,
    source,
    table,
)

LABELLED = {"description_width": "initial"}


def html(value=""):
    """Return an HTML widget that takes the room it needs."""
    return widgets.HTML(value, layout=widgets.Layout(width="auto", max_width="100%"))


def readable_picture(drawn, words=None):
    """Return a picture as ``picture`` does; a narrow screen scrolls in it, and letters stay."""
    return picture(drawn, words).replace(
        'class="cl-figure"', 'class="cl-figure cl-readable" tabindex="0" role="group"', 1
    )


def row(*children):
    """Return widgets side by side, wrapping where the screen is narrow."""
    layout = widgets.Layout(flex_flow="row wrap", align_items="center", max_width="100%")
    return widgets.HBox(children, layout=layout)


def number_box(label, value=0.0, step=None):
    """Return a free, labelled number box that is wide enough for its label and six digits."""
    return widgets.FloatText(
        value,
        description=label,
        step=step,
        style=LABELLED,
        layout=widgets.Layout(width=f"{6.5 + 0.56 * len(label):.1f}em", margin="2px 12px 2px 2px"),
    )


def choose_from(dropdown, options):
    """Give a dropdown new options with the first one chosen, in one message to the browser."""
    with dropdown.hold_sync():
        dropdown.options = options
        dropdown.index = 0 if options else None


def guarded(method):
    """Let a method of a panel show a fault as one message, never as a traceback.

    The panel has ``fail(text)``.
    """

    @functools.wraps(method)
    def run(self, *args, **kwargs):
        try:
            return method(self, *args, **kwargs)
        except CroploadError as fault:
            self.fail(str(fault))
        except Exception as fault:
            self.fail(
                f"cropload met something it was not made for ({type(fault).__name__}: {fault}). "
                "Your records are as they were. Please report this with the steps that led here."
            )
        return None

    return run


def tell(where, action, lost="Nothing was written"):
    """Do something that writes a file, and say beside its button what came of it.

    Parameters
    ----------
    where : HTML
        Where it is said.
    action : callable
        Returns what was done, in words.
    lost : str
        Said of a fault that nobody expected, with its name.
    """
    try:
        where.value = done(action())
    except CroploadError as fault:
        where.value = error(str(fault))
    except Exception as fault:
        where.value = error(f"{lost} ({type(fault).__name__}: {fault}).")


class NumberField(widgets.HBox):
    """A labelled number box with a slider beside it.

    The box is free: a number beyond the slider stays as it is, and the panel says what is wrong
    with it.  The slider has no name for a screen reader, so it repeats what the box can do.

    Parameters
    ----------
    label : str
        Name of the box.
    value : float
        First value.
    low, high : int
        Ends of the slider only.
    """

    def __init__(self, label, value, low, high):
        self.box = widgets.FloatText(
            value, description=label, step=1, style=LABELLED, layout=widgets.Layout(width="15.5em")
        )
        self.slider = widgets.IntSlider(
            self._near(value, low, high),
            low,
            high,
            readout=False,
            # The box follows while the slider is dragged; whoever listens to the box waits with
            # the work until it rests (see ``Later``), so that no move is held back by it.
            continuous_update=True,
            layout=widgets.Layout(width="170px", margin="0 14px 0 0"),
        )
        self._follow = True
        self.box.observe(self._box_changed, "value")
        self.slider.observe(self._slider_changed, "value")
        super().__init__([self.box, self.slider])

    @staticmethod
    def _near(value, low, high):
        return int(min(max(value, low), high)) if value == value else low

    def _box_changed(self, change):
        self._follow = False
        self.slider.value = self._near(change["new"], self.slider.min, self.slider.max)
        self._follow = True

    def _slider_changed(self, change):
        if self._follow:
            self.box.value = change["new"]

    @property
    def number(self):
        """The number in the box; a whole one as int."""
        value = self.box.value
        return int(value) if value == value and abs(value) < 1e9 and value == int(value) else value
