"""The panel of an owner's choice: scenarios over several blocks, side by side, and the report."""

from cropload.beliefs.meant import next_season
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.owner import charts as report_figures
from cropload.owner.panels.scenario_boxes import CostBoxes, ScenarioBoxes
from cropload.owner.report import report, save_report
from cropload.owner.scenarios import compare_scenarios
from cropload.owner.words import frost_notes, risks
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, units_choice
from cropload.show.panels.opening import RecordsPanel, given_records
from cropload.units import unit_system


class OwnerScenarios(RecordsPanel):
    """Compare two to five scenarios, a pruning plan for each chosen block, and make the report.

    Parameters
    ----------
    records_or_path : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    blocks : sequence of str, optional
        Blocks chosen at first; the first three when not given.
    season : int, optional
        Year of the harvest the pruning is for; the coming one when not given.
    units : str
        ``"metric"`` or ``"us"``.
    results_folder : str or path, optional
        Where files go; ``results`` beside the records when not given.
    draws, seed : int
        As in ``compare_scenarios`` [1].

    Attributes
    ----------
    found : Scenarios or None
        As last compared; None when the scenarios are not possible, and the panel then says why.

    Notes
    -----
    Faults are shown as a message in the panel; nothing is raised after it is made.
    Valid as ``compare_scenarios``.
    """

    title = "Pruning scenarios for the owner"

    def __init__(
        self,
        records_or_path=None,
        *,
        blocks=None,
        season=None,
        units="metric",
        results_folder=None,
        draws=DEFAULT_DRAWS,
        seed=0,
    ):
        super().__init__(results_folder, draws, seed)
        self.found = self.report = None
        self._build(records_or_path, blocks, season, units)

    @parts.guarded
    def _build(self, given, blocks, season, units):
        self.records = given_records(given)
        self.season = next_season(self.records) if season is None else int(season)
        self.unit_choice = units_choice(units, "t, ha, m", "short ton, ac, ft", "17em")
        self.shown_units = unit_system(units)
        self.boxes = ScenarioBoxes(self.records, self.season, blocks)
        self.costs = CostBoxes(self.shown_units)
        self.compare_button = button("Compare scenarios", self.refresh)
        self.answer = parts.html()
        self.figure, self.table, self.reasons = parts.html(), parts.html(), parts.html()
        self.kept = parts.html()
        self.html_button = button("Make report as HTML", lambda: self._save("html"))
        self.pdf_button = button("Make report as PDF", lambda: self._save("pdf"))
        self.excel_button = button("Make tables as Excel", lambda: self._save("xlsx"))
        self.results.children = [
            self.answer,
            self.figure,
            self.table,
            self.reasons,
            parts.html(parts.head("Keep the result")),
            parts.row(self.html_button, self.pdf_button, self.excel_button),
            self.kept,
        ]
        self.children = [
            self.opening(),
            parts.row(self.unit_choice, self.boxes.count),
            self.boxes,
            self.costs,
            self.compare_button,
            self.message,
            self.results,
        ]
        self.unit_choice.observe(self._other_units, "value")
        self.refresh()

    def _other_units(self, change):
        self.shown_units = unit_system(change["new"])
        self.costs.use_units(self.shown_units)
        if self.found is not None:
            self._show()

    def forget(self):
        """Drop a comparison and a report that no longer belong to the boxes."""
        self.found = self.report = None

    @parts.guarded
    def refresh(self):
        """Compare the scenarios as the boxes stand, and show the result."""
        self.found = compare_scenarios(
            self.records,
            self.boxes.scenarios(),
            self.season,
            costs=self.costs.terms(),
            draws=self.draws,
            seed=self.seed,
        )
        self.kept.value = ""
        self._show()
        self.succeed()

    def _show(self):
        found, units = self.found, self.shown_units
        self.report = report(self.records, found, units)
        sentences = "".join(f"<p>{parts.escape(text)}</p>" for text in self.report.sentences())
        self.answer.value = (
            parts.head(f"Season {found.season}, in short")
            + f'<div class="cl-level">{sentences}</div>'
        )
        # Little wider than it was drawn, so that its letters are as large as those of the page.
        drawn = report_figures.first_figure(found, units)
        self.figure.value = parts.image(*drawn, most=1.3 * report_figures.WIDTH)
        tables = {table.key: table for table in self.report.tables()}
        keys = ("totals", "money", "crop")
        self.table.value = "".join(tables[key].html(units) for key in keys if key in tables)
        notes = [*risks(found, units), *found.notes, found.money_missing, *frost_notes(found)]
        self.reasons.value = parts.head("Risks and notes") + parts.points(filter(None, notes))

    def _save(self, kind):
        """Write the report as a new file, and say where it is beside the buttons."""

        def action():
            if self.report is None:
                raise CroploadError("There is nothing to keep. Compare the scenarios first.")
            path = saving.new_file(self.folder(), f"owner_report_{self.found.season}", f".{kind}")
            save_report(self.report, **{kind: path})
            return f"the report is in {path}."

        parts.tell(self.kept, action)
