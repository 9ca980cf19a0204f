"""Panels of a season's forecast: the fan, the blocks, and what changed since an earlier day."""

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.season import charts
from cropload.season.season_days import fan_of
from cropload.season.tables import change_blocks, crop_table, origins_table, ranked
from cropload.season.what_moved import change_notes
from cropload.season.words import change_sentence, change_steps, contribution_sentence
from cropload.show.panels import parts
from cropload.show.panels.desk_panel import DeskPanel
from cropload.show.panels.fields import button, choice

_NO_DAY = "no earlier day on record"


class SeasonFan(DeskPanel):
    """The range that narrows over the dates of the season, against the harvest when known."""

    title = "How the forecast narrows"

    def build(self):
        """Make the chooser, the progress bar and the figure."""
        self.made, self._drawn_for = [], None
        self.total = choice("Total", self.desk.totals(), width="24em")
        self.draw_button = button("Draw the season", self.draw)
        self.progress = widgets.IntProgress(
            0, 0, 1, description="Forecasts", style=parts.LABELLED, layout={"display": "none"}
        )
        self.progress_words = parts.html()
        self.figure, self.table = parts.html(), parts.html()
        self.total.observe(lambda _: self.refresh(), "value")
        self.body.children = [
            parts.row(self.total, self.draw_button, self.progress, self.progress_words),
            self.figure,
            self.table,
        ]

    def start(self):
        """Display the panel, then draw, so that the progress bar is seen; for a notebook."""
        from IPython.display import display

        display(self)
        self.draw()

    def _state(self):
        return (self.desk.season, len(self.desk.entered), id(self.desk.records))

    def _tell(self, number, wanted):
        self.progress.max, self.progress.value = wanted, number
        self.progress_words.value = f'<span role="status">{number} of {wanted}</span>'

    @parts.guarded
    def draw(self):
        """Make the forecast of every date and draw them."""
        if not self.ready or self.desk.forecast is None:
            raise CroploadError("There is no forecast to draw: see the message at the season.")
        self.progress.value, self.progress.layout.display = 0, None
        try:
            made = []
            days = self.desk.days()
            for number, each in enumerate(days, start=1):
                made.append((each, self.desk.forecast_on(each.day)))
                self._tell(number, len(days))
            self.made, self._drawn_for = made, self._state()
        finally:
            self.progress.layout.display = "none"
            self.progress_words.value = ""
        self.refresh()

    def show(self):
        """Draw the chosen total from the forecasts made."""
        if not self.made or self._drawn_for[0] != self.desk.season:
            self.figure.value = self.table.value = ""
            if self.desk.days():
                told = "Press “Draw the season” to forecast every date."
            else:
                told = (
                    f"Season {self.desk.season} has no plan, count or weight on record yet, so "
                    "there are no dates to draw. A pruning plan is the first."
                )
            self.message.value = parts.note(told)
            return
        if self._drawn_for != self._state():
            self.message.value = parts.note(
                "Counts have been entered since this was drawn. Press “Draw the season” again."
            )
        by, name = self.total.value
        units = self.desk.units
        fan = fan_of(self.made, by, name, self.desk.records)
        self.figure.value = parts.picture(charts.fan_panel(fan, fan.harvest, units))
        self.table.value = fan.table(units).html(units) + parts.note(fan.heading(units))


class BlocksNow(DeskPanel):
    """Blocks ranked by tonnes or by range, what the range comes from, and where parts come from."""

    title = "Blocks by tonnes and by range"

    def build(self):
        """Make the choosers, the figures and the tables."""
        self.by = choice(
            "Rows", [("blocks", "block"), ("varieties", "variety"), ("the estate", "estate")]
        )
        self.order = choice("Order", [("by tonnes", "tonnes"), ("by width of range", "range")])
        self.parts_of = choice(
            "Show every part of",
            [("no block", ""), *((name, name) for name in self.desk.blocks)],
            width="26em",
        )
        self.figure, self.table, self.split, self.origins = (parts.html() for _ in range(4))
        for each in (self.by, self.order):
            each.observe(lambda _: self.refresh(), "value")
        self.parts_of.observe(lambda _: self.refresh(), "value")
        self.body.children = [
            parts.row(self.by, self.order),
            self.figure,
            self.table,
            self.split,
            self.parts_of,
            self.origins,
        ]

    def show(self):
        """Show the desk's forecast."""
        found, units, by = self.desk.forecast, self.desk.units, self.by.value
        rows = ranked(found.frame_by(by), self.order.value)
        self.figure.value = parts.picture(charts.ranking_rows(rows, by, units))
        self.table.value = crop_table(found, by, self.order.value).html(units)
        contributions = found.contributions(by)
        total = found.contributions("estate")
        self.split.value = (
            parts.head("What the range comes from")
            + parts.note(contribution_sentence(total))
            + parts.picture(charts.contribution_rows(contributions, by))
        )
        block = self.parts_of.value
        self.origins.value = origins_table(found, block).html() if block else ""


class WhatChanged(DeskPanel):
    """What moved the forecast since an earlier day, by component and by block, adding up."""

    title = "What changed since"

    def build(self):
        """Make the chooser, the figure and the tables."""
        self.since = choice("Since", [(_NO_DAY, _NO_DAY)], width="28em")
        self.figure, self.table = parts.html(), parts.html()
        self.since.observe(lambda _: self._other_day(), "value")
        self._quiet = False
        self.body.children = [self.since, self.figure, self.table]

    def _other_day(self):
        if not self._quiet:
            self.refresh()

    def _fill(self):
        now = self.desk.forecast.as_of
        days = [
            (each.label(), each.day) for each in self.desk.days() if now is None or each.day < now
        ]
        # The option the user chose stays when it still stands.
        before = self.since.value
        self._quiet = True
        self.since.options = days or [(_NO_DAY, _NO_DAY)]
        kept = [day for _, day in days]
        if before in kept:
            self.since.value = before
        self._quiet = False

    def show(self):
        """Show the change since the chosen day."""
        self._fill()
        if self.since.value == _NO_DAY:
            self.figure.value = self.table.value = ""
            self.message.value = parts.note(
                "There is no earlier day of this season to compare with yet."
            )
            return
        found, units = self.desk.forecast, self.desk.units
        earlier = self.desk.forecast_on(self.since.value)
        change = found.explain(earlier)
        self.figure.value = parts.note(change_sentence(change, units))
        if not change_steps(change):
            self.table.value = ""
            return
        self.figure.value += parts.picture(charts.change_rows(change, units))
        self.table.value = change_blocks(change).html(units) + parts.points(change_notes(change))
