"""The fold of lessons: before and after, what they would change, and their acceptance."""

import ipywidgets as widgets

from cropload.beliefs.learned import learned_path, read_learned
from cropload.errors import CroploadError
from cropload.review import lesson_words as words
from cropload.review import tables
from cropload.review.accepting import (
    accept,
    newer_words,
    replay_lessons,
    weighed,
    worth_accepting,
)
from cropload.review.charts import lesson_ranges, lessons_text
from cropload.show.page_part import SlowPart
from cropload.show.panels import parts
from cropload.show.panels.fields import button, choice
from cropload.show.panels.saving import own_folder


class Lessons(SlowPart):
    """Lessons of all seasons, what the ticked ones change, and a button that accepts them."""

    needs = ("units", "accepted")

    def build(self):
        """Make the choosers, the ticks, the buttons and the tables."""
        self.lessons = self.effect = None
        self.ticks, self._quiet, self._filled = {}, False, None
        seasons = [(str(year), year) for year in self.page.picked] or [("none", 0)]
        self.through = choice("Seasons that speak: up to", seasons, width="20em")
        self.kind = choice("Figure of", [("counting bias", "counting_bias")], width="22em")
        self.where, self.table, self.figure, self.change, self.force, self.sources = self.told = [
            parts.html() for _ in range(6)
        ]
        self.mind, self.kept = parts.html(), parts.html()
        self.boxes = widgets.VBox([])
        self.all_button = button("tick all", lambda: self._tick(True), "auto")
        self.none_button = button("tick none", lambda: self._tick(False), "auto")
        self.effect_button = button("what the ticked ones change", self.show_effect, "auto")
        self.replayed = parts.html()
        self.replay_button = button(
            "what they were worth in past seasons (takes minutes)", self.show_replay, "auto"
        )
        self.accept_button = button("accept the ticked lessons", self.accept, "auto")
        self.older = widgets.Checkbox(
            value=False,
            description="Let these older lessons take the place of newer ones",
            indent=False,
            layout={"width": "auto", "display": "none"},
        )
        self.older.observe(self._ticked, "value")
        self.kind.observe(lambda _: self._show_figure(), "value")
        self.follows(self.through)
        self.body.children = (
            parts.row(self.through),
            self.where,
            parts.html(parts.head("Lessons to accept")),
            parts.row(self.all_button, self.none_button),
            self.boxes,
            self.mind,
            self.older,
            parts.row(self.effect_button, self.replay_button, self.accept_button),
            self.kept,
            self.replayed,
            self.change,
            self.force,
            self.table,
            self.kind,
            self.figure,
            self.sources,
        )

    def _fill(self):
        """Make a tick box for each lesson, those that say something new ticked."""
        new = set(worth_accepting(self.lessons))
        self.ticks = {}
        for key in self.lessons.entries:
            box = widgets.Checkbox(
                value=key in new,
                description=words.lesson_name(key),
                indent=False,
                layout=widgets.Layout(width="auto", margin="0 18px 0 2px"),
            )
            box.observe(self._ticked, "value")
            self.ticks[key] = box
        here = {key.split(":", 1)[0] for key in self.ticks}
        kinds = [kind for kind in words.KINDS if kind in here]
        self.boxes.children = [
            parts.row(*(box for key, box in self.ticks.items() if key.split(":", 1)[0] == kind))
            for kind in kinds
        ]
        drawn = list(dict.fromkeys(words.lesson_kind(words.by_kind(self.lessons.frame))))
        self.kind.options = [(words.KINDS[kind], kind) for kind in drawn]
        self.kind.layout.display = None if drawn else "none"

    def chosen(self):
        """Return the keys of the ticked lessons."""
        return [key for key, box in self.ticks.items() if box.value]

    def _tick(self, value):
        self._quiet = True
        for box in self.ticks.values():
            box.value = value
        self._quiet = False
        self._ticked(None)

    def _weighed(self, older=None):
        """Return the ticked lessons against those in force."""
        entries = [self.lessons.entries[key] for key in self.chosen()]
        in_force = () if self.desk.is_sample else read_learned(self.desk.records.path)
        return weighed(entries, in_force, self.older.value if older is None else older)

    def _show_mind(self):
        """Say which ticked lessons rest on one season, and which are older than those in force."""
        if self.lessons is None:
            self.mind.value = ""
            return
        found = self._weighed(older=False)
        self.older.layout.display = None if found.newer else "none"
        told = [words.alone_words(self._weighed().taken)]
        if found.newer and not self.older.value:
            told.append(newer_words(found, self.lessons))
        self.mind.value = parts.points(text for text in told if text)

    def _ticked(self, _):
        if not self._quiet:
            self._show_mind()
            # What stands below belonged to other ticks.
            self.effect = None
            self.kept.value = ""
            self._show_effect()

    @parts.guarded
    def show_effect(self):
        """Make the next forecast with the ticked lessons, and show it beside the one without."""
        if self.lessons is not None:
            self.effect = self.page.effect(self.lessons, self.chosen(), self.older.value)
            self._show_effect()

    @parts.guarded
    def show_replay(self):
        """Forecast past seasons again with the lessons of those before them, and without."""
        desk = self.desk

        def make():
            return replay_lessons(desk.records, draws=min(desk.draws, 1000), seed=desk.seed)

        lines = words.replay_lines(desk.once("replay", (), make))
        head = parts.head("Past seasons with the lessons of those before, and without")
        self.replayed.value = head + parts.points(lines)

    def show(self):
        """Show the lessons, what they change and what is in force."""
        self.page.days()
        self.lessons = self.page.lessons(self.through.value)
        if self._filled is not self.lessons:
            self._fill()
            self._filled = self.lessons
        self.where.value = parts.note(
            f"Seasons up to {self.lessons.through} speak; what is accepted holds for later ones."
        )
        self.table.value = self._tables()
        self._show_figure()
        self._show_mind()
        self.show_effect()
        self._show_force()
        self.sources.value = parts.head("Where the figures before come from") + "".join(
            map(parts.source, self.lessons.sources)
        )

    def _tables(self):
        """Return the lessons before and after, how to read them, and node profiles as HTML."""
        lessons = self.lessons
        text = "".join(table.html() for table in lessons.tables()) or parts.note(
            "No bias, factor or load response has been measured yet."
        )
        text += '<div role="status">' + parts.points(lessons.notes) + "</div>"
        if lessons.profiles.empty:
            return text
        return (
            f'{text}<details class="cl-source"><summary>Node profiles, before &gt; after</summary>'
            f"{tables.profile_table(lessons.profiles).html()}</details>"
        )

    def _show_figure(self):
        if self.lessons is None or self.kind.value is None or self.lessons.frame.empty:
            self.figure.value = ""
            return
        table, kind = self.lessons.frame, self.kind.value
        self.figure.value = parts.readable_picture(
            lesson_ranges(table, kind).plot(), lessons_text(table, kind)
        )

    def _show_effect(self):
        head = parts.head("What the ticked lessons change in the next forecast")
        if self.effect is None:
            self.change.value = head + parts.note(
                f"{len(self.chosen())} of {len(self.ticks)} are ticked. Press “what the "
                "ticked ones change” to see it before you accept."
            )
            return
        text = '<div role="status">' + parts.note(self.effect.heading()) + "</div>"
        self.change.value = head + text + self.effect.table().html(self.desk.units)

    def _show_force(self):
        path = learned_path(self.desk.records.path).resolve()
        entries = () if self.desk.is_sample else read_learned(self.desk.records.path)
        self.force.value = parts.head("What is in force now") + (
            tables.force_table(entries, path).html()
            + parts.note(
                f"They are in {path}. Delete that file to go back to the handbook; earlier "
                "versions lie beside it as learned.1.toml, learned.2.toml and so on."
            )
            if entries
            else parts.note(
                "Nothing has been accepted: every figure is the handbook's, moved by the records "
                f"that are read. Accepted lessons are kept in {path.name} beside your records."
            )
        )

    def accept(self):
        """Keep the ticked lessons beside the user's records, and say where."""
        changed = []

        def keep():
            own_folder(self.desk.records, "accept a lesson")
            keys = self.chosen()
            if not keys:
                raise CroploadError("No lesson is ticked. Tick one, or leave everything as it is.")
            found = accept(self.desk.records, self.lessons, keys, older=self.older.value)
            told = [found.heading(), *found.notes, f"They are in {found.path.resolve()}."]
            if found.before is not None:
                told.append(f"The version before is {found.before.resolve()}.")
            changed.append(found)
            return " ".join(told)

        parts.tell(self.kept, keep)
        if changed:
            self.page.accepted()
