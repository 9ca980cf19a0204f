"""The pruning page: set levels for a block, each with what it would give in its own row."""

from dataclasses import replace

from cropload.beliefs.meant import load_first, next_season
from cropload.errors import CroploadError
from cropload.pruning import words as level_words
from cropload.pruning.compare import cane_notes, compare_plans, estate_for, levels_of
from cropload.pruning.panels import results
from cropload.pruning.panels.choices import Bands, season_meant
from cropload.pruning.panels.row_html import head_html, row_html
from cropload.pruning.row_pictures import axes
from cropload.show import wording
from cropload.show.desk import Fold, Part, Said, folds
from cropload.show.level_table import MOST_LEVELS, Levels, LevelTable, level_of, plan_of
from cropload.show.page import Page
from cropload.show.panels import parts
from cropload.show.panels.fields import asked_plan, button, carried_plan
from cropload.vine.plan import PlanError
from cropload.vine.training import first_levels, longest_cane


class PruningLevels(Page):
    """Compare up to five pruning levels of a block, side by side.

    Parameters
    ----------
    given : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    block, season, units : optional
        What it opens with; the first block, the coming season, and the units of the records.
    results_folder : str or path, optional
        Where results go; ``results`` beside the records when not given.
    draws, seed : int
        As in ``compare_plans`` [1].

    Attributes
    ----------
    plans, names : list of PruningPlan, list of str
        The levels that are plans, as last compared.
    comparison : Comparison or None
        ``compare_plans`` with one row a level; None when no level is possible.

    Notes
    -----
    Faults are shown as a message in their place; nothing is raised after the page is made.
    Valid as ``compare_plans``.
    """

    question = "How many buds should a vine keep?"

    def build(self):
        """Return the levels with their answers, one sentence, and the folds."""
        self.comparison, self.plans, self.names = None, [], []
        self.bands = Bands(self.desk)
        self.levels = LevelsPart(self)
        self.sentence = Said(self.desk, self._sentence, ("comparison",))
        self.sentence.add_class("cl-answer-first")
        return [self.levels, self.sentence, folds(*self._folds())]

    def _folds(self):
        said = self._said
        return [
            Fold("the vines drawn", self._drawn),
            Fold("which plan gives a target", self._find),
            Fold("spring frost", self._frost),
            Fold("next winter's wood", lambda: [said(results.wood_html)]),
            Fold("weighed prunings, winter damage", self._rules),
            Fold("keep, save, hand out", self._keep),
            Fold("all figures", lambda: [self.bands, said(results.figures_html)]),
            Fold("where they come from", lambda: [said(results.sources_html)]),
            Fold("taking care", lambda: [parts.html(results.cautions_html())]),
        ]

    def _said(self, html):
        """Return a part that says something of the comparison."""

        def say():
            return html(self.comparison, self.names, self.desk.units) if self.comparison else ""

        return Said(self.desk, say, ("comparison",))

    # What lies in a fold is loaded when it is opened.
    def _drawn(self):
        from cropload.pruning.panels.vines_drawn import VinesDrawn

        return [VinesDrawn(self)]

    def _find(self):
        from cropload.pruning.panels.find_plan import FindPlan

        return [FindPlan(self)]

    def _frost(self):
        from cropload.pages.frost_fold import FrostFold

        return [FrostFold(self)]

    def _rules(self):
        from cropload.pruning.panels.rule_parts import BalancedPart, DamagePart

        return [BalancedPart(self), DamagePart(self)]

    def _keep(self):
        from cropload.pruning.panels.keep_levels import KeepLevels

        return [KeepLevels(self)]

    def _sentence(self):
        if self.comparison is None:
            return ""
        load, _ = load_first(self.comparison.notes)
        told = level_words.what_matters(self.comparison, self.plans, self.desk.units)
        return f'<p class="cl-matters" role="status">{parts.escape(told)}</p>' + "".join(
            map(parts.note, load)
        )

    @property
    def reference_plan(self):
        """The plan that a block without any on record has carried, as told; else None."""
        return self.levels.reference_plan

    def add_level(self, plan, name=""):
        """Add a level.

        Raises
        ------
        CroploadError
            When there are as many as fit.
        """
        self.levels.add(plan, name)

    def set_number(self, place, **numbers):
        """Set numbers of the level at a place among those that are plans."""
        self.levels.set_number(place, **numbers)


class LevelsPart(Part):
    """The rows of levels, with the steps back and forth of every block."""

    needs = ("block", "season", "units", "bands", "reference")
    #: Plans and names of the levels at first.
    first = staticmethod(first_levels)

    def __init__(self, page):
        self.page, self._kept, self._moved = page, {}, False
        super().__init__(page.desk)

    def build(self):
        """Make the table, and the buttons under it."""
        self.about, self.carried = parts.html(), carried_plan()
        self.carried.observe(lambda _: self.desk.follow("reference"), "value")
        self.table = LevelTable(self._changed)
        self.more = button("+ level", self._more, "auto")
        self.undo = button("undo", lambda: self._step("undo"), "auto")
        self.redo = button("redo", lambda: self._step("redo"), "auto")
        self.body.children = (
            self.about,
            self.carried,
            self.table,
            parts.row(self.more, self.undo, self.redo),
        )

    @property
    def levels(self):
        """The levels of the block chosen, with their steps."""
        key = (self.desk.block, self.reference_plan)
        if key not in self._kept:
            self._kept[key] = Levels(self._opening())
        return self._kept[key]

    @property
    def reference_plan(self):
        """The plan told for a block without any on record; None when it is blank."""
        return asked_plan(self.carried) if self.built else None

    def _opening(self):
        """Return the levels of a block at first: as carried, a lighter and a heavier one."""
        estate = self._estate()
        last = estate.last_plan[estate.facts.place(self.desk.block)] or None
        plans, names = levels_of(estate, self.desk.block, self.first)
        if last is not None and self.reference_plan:
            names[0] = "as carried so far"
        self._named = getattr(self, "_named", {})
        self._named[self.desk.block] = dict(zip(names, plans, strict=True))
        return [level_of(plan, name) for plan, name in zip(plans, names, strict=True)]

    def _estate(self):
        desk = self.desk
        return estate_for(desk.records, desk.block, desk.season, self.reference_plan)

    def _changed(self):
        """Take what the browser has set, and answer at once."""
        self.levels.put([dict(level) for level in self.table.levels])
        self._show()

    def _step(self, way):
        getattr(self.levels, way)()
        self._show()

    def set(self, levels):
        """Set all levels of the block."""
        self.levels.put(levels)
        self._show()

    def add(self, plan, name=""):
        """Add a level, as ``PruningLevels.add_level``."""
        if len(self.levels.now) == MOST_LEVELS:
            raise CroploadError(f"There are {MOST_LEVELS} levels already; remove one first.")
        self.set([*self.levels.now, level_of(plan, name)])

    def set_number(self, place, **numbers):
        """Set numbers of a level, as ``PruningLevels.set_number``."""
        levels = list(self.levels.now)
        at = [at for at, level in enumerate(levels) if _is_plan(level)][place]
        levels[at] = levels[at] | numbers
        self.set(levels)

    @parts.guarded
    def _more(self):
        """Add a level a step heavier than the heaviest; a lighter one where that cannot be."""
        heaviest = max(self.page.plans, key=lambda plan: plan.buds)
        estate = self._estate()
        at = estate.facts.place(self.desk.block)
        longest = longest_cane(estate.facts.vine_spacing_m(at))
        plans, _ = first_levels(heaviest, heaviest.buds, estate.facts.training[at], longest)
        self.add(plans[-1])

    def show(self):
        """Compare the levels that are plans; one that is none says so in its row alone."""
        page, desk, levels = self.page, self.desk, self.levels.now
        self._ask_load()
        plans, faults = {}, {}
        for place, level in enumerate(levels):
            try:
                plans[place] = plan_of(level)
            except PlanError as fault:
                faults[place] = str(fault)
        named = self._named.get(desk.block, {})
        levels = [
            level | {"name": ""}
            if place in plans and named.get(level["name"], plans[place]) != plans[place]
            else level
            for place, level in enumerate(levels)
        ]
        self.levels.now = levels
        page.plans = list(plans.values())
        page.names = [levels[place]["name"] for place in plans]
        page.comparison = None
        rows = [{"fault": faults.get(place, "")} for place in range(len(levels))]
        head = {}
        try:
            if plans:
                head, answers = self.answers(page.plans)
                for (place, plan), answer in zip(plans.items(), answers, strict=True):
                    rows[place] = {**answer, "plan": str(plan)}
        finally:
            self.table.show(levels, head, rows)
            self.more.disabled = len(levels) == MOST_LEVELS or not plans
            self.undo.disabled = not self.levels.can_undo
            self.redo.disabled = not self.levels.can_redo
            desk.follow("comparison")

    def answers(self, plans):
        """Return what stands above the answers, and the answers of each plan, as HTML."""
        desk = self.desk
        self.page.comparison = compared = self._compared(plans)
        drawn = axes(compared.frame, compared.density, compared.balance, desk.units)
        spacing = float(desk.facts["vine_spacing_m"])
        rows = zip(plans, wording.levels(compared.frame), strict=True)
        return head_html(drawn, compared), [
            {**row_html(row, drawn), "note": " ".join(cane_notes([plan], spacing))}
            for plan, row in rows
        ]

    def _compared(self, plans):
        page, desk = self.page, self.desk
        density, balance = page.bands.given()
        found = compare_plans(
            desk.records,
            desk.block,
            plans,
            desk.season,
            draws=desk.draws,
            seed=desk.seed,
            density_band=density,
            ravaz_band=balance,
            reference_plan=self.reference_plan,
        )
        # Two levels may be the same plan; each still gets its row.
        place = {plan: at for at, plan in enumerate(found["plan"])}
        frame = found.frame.iloc[[place[str(plan)] for plan in plans]].reset_index(drop=True)
        return replace(found, frame=frame)

    def _ask_load(self):
        """Say what the block is, and ask for the plan it carries when none is on record."""
        desk = self.desk
        estate = estate_for(desk.records, desk.block, desk.season)
        at = estate.facts.place(desk.block)
        self.carried.layout.display = "none" if estate.load_known[at] else None
        last = str(estate.divided.get(at) or estate.last_plan[at] or "")
        told = [
            str(desk.facts["variety"]),
            estate.facts.training[at],
            f"vines {wording.amount('length_m', desk.facts['vine_spacing_m'], desk.units)}",
            f"rows {wording.amount('length_m', desk.facts['row_spacing_m'], desk.units)}",
            last and f"carries {last}",
        ]
        about = parts.note(", ".join(part for part in told if part) + ".")
        if desk.season != next_season(desk.records):
            about += parts.note(season_meant(desk.records, desk.block, desk.season))
        self.about.value = about

    def clear(self):
        """Forget a comparison that no longer belongs."""
        self.page.comparison = None
        if self.built:
            self.desk.follow("comparison")


def _is_plan(level):
    try:
        plan_of(level)
    except PlanError:
        return False
    return True
