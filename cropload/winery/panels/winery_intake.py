"""Panels of the winery: when the crop comes, against limits, and which blocks could move."""

import ipywidgets as widgets

from cropload import handbook
from cropload.errors import CroploadError
from cropload.show.panels import parts, saving
from cropload.show.panels.desk_panel import DeskPanel
from cropload.show.panels.fields import button, choice, number_in
from cropload.winery import tables
from cropload.winery.capacity import capacity_table
from cropload.winery.charts import intake_rows
from cropload.winery.panels.winery_desk import DAY, LIMITS, WEEK
from cropload.winery.relief import relieve
from cropload.winery.words import NO_CAPACITY, export, intake_sentence


class IntakeNow(DeskPanel):
    """Tonnes by period with their range, against the limits of intake."""

    title = "Intake"

    def build(self):
        """Make the choices, the figure and the tables."""
        own = [] if self.desk.base.capacity.empty else [LIMITS]
        self.period = choice("Periods", [*own, WEEK, DAY], width="24em")
        self.by = choice("Table by", ["variety", "block"], "variety", "14em")
        for each in (self.period, self.by):
            each.observe(lambda _: self.refresh(), "value")
        self.csv_button = button("Export as CSV", lambda: self._export(".csv"), "11em")
        self.excel_button = button("Export as Excel", lambda: self._export(".xlsx"), "11em")
        self.answer, self.kept = parts.html(), parts.html()
        self.body.children = [
            parts.row(self.period, self.by),
            self.answer,
            parts.row(self.csv_button, self.excel_button),
            self.kept,
        ]

    def show(self):
        """Show the intake of the desk's forecast."""
        units, capacity = self.desk.units, self.desk.records.capacity
        schedule = self.desk.schedule(self.period.value)
        limits = capacity_table(schedule, capacity) if len(capacity) else None
        self.schedule, self.limits = schedule, limits
        if schedule.empty:
            said = parts.note(schedule.heading())
            self.answer.value = f'<div role="status">{said}</div>' + parts.points(schedule.notes)
            return
        said = parts.note(intake_sentence(schedule, limits, units))
        text = f'<div role="status">{said}</div>'
        text += parts.picture(intake_rows(schedule, limits, units))
        text += tables.intake_table(schedule, "estate", limits, units).html(units)
        text += tables.group_table(schedule, self.by.value, units).html(units)
        if limits is not None and len(limits):
            text += tables.limit_table(limits).html(units)
        text += parts.points(schedule.notes if limits is None else limits.notes)
        text += parts.source("intake.kg_per_hl", "Tank volume: grapes for a hectolitre, published")
        self.answer.value = text

    def _export(self, suffix):
        def action():
            desk, by = self.desk, self.by.value
            if self.schedule.empty:
                raise CroploadError(self.schedule.heading())
            frame = export(self.schedule, by, desk.units)
            stem = saving.file_stem("intake", by, desk.season)
            folder = saving.results_folder(desk.base)
            path = saving.save_frame(frame, folder, stem, suffix, "metric")
            return f"the intake by {by} is in {path}."

        parts.tell(self.kept, action)


class BlocksToMove(DeskPanel):
    """Which blocks could be picked on other days, so that no period is likely too full."""

    title = "Which blocks to move"

    def build(self):
        """Make the choices and the button."""
        days = int(handbook.value("intake.move_days"))
        accepted = 100 * handbook.value("intake.chance_of_excess")
        self.chance = parts.number_box("Accepted chance of going over [%]", accepted)
        self.earlier = parts.number_box("Days earlier at most", days)
        self.later = parts.number_box("Days later at most", days)
        self.held = widgets.SelectMultiple(
            options=self.desk.blocks,
            description="Blocks that must stay",
            rows=min(max(len(self.desk.blocks), 2), 6),
            style=parts.LABELLED,
            layout=widgets.Layout(width="26em", max_width="100%"),
        )
        self.find_button = button("Find blocks to move", self.find, "15em")
        self.answer, self.found = parts.html(), None
        self.body.children = [
            parts.row(self.chance, self.earlier, self.later),
            parts.row(self.held, self.find_button),
            self.answer,
        ]

    def show(self):
        """Take an answer away that belongs to another forecast or other dates."""
        self.found = None
        if self.desk.records.capacity.empty:
            text = NO_CAPACITY
        else:
            text = "Press the button to look for moves within the windows."
        self.find_button.disabled = self.desk.records.capacity.empty
        self.answer.value = parts.note(text)

    def find(self):
        """Search, and show the moves with what they leave."""
        try:
            window = (-abs(self.earlier.value), abs(self.later.value))
            windows = dict.fromkeys(self.desk.blocks, window)
            windows |= dict.fromkeys(self.held.value, (0, 0))
            schedule = self.desk.schedule(WEEK)
            if schedule.empty:
                raise CroploadError(schedule.heading())
            self.found = relieve(
                schedule,
                self.desk.records.capacity,
                chance=number_in(self.chance, 0, 100) / 100,
                windows=windows,
            )
            said = f'<div role="status">{parts.note(self.found.heading())}</div>'
            shown = "".join(table.html(self.desk.units) for table in self.found.tables())
            self.answer.value = said + shown + "".join(map(parts.note, self.found.notes))
        except CroploadError as fault:
            self.found, self.answer.value = None, parts.error(str(fault))
        except Exception as fault:
            self.found = None
            self.answer.value = parts.error(f"No answer ({type(fault).__name__}: {fault}).")
