"""A button that hands a page or a file to the reader: opened beside, or saved by the browser."""

from pathlib import Path

import anywidget
import traitlets

from cropload.errors import CroploadError

#: Ending of a file -> what a browser calls it.
KINDS = {
    ".html": "text/html;charset=utf-8",
    ".csv": "text/csv;charset=utf-8",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".pdf": "application/pdf",
    ".ics": "text/calendar;charset=utf-8",
}


class HandOut(anywidget.AnyWidget):
    """A button with a word on it that makes something when it is pressed, and hands it over.

    Parameters
    ----------
    label : str
        What stands on it.
    make : callable
        Returns (name of the file, its bytes); what is wrong is raised as CroploadError.
    tell : callable
        Called with what is wrong, in words; with an empty text when nothing is.
    opens : bool
        Open it in a tab of its own; else the browser saves it.
    """

    _esm = Path(__file__).with_suffix(".js")

    label = traitlets.Unicode().tag(sync=True)
    opens = traitlets.Bool().tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)

    def __init__(self, label, make, tell, opens=False):
        super().__init__(label=label, opens=opens)
        self._make, self._tell = make, tell
        self.on_msg(lambda _, message, __: self.press())

    def press(self):
        """Make it and hand it over.

        Returns
        -------
        (str, bytes) or None
            What was handed over; None when something was wrong.
        """
        try:
            name, data = self._make()
        except CroploadError as fault:
            self._tell(str(fault))
            self.send({"fault": True})
            return None
        self._tell("")
        self.send({"name": name, "kind": KINDS[Path(name).suffix]}, buffers=[data])
        return name, data
