"""Small widgets and pieces of HTML that the panels share; all text from records is escaped."""

import base64
import functools
from html import escape

import ipywidgets as widgets

from cropload import handbook
from cropload.errors import CroploadError

#: Style of the pieces of HTML; every class begins with ``cl-`` so that nothing else is touched.
STYLE = """<style>
.cl-note, .cl-error, .cl-done, .cl-level { line-height: 1.45; max-width: 62em; margin: 4px 0;
  overflow-wrap: anywhere; white-space: normal; }
.cl-error { border: 2px solid #D55E00; padding: 8px 12px; white-space: pre-wrap; }
.cl-done { border: 2px solid #009E73; padding: 6px 12px; }
.cl-level { border-left: 4px solid #0072B2; padding: 2px 12px; margin: 10px 0; }
.cl-level p, .cl-care p { margin: 3px 0; }
.cl-care { border: 1px solid #666; padding: 6px 12px; max-width: 62em; line-height: 1.4; }
.cl-title { font-size: 1.5em; margin: 4px 0; font-weight: bold; }
.cl-head { font-size: 1.15em; margin: 12px 0 2px; font-weight: bold; }
.cl-wide { overflow-x: auto; max-width: 100%; }
.cl-table { border-collapse: collapse; margin: 6px 0; min-width: min(100%, 30em); }
.cl-table caption { text-align: left; padding: 2px 0; }
.cl-table th, .cl-table td { border: 1px solid #999; padding: 3px 9px; text-align: right;
  vertical-align: top; line-height: 1.35; }
.cl-table td { white-space: nowrap; }
.cl-table th[scope=row], .cl-table .cl-words { text-align: left; white-space: normal; }
.cl-table thead th { border-bottom: 2px solid #444; }
.cl-sketches { display: flex; flex-wrap: wrap; gap: 10px; }
.cl-sketches > div { flex: 1 1 300px; max-width: 350px; border: 1px solid #bbb; background: #fff; }
.cl-source { max-width: 62em; margin: 2px 0; line-height: 1.4; }
.cl-source summary { cursor: pointer; }
.cl-source pre { white-space: pre-wrap; margin: 2px 0 6px 1.4em; font-size: 0.92em; }
.cl-figure img { width: 100%; max-width: 780px; display: block; }
</style>"""

LABELLED = {"description_width": "initial"}


def html(value=""):
    """Return an HTML widget that takes the room it needs."""
    return widgets.HTML(value, layout=widgets.Layout(width="auto", max_width="100%"))


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


def head(text):
    """Return a heading as HTML."""
    return f'<h3 class="cl-head">{escape(text)}</h3>'


def note(text):
    """Return a paragraph as HTML."""
    return f'<p class="cl-note">{escape(text)}</p>'


def error(text):
    """Return a message of something wrong as HTML, in a word as well as in a colour."""
    return f'<div class="cl-error" role="alert"><strong>Not possible:</strong> {escape(text)}</div>'


def done(text):
    """Return a message of something done as HTML."""
    return f'<div class="cl-done" role="status"><strong>Done:</strong> {escape(text)}</div>'


def points(texts):
    """Return sentences as an HTML list, or nothing when there is none."""
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f'<ul class="cl-note">{items}</ul>' if items else ""


def table(headers, rows, caption="", words=()):
    """Return a table as HTML: the first column heads its row.

    Parameters
    ----------
    headers : list of str
        Heads of the columns.
    rows : list of list of str
        Cells.
    caption : str
        What the table shows.
    words : collection of int
        Columns of words, which are set to the left.
    """
    left = {0, *words}
    top = "".join(
        f'<th scope="col"{" class=cl-words" * (place in left)}>{escape(str(cell))}</th>'
        for place, cell in enumerate(headers)
    )
    body = ""
    for cells in rows:
        body += f'<tr><th scope="row">{escape(str(cells[0]))}</th>'
        for place, cell in enumerate(cells[1:], start=1):
            kind = ' class="cl-words"' if place in words else ""
            body += f"<td{kind}>{escape(str(cell))}</td>"
        body += "</tr>"
    told = f"<caption>{escape(caption)}</caption>" if caption else ""
    return (
        f'<div class="cl-wide" tabindex="0" role="region" aria-label="{escape(caption)}">'
        f'<table class="cl-table">{told}<thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>'
        "</div>"
    )


def image(svg_text, words):
    """Return an SVG as an HTML image with its text alternative."""
    data = base64.b64encode(svg_text.encode()).decode()
    return (
        f'<div class="cl-figure"><img alt="{escape(words)}" src="data:image/svg+xml;base64,{data}">'
        "</div>"
    )


def picture(drawn, words):
    """Return a drawn figure, or the figure of drawn axes, as HTML with its text alternative."""
    from cropload.views.figures import svg

    return image(svg(getattr(drawn, "figure", drawn)), words)


def source(key, summary=None):
    """Return a figure of the handbook as HTML that opens to its sources."""
    words = key if summary is None else summary
    return (
        f'<details class="cl-source"><summary>{escape(words)}</summary>'
        f"<pre>{escape(handbook.describe(key))}</pre></details>"
    )


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
            # Told on release: a value held back while the panel works could be overtaken by a
            # button, and the card would show another plan than the screen.
            continuous_update=False,
            layout=widgets.Layout(width="7em", margin="0 14px 0 0"),
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
