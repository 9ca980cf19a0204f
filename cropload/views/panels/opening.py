"""How every panel opens: read the records, say whose they are, and what in them is doubtful."""

from pathlib import Path

from cropload.records.messages import fault_list
from cropload.views.panels import parts, saving

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
        from cropload.records.reading import read_records

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
