"""The panel of the main job: set pruning levels for a block and see what each would give."""

from dataclasses import replace

import ipywidgets as widgets
import numpy as np

from cropload.beliefs.meant import check_block
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.pruning.charts import figure_text, plans_figure
from cropload.pruning.compare import compare_plans, estate_for
from cropload.pruning.panels import results
from cropload.pruning.panels.choices import Choices
from cropload.pruning.panels.keep_levels import KeepLevels
from cropload.show.panels import parts
from cropload.show.panels.level_rows import LevelRows
from cropload.show.panels.opening import RecordsPanel, given_records
from cropload.vine import bands
from cropload.vine.training import first_levels, longest_cane


class PruningLevels(RecordsPanel):
    """Compare up to five pruning levels of a block, side by side.

    Parameters
    ----------
    records_or_path : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    block : str, optional
        Block to open with; the first one when not given.
    season : int, optional
        Year of the harvest the pruning is for; the coming one when not given.
    units : str
        ``"metric"`` or ``"us"``.
    results_folder : str or path, optional
        Where results go; ``results`` beside the records when not given.
    draws, seed : int
        As in ``compare_plans`` [1].

    Attributes
    ----------
    records : Records or None
        What was read; None when that was not possible, and the panel then says why.
    plans : list of PruningPlan
        The levels as last compared.
    comparison : Comparison or None
        ``compare_plans`` with one row a level; None when the levels are not possible.

    Notes
    -----
    Faults are shown as a message in the panel; nothing is raised after it is made.
    Valid as ``compare_plans``.
    """

    title = "Pruning levels"

    def __init__(
        self,
        records_or_path=None,
        *,
        block=None,
        season=None,
        units="metric",
        results_folder=None,
        draws=DEFAULT_DRAWS,
        seed=0,
    ):
        super().__init__(results_folder, draws, seed)
        self.comparison, self.plans = None, []
        self._build(records_or_path, block, season, units)

    @parts.guarded
    def _build(self, given, block, season, units):
        self.records = given_records(given)
        if block is not None:
            block = check_block(self.records, block)
        self.levels = LevelRows(self._refresh)
        self.choices = Choices(self.records, block, season, units, self._start_block, self._refresh)
        self.sentences, self.figure, self.table = parts.html(), parts.html(), parts.html()
        self.sketches, self.sources, self.notes = parts.html(), parts.html(), parts.html()
        self.keep = KeepLevels(self)
        self.results.children = [
            self.sentences,
            self.figure,
            self.table,
            self.sketches,
            self.keep,
            self.sources,
            self.notes,
        ]
        compare = widgets.VBox([self.levels, self.results])
        self.tabs = widgets.Tab(children=[compare, *self._further_tabs()])
        self.tabs.titles = (
            "Compare levels",
            "Find plans",
            "Buds by prunings",
            "Winter bud damage",
        )
        self.children = [
            self.opening(),
            self.choices,
            self.message,
            self.tabs,
            parts.html(results.cautions_html()),
        ]
        self._start_block()

    def _further_tabs(self):
        # Loaded here because each tab knows the panel it stands in.
        from cropload.pruning.panels.find_tab import FindTab
        from cropload.pruning.panels.rule_tabs import BalancedTab, DamageTab

        self.find, self.balanced, self.damage = FindTab(self), BalancedTab(self), DamageTab(self)
        return [self.find, self.balanced, self.damage]

    def forget(self):
        """Drop a comparison that no longer belongs to the levels."""
        self.comparison = None

    @property
    def block(self):
        """Name of the chosen block."""
        return self.choices.block.value

    @property
    def season(self):
        """Year of harvest chosen."""
        return self.choices.season.value

    @property
    def units(self):
        """Unit system chosen."""
        return self.choices.units

    def bands(self):
        """Return the bands chosen for shoots per metre [1/m] and yield to pruning weight."""
        return (
            bands.density_band(self.choices.density.given()),
            bands.ravaz_band(self.choices.balance.given()),
        )

    @parts.guarded
    def _start_block(self):
        """Open a block: last winter's plan as level 1, a lighter and a heavier one beside it."""
        estate = estate_for(self.records, self.block, self.season, self.choices.reference_plan)
        at = estate.facts.place(self.block)
        last = estate.last_plan[at] or None
        plans, names = first_levels(
            last,
            float(np.exp(estate.log_reference[at])),
            estate.facts.training[at],
            longest_cane(estate.facts.vine_spacing_m(at)),
        )
        if last is not None and self.choices.reference_plan:
            names[0] = "as carried so far"
        self._named = dict(zip(names, plans, strict=True))
        self.levels.set(plans, names)
        for each in (self.keep, self.find, self.balanced, self.damage):
            each.open_block()

    @parts.guarded
    def _refresh(self):
        """Compare the levels as they stand and show the result."""
        plans = self.levels.plans()
        density, balance = self.bands()
        found = compare_plans(
            self.records,
            self.block,
            plans,
            self.season,
            draws=self.draws,
            seed=self.seed,
            density_band=density,
            ravaz_band=balance,
            reference_plan=self.choices.reference_plan,
        )
        # Two levels may be the same plan; each still gets its row.
        place = {plan: at for at, plan in enumerate(found["plan"])}
        rows = found.frame.iloc[[place[str(plan)] for plan in plans]].reset_index(drop=True)
        self.comparison = replace(found, frame=rows)
        self.plans = plans
        self._show()
        self.succeed()

    def _show(self):
        # "As last winter" and its like hold only for the plan they were given to.
        for row, plan in zip(self.levels.rows, self.plans, strict=False):
            if row.name and self._named.get(row.name, plan) != plan:
                row.set_name("")
        names = [row.name for row in self.levels.rows[: self.levels.count]]
        shown = (
            self.comparison.frame,
            self.comparison.density,
            self.comparison.balance,
            self.units,
        )
        self.sentences.value = results.sentences_html(
            self.comparison, self.plans, names, self.units
        )
        self.table.value = results.table_html(self.comparison, names, self.units)
        self.sketches.value = results.sketches_html(
            self.comparison, self.plans, self.choices.canopies, self.units
        )
        variety = str(self.choices.facts["variety"])
        self.sources.value = results.sources_html(self.comparison, self.units, variety)
        self.notes.value = results.notes_html(self.comparison)
        self.keep.show(self.plans, names)
        for tab in (self.find, self.balanced, self.damage):
            tab.show_units()
        # Last, because drawing takes longer than all the rest and the words need not wait.
        self.figure.value = parts.head("Crop, shoot density and balance") + parts.picture(
            plans_figure(*shown), figure_text(*shown)
        )
