"""The fold of doubts: what is doubtful in the records, and a button that says it is right."""

from pathlib import Path

from cropload.errors import CroploadError
from cropload.records.reading.faults import how_many
from cropload.records.summary import answered_lines
from cropload.records.writing.answer import answer_doubt
from cropload.show.desk import Part
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, field

#: Doubts that stand on the page; `check` lists all.
_SHOWN = 20


class Doubtful(Part):
    """What is doubtful in the records, each with a button, and what was answered."""

    needs = ("records",)

    def build(self):
        """Make the two fields, the list and the message."""
        self.why = field("Why it is right", width="34em")
        self.who = field("Who says so", width="18em")
        self.asked, self.said, self.settled = parts.html(), parts.html(), parts.html()
        self.buttons = []

    def show(self):
        """List the doubts as the records stand."""
        records = self.desk.records
        lots = {}
        for fault in records.warnings:
            about = fault.matter
            key = (about.rule, about.block, about.season) if about else (fault,)
            lots.setdefault(key, []).append(fault)
        rows, self.buttons = [], []
        for (first, *more), key in zip(list(lots.values())[:_SHOWN], lots, strict=False):
            number = how_many([first, *more]) - 1
            text = str(first) + (f" And {number:,} more like it." if number else "")
            line = [parts.html(f"<p>{parts.escape(text)}</p>")]
            if first.matter:
                made = button("this is right", lambda key=key: self.answer(*key), "auto")
                made.tooltip = f"{first.matter.rule}, {first.matter.place()}"
                self.buttons.append(made)
                line.append(made)
            rows.append(parts.row(*line))
        left = len(lots) - _SHOWN
        self.asked.value = parts.note(
            (f"{left} more: `cropload check` lists them all. " if left > 0 else "")
            + "What is right is not asked about again while its rows stay as they are."
            if lots
            else "Nothing in the records is doubtful."
        )
        held = answered_lines(records)
        self.settled.value = "<p><b>Answered</b></p>" + parts.points(held) if held else ""
        fields = [parts.row(self.why, self.who)] if self.buttons else []
        self.body.children = (*fields, *rows, self.asked, self.said, self.settled)

    def answer(self, rule, block, season):
        """Answer a doubt in the user's own table; the list follows."""

        def action():
            if not self.why.value.strip():
                raise CroploadError("Say first why it is right.")
            path = saving.own_folder(self.desk.records, "answer a doubt")
            done = answer_doubt(
                path,
                rule,
                self.why.value,
                block=block or None,
                season=season or None,
                who=self.who.value,
            )
            self.why.value = ""
            if not isinstance(self.desk.given, (str, Path)):
                self.desk.given = path
            self.desk.read()
            return done

        parts.tell(self.said, action, "Nothing was answered")
