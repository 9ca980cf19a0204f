"""Two rules of the trade on the pruning page: buds by the prunings, and winter bud damage."""

from cropload import handbook
from cropload.errors import CroploadError
from cropload.pruning.rules import (
    damage_sentences,
    lookup_table,
    prunings_sentence,
    rules_table,
)
from cropload.records.writing.results import frame_result
from cropload.show.hand_out import HandOut
from cropload.show.page_part import PagePart
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import choice, field
from cropload.vine.balanced_pruning import balanced_table, parse_formula, usual_formula
from cropload.vine.bud_damage import step_rule_buds, wilson_interval

OWN_FORMULA = "your own formula"


class BalancedPart(PagePart):
    """Balanced pruning: the prunings of this vine, and the buds to leave on it."""

    def __init__(self, page):
        self._units, self._quiet, self.lookup = page.desk.units, False, None
        self._of = None
        super().__init__(page)

    def build(self):
        """Make the boxes."""
        options = [(handbook.entry(k).extra["label"], k) for k in handbook.keys("balanced.")]
        self.formula = choice("Formula", [*options, (OWN_FORMULA, OWN_FORMULA)], width="24em")
        self.own = field("Own formula", "30+10 (per lb), or 33+11 per 500 g", "26em")
        self.own.layout.display = "none"
        self.weight = parts.number_box("Prunings of this vine [kg]", 0.0)
        self.csv_button = HandOut("save the table", self._export, self._tell)
        self.answer = parts.html()
        for each in (self.formula, self.own, self.weight):
            each.observe(self._changed, "value")
        self.body.children = (
            parts.html(
                parts.head("Buds by the prunings of a vine")
                + parts.note(
                    "Weigh the prunings of a vine before its last cuts and read off the buds "
                    "to leave. A formula belongs to the vines it was made for."
                )
            ),
            parts.row(self.formula, self.own, self.weight),
            self.answer,
            self.csv_button,
        )

    def _tell(self, text):
        self.message.value = parts.error(text) if text else ""

    def clear(self):
        """Take an older answer away."""
        self.lookup = None
        if self.built:
            self.answer.value = ""

    def show(self):
        """Start from the formula of the variety and the block's latest mean pruning weight."""
        if self._of == (self.desk.block, self.desk.season):
            if self.desk.units is not self._units:
                metric = self._units.to_metric("pruning_weight_kg", self.weight.value)
                self._set_units(metric)
            return
        self._of = (self.desk.block, self.desk.season)
        self._quiet = True
        self.formula.value = usual_formula(str(self.desk.facts["variety"]))
        self._quiet = False
        pruning = self.desk.records.pruning
        here = pruning[
            (pruning["block"] == self.desk.block) & (pruning["season"] <= self.desk.season)
        ]
        here = here[here["pruning_weight_kg"].notna()].sort_values("season")
        metric = float(here["pruning_weight_kg"].iloc[-1]) if len(here) else 0.5
        self._set_units(metric)

    def _set_units(self, metric):
        self._units = self.desk.units
        self._quiet = True
        label = self._units.label("pruning_weight_kg")
        self.weight.description = f"Prunings of this vine [{label}]"
        self.weight.value = round(self._units.convert("pruning_weight_kg", metric), 2)
        self._quiet = False
        self._changed()

    @parts.guarded
    def _changed(self, _=None):
        if self._quiet:
            return
        own = self.formula.value == OWN_FORMULA
        self.own.layout.display = None if own else "none"
        if own and not self.own.value.strip():
            raise CroploadError("Write your own formula, like 30+10 or 33+11 per 500 g.")
        formula = parse_formula(self.own.value if own else self.formula.value)
        units = self._units
        weight_kg = units.to_metric("pruning_weight_kg", self.weight.value)
        spacing = float(self.desk.facts["vine_spacing_m"])
        self.lookup = balanced_table(formula, units, vine_spacing_m=spacing)
        text = parts.note(prunings_sentence(weight_kg, formula, units, self.lookup.cap_buds))
        text += lookup_table(self.lookup).html(units)
        text += "".join(map(parts.note, self.lookup.notes))
        if not own:
            text += parts.source(self.formula.value, "Where does this formula come from")
        text += parts.source("band.buds_per_m.ohio", "Where does the cap come from")
        self.message.value, self.answer.value = "", text

    def _export(self):
        if self.lookup is None:
            raise CroploadError("There is no table to save; see the message above.")
        stem = saving.file_stem("lookup", self.desk.block, self.desk.season)
        return f"{stem}.csv", frame_result(f"{stem}.csv", self.lookup.frame).data


class DamagePart(PagePart):
    """Winter bud damage: how sure the sample is, and the buds to leave for the dead ones."""

    needs = ("block", "comparison")

    def __init__(self, page):
        self._quiet, self._of = False, None
        super().__init__(page)

    def build(self):
        """Make the boxes."""
        self.target = parts.number_box("Live buds wanted on a vine", 30, 1)
        self.sampled = parts.number_box("Buds cut open", 100, 1)
        self.dead = parts.number_box("Of them dead", 0, 1)
        self.answer = parts.html()
        for each in (self.target, self.sampled, self.dead):
            each.observe(self._changed, "value")
        self.body.children = (
            parts.html(
                parts.head("Winter bud damage")
                + parts.note(
                    "Cut buds open before pruning, a few on each of many vines. Dead canes and "
                    "trunks are not in this arithmetic."
                )
            ),
            parts.row(self.target, self.sampled, self.dead),
            self.answer,
        )

    def clear(self):
        """Take an older answer away."""
        if self.built:
            self.answer.value = ""

    def show(self):
        """Start from the buds of the first level."""
        if self._of == self.desk.block:
            return
        self._of = self.desk.block
        if self.page.plans:
            self._quiet = True
            self.target.value = self.page.plans[0].buds
            self._quiet = False
        self._changed()

    @parts.guarded
    def _changed(self, _=None):
        if self._quiet:
            return
        dead, sampled, target = self.dead.value, self.sampled.value, self.target.value
        for name, value in (("Buds cut open", sampled), ("Dead buds", dead)):
            if value != int(value):
                raise CroploadError(f"{name} must be a whole number, not {value:g}.")
        wilson_interval(dead, sampled)  # says what is wrong with a count before anything is divided
        rules = step_rule_buds(target, dead / sampled)
        text = "".join(parts.note(line) for line in damage_sentences(dead, sampled, target))
        text += rules_table(rules).html()
        for rule in rules.to_dict("records"):
            if rule["key"]:
                text += parts.source(rule["key"], f"Where does this rule come from: {rule['rule']}")
        self.message.value, self.answer.value = "", text
