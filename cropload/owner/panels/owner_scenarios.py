"""The owner's page: what should be done, what it brings, what if it goes wrong; and the report."""

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.owner import words as owner_words
from cropload.owner.charts import beside_rows
from cropload.owner.costs import Costs
from cropload.owner.mix import Limits
from cropload.owner.panels.opening_scenarios import opening_scenarios
from cropload.owner.report import report
from cropload.owner.report_settings import read_settings, with_prices
from cropload.owner.scenarios import compare_scenarios
from cropload.owner.tables import beside_table, do_table
from cropload.show.desk import Fold, Said, folds
from cropload.show.hand_out import HandOut
from cropload.show.page import Page
from cropload.show.page_part import PagePart
from cropload.show.panels import parts

#: What the page says at once; the rest of the recommendation stands below, small.
SENTENCE = ("What to do", "What it brings", "If it goes wrong")
#: Blocks to change that the page lists at once; the report lists all of them.
SHOWN = 6


class OwnerScenarios(Page):
    """Compare two to five scenarios, a pruning plan for each chosen block, and make the report.

    Parameters
    ----------
    given : Records, str or path, optional
        Records, or the folder or workbook to read; the invented sample estate when not given.
    blocks : sequence of str, optional
        Blocks compared at first; all of them when not given.
    season, units, draws, seed
        As for ``PruningLevels``; draws and seed as in ``compare_scenarios`` [1].

    Attributes
    ----------
    scenarios : dict
        {scenario: {block: plan as text}}, the first one held against by all others.
    found : Scenarios or None
        As last compared; None when the scenarios are not possible, and the page then says why.

    Notes
    -----
    Faults are shown as a message in their place; nothing is raised after the page is made.
    Valid as ``compare_scenarios``.
    """

    question = "What should be done, what does it bring, what if it goes wrong?"
    choices = ("season", "units")

    def __init__(self, given=None, *, blocks=None, **more):
        self.first_blocks = blocks
        super().__init__(given, **more)

    def build(self):
        """Return the answer, a row a scenario, the report, and the folds."""
        self.found, self.scenarios, self.costs, self.frost = None, {}, Costs(), True
        self.limits, self.discount, self.prices = Limits(), 0.0, {}
        self.rows = ScenarioRows(self)
        self.sentence = Said(self.desk, self._sentence, ("found",))
        self.sentence.add_class("cl-answer-first")
        self.told = parts.html()
        report_row = parts.row(
            HandOut("open the report", lambda: self.report_file("html"), self._tell, opens=True),
            HandOut("report as PDF", lambda: self.report_file("pdf"), self._tell),
            HandOut("tables as Excel", lambda: self.report_file("xlsx"), self._tell),
        )
        return [self.sentence, self.rows, report_row, self.told, folds(*self._folds())]

    def _folds(self):
        said = self._said
        return [
            Fold("scenarios: blocks and plans", self._plans),
            Fold("costs and prices", self._costs),
            Fold("what you can bear", self._bearable),
            Fold("why: what it hangs on", self._why),
            Fold("report: settings, keep it", self._report),
            Fold("season by season", lambda: [said("beside", "money_change", "crop_change")]),
            Fold("block by block", lambda: [said("crop", "balance", "wood")]),
            Fold("risks", lambda: [Said(self.desk, self._risks, ("found",))]),
            Fold("spring frost", self._frost),
            Fold("where the numbers come from", lambda: [said("origins", "handbook")]),
            Fold("taking care", lambda: [parts.html(_care())]),
        ]

    # What lies in a fold is loaded when it is opened.
    def _plans(self):
        from cropload.owner.panels.scenario_boxes import ScenarioBoxes

        return [ScenarioBoxes(self)]

    def _costs(self):
        from cropload.owner.panels.report_boxes import PriceBoxes, keep_row, money_kept
        from cropload.owner.panels.scenario_boxes import CostBoxes

        keep = keep_row(self, "costs, prices and limits", lambda: money_kept(self))
        said = self._said("money", "contracts", "costs")
        return [CostBoxes(self), said, PriceBoxes(self), keep]

    def _report(self):
        from cropload.owner.panels.report_boxes import ReportBoxes

        return [ReportBoxes(self)]

    def _why(self):
        from cropload.owner.panels.why_part import WhyPart

        return [WhyPart(self)]

    def _frost(self):
        box = widgets.Checkbox(self.frost, description="Count past springs", indent=False)

        def changed(change):
            self.frost = change["new"]
            self.desk.follow("frost")

        box.observe(changed, "value")
        note = (
            "Counted where a block has weather and budburst dates. Whether longer wood or a late "
            "cut is worth its price against a high chance of loss is weighed on "
        )
        link = '<a href="frost_cover.ipynb">the frost page</a>'
        return [
            box,
            parts.html(f'<p class="cl-note">{parts.escape(note)}{link}.</p>'),
            self._said("frost"),
        ]

    def _bearable(self):
        from cropload.owner.panels.report_boxes import keep_row, money_kept
        from cropload.owner.panels.scenario_boxes import LimitBoxes

        keep = keep_row(self, "costs, prices and limits", lambda: money_kept(self))
        return [LimitBoxes(self), keep]

    def _said(self, *keys):
        """Return a part that shows tables of the comparison."""

        def say():
            if self.found is None:
                return ""
            tables = {table.key: table for table in self.found.tables(self.desk.units)}
            text = "".join(tables[key].html(self.desk.units) for key in keys if key in tables)
            missing = self.found.money_missing if "money" in keys else ""
            return (parts.note(missing) if missing else "") + text

        return Said(self.desk, say, ("found",))

    def _sentence(self):
        if self.found is None:
            return ""
        told = dict(owner_words.recommendation(self.found, self.desk.units))
        first = [told.pop(part) for part in SENTENCE if part in told]
        return (
            f'<p class="cl-matters" role="status">{parts.escape(" ".join(first))}</p>'
            + parts.note(" ".join(told[part] for part in ("Limits", "Counted") if part in told))
        )

    def _risks(self):
        found = self.found
        if found is None:
            return ""
        told = dict(owner_words.recommendation(found, self.desk.units))
        turns = [told["In the vines"]] if "In the vines" in told else []
        return parts.points([*turns, *owner_words.risks(found, self.desk.units), *found.notes])

    def set_scenarios(self, scenarios):
        """Take other scenarios, and compare them."""
        self.scenarios = scenarios
        self.desk.follow("scenarios")

    def take_settings(self):
        """Take the costs, prices and limits that are kept beside the records."""
        told = read_settings(self.desk.records.path)
        with_prices(self.desk.records, told.prices)
        self.costs, self.prices = told.costs_with(), dict(told.prices)
        self.limits, self.discount = told.limits_with()

    def compared(self):
        """Return the scenarios compared as they stand.

        Raises
        ------
        CroploadError
            As ``compare_scenarios``.
        """
        desk = self.desk
        return compare_scenarios(
            with_prices(desk.records, self.prices),
            self.scenarios,
            desk.season,
            costs=self.costs,
            draws=desk.draws,
            seed=desk.seed,
            frost=self.frost,
            limits=self.limits,
            discount=self.discount,
        )

    def _tell(self, text):
        self.told.value = parts.error(text) if text else ""

    def report_file(self, kind):
        """Return the name and the bytes of the report as ``html``, ``pdf`` or ``xlsx``.

        Raises
        ------
        CroploadError
            When the scenarios cannot be compared, or a PDF cannot be made here.
        """
        self.desk.settle()
        if self.found is None:
            raise CroploadError("There is nothing to report; see the message above.")
        records = with_prices(self.desk.records, self.prices)
        made = report(records, self.found, self.desk.units)
        data = {
            "html": lambda: made.html().encode("utf-8"),
            "pdf": made.pdf,
            "xlsx": made.workbook,
        }[kind]()
        return f"owner_report_{self.desk.season}.{kind}", data


class ScenarioRows(PagePart):
    """Which block to give which plan, and a picture of the scenarios beside the first one."""

    needs = ("season", "units", "scenarios", "costs", "prices", "limits", "frost")

    def __init__(self, page):
        self._of = None
        super().__init__(page)

    def build(self):
        """Make the places of table and picture."""
        self.table, self.picture = parts.html(), parts.html()
        self.body.children = (self.table, self.picture)

    def show(self):
        """Compare the scenarios as they stand."""
        page, desk = self.page, self.desk
        of = (id(desk.records), desk.season)
        if self._of != of:
            page.take_settings()
            page.scenarios = opening_scenarios(desk.records, desk.season, page.first_blocks)
            self._of = of
            desk.follow("opened")
        page.found = None
        try:
            page.found = found = page.compared()
        finally:
            desk.follow("found")
        table = do_table(found, SHOWN, short=True) or beside_table(found)
        self.table.value = table.html(desk.units)
        self.picture.value = parts.fitting_picture(beside_rows(found, desk.units))

    def clear(self):
        """Forget a comparison that no longer belongs."""
        self.page.found = None
        if self.built:
            self.table.value = self.picture.value = ""
            self.desk.follow("found")


def _care():
    from cropload.show import wording

    items = "".join(
        f"<p><strong>{parts.escape(word)}.</strong> {parts.escape(text)}</p>"
        for word, text in wording.CAUTIONS
    )
    more = (owner_words.MONEY_CAUTION, owner_words.FROST_CAUTION, wording.SUPPORT)
    told = items + "".join(f"<p>{parts.escape(text)}</p>" for text in more)
    return f'<div class="cl-care" role="note">{told}</div>'
