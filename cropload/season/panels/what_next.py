"""The panel of the next counts: what an hour is worth, and a form to enter what was counted."""

import ipywidgets as widgets
import numpy as np

from cropload.clock import day as read_day
from cropload.errors import CroploadError
from cropload.season.next_counts import next_counts
from cropload.season.panels.count_entry import check_day, count_rows, read_numbers, weight_rows
from cropload.season.tables import MOST_COUNTS
from cropload.season.words import MEASURES, forecast_sentence
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.desk_panel import DeskPanel
from cropload.show.panels.fields import button, choice, field


class WhatNext(DeskPanel):
    """What to count next, and a form to enter counts; the ranking follows at once."""

    title = "What to count next"
    prompt = True

    def build(self):
        """Make the ranking and the form."""
        varieties = dict.fromkeys(str(v) for v in self.desk.base.blocks["variety"])
        self.hours = parts.number_box("Crew hours a block", 1.0, 0.5)
        self.of = choice("Total whose range matters", ["estate", *varieties], width="26em")
        self.ranking = parts.html()
        for each in (self.hours, self.of):
            each.observe(lambda _: self.refresh(), "value")
        self.block = choice("Counted block", self.desk.blocks, width="20em")
        self.measure = choice(
            "What was counted", [(w, m) for m, w in MEASURES.items()], "clusters", "28em"
        )
        self.day = field("Day of the count", "the day above", "18em")
        self.numbers = widgets.Textarea(
            description="One number a vine",
            placeholder="23 31 18 27 ...",
            rows=3,
            # Told as a whole when the box is left: with a busy kernel, letters told one by one can
            # arrive after the button that is meant to read them all.
            continuous_update=False,
            style=parts.LABELLED,
            layout=widgets.Layout(width="44em", max_width="100%"),
        )
        self.measure.observe(lambda _: self._hint(), "value")
        self.enter_button = button("Enter these counts", self.enter)
        self.save_button = button("Save what was entered to my records", self.save, "23em")
        self.forget_button = button("Forget what was entered", self.forget)
        self.entered_words = parts.html()
        self.body.children = [
            parts.row(self.hours, self.of),
            self.ranking,
            parts.html(parts.head("Enter a count")),
            parts.row(self.block, self.measure, self.day),
            self.numbers,
            parts.row(self.enter_button, self.save_button, self.forget_button),
            self.entered_words,
        ]
        self._hint()

    def _hint(self):
        weights = self.measure.value.startswith("weight_")
        unit = "lb" if self.desk.units.name == "us" else "g"
        self.numbers.description = (
            f"Clusters and weight [{unit}] of each lot" if weights else "One number a vine"
        )
        self.numbers.placeholder = "40 2045, 32 1275 ..." if weights else "23 31 18 27 ..."

    def tell_fault(self, text):
        """Show what is wrong with what was entered; the ranking stays."""
        self.entered_words.value = parts.error(text)

    def _guard(self, action):
        try:
            return action()
        except CroploadError as fault:
            self.tell_fault(str(fault))
        except Exception as fault:
            self.tell_fault(
                f"cropload met something it was not made for ({type(fault).__name__}: {fault}). "
                "Your records are as they were."
            )
        return None

    def rows(self):
        """Return (table, rows, day) of what stands in the form.

        Raises
        ------
        CroploadError
            For anything that cannot be, with the way to mend it.
        """
        desk, block, measure = self.desk, self.block.value, self.measure.value
        text = self.day.value.strip()
        last = desk.as_of
        if text:
            day = read_day(text)
        elif last is not None:
            day = last
        else:
            raise CroploadError("Write the day of the count, like 2026-07-15.")
        check_day(desk.records, desk.season, block, day)
        numbers = read_numbers(self.numbers.value)
        if measure.startswith("weight_"):
            rows = weight_rows(desk.season, block, measure, day, numbers, desk.units)
            return "weights", rows, day
        return "counts", count_rows(desk.records, desk.season, block, measure, day, numbers), day

    def enter(self):
        """Take the form's numbers into the records in memory; everything is forecast again."""

        def action():
            table, rows, day = self.rows()
            block, measure = self.block.value, self.measure.value
            before = self.desk.forecast
            self.desk.enter(table, rows, day)
            self.numbers.value = ""
            self._tell_entered(table, rows, block, measure, before)

        self._guard(action)

    def _tell_entered(self, table, rows, block, measure, before):
        units, found = self.desk.units, self.desk.forecast
        if table == "counts":
            mean = np.mean([row[measure] for row in rows])
            noun = "vine" if len(rows) == 1 else "vines"
            told = f"{len(rows)} {noun} of {block}, {mean:.1f} {MEASURES[measure]} on average"
        else:
            mean = sum(r["weight_g"] for r in rows) / sum(r["clusters"] for r in rows)
            weight = wording.amount("cluster_weight_g", mean, units)
            told = f"{len(rows)} lots of {block}, {weight} a cluster"
        text = parts.done(f"entered {told}. Not saved yet.")
        if found is not None:
            text += parts.note(forecast_sentence(found, "block", block, units))
        if table == "counts" and measure == "clusters" and before is not None:
            shoots = float(np.median(before.growth.shoots[before.blocks.index(block)]))
            if mean > 6 * shoots:
                text += parts.note(
                    f"Doubtful: {mean:.0f} clusters on about {shoots:.0f} shoots is more than six "
                    "a shoot. Was the block or the measure another?"
                )
        self.entered_words.value = text

    def save(self):
        """Add what was entered to the user's own tables."""

        def action():
            number = len(self.desk.unsaved)
            files = self.desk.save()
            listed = ", ".join(str(file) for file in files)
            self.entered_words.value = parts.done(f"{number} rows were added to {listed}.")

        self._guard(action)

    def forget(self):
        """Take away what was entered and not saved."""

        def action():
            gone = self.desk.forget()
            self.entered_words.value = parts.done(f"{gone} rows were taken away; nothing is lost.")

        self._guard(action)

    def show(self):
        """Rank what could be counted next."""
        self._hint()
        found = next_counts(self.desk.forecast, hours=self.hours.value, of=self.of.value)
        units, more = self.desk.units, len(found) - MOST_COUNTS
        self.ranking.value = (
            parts.note(found.heading(units))
            + (found.table(units).html(units) if len(found) else "")
            + (parts.note(f"{more} more take off less.") if more > 0 else "")
        )
