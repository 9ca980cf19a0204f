"""The form after a frost: dead shoots counted, and what the season's crop becomes."""

import ipywidgets as widgets
import pandas as pd

from cropload import handbook
from cropload.beliefs.forecast import forecast
from cropload.errors import CroploadError
from cropload.frost.after_frost import after_frost, read_vine_counts
from cropload.frost.panels import frost_results
from cropload.show.desk import Part
from cropload.show.panels import parts
from cropload.show.panels.fields import button, day_field


class AfterPart(Part):
    """Enter dead and living shoots of sampled vines; the forecast of the block follows.

    Parameters
    ----------
    page : FrostCover
        The page it stands on.
    """

    needs = ("block", "season", "units")

    def __init__(self, page):
        self.found, self._of = None, None
        super().__init__(page.desk)

    def build(self):
        """Make the boxes."""
        self.dead = parts.number_box("Dead shoots counted", 0, 1)
        self.alive = parts.number_box("Living shoots counted", 0, 1)
        self.vines = widgets.Textarea(
            description="Or vine by vine, dead/all",
            placeholder="3/14, 5/12, 0/13",
            style=parts.LABELLED,
            layout=widgets.Layout(width="32em", max_width="100%", height="4em"),
        )
        self.frost, self.counted = day_field("Day of the frost"), day_field("Day of the count")
        self.button = button("Update the forecast", self._update, "15em")
        self.save = button("save in the records", self._save, "auto")
        self.save.layout.display = "none"
        self.answer = parts.html()
        wait = handbook.value("frost.wait_days")
        self.body.children = (
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
            parts.row(self.button, self.save),
            self.answer,
        )

    def clear(self):
        """Take an answer away that no longer belongs."""
        self.found = None
        if self.built:
            self.answer.value, self.save.layout.display = "", "none"

    def show(self):
        """Show the answer in the units now chosen; that of another block is taken away."""
        of = (self.desk.block, self.desk.season)
        if self._of != of:
            self.clear()
        self._of = of
        if self.found is not None:
            self.answer.value = frost_results.after_html(self.found, self.desk.units)
            self.save.layout.display = None

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
        desk, frost = self.desk, self.frost.value
        before = None if frost is None else pd.Timestamp(frost) - pd.Timedelta(days=1)

        def make():
            return forecast(desk.records, desk.season, before, draws=desk.draws, seed=desk.seed)

        return desk.once(f"forecast before {before}", ("season",), make)

    @parts.guarded
    def _save(self):
        file = self.found.save(self.desk.records, self.frost.value)
        self.desk.read()
        self.message.value = parts.note(
            f"Written down in {file.name}: forecasts hold the frost from now on."
        )

    @parts.guarded
    def _update(self):
        dead, seen = self._counts()
        self.found = after_frost(
            self._forecast(),
            self.desk.block,
            dead,
            seen,
            frost_date=self.frost.value,
            counted_on=self.counted.value,
        )
        self.message.value = ""
        self.show()
