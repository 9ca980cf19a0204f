"""The fold of everything worth counting: what is due and when, every count, and reminders."""

from cropload.season.panels.season_fan import SeasonFan
from cropload.season.panels.season_part import SeasonPart
from cropload.show.hand_out import HandOut
from cropload.show.panels import parts


class WorthCounting(SeasonPart):
    """What is due, what to do in the hours there are, the ranking of counts, and reminders."""

    needs = (*SeasonFan.needs, "hours")

    def build(self):
        """Make the text and the button."""
        self.text, self.said = parts.html(), parts.html()
        self.reminders = HandOut("reminders for a calendar (.ics)", self._file, self._tell)
        self.body.children = (self.text, self.reminders, self.said)

    def show(self):
        """Show the tables."""
        due, counts, units = self.page.due(), self.page.counts(), self.desk.units
        told = [table.html(units) for table in due.tables(units)[: due.printed] if table]
        notes = parts.points(due.notes) if due.notes else ""
        ranked = parts.note(counts.heading(units)) + counts.table(units).html(units)
        self.text.value = "".join(told) + notes + ranked

    def _file(self):
        from cropload.season.due_calendar import reminders

        data = reminders(self.page.due(), self.desk.units)
        return f"due_{self.desk.season}.ics", data

    def _tell(self, text):
        self.said.value = parts.error(text) if text else ""
