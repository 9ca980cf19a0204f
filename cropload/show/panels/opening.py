"""How every panel opens: read the records, say whose they are, and what in them is doubtful."""

from pathlib import Path

import ipywidgets as widgets

from cropload.records.reading.faults import fault_list
from cropload.show.panels import parts, saving

SAMPLE = "These are sample records of an estate called Quillfoot. All of them are invented."


def given_records(given=None):
    """Return records as they are given, read from a folder or workbook, or those of the sample.

    Parameters
    ----------
    given : Records, str or path, optional
        The invented sample estate when left out.

    Raises
    ------
    CroploadError
        With every fault of records that cannot be read.
    """
    if given is None:
        from cropload.records.example import example_records

        return example_records()
    if isinstance(given, (str, Path)):
        from cropload.records.records import read_records

        return read_records(given)
    return given


def opening_html(title, records):
    """Return a panel's title, the records it shows, and the doubtful values in them as HTML."""
    text = f'<h2 class="cl-title">{parts.escape(title)}</h2>'
    if saving.is_sample(records):
        text += parts.note(SAMPLE)
    else:
        text += parts.note(f"Records: {saving.shown_path(records)}")
    doubts = records.warnings
    if doubts:
        noun = "doubtful value" if len(doubts) == 1 else "doubtful values"
        text += (
            f'<details class="cl-source"><summary>{len(doubts)} {noun} in the records</summary>'
            f"<pre>{parts.escape(fault_list(doubts))}</pre></details>"
        )
    return text


class RecordsPanel(widgets.VBox):
    """A panel that reads records by itself and shows faults as a message.

    Parameters
    ----------
    results_folder : str or path or None
        Where results go; ``results`` beside the records when None.
    draws, seed : int
        Draws and their seed [1].

    Notes
    -----
    A panel puts what it shows of a result into ``results``, which is hidden while something is
    wrong.  Faults are shown as a message; nothing is raised after the panel is made.
    """

    title = ""

    def __init__(self, results_folder, draws, seed):
        self.draws, self.seed, self.given_folder = draws, seed, results_folder
        self.records = None
        self.message, self.results = parts.html(), widgets.VBox([])
        super().__init__([parts.html(parts.STYLE), self.message])

    def opening(self, style=""):
        """Return the top of the panel: its title and the records it shows."""
        return parts.html(parts.STYLE + style + opening_html(self.title, self.records))

    def folder(self):
        """Return the folder that results go to."""
        return saving.results_folder(self.records, self.given_folder)

    def fail(self, text):
        """Show what is wrong; results that no longer belong are hidden."""
        self.message.value = parts.error(text)
        self.forget()
        self.results.layout.display = "none"

    def forget(self):
        """Drop what was worked out before; for a panel to fill in."""

    def succeed(self):
        """Take the message away and show the results."""
        self.message.value = ""
        self.results.layout.display = None
