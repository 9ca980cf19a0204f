"""The corner of the main panel that keeps results: plan to the records, crew card, exports."""

import ipywidgets as widgets

from cropload import clock
from cropload.pruning.cards import crew_card
from cropload.pruning.panels import results
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice, day_field
from cropload.show.panels.later import BUTTON_S, Later


class KeepLevels(widgets.VBox):
    """Keep a chosen level: in the records, on a card for the crew, or in a file of all levels.

    Parameters
    ----------
    panel : PruningLevels
        The panel it stands in.
    """

    def __init__(self, panel):
        self.panel, self._later = panel, Later(BUTTON_S)
        self.chosen = choice("Chosen level", [], width="26em")
        self.day = day_field("Date of pruning", clock.today())
        self.save_button = button("Save chosen plan to my records", self._settled(self._save))
        self.card_button = button("Make crew card of chosen plan", self._settled(self._make_card))
        self.csv_button = button(
            "Export all levels as CSV", self._settled(lambda: self._export(".csv"))
        )
        self.excel_button = button(
            "Export all levels as Excel", self._settled(lambda: self._export(".xlsx"))
        )
        self.on_record, self.kept = parts.html(), parts.html()
        super().__init__(
            [
                parts.html(parts.head("Keep the result")),
                self.on_record,
                parts.row(self.chosen, self.day),
                parts.row(self.save_button, self.card_button, self.csv_button, self.excel_button),
                self.kept,
            ]
        )

    def _settled(self, action):
        """Return the action of a button: done once every slider has told where it stands.

        The browser holds moves of a slider back while the panel works, and a button does not wait
        for them: the card would show another plan than the screen.
        """

        def run():
            self.panel.levels.settle()
            if self.panel.comparison is not None:
                action()

        return lambda: self._later.call("button", run)

    def open_block(self):
        """Forget what was said of another block, and say what is on record for this one."""
        self.kept.value = ""
        self._tell_record()

    def _tell_record(self):
        panel = self.panel
        there = saving.plan_on_record(panel.records, panel.season, panel.block)
        self.on_record.value = (
            ""
            if there is None
            else parts.note(
                f"On record for {panel.block}, season {panel.season}: plan {there.words()}."
            )
        )

    def show(self, plans, names):
        """Offer the levels; the one chosen before stays chosen."""
        before = self.chosen.index or 0
        self.chosen.options = [
            (f"{results.level_title(place, name)}: {plan}", place - 1)
            for place, (plan, name) in enumerate(zip(plans, names, strict=True), start=1)
        ]
        self.chosen.index = min(before, len(plans) - 1)

    @property
    def plan(self):
        """The plan of the chosen level."""
        return self.panel.plans[self.chosen.value]

    def _save(self):
        def action():
            panel = self.panel
            return saving.save_chosen_plan(
                panel.records, panel.season, panel.block, self.plan, self.day.value
            )

        parts.tell(self.kept, action)
        self._tell_record()

    def _make_card(self):
        def action():
            panel, row = self.panel, self.panel.comparison.frame.iloc[self.chosen.value]
            page = crew_card(
                self.plan,
                panel.block,
                panel.season,
                canopy_length_m=row["canopy_length_m"],
                variety=str(panel.choices.facts["variety"]),
                shoots_per_m=row["shoots_per_m_p50"],
                canopies=panel.choices.canopies,
                units=panel.units,
                invented=saving.is_sample(panel.records),
            )
            stem = saving.file_stem("card", panel.block, panel.season)
            file = saving.save_page(page, panel.folder(), stem)
            return f"the card for {self.plan} is in {file}; print it."

        parts.tell(self.kept, action)

    def export_frame(self):
        """Return the comparison as it is exported: with level, block, season and range [metric]."""
        panel = self.panel
        frame = panel.comparison.frame.copy()
        frame.insert(0, "level", range(1, len(frame) + 1))
        frame.insert(0, "season", panel.season)
        frame.insert(0, "block", panel.block)
        frame["interval"] = panel.comparison.interval
        return frame

    def _export(self, suffix):
        def action():
            panel = self.panel
            stem = saving.file_stem("levels", panel.block, panel.season)
            path = saving.save_frame(self.export_frame(), panel.folder(), stem, suffix, panel.units)
            return f"all levels are in {path}."

        parts.tell(self.kept, action)
