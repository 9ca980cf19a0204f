"""Labelled fields of the panels: every one has its name in words, and a width that holds it."""

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.show.panels import parts
from cropload.units import unit_system


def choice(label, options, value=None, width="22em"):
    """Return a labelled dropdown; its first option is chosen when none is named."""
    options = list(options)
    made = widgets.Dropdown(
        options=options,
        description=label,
        style=parts.LABELLED,
        layout=widgets.Layout(width=width, max_width="100%", margin="2px 12px 2px 2px"),
    )
    if value is not None:
        made.value = value
    return made


def units_choice(units, metric="t/ha, m, kg", us="short ton/ac, ft, lb", width="20em"):
    """Return a dropdown of the unit systems, each with the units it shows in brackets."""
    options = [(f"metric ({metric})", "metric"), (f"US ({us})", "us")]
    return choice("Units", options, unit_system(units).name, width)


def field(label, placeholder="", width="20em", value=""):
    """Return a labelled box for text that answers when Enter is pressed or the box is left."""
    return widgets.Text(
        value=value,
        description=label,
        placeholder=placeholder,
        continuous_update=False,
        style=parts.LABELLED,
        layout=widgets.Layout(width=width, max_width="100%"),
    )


def carried_plan():
    """Return the box that asks for the plan of a block that has none on record; hidden at first."""
    made = field("Plan this block has carried", "like 2x10+2x2", "26em")
    made.layout.display = "none"
    return made


def asked_plan(box):
    """Return what stands in such a box; None when it is not shown or blank."""
    return box.value.strip() or None if box.layout.display != "none" else None


def day_field(label, value=None):
    """Return a labelled date picker."""
    return widgets.DatePicker(
        description=label, value=value, style=parts.LABELLED, layout=widgets.Layout(width="20em")
    )


def button(label, action, width="19em"):
    """Return a button with a word on it; ``action`` is called without arguments."""
    made = widgets.Button(description=label, layout=widgets.Layout(width=width, max_width="100%"))
    made.on_click(lambda _: action())
    return made


def number_in(box, low, below=None):
    """Return the number in a box.

    Parameters
    ----------
    box : FloatText
        A labelled number box.
    low : float
        The least it may be.
    below : float, optional
        What it must stay below; nothing when left out.

    Raises
    ------
    CroploadError
        With the box's own label, in the units it shows.
    """
    value = box.value
    if not low <= value < (float("inf") if below is None else below):
        rule = f"{low:g} or more" if below is None else f"from {low:g} to below {below:g}"
        raise CroploadError(f"{box.description} must be {rule}, not {value:g}.")
    return value
