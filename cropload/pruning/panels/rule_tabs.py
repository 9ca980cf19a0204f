"""Two rules of the trade in the panel: buds by the prunings of a vine, and winter bud damage."""

import ipywidgets as widgets

from cropload import handbook
from cropload.errors import CroploadError
from cropload.pruning.rules import (
    damage_sentences,
    lookup_table,
    prunings_sentence,
    rules_table,
)
from cropload.show.panels import parts, saving
from cropload.show.panels.fields import button, choice, field
from cropload.vine.balanced_pruning import balanced_table, parse_formula, usual_formula
from cropload.vine.bud_damage import step_rule_buds, wilson_interval

OWN_FORMULA = "your own formula"


class BalancedTab(widgets.VBox):
    """Balanced pruning: the prunings of this vine, and the buds to leave on it."""

    def __init__(self, panel):
        self.panel, self._units, self._quiet, self.lookup = panel, panel.units, False, None
        options = [(handbook.entry(k).extra["label"], k) for k in handbook.keys("balanced.")]
        self.formula = choice("Formula", [*options, (OWN_FORMULA, OWN_FORMULA)], width="24em")
        self.own = field("Own formula", "30+10 (per lb), or 33+11 per 500 g", "26em")
        self.own.layout.display = "none"
        self.weight = parts.number_box("Prunings of this vine [kg]", 0.0)
        self.csv_button = button("Export lookup as CSV", self._export, "15em")
        self.message, self.answer, self.kept = parts.html(), parts.html(), parts.html()
        for each in (self.formula, self.own, self.weight):
            each.observe(self._changed, "value")
        super().__init__(
            [
                parts.html(
                    parts.note(
                        "Weigh the prunings of a vine before its last cuts and read off the buds "
                        "to leave. A formula belongs to the vines it was made for."
                    )
                ),
                parts.row(self.formula, self.own, self.weight),
                self.message,
                self.answer,
                self.csv_button,
                self.kept,
            ]
        )

    def fail(self, text):
        """Show what is wrong; an older answer is taken away."""
        self.lookup, self.answer.value = None, ""
        self.message.value = parts.error(text)

    @parts.guarded
    def open_block(self):
        """Start from the formula of the block's variety and its latest mean pruning weight."""
        self._quiet = True
        self.formula.value = usual_formula(str(self.panel.choices.facts["variety"]))
        self._quiet = False
        pruning = self.panel.records.pruning
        here = pruning[
            (pruning["block"] == self.panel.block) & (pruning["season"] <= self.panel.season)
        ]
        here = here[here["pruning_weight_kg"].notna()].sort_values("season")
        metric = float(here["pruning_weight_kg"].iloc[-1]) if len(here) else 0.5
        self._set_units(metric)

    def _set_units(self, metric):
        self._units = self.panel.units
        self._quiet = True
        label = self._units.label("pruning_weight_kg")
        self.weight.description = f"Prunings of this vine [{label}]"
        self.weight.value = round(self._units.convert("pruning_weight_kg", metric), 2)
        self._quiet = False
        self._changed()

    def show_units(self):
        """Turn the weight and the lookup into the units now chosen."""
        if self.panel.units is not self._units:
            self._set_units(self._units.to_metric("pruning_weight_kg", self.weight.value))

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
        spacing = float(self.panel.choices.facts["vine_spacing_m"])
        self.lookup = balanced_table(formula, units, vine_spacing_m=spacing)
        text = parts.note(prunings_sentence(weight_kg, formula, units, self.lookup.cap_buds))
        text += lookup_table(self.lookup).html(units)
        text += "".join(map(parts.note, self.lookup.notes))
        if not own:
            text += parts.source(self.formula.value, "Where does this formula come from")
        text += parts.source("band.buds_per_m.ohio", "Where does the cap come from")
        self.message.value, self.answer.value = "", text

    def _export(self):
        def action():
            if self.lookup is None:
                raise CroploadError("There is no lookup to export; see the message above.")
            stem = saving.file_stem("lookup", self.panel.block, self.panel.season)
            path = saving.save_frame(self.lookup.frame, self.panel.folder(), stem, ".csv", "metric")
            return f"the lookup is in {path}."

        parts.tell(self.kept, action)


class DamageTab(widgets.VBox):
    """Winter bud damage: how sure the sample is, and the buds to leave for the dead ones."""

    def __init__(self, panel):
        self.panel, self._quiet = panel, False
        self.target = parts.number_box("Live buds wanted on a vine", 30, 1)
        self.sampled = parts.number_box("Buds cut open", 100, 1)
        self.dead = parts.number_box("Of them dead", 0, 1)
        self.message, self.answer = parts.html(), parts.html()
        for each in (self.target, self.sampled, self.dead):
            each.observe(self._changed, "value")
        super().__init__(
            [
                parts.html(
                    parts.note(
                        "Cut buds open before pruning, a few on each of many vines. Dead canes and "
                        "trunks are not in this arithmetic."
                    )
                ),
                parts.row(self.target, self.sampled, self.dead),
                self.message,
                self.answer,
            ]
        )

    def fail(self, text):
        """Show what is wrong; an older answer is taken away."""
        self.answer.value = ""
        self.message.value = parts.error(text)

    @parts.guarded
    def open_block(self):
        """Start from the buds of the first level."""
        if self.panel.plans:
            self._quiet = True
            self.target.value = self.panel.plans[0].buds
            self._quiet = False
        self._changed()

    def show_units(self):
        """Buds have no unit; nothing changes."""

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
