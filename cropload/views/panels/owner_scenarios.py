"""The panel of an owner's choice: scenarios over several blocks, side by side, and the report."""

from dataclasses import fields

import ipywidgets as widgets
import numpy as np

from cropload.decisions.compare import next_season
from cropload.decisions.money import Costs
from cropload.decisions.scenarios import FEWEST, MOST, compare_scenarios
from cropload.errors import CroploadError
from cropload.forecasting.history import estate_before_season
from cropload.units import unit_system
from cropload.views import report_figures
from cropload.views.panels import parts, saving
from cropload.views.panels.fields import button, choice, units_choice
from cropload.views.panels.level_rows import first_levels
from cropload.views.panels.opening import given_records, opening_html
from cropload.views.report import owner_report, save_report
from cropload.views.report_tables import COSTS, TEXTS, cell_text, money_step
from cropload.views.report_words import MONEY_CAUTION, risks
from cropload.vine.plan import PlanError, PruningPlan

#: Names of the scenarios a panel opens with, and the place of their plan in `first_levels`.
_NAMES = ("today", "longer", "shorter", "scenario 4", "scenario 5")
TITLE = "Pruning scenarios for the owner"
_LEVEL = {"today": "as last winter", "longer": "heavier", "shorter": "lighter"}


class OwnerScenarios(widgets.VBox):
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
    found : ScenarioComparison or None
        As last compared; None when the scenarios are not possible, and the panel then says why.

    Notes
    -----
    Faults are shown as a message in the panel; nothing is raised after it is made.
    Valid as ``compare_scenarios``.
    """

    def __init__(
        self,
        records_or_path=None,
        *,
        blocks=None,
        season=None,
        units="metric",
        results_folder=None,
        draws=4000,
        seed=0,
    ):
        self.draws, self.seed, self.given_folder = draws, seed, results_folder
        self.records = self.found = self.report = None
        self.message = parts.html()
        super().__init__([parts.html(parts.STYLE), self.message])
        self._build(records_or_path, blocks, season, units)

    @parts.guarded
    def _build(self, given, blocks, season, units):
        self.records = given_records(given)
        names = [str(name) for name in self.records.blocks["block"]]
        chosen = names[:3] if blocks is None else [str(block) for block in blocks]
        unknown = [block for block in chosen if block not in names]
        if unknown:
            raise CroploadError(
                f"There is no block '{unknown[0]}' in these records. The blocks are: "
                f"{', '.join(names)}."
            )
        self.season = next_season(self.records) if season is None else int(season)
        self.unit_choice = units_choice(units, "t, ha, m", "short ton, ac, ft", "17em")
        self.shown_units = unit_system(units)
        self.count = choice("Scenarios", range(FEWEST, MOST + 1), 3, "17em")
        self.blocks = {
            name: widgets.Checkbox(
                value=name in chosen,
                description=name,
                indent=False,
                layout=widgets.Layout(width="auto", margin="0 18px 0 2px"),
            )
            for name in names
        }
        self.names = [
            widgets.Text(
                name,
                description=f"Scenario {at} is called",
                continuous_update=False,
                style=parts.LABELLED,
                layout=widgets.Layout(width="22em"),
            )
            for at, name in enumerate(_NAMES, start=1)
        ]
        self.plans = {name: self._plan_boxes(name) for name in names}
        self.costs = {each.name: parts.number_box("", 0.0) for each in fields(Costs)}
        self.compare_button = button("Compare scenarios", self.refresh)
        self.plan_rows = widgets.VBox()
        self.answer = parts.html()
        self.figure, self.table, self.reasons = parts.html(), parts.html(), parts.html()
        self.kept = parts.html()
        self.html_button = button("Make report as HTML", lambda: self._save("html"))
        self.pdf_button = button("Make report as PDF", lambda: self._save("pdf"))
        self.excel_button = button("Make tables as Excel", lambda: self._save("xlsx"))
        self.results = widgets.VBox(
            [
                self.answer,
                self.figure,
                self.table,
                self.reasons,
                parts.html(parts.head("Keep the result")),
                parts.row(self.html_button, self.pdf_button, self.excel_button),
                self.kept,
            ]
        )
        self.children = [
            parts.html(parts.STYLE + opening_html(TITLE, self.records)),
            parts.row(self.unit_choice, self.count),
            parts.html(parts.head("Blocks")),
            parts.row(*self.blocks.values()),
            parts.html(
                parts.head("Plans")
                + parts.note(
                    "Scenario 1 is what the others are held against. Write canes x buds, then "
                    "spurs x buds, like 3x8+3x2, or 24x2 for spurs alone."
                )
            ),
            self.plan_rows,
            parts.html(
                parts.head("Costs")
                + parts.note(
                    "In the currency of your prices, which come from table prices. 0 is not "
                    f"counted. {MONEY_CAUTION}"
                )
            ),
            parts.row(*self.costs.values()),
            self.compare_button,
            self.message,
            self.results,
        ]
        self._label_costs()
        self._lay_out()
        for box in (*self.blocks.values(), self.count):
            box.observe(lambda _: self._lay_out(), "value")
        self.unit_choice.observe(self._other_units, "value")
        self.refresh()

    def _plan_boxes(self, block):
        """Return a box a scenario for one block, with the last plan, longer and shorter wood."""
        estate = estate_before_season(self.records, self.season)
        at = estate.facts.place(block)
        plans, words = first_levels(estate.last_plan[at], float(np.exp(estate.log_reference[at])))
        known = dict(zip(words, plans, strict=True))
        boxes = []
        for number, name in enumerate(_NAMES, start=1):
            plan = known.get(_LEVEL.get(name), plans[0])
            boxes.append(
                widgets.Text(
                    str(plan),
                    description=f"{block}, scenario {number}",
                    continuous_update=False,
                    style=parts.LABELLED,
                    layout=widgets.Layout(width=f"{13 + 0.5 * len(block):.1f}em"),
                )
            )
        return boxes

    def _lay_out(self):
        """Show the boxes of the chosen blocks and scenarios."""
        rows = [parts.row(*self.names[: self.count.value])]
        for block in self.chosen_blocks:
            rows.append(parts.row(*self.plans[block][: self.count.value]))
        self.plan_rows.children = rows

    def _label_costs(self):
        us = self.shown_units.name == "us"
        for name, box in self.costs.items():
            words, per, _ = COSTS[name]
            box.description = f"Cost of {words} [per {per[us]}]"
            box.layout.width = f"{8 + 0.52 * len(box.description):.1f}em"

    def _other_units(self, change):
        """Show costs per the other unit, the same money."""
        new = unit_system(change["new"])
        for name, box in self.costs.items():
            factor = COSTS[name][2]
            if factor != 1.0:
                box.value = round(box.value * (factor if new.name == "us" else 1 / factor), 6)
        self.shown_units = new
        self._label_costs()
        if self.found is not None:
            self._show()

    @property
    def chosen_blocks(self):
        """Names of the chosen blocks."""
        return [name for name, box in self.blocks.items() if box.value]

    def scenarios(self):
        """Return {scenario: {block: PruningPlan}} as the boxes say.

        Raises
        ------
        CroploadError
            With every box that is wrong.
        """
        faults, found = [], {}
        if not self.chosen_blocks:
            faults.append("No block is chosen. Tick one or more.")
        for at in range(self.count.value):
            name = self.names[at].value.strip()
            if not name:
                faults.append(f"Scenario {at + 1} has no name. Give it one.")
            elif name in found:
                faults.append(f"Two scenarios are called '{name}'. Give each its own name.")
            found[name] = {}
            for block in self.chosen_blocks:
                box = self.plans[block][at]
                try:
                    found[name][block] = PruningPlan.parse(box.value)
                except PlanError as fault:
                    faults.append(f"{box.description}: {fault}")
        if faults:
            raise CroploadError("\n".join(faults))
        return found

    def cost_terms(self):
        """Return the Costs of the boxes, metric."""
        us = self.shown_units.name == "us"
        return Costs(
            **{
                name: box.value / COSTS[name][2] if us else box.value
                for name, box in self.costs.items()
            }
        )

    def fail(self, text):
        """Show what is wrong; results that no longer belong to the boxes are hidden."""
        self.message.value = parts.error(text)
        self.found = self.report = None
        if hasattr(self, "results"):
            self.results.layout.display = "none"

    @parts.guarded
    def refresh(self):
        """Compare the scenarios as the boxes stand, and show the result."""
        self.found = compare_scenarios(
            self.records,
            self.scenarios(),
            self.season,
            costs=self.cost_terms(),
            draws=self.draws,
            seed=self.seed,
        )
        self.kept.value = ""
        self._show()
        self.message.value = ""
        self.results.layout.display = None

    def _show(self):
        found, units = self.found, self.shown_units
        self.report = owner_report(self.records, found, units)
        sentences = "".join(f"<p>{parts.escape(text)}</p>" for text in self.report.sentences())
        self.answer.value = (
            parts.head(f"Season {found.season}, in short")
            + f'<div class="cl-level">{sentences}</div>'
        )
        self.figure.value = parts.image(*report_figures.first_figure(found, units))
        tables = self.report.tables()
        self.table.value = "".join(
            self._table(tables[key]) for key in ("totals", "money", "crop") if key in tables
        )
        told = [*risks(found, units), *found.notes]
        if found.money_missing:
            told.append(found.money_missing)
        told += [
            f"No frost figures for {block}: {why}" for block, why in found.frost_missing.items()
        ]
        self.reasons.value = parts.head("Risks and notes") + parts.points(told)

    def _table(self, table):
        step = 0
        if self.found.money_settled is not None:
            step = money_step((self.found.money_first, self.found.money_settled))
        rows = [
            [cell_text(c, value, step) for c, value in zip(table.columns, row, strict=True)]
            for row in table.rows
        ]
        words = [at for at, column in enumerate(table.columns) if column.kind in TEXTS]
        return parts.table([c.head for c in table.columns], rows, table.caption, words)

    def folder(self):
        """Return the folder that files go to."""
        return saving.results_folder(self.records, self.given_folder)

    def _save(self, kind):
        """Write the report as a new file, and say where it is beside the buttons."""

        def action():
            if self.report is None:
                raise CroploadError("There is nothing to keep. Compare the scenarios first.")
            path = saving.new_file(self.folder(), f"owner_report_{self.found.season}", f".{kind}")
            save_report(self.report, **{kind: path})
            return f"the report is in {path}."

        parts.tell(self.kept, action)
