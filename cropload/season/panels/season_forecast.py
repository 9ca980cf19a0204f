"""Folds of the season page: the blocks, what changed since, and where the numbers come from."""

from cropload.beliefs.meant import load_first
from cropload.season import charts
from cropload.season.panels.season_part import SeasonPart
from cropload.season.season_days import season_days
from cropload.season.tables import change_blocks, crop_table, origins_table, ranked
from cropload.season.what_moved import change_notes
from cropload.season.words import change_sentence, change_steps, contribution_sentence, heading
from cropload.show.panels import parts
from cropload.show.panels.fields import choice

_NO_DAY = "no earlier day on record"


class BlocksNow(SeasonPart):
    """Blocks, varieties or the estate with their ranges, in the order asked for."""

    def build(self):
        """Make the choosers, the table and the picture."""
        self.by = choice(
            "Rows", [("blocks", "block"), ("varieties", "variety"), ("the estate", "estate")]
        )
        self.order = choice("Order", [("by tonnes", "tonnes"), ("by width of range", "range")])
        self.table, self.picture = self.told = parts.html(), parts.html()
        self.follows(self.by, self.order)
        self.body.children = (parts.row(self.by, self.order), self.table, self.picture)

    def show(self):
        """Show the forecast."""
        found, units, by = self.page.forecast(), self.desk.units, self.by.value
        rows = ranked(found.frame_by(by), self.order.value)
        self.table.value = crop_table(found, by, self.order.value).html(units)
        self.picture.value = parts.readable_picture(charts.ranking_rows(rows, by, units))


class WhereFrom(SeasonPart):
    """What the ranges come from, where each figure of a block comes from, and the notes."""

    def build(self):
        """Make the chooser and the answer."""
        names = self.desk.blocks
        self.block = choice("Every figure of", [("no block", ""), *((n, n) for n in names)])
        self.split, self.origins, self.notes = self.told = [parts.html() for _ in range(3)]
        self.follows(self.block)
        self.body.children = (self.split, self.block, self.origins, self.notes)

    def show(self):
        """Show what the forecast rests on."""
        found, block = self.page.forecast(), self.block.value
        rows = charts.contribution_rows(found.contributions("block"))
        self.split.value = (
            parts.note(heading(found))
            + parts.note(contribution_sentence(found.contributions("estate")))
            + parts.readable_picture(rows)
        )
        self.origins.value = origins_table(found, block).html() if block else ""
        self.notes.value = parts.points(load_first(found.notes)[1])


class WhatChanged(SeasonPart):
    """What moved the forecast since an earlier day, by component and by block, adding up."""

    def build(self):
        """Make the chooser, the picture and the table."""
        self.since = choice("Since", [(_NO_DAY, None)], width="28em")
        self.answer = parts.html()
        self.told, self._filling = (self.answer,), False
        self.since.observe(lambda _: None if self._filling else self.follow(), "value")
        self.body.children = (self.since, self.answer)

    def _fill(self, now):
        """Offer the earlier days; the one chosen stays when it still stands."""
        days = [
            (f"{each.words}, {each.day:%Y-%m-%d}", each.day)
            for each in season_days(self.page.now, self.desk.season)
            if now is None or each.day < now
        ]
        before, self._filling = self.since.value, True
        try:
            self.since.options = days or [(_NO_DAY, None)]
            kept = [day for _, day in days]
            self.since.value = before if before in kept else kept[-1] if kept else None
        finally:
            self._filling = False

    def show(self):
        """Show the change since the chosen day."""
        found, units = self.page.forecast(), self.desk.units
        self._fill(found.as_of)
        if self.since.value is None:
            self.answer.value = parts.note("There is no earlier day of this season yet.")
            return
        change = found.explain(self.page.forecast_on(self.since.value))
        text = parts.note(change_sentence(change, units))
        if change_steps(change):
            text += parts.readable_picture(charts.change_rows(change, units))
            text += change_blocks(change).html(units) + parts.points(change_notes(change))
        self.answer.value = text
