"""The fold of what befell a crop: the events of the season, and a form for a new one."""

import pandas as pd

from cropload import clock
from cropload.records.events import season_events
from cropload.records.hemisphere import season_of
from cropload.records.tables import EVENT_KINDS
from cropload.season.panels.count_entry import read_numbers
from cropload.season.panels.season_part import SeasonPart
from cropload.season.words import befell
from cropload.show.panels import parts
from cropload.show.panels.fields import button, choice, day_field, field

_OF = [
    ("the crop", ""),
    ("the shoots", "shoots"),
    ("the clusters", "clusters"),
    ("the vines", "vines"),
]
_WHEN = [("none, or not known", ""), ("before it", "before"), ("after it", "after")]


class EventsPart(SeasonPart):
    """Tell of frost, hail, drought, birds, thinning and fruit left; forecasts then hold it."""

    def build(self):
        """Make the form."""
        self.block = choice("Block", self.desk.blocks, self.desk.block, "20em")
        self.kind = choice("What happened", EVENT_KINDS, width="18em")
        self.day = day_field("Day", clock.today())
        self.share = field("Share lost, %", "blank if not known", "19em")
        self.of = choice("of", _OF, width="12em")
        self.dead = field("Shoots dead", "on sampled vines", "16em")
        self.alive = field("Shoots alive", "on the same", "16em")
        self.counts = choice("Counts of that day", _WHEN, width="22em")
        self.note = field("Note", "", "20em")
        self.save = button("save in the records", self._save, "auto")
        self.told, self.answer = parts.html(), parts.html()
        self.body.children = (
            self.told,
            parts.row(self.block, self.kind, self.day),
            parts.row(self.share, self.of, self.dead, self.alive),
            parts.row(self.counts, self.note, self.save),
            self.answer,
        )

    def show(self):
        """List what befell the blocks in the season."""
        season = self.desk.season
        found = [each for each in season_events(self.page.now) if each.season == season]
        lines = [f"{each.block}: {_words(each)}" for each in found]
        self.told.value = (
            parts.points(lines)
            if lines
            else parts.note(f"Nothing is on record that befell a crop of {season}.")
        )

    @parts.guarded
    def _save(self):
        from cropload.records.writing.event_row import record_event

        before = self.page.forecast()
        file = record_event(
            self.desk.records,
            self.block.value,
            self.day.value,
            self.kind.value,
            share_pct=_number(self.share),
            of=self.of.value or None,
            dead=_number(self.dead),
            alive=_number(self.alive),
            counts_that_day=self.counts.value or None,
            note=self.note.value.strip() or None,
        )
        self.desk.read()
        self.desk.follow("entered")
        for box in (self.share, self.dead, self.alive, self.note):
            box.value = ""
        season = int(season_of(self.desk.records, pd.Series([pd.Timestamp(self.day.value)]))[0])
        told = f"It belongs to harvest {season}."
        if season == before.season:
            told = befell(before, self.page.forecast(), self.block.value, self.desk.units)
        self.answer.value = parts.note(f"{told} Written down in {file.name}.")


def _number(box):
    """Return the number in a box; None when it is blank."""
    return read_numbers(box.value.replace("%", ""))[0] if box.value.strip() else None


def _words(event):
    """Return an event as a line of the list."""
    if event.counted:
        return f"{event.words}, {sum(event.dead)} of {sum(event.seen)} shoots dead"
    if event.told:
        return f"{event.words}, {100 * event.share:.0f} % of the {event.of}"
    return f"{event.words}, how much it took is not told"
