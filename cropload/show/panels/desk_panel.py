"""What every panel of a season has: a title, where the season stands, and a body."""

import ipywidgets as widgets

from cropload.show.panels import parts, saving
from cropload.units import unit_system

#: Wide tables scroll in their own box, so that the text beside them keeps to the screen.
_STYLE = parts.STYLE + (
    "<style>.cl-desk .widget-html-content { min-width: 0; width: 100%; }</style>"
)


class Desk(widgets.VBox):
    """What every desk chooses: records (``base``), season and units."""

    @property
    def is_sample(self):
        """Whether the records are the invented ones that ship with the package."""
        return saving.is_sample(self.base)

    @property
    def season(self):
        """Year of harvest chosen; 0 where there is none to choose."""
        return int(self.season_choice.value)

    @property
    def units(self):
        """Unit system chosen."""
        return unit_system(self.unit_choice.value)


class DeskPanel(widgets.VBox):
    """A panel that shows what the desk has: a title, where the season stands, and a body.

    Parameters
    ----------
    desk : SeasonDesk
        The desk of the notebook.
    """

    title = ""
    #: Whether the panel answers at once when a count is entered.
    prompt = False

    def __init__(self, desk):
        self.desk = desk
        self.where, self.message = parts.html(), parts.html()
        self.body = widgets.VBox([])
        heading = f'<h2 class="cl-title">{parts.escape(self.title)}</h2>'
        super().__init__([parts.html(_STYLE + heading), self.where, self.message, self.body])
        self.add_class("cl-desk")
        self.ready = False
        self._start()
        desk.watch(type(self).__name__, self.refresh, self.prompt)
        self.refresh()

    @parts.guarded
    def _start(self):
        if self.desk.base is not None:
            self.build()
            self.ready = True

    def build(self):
        """Make the widgets of the body."""

    def show(self):
        """Show the forecast as it is now."""

    def fail(self, text):
        """Show what is wrong, in place of results that no longer belong."""
        self.message.value = parts.error(text)

    @parts.guarded
    def refresh(self):
        """Show the desk's forecast, or where to look when there is none."""
        found = self.desk.forecast
        usable = self.ready and found is not None
        self.body.layout.display = None if usable else "none"
        if not usable:
            self.where.value = parts.note("Nothing to show: see the message at the season above.")
            return
        day = "everything on record" if found.as_of is None else f"{found.as_of:%Y-%m-%d}"
        self.where.value = parts.note(
            f"Season {found.season}, records up to: {day} ({found.stage})."
            if found.as_of is not None
            else f"Season {found.season}, {day} ({found.stage})."
        )
        self.message.value = ""
        self.show()
