"""The reverse question on the pruning page: a target crop, and the plans that come nearest."""

import ipywidgets as widgets

from cropload.beliefs.meant import load_first
from cropload.errors import CroploadError
from cropload.pruning import words
from cropload.pruning.find_plan import find_plans
from cropload.pruning.plan_layouts import usual_layout
from cropload.show import wording
from cropload.show.desk import Fold
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.fields import button, choice, field, number_in
from cropload.vine.plan import PruningPlan
from cropload.vine.training import longest_cane


class FindPlan(PagePart):
    """Ask for a crop per area and get the layouts ranked by their chance of landing on it.

    Parameters
    ----------
    page : PruningLevels
        The page it stands on.
    """

    needs = ("block", "season", "units", "comparison")

    def __init__(self, page):
        self.found, self._units, self._of = None, page.desk.units, None
        super().__init__(page)

    def build(self):
        """Make the boxes."""
        self.target = parts.number_box("Target crop [ton/ac]")
        spans = (
            ("canes", "Canes", 0, 4),
            ("buds_per_cane", "Buds per cane", 6, 14),
            ("spurs", "Spurs", 0, 8),
        )
        self.spans = {
            key: (
                parts.number_box(f"{label}, least", low, 1),
                parts.number_box(f"{label}, most", high, 1),
            )
            for key, label, low, high in spans
        }
        self.in_density = self._check("Keep shoot density inside its band", True)
        self.in_balance = self._check("Keep yield to pruning weight inside its band", True)
        self.renewal = self._check("A renewal spur for each cane", True)
        self.settled = self._check("Judge the settled crop (third season on)", False)
        self.good_canes = field("Good canes a vine offers (blank: as counted)", width="29em")
        self.dead = parts.number_box("Buds killed by winter [%]")
        self.button = button("Find plans", self._find, "12em")
        for box in (self.target, self.dead, self.good_canes):
            box.observe(lambda _: self._clear(), "value")
        self.pick = choice("Plan", [], width="20em")
        self.use = button("Use as a level", self._use, "12em")
        self.use.disabled = True
        self.answer = parts.html()
        boxes = [box for pair in self.spans.values() for box in pair]
        for box in [*boxes, self.in_density, self.in_balance, self.renewal, self.settled]:
            box.observe(lambda _: self._clear(), "value")
        self.body.children = (
            parts.row(self.target, self.settled, self.button),
            Fold(
                "limits",
                lambda: [
                    parts.row(*boxes),
                    parts.row(self.in_density, self.in_balance, self.renewal),
                    parts.row(self.dead, self.good_canes),
                ],
            ),
            self.answer,
            parts.row(self.pick, self.use),
        )

    @staticmethod
    def _check(label, value):
        return widgets.Checkbox(
            value, description=label, indent=False, layout=widgets.Layout(width="26em")
        )

    def clear(self):
        """Take an older answer away."""
        if self.built:
            self._clear()

    def _clear(self):
        self.found = None
        self.message.value = self.answer.value = ""
        self.pick.layout.display = self.use.layout.display = "none"
        parts.choose_from(self.pick, [])
        self.use.disabled = True

    def show(self):
        """Start from the block's own way of pruning; in other units turn the target into them."""
        page, desk = self.page, self.desk
        if page.comparison is None:
            return
        if self._of == (desk.block, desk.season):
            if desk.units is not self._units:
                metric = self._units.to_metric("t_ha", self.target.value)
                self._units = desk.units
                self.target.description = f"Target crop [{desk.units.label('t_ha')}]"
                self.target.value = round(desk.units.convert("t_ha", metric), 1)
            return
        self._of = (desk.block, desk.season)
        self._clear()
        self._units = desk.units
        self.target.description = f"Target crop [{self._units.label('t_ha')}]"
        middle = float(self.page.comparison["t_ha_p50"].iloc[0])
        self.target.value = round(self._units.convert("t_ha", middle), 1)
        first = self.page.plans[0]
        canes = (max(1, first.canes - 1), first.canes + 1) if first.canes else (0, 0)
        spurs = (0, canes[1] + 1) if first.canes else (max(1, first.spurs // 2), 2 * first.spurs)
        facts = desk.facts
        longest = longest_cane(facts["vine_spacing_m"])
        lengths = usual_layout(first, longest=longest)["buds_per_cane"]
        for key, ends in (("canes", canes), ("buds_per_cane", lengths), ("spurs", spurs)):
            for box, value in zip(self.spans[key], ends, strict=True):
                box.value = value

    def _suitable(self):
        text = self.good_canes.value.strip()
        if not text:
            return "counts"
        if not text.isdecimal():
            raise CroploadError(
                f"Good canes a vine offers must be a whole number or blank, not '{text}'."
            )
        return int(text)

    @parts.guarded
    def _find(self):
        number_in(self.target, 0.1)
        number_in(self.dead, 0, 100)
        compared = self.page.comparison
        if compared is None:
            raise CroploadError("No level above is a plan; mend one first.")
        units = self.desk.units
        found = find_plans(
            self.desk.records,
            self.desk.block,
            target_t_ha=units.to_metric("t_ha", self.target.value),
            season=self.desk.season,
            shoots_per_m=compared.density if self.in_density.value else None,
            ravaz=compared.balance if self.in_balance.value else None,
            renewal_spur=self.renewal.value,
            suitable_canes=self._suitable(),
            dead_buds=self.dead.value / 100,
            settled=self.settled.value,
            draws=self.desk.draws,
            seed=self.desk.seed,
            reference_plan=self.page.reference_plan,
            buds_per_spur=_spur_length(self.page.plans),
            units=units,
            **{key: tuple(box.value for box in pair) for key, pair in self.spans.items()},
        )
        self._clear()
        self.found = found
        self.answer.value = found_html(found, units)
        offered = list(found["plan"]) if len(found) else [row["plan"] for row in found.nearest]
        if offered:
            parts.choose_from(self.pick, offered)
            self.use.disabled = False
            self.pick.layout.display = self.use.layout.display = None

    @parts.guarded
    def _use(self):
        self.page.add_level(PruningPlan.parse(self.pick.value), "for the target")
        self.message.value = parts.done(f"{self.pick.value} is the last level above.")


def _spur_length(plans):
    """Return the buds of a spur to search with [1]: those of the first level, else its own."""
    return plans[0].buds_per_spur if plans and plans[0].spurs else None


def found_html(found, units):
    """Return the answer of ``find_plans`` as HTML: what fits or is nearest, and what was dropped.

    Parameters
    ----------
    found : PlanSearch
        Of ``find_plans``, its words in the units to show.
    units : UnitSystem
        Units to show.
    """
    text = parts.note(found.message) + found.table(units).html(units)
    if len(found):
        best = wording.chance(found["chance_in_target"].max())
        text += parts.note(
            f"Even the best plan lands within the target in about {best} of seasons: the season "
            "itself moves the crop more than the shears do."
        )
    else:
        text += parts.note(
            "None of these keeps every limit: the second column says which it breaks and by how "
            "much. Widen that limit above, or take one as a level to see what it costs."
        )
    return text + parts.points([*words.dropped_sentences(found), *load_first(found.notes)[1]])
