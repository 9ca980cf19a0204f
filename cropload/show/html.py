"""Pieces of HTML that panels, cards and reports share; all text from records is escaped."""

import base64
import re
from dataclasses import replace
from html import escape

from cropload import handbook

#: Widths below which a table stands as one short list a row, a step apart [px].
_STACK_BELOW = range(300, 1600, 50)
#: Room of a letter, and of the space and line round a cell [px].
_LETTER, _ROUND_CELL = 7.6, 20
#: Letters of a row's head from which on it gets a width of its own [1].
_LONG_HEAD = 16

#: A table that finds too little room: each row becomes a list of its cells under its head, in as
#: many columns as fit.
_STACKED = """@container (max-width: %(width)spx) {
.cl-below-%(width)s, .cl-below-%(width)s tbody, .cl-below-%(width)s caption,
  .cl-below-%(width)s th { display: block; }
.cl-below-%(width)s tr { display: grid;
  grid-template-columns: repeat(auto-fill, minmax(min(100%%, 280px), 1fr)); }
.cl-below-%(width)s.cl-table { min-width: 0; }
.cl-below-%(width)s thead { display: none; }
.cl-below-%(width)s tbody th[scope=row] { min-width: 0; background: #f0f0f0;
  grid-column: 1 / -1; }
.cl-below-%(width)s tbody td { display: flex; justify-content: space-between; gap: 12px;
  white-space: normal; border-top: none; text-align: right; }
.cl-below-%(width)s tbody td::before { content: attr(data-head); text-align: left; flex: 0 1 auto; }
}
"""

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
.cl-wide { overflow-x: auto; max-width: 100%; container-type: inline-size; }
.cl-table { border-collapse: collapse; margin: 6px 0; min-width: min(100%, 30em); }
.cl-table caption { text-align: left; padding: 2px 0; }
.cl-table th, .cl-table td { border: 1px solid #999; padding: 3px 9px; text-align: right;
  vertical-align: top; line-height: 1.35; }
.cl-table td { white-space: nowrap; }
.cl-table thead th { overflow-wrap: normal; word-break: normal; }
.cl-long tbody th[scope=row] { min-width: 9em; }
.cl-short tbody th[scope=row] { white-space: nowrap; }
.cl-table th[scope=row], .cl-table.cl-table .cl-words { text-align: left; white-space: normal; }
.cl-table thead th { border-bottom: 2px solid #444; }
.cl-sketches { display: flex; flex-wrap: wrap; gap: 10px; }
.cl-sketches > div { flex: 1 1 300px; max-width: 350px; border: 1px solid #bbb; background: #fff; }
.cl-source { max-width: 62em; margin: 2px 0; line-height: 1.4; }
.cl-source summary { cursor: pointer; }
.cl-source pre { white-space: pre-wrap; margin: 2px 0 6px 1.4em; font-size: 0.92em; }
.cl-figure img { width: 100%; max-width: 780px; display: block; }
.cl-if-narrow { display: none; }
@media (max-width: 639px) { .cl-if-wide { display: none; } .cl-if-narrow { display: block; } }
.cl-readable { overflow-x: auto; max-width: 100%; }
.cl-readable img { min-width: 540px; }
.widget-html-content { min-width: 0; max-width: 100%; }
.widget-tab > .lm-TabBar > .lm-TabBar-content { flex-wrap: wrap; }
.widget-tab > .lm-TabBar > .lm-TabBar-content > .lm-TabBar-tab { flex: 0 0 auto; }
.widget-tab > .widget-tab-contents { padding: 10px; }
STACKED</style>"""
STYLE = STYLE.replace("STACKED", "".join(_STACKED % {"width": width} for width in _STACK_BELOW))


def head(text):
    """Return a heading as HTML."""
    return f'<h3 class="cl-head">{escape(text)}</h3>'


def words(text):
    """Return text as HTML, what stands between backticks (a key, a command) as code.

    Examples
    --------
    >>> words("`young.share` of <it>")
    '<code>young.share</code> of &lt;it&gt;'
    """
    return re.sub("`([^`]+)`", r"<code>\1</code>", escape(text))


def note(text):
    """Return a paragraph as HTML."""
    return f'<p class="cl-note">{words(text)}</p>'


def error(text):
    """Return a message of something wrong as HTML, in a word as well as in a colour."""
    return f'<div class="cl-error" role="alert"><strong>Not possible:</strong> {escape(text)}</div>'


def done(text):
    """Return a message of something done as HTML."""
    return f'<div class="cl-done" role="status"><strong>Done:</strong> {escape(text)}</div>'


def points(texts):
    """Return sentences as an HTML list, or nothing when there is none."""
    items = "".join(f"<li>{words(text)}</li>" for text in texts)
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
    heads = [escape(str(cell)) for cell in headers]
    top = "".join(
        f'<th scope="col"{" class=cl-words" * (place in left)}>{cell}</th>'
        for place, cell in enumerate(heads)
    )
    body = ""
    for cells in rows:
        body += f'<tr><th scope="row">{escape(str(cells[0]))}</th>'
        for place, cell in enumerate(cells[1:], start=1):
            kind = ' class="cl-words"' if place in words else ""
            # Where the table is too wide for the screen the head stands beside each cell.
            about = heads[place] if place < len(heads) else ""
            body += f'<td data-head="{about}"{kind}>{escape(str(cell))}</td>'
        body += "</tr>"
    told = f"<caption>{escape(caption)}</caption>" if caption else ""
    long = any(len(str(cells[0])) > _LONG_HEAD for cells in rows)
    kinds = f"cl-below-{_stack_below(headers, rows, left)} cl-{'long' if long else 'short'}"
    return (
        f'<div class="cl-wide" tabindex="0" role="region" aria-label="{escape(caption)}">'
        f'<table class="cl-table {kinds}">{told}<thead><tr>{top}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _stack_below(headers, rows, left):
    """Return the width below which a table does not fit, one of ``_STACK_BELOW`` [px]."""
    need = 0.0
    for place, head in enumerate(headers):
        cells = [str(cells[place]) for cells in rows if place < len(cells)]
        if place in left:
            # Words break at spaces, but one word a line is no reading.
            most = max((min(len(cell), _LONG_HEAD) for cell in cells), default=0)
            most = max(most, *(_longest_word(cell) for cell in [*cells, ""]))
        else:
            most = max(map(len, cells), default=0)
        need += _LETTER * max(most, 1.1 * _longest_word(head)) + _ROUND_CELL
    return next((width for width in _STACK_BELOW if width >= need), _STACK_BELOW[-1])


def _longest_word(text):
    # Breaks at plain spaces alone: a space that holds words together is part of the word.
    return max(map(len, str(text).split(" ")))


def image(svg_text, words, most=None):
    """Return an SVG as an HTML image with its text alternative; ``most`` is its width [px]."""
    data = base64.b64encode(svg_text.encode()).decode()
    size = f' style="max-width: {most:g}px"' if most else ""
    return (
        f'<div class="cl-figure"><img alt="{escape(words)}"{size} '
        f'src="data:image/svg+xml;base64,{data}"></div>'
    )


def picture(drawn, words=None):
    """Return a figure, or the figure of axes, as HTML with its text alternative.

    Parameters
    ----------
    drawn : Figure, Axes, Rows or Panel
        What is drawn, or what describes it: that brings its own words, and is told as a note
        where there is nothing to draw.
    words : str, optional
        The text alternative.
    """
    from cropload.show.drawing import svg

    if words is None:
        words = drawn.text()
        if drawn.empty:
            return note(words)
        drawn = drawn.plot()
    return image(svg(getattr(drawn, "figure", drawn)), words)


def fitting_picture(drawn, narrow=None):
    """Return a picture as HTML drawn twice, so that letters stay large on a phone; one is shown.

    Parameters
    ----------
    drawn : Rows or Panel
        What is drawn; told as a note where there is nothing to draw.
    narrow : Rows or Panel, optional
        What is drawn on a phone in its place.
    """
    from cropload.show.drawing import PHONE, WIDTH, svg

    if drawn.empty:
        return note(drawn.text())
    text = ""
    for name, each, wide in (("wide", drawn, WIDTH), ("narrow", narrow or drawn, PHONE)):
        each = replace(each, plain=True)
        shown = image(svg(each.plot(width=wide).figure), each.text())
        text += f'<div class="cl-if-{name}">{shown}</div>'
    return text


def source(key, summary=None):
    """Return a figure of the handbook as HTML that opens to its sources."""
    words = key if summary is None else summary
    return (
        f'<details class="cl-source"><summary>{escape(words)}</summary>'
        f"<pre>{escape(handbook.describe(key))}</pre></details>"
    )
