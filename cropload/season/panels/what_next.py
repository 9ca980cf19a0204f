"""What to count next for the hours there are, and the form that takes what was counted."""

import ipywidgets as widgets
import numpy as np
import pandas as pd

from cropload import clock
from cropload.errors import CroploadError
from cropload.season.narrowing import still_counts
from cropload.season.panels.count_entry import check_day, count_rows, read_numbers, weight_rows
from cropload.season.panels.season_part import SeasonPart
from cropload.season.words import MEASURES, forecast_sentence, moved, nothing_to_count
from cropload.show import wording
from cropload.show.panels import parts
from cropload.show.panels.fields import button, choice, day_field, field

#: Things to count that are offered [1].
_OFFERED = 3
#: What is counted on the same vines in one walk, and numbers of two such vines.
_TOGETHER = ("buds", "shoots", "clusters")
_EXAMPLE = (("14", "23", "12"), ("15", "31", "13"))


class WhatNext(SeasonPart):
    """The next things to count, each a button that fills in the form below it."""

    needs = (*SeasonPart.needs, "total", "hours")
    #: Crew hours it opens with [h].
    HOURS = 3.0

    def build(self):
        """Make the list and the form."""
        self.hours = parts.number_box("Crew hours there are", self.HOURS, 0.5)
        self.hours.observe(lambda _: self.desk.follow("hours"), "value")
        self.offers = [button("", lambda at=at: self._take(at), "auto") for at in range(_OFFERED)]
        self.listed = widgets.VBox(self.offers)
        self.listed.add_class("cl-next")
        self.none = parts.html()
        self.block = choice("Block", self.desk.blocks, width="15em")
        self.measure = choice("What", [(w, m) for m, w in MEASURES.items()], width="20em")
        self.beside = choice("and beside it", [("nothing else", ())], width="20em")
        self.day = day_field("Day")
        self.counter = field("Counted by", "initials", "14em")
        self.numbers = widgets.Textarea(
            rows=2,
            # Told as a whole when the box is left: with a busy kernel, letters told one by one can
            # arrive after the button that is meant to read them all.
            continuous_update=False,
            style=parts.LABELLED,
            layout=widgets.Layout(width="calc(100% - 4px)"),
        )
        self.measure.observe(lambda _: self._other_measure(), "value")
        self.beside.observe(lambda _: self._hint(), "value")
        self.enter_button = button("enter", self.enter, "auto")
        self.back_button = button("take the last entry back", self.take_back, "auto")
        self.save_button = button("save to my records", self.save, "auto")
        self.waiting, self.said = parts.html(), parts.html()
        self._filled_for = None
        self.body.children = (
            self.hours,
            self.none,
            self.listed,
            parts.row(self.block, self.measure, self.beside, self.day, self.counter),
            self.numbers,
            parts.row(self.enter_button, self.back_button, self.save_button),
            self.waiting,
            self.said,
        )

    def show(self):
        """Offer what to count, and say what waits to be saved."""
        self._other_measure()
        self._wait()
        self.rows = []
        for each in self.offers:
            each.layout.display = "none"
        found, units = self.page.due(), self.desk.units
        self.rows = found.plan.head(_OFFERED).to_dict("records")
        told = "What takes most off the range this week:" if self.rows else ""
        if not still_counts(found.forecast).any():
            told = nothing_to_count(found.forecast)
        self.none.value = parts.note(found.heading(units)) + (parts.note(told) if told else "")
        for each, row in zip(self.offers, self.rows, strict=False):
            each.description = (
                f"{row['block']}: {row['words']}, {row['vines']} vines, {row['hours']:.1f} h, "
                f"{moved(row['removed_t'], units).lstrip('+')} off"
            )
            each.layout.display = None
        if self._filled_for != self.desk.season:
            self._fill()

    def _fill(self):
        """Fill the form for another season; after that what stands in it is the user's."""
        self._filled_for = season = self.desk.season
        day = pd.Timestamp(self.desk.as_of or clock.today())
        self.day.value = day.date() if day.year in (season - 1, season) else None
        # In a week in which nothing can be counted, what takes most off is the best guess.
        rows = self.rows or self.page.counts().frame.head(1).to_dict("records")
        if rows:
            self.block.value, self.measure.value = rows[0]["block"], rows[0]["what"]

    def clear(self):
        """Take the list away."""
        if self.built:
            self.none.value = ""

    def _take(self, at):
        """Fill a thing to count in the form."""
        self.block.value, self.measure.value = self.rows[at]["block"], self.rows[at]["what"]

    def _other_measure(self):
        """Offer what else may be counted on the same vines."""
        others = [name for name in _TOGETHER if name != self.measure.value]
        sets = [(), *((name,) for name in others), tuple(others)]
        if self.measure.value not in _TOGETHER:
            sets = sets[:1]
        self.beside.layout.display = None if len(sets) > 1 else "none"
        # A lot weighed has no counter.
        self.counter.layout.display = "none" if self.measure.value.startswith("weight_") else None
        options = [(" and ".join(each) or "nothing else", each) for each in sets]
        if list(self.beside.options) != options:
            self.beside.options = options
        self._hint()

    @property
    def measures(self):
        """What is counted on each vine, in the order of its numbers."""
        return (self.measure.value, *(self.beside.value or ()))

    def _hint(self):
        weights = self.measure.value.startswith("weight_")
        unit = "lb" if self.desk.units.name == "us" else "g"
        told = "One number a vine", "23 31 18 27 ..."
        if weights:
            told = f"Clusters, weight [{unit}] of each lot", "40 2045, 32 1275 ..."
        elif len(self.measures) > 1:
            example = ", ".join(" ".join(lot[: len(self.measures)]) for lot in _EXAMPLE)
            told = f"Of each vine: {', then '.join(self.measures)}", f"{example} ..."
        self.numbers.description, self.numbers.placeholder = told

    def _wait(self):
        """Say what waits to be saved; the buttons that need something are there when it is."""
        told = self.page.entered.waiting()
        for each in (self.back_button, self.save_button):
            each.layout.display = None if told else "none"
        self.waiting.value = parts.note(told) if told else ""

    def _guard(self, action):
        try:
            self.said.value = action()
        except CroploadError as fault:
            self.said.value = parts.error(str(fault))
        except Exception as fault:
            self.said.value = parts.error(
                f"cropload met something it was not made for ({type(fault).__name__}: {fault}). "
                "Your records are as they were."
            )

    def _read(self):
        """Return (table, rows, day) of what stands in the form.

        Raises
        ------
        CroploadError
            For anything that cannot be, with the way to mend it.
        """
        desk, block, measure = self.desk, self.block.value, self.measure.value
        if self.day.value is None:
            raise CroploadError("Choose the day of the count.")
        day = pd.Timestamp(self.day.value)
        check_day(self.page.now, desk.season, block, day)
        numbers = read_numbers(self.numbers.value)
        if measure.startswith("weight_"):
            rows = weight_rows(desk.season, block, measure, day, numbers, desk.units)
            return "weights", rows, day
        who = self.counter.value.strip()
        rows = count_rows(self.page.now, desk.season, block, self.measures, day, numbers, who)
        return "counts", rows, day

    def enter(self):
        """Take the form's numbers into the records in memory; what depends on them follows."""

        def action():
            table, rows, day = self._read()
            before = self.page.forecast()
            self.page.entered.add(table, rows, day)
            self.numbers.value = ""
            return self._entered(table, rows, before)

        self._guard(action)

    def _entered(self, table, rows, before):
        block, units = self.block.value, self.desk.units
        if table == "counts":
            means = {name: np.mean([row[name] for row in rows]) for name in self.measures}
            mean = means.get("clusters", 0.0)
            noun = "vine" if len(rows) == 1 else "vines"
            listed = " and ".join(f"{each:.1f} {MEASURES[name]}" for name, each in means.items())
            told = f"{len(rows)} {noun} of {block}, {listed} on average"
        else:
            mean = sum(r["weight_g"] for r in rows) / sum(r["clusters"] for r in rows)
            weight = wording.amount("cluster_weight_g", mean, units)
            told = f"{len(rows)} lots of {block}, {weight} a cluster"
        text = parts.done(f"entered {told}.")
        text += parts.note(forecast_sentence(self.page.forecast(), "block", block, units))
        if table == "counts" and mean:
            shoots = float(np.median(before.growth.shoots[before.blocks.index(block)]))
            if mean > 6 * shoots:
                text += parts.note(
                    f"Doubtful: {mean:.0f} clusters on about {shoots:.0f} shoots is more than six "
                    "a shoot. Was the block or the measure another?"
                )
        return text

    def save(self):
        """Add what was entered to the user's own tables."""

        self._guard(lambda: parts.done(self.page.entered.save()))

    def take_back(self):
        """Take the last entry away again."""
        self._guard(lambda: parts.done(f"{self.page.entered.take_back()} rows were taken back."))
