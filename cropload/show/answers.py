"""An answer as text for a terminal, and as HTML for a notebook."""

from cropload.show import html
from cropload.show.terminal import paragraph
from cropload.units import METRIC


def as_text(answer, units=METRIC, width=80):
    """Return an answer as text: its heading, its first table (or all of them) and its notes."""
    parts = [paragraph(answer.heading(units), width=width)] if answer.heading(units) else []
    tables = answer.tables(units)[: answer.printed]
    parts += [table.text(units, width) for table in tables if table]
    if answer.notes:
        parts.append("\n".join(paragraph(note, "- ", width) for note in answer.notes))
    return "\n\n".join(parts)


def as_html(answer, units=METRIC):
    """Return an answer as HTML: its heading, its tables and its notes."""
    told = html.note(answer.heading(units)) if answer.heading(units) else ""
    tables = "".join(table.html(units) for table in answer.tables(units) if table)
    return html.STYLE + told + tables + html.points(answer.notes)
