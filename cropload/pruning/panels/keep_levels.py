"""Keep a level: as a scenario, as the plan on record, on a card for the crew, or in a file."""

from dataclasses import replace

from cropload import clock
from cropload.pruning.cards import crew_cards, of_plan
from cropload.pruning.panels import results
from cropload.records.scenarios import kept_scenarios
from cropload.records.writing.results import frame_result
from cropload.records.writing.scenarios import keep_scenario
from cropload.show.hand_out import HandOut
from cropload.show.languages import LANGUAGES
from cropload.show.page_part import PagePart
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice, day_field, field
from cropload.show.result_units import in_units
from cropload.vine.plan import PruningPlan


class KeepLevels(PagePart):
    """Keep a level, bring a kept one back, and hand the levels out.

    Parameters
    ----------
    page : PruningLevels
        The page it stands on.
    """

    needs = ("block", "season", "units", "comparison")

    def build(self):
        """Make the boxes and buttons."""
        self.level = choice("Level", [], width="24em")
        self.name = field("Name", "like longer canes", "20em")
        self.keep = button("keep as a scenario", self._keep, "auto")
        self.kept = choice("Kept", [], width="22em")
        self.back = button("bring back as a level", self._bring, "auto")
        self.day = day_field("Day of pruning", clock.today())
        self.save = button("save as the plan", self._save, "auto")
        self.language = choice("Language", [(name, key) for key, name in LANGUAGES.items()])
        self.cards = [
            HandOut(f"card, {words}", lambda size=size: self._card(size), self._tell, opens=True)
            for size, words in (("A4", "a page"), ("A6", "pocket"))
        ]
        self.files = [
            HandOut(f"levels as {words}", lambda end=end: self._file(end), self._tell)
            for end, words in ((".csv", "CSV"), (".xlsx", "Excel"))
        ]
        self.said = parts.html()
        self.body.children = (
            parts.row(self.level, self.name, self.keep),
            parts.row(self.kept, self.back),
            parts.row(self.day, self.save),
            parts.row(self.language, *self.cards),
            parts.row(*self.files),
            self.said,
        )

    def show(self):
        """Offer the levels and what was kept; the level chosen before stays chosen."""
        page, desk = self.page, self.desk
        before = self.level.index or 0
        self.level.options = [
            (f"{results.level_title(place, name)}: {plan}", place - 1)
            for place, (plan, name) in enumerate(zip(page.plans, page.names, strict=True), start=1)
        ]
        if page.plans:
            self.level.index = min(before, len(page.plans) - 1)
        held = kept_scenarios(desk.records, desk.season)
        here = {n: plans[desk.block] for n, plans in held.items() if desk.block in plans}
        options = [(f"{name}: {plan}", (name, str(plan))) for name, plan in here.items()]
        parts.choose_from(self.kept, options)
        self.kept.layout.display = self.back.layout.display = None if here else "none"
        there = saving.plan_on_record(desk.records, desk.season, desk.block)
        self.said.value = "" if there is None else parts.note(f"On record: plan {there.words()}.")

    @property
    def plan(self):
        """The plan of the chosen level."""
        self.desk.settle()
        return self.page.plans[self.level.value]

    def _tell(self, text):
        self.said.value = parts.error(text) if text else ""

    def _keep(self):
        def action():
            desk = self.desk
            name = self.name.value.strip() or self.page.names[self.level.value] or str(self.plan)
            said = keep_scenario(desk.records, name, {desk.block: self.plan}, desk.season)
            desk.read_again()
            return said

        parts.tell(self.said, action)

    @parts.guarded
    def _bring(self):
        name, plan = self.kept.value
        self.page.add_level(PruningPlan.parse(plan), name)

    def _save(self):
        def action():
            desk = self.desk
            said = saving.save_chosen_plan(
                desk.records, desk.season, desk.block, self.plan, self.day.value
            )
            desk.read_again()
            return said

        parts.tell(self.said, action)

    def _card(self, size):
        desk = self.desk
        item = of_plan(desk.records, desk.block, self.plan, desk.season)
        item = replace(item, invented=desk.invented)
        page = crew_cards([item], language=self.language.value, size=size, units=desk.units)
        return f"{saving.file_stem('card', desk.block, desk.season)}.html", page.encode("utf-8")

    def export_frame(self):
        """Return the comparison as it is exported: with level, block, season and range [metric]."""
        page, desk = self.page, self.desk
        frame = page.comparison.frame.copy()
        frame.insert(0, "level", range(1, len(frame) + 1))
        frame.insert(0, "season", desk.season)
        frame.insert(0, "block", desk.block)
        frame["interval"] = page.comparison.interval
        return frame

    def _file(self, ending):
        stem = saving.file_stem("levels", self.desk.block, self.desk.season)
        frame = in_units(self.export_frame(), self.desk.units)
        return f"{stem}{ending}", frame_result(f"{stem}{ending}", frame).data
