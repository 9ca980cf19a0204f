"""The form after a frost: dead shoots counted, and what the season's crop becomes."""

import ipywidgets as widgets
import pandas as pd

from cropload import handbook
from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.frost.after_frost import after_frost, read_vine_counts
from cropload.frost.panels import frost_results
from cropload.show.panels import parts


class AfterTab(widgets.VBox):
    """Enter dead and living shoots of sampled vines; the forecast of the block follows.

    Parameters
    ----------
    panel : FrostCover
        The panel it stands in.
    """

    def __init__(self, panel):
        self.panel, self.found, self._known = panel, None, {}
        self.dead = parts.number_box("Dead shoots counted", 0, 1)
        self.alive = parts.number_box("Living shoots counted", 0, 1)
        self.vines = widgets.Textarea(
            description="Or vine by vine, dead/all",
            placeholder="3/14, 5/12, 0/13",
            style=parts.LABELLED,
            layout=widgets.Layout(width="32em", height="4em"),
        )
        self.frost = self._day("Day of the frost")
        self.counted = self._day("Day of the count")
        self.button = widgets.Button(
            description="Update the forecast", layout=widgets.Layout(width="15em")
        )
        self.button.on_click(self._update)
        self.message, self.answer = parts.html(), parts.html()
        wait = handbook.value("frost.wait_days")
        super().__init__(
            [
                parts.html(
                    parts.note(
                        f"Wait {wait:g} days or more after the frost. Then count dead and living "
                        "shoots on vines picked at random over the whole block: many vines with a "
                        "few shoots each tell more than many shoots of a few vines. Counts vine by "
                        "vine also tell how far the share can be trusted."
                    )
                ),
                parts.row(self.dead, self.alive, self.vines),
                parts.row(self.frost, self.counted),
                self.button,
                self.message,
                self.answer,
            ]
        )

    @staticmethod
    def _day(label):
        return widgets.DatePicker(
            description=label, style=parts.LABELLED, layout=widgets.Layout(width="20em")
        )

    def fail(self, text):
        """Show what is wrong; an older answer is taken away."""
        self.found = None
        self.message.value, self.answer.value = parts.error(text), ""

    def clear(self):
        """Take an answer away that belongs to another block."""
        self.found = None
        self.message.value = self.answer.value = ""

    def show_units(self):
        """Show the answer, if any, in the units now chosen."""
        if self.found is not None:
            self.answer.value = frost_results.after_html(self.found, self.panel.units)

    def _counts(self):
        if self.vines.value.strip():
            if self.dead.value or self.alive.value:
                raise CroploadError("Give totals or counts vine by vine, not both.")
            return read_vine_counts(self.vines.value)
        dead, alive = self.dead.value, self.alive.value
        for label, value in (("Dead", dead), ("Living", alive)):
            if value != value or value < 0 or value % 1:
                raise CroploadError(
                    f"{label} shoots counted must be a whole number of 0 or more, not {value:g}."
                )
        return int(dead), int(dead + alive)

    def _forecast(self):
        """Return the season's forecast as it stood before the frost."""
        before = None
        if self.frost.value is not None:
            before = pd.Timestamp(self.frost.value) - pd.Timedelta(days=1)
        key = (self.panel.season, before)
        if key not in self._known:
            self._known[key] = forecast(
                self.panel.records,
                self.panel.season,
                before,
                draws=self.panel.draws,
                seed=self.panel.seed,
            )
        return self._known[key]

    @parts.guarded
    def _update(self, _):
        dead, seen = self._counts()
        self.found = after_frost(
            self._forecast(),
            self.panel.block,
            dead,
            seen,
            frost_date=self.frost.value,
            counted_on=self.counted.value,
        )
        self.message.value = ""
        self.show_units()
