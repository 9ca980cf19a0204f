"""The boxes of an owner's scenarios: blocks, a plan for each in every scenario, and costs."""

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.owner.costs import COSTS, Costs, Span, read_amount, written
from cropload.owner.mix import Limits
from cropload.owner.panels.opening_scenarios import opening_scenarios
from cropload.owner.report_settings import limit_lines
from cropload.owner.scenarios import FEWEST, MOST
from cropload.records.tables import LAST
from cropload.show.options import number
from cropload.show.page_part import PagePart
from cropload.show.panels import parts
from cropload.show.panels.fields import button, choice, field
from cropload.vine.plan import PlanError, PruningPlan


class ScenarioBoxes(PagePart):
    """Choose blocks, write a pruning plan for each of them in every scenario, and keep one.

    Parameters
    ----------
    page : OwnerScenarios
        The page it stands on.
    """

    needs = ("opened",)

    def __init__(self, page):
        self._filling = False
        super().__init__(page)

    def build(self):
        """Make the boxes of every block and as many scenarios as can be compared."""
        self.count = choice("Scenarios", range(FEWEST, MOST + 1), width="17em")
        self.blocks = {
            name: widgets.Checkbox(
                description=name,
                indent=False,
                layout=widgets.Layout(width="auto", margin="0 18px 0 2px"),
            )
            for name in self.desk.blocks
        }
        self.names = [field(f"Scenario {at + 1} is called", width="22em") for at in range(MOST)]
        self.plans = {
            name: [
                field(f"{name}, scenario {at + 1}", width=f"{13 + 0.5 * len(name):.1f}em")
                for at in range(MOST)
            ]
            for name in self.desk.blocks
        }
        self.rows = widgets.VBox()
        self.kept_choice = choice("Scenario", [], width="20em")
        self.keep_button = button("keep this scenario", self._keep, "auto")
        self.kept = parts.html()
        self.body.children = (
            parts.row(*self.blocks.values()),
            parts.html(
                parts.note(
                    "Scenario 1 is what the others are held against. Write canes x buds, then "
                    "spurs x buds, like 3x8+3x2, or 24x2 for spurs alone; last is what is on "
                    "record. What is kept can be taken up on the pruning page and by the command "
                    "report."
                )
            ),
            self.count,
            self.rows,
            parts.row(self.kept_choice, self.keep_button),
            self.kept,
        )
        every = [box for boxes in self.plans.values() for box in boxes]
        for box in (self.count, *self.blocks.values(), *self.names, *every):
            box.observe(self._changed, "value")

    def show(self):
        """Fill the boxes with the scenarios of the page."""
        scenarios, records = self.page.scenarios, self.desk.records
        usual = opening_scenarios(records, self.desk.season)
        self._filling = True
        names = list(scenarios)
        self.count.value = max(len(names), FEWEST)
        for at, box in enumerate(self.names):
            box.value = names[at] if at < len(names) else f"scenario {at + 1}"
        first = scenarios[names[0]]
        for block, boxes in self.plans.items():
            self.blocks[block].value = block in first
            for at, box in enumerate(boxes):
                of = scenarios.get(names[at] if at < len(names) else "", {})
                box.value = of.get(block, next(iter(usual.values()))[block])
        self._filling = False
        self._lay_out()

    def _lay_out(self):
        """Show the boxes of the chosen blocks and scenarios."""
        shown = self.count.value
        rows = [parts.row(*self.names[:shown])]
        rows += [parts.row(*self.plans[block][:shown]) for block in self.chosen_blocks]
        self.rows.children = rows
        parts.choose_from(self.kept_choice, [box.value for box in self.names[:shown]])

    @property
    def chosen_blocks(self):
        """Names of the chosen blocks."""
        return [name for name, box in self.blocks.items() if box.value]

    @parts.guarded
    def _changed(self, _):
        if self._filling:
            return
        self._lay_out()
        self.page.set_scenarios(self.chosen())
        self.message.value = ""

    def chosen(self):
        """Return {scenario: {block: plan as text}} as the boxes say.

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
                    last = box.value.strip().casefold() == LAST
                    found[name][block] = LAST if last else str(PruningPlan.parse(box.value))
                except PlanError as fault:
                    faults.append(f"{box.description}: {fault}")
        if faults:
            raise CroploadError("\n".join(faults))
        return found

    def _keep(self):
        def action():
            from cropload.records.writing.scenarios import keep_scenario

            desk, name = self.desk, self.kept_choice.value
            if keep_scenario(desk.records, name, self.chosen()[name], desk.season) is None:
                return f"nothing to do, '{name}' is kept already."
            desk.read_again()
            return f"'{name}' is kept for season {desk.season}."

        parts.tell(self.kept, action)


class CostBoxes(PagePart):
    """Costs in the currency of the prices, as values or ranges, for all blocks or for some.

    Parameters
    ----------
    page : OwnerScenarios
        The page it stands on; its ``costs`` are what the boxes show.
    """

    needs = ("units",)

    def __init__(self, page):
        self._quiet = False
        super().__init__(page)

    def build(self):
        """Make a choice of whose costs are told, and a box a cost."""
        table = self.desk.records.blocks
        whose = [*dict.fromkeys(map(str, table["variety"])), *map(str, table["block"])]
        options = [("all blocks", ""), *dict.fromkeys((name, name) for name in whose)]
        self.whose = choice("Costs of", options)
        self.boxes = {name: field("") for name in COSTS}
        self.whose.observe(lambda _: self._show(), "value")
        for box in self.boxes.values():
            box.observe(self._changed, "value")
        self.body.children = (
            parts.html(
                parts.note(
                    "In the currency of your prices, which come from table contracts. A number, or "
                    "a range that holds it in 8 of 10 cases, like 90-140. Empty is not counted; "
                    "for a variety or a block it is as for all. Time counts by what an hour costs."
                )
            ),
            self.whose,
            parts.row(*self.boxes.values()),
        )

    def show(self):
        """Show the costs of whom is chosen, per the unit chosen."""
        us, costs, whose = self.desk.units.name == "us", self.page.costs, self.whose.value
        own = {name: amount for of, name, amount in costs.told() if of == whose}
        self._quiet = True
        for name, box in self.boxes.items():
            cost, factor = COSTS[name], self._factor(name)
            box.value = written(own[name], factor) if name in own else ""
            unit = f"per {cost.per[us]}" if cost.paid else cost.unit("", us)
            box.description = f"{cost.words[0].upper()}{cost.words[1:]} [{unit}]"
            box.layout.width = f"{9 + 0.52 * len(box.description):.1f}em"
        self._quiet = False

    def _factor(self, name):
        return COSTS[name].factor if self.desk.units.name == "us" else 1.0

    @parts.guarded
    def _changed(self, _):
        if self._quiet:
            return
        own, faults = {}, []
        for name, box in self.boxes.items():
            if not box.value.strip():
                continue
            try:
                value, factor = read_amount(box.value, number), 1 / self._factor(name)
            except CroploadError as fault:
                faults.append(f"{box.description}: {fault}.")
                continue
            own[name] = value.times(factor) if isinstance(value, Span) else value * factor
        if faults:
            raise CroploadError("\n".join(faults))
        whose, of = self.whose.value, dict(self.page.costs.of)
        if whose:
            of = {**of, whose: own} if own else {k: v for k, v in of.items() if k != whose}
            base = {name: amount for told, name, amount in self.page.costs.told() if not told}
        else:
            base = own
        self.page.costs = Costs(**base, of=of)
        self.message.value = ""
        self.desk.follow("costs")


class LimitBoxes(PagePart):
    """What the owner bears, and by how much later seasons count less.

    Parameters
    ----------
    page : OwnerScenarios
        The page it stands on.
    """

    needs = ("units",)

    def build(self):
        """Make a box a limit; an empty one sets none."""
        self.boxes = {
            "worst_year": field("Least left in the worst year in ten", width="27em"),
            "hours": field("Pruning hours there are", width="21em"),
            "ceilings": field("Most a block or variety may bear", width="30em"),
            "area_out": field("Area that may leave its bands [%]", width="22em"),
            "discount": field("Each later season counts less by [%]", width="22em"),
        }
        for name, value in limit_lines(self.page.limits, self.page.discount).items():
            shown = f"{value:g}" if name in self.boxes and name != "ceilings" else ""
            if name == "ceilings":
                units = self.desk.units
                each = ((block, units.convert("t_ha", most)) for block, most in value.items())
                shown = ", ".join(f"{block}={most:g}" for block, most in each)
            self.boxes[name].value = shown
        for box in self.boxes.values():
            box.observe(self._changed, "value")
        self.note = parts.html()
        self.body.children = (parts.row(*self.boxes.values()), self.note)

    def show(self):
        """Say in what unit a ceiling is."""
        unit = self.desk.units.label("t_ha")
        self.note.value = parts.note(
            f"Empty is no limit. Write ceilings like Riesling=9, Long Acre=8 [{unit}]; they hold "
            "for the mean of the years once settled. The worst year in ten is the mean of the "
            "worst tenth, in the currency of your prices."
        )

    @parts.guarded
    def _changed(self, _):
        found = {}
        for name, box in self.boxes.items():
            text = box.value.strip()
            if not text:
                continue
            if name == "ceilings":
                pairs = (item.rpartition("=") for item in text.split(","))
                found[name] = {
                    block.strip(): self.desk.units.to_metric("t_ha", _number(box, most))
                    for block, _, most in pairs
                }
            else:
                found[name] = _number(box, text) / (100 if name in ("area_out", "discount") else 1)
        self.page.discount = found.pop("discount", 0.0)
        self.page.limits = Limits(**found)
        self.message.value = ""
        self.desk.follow("limits")


def _number(box, text):
    try:
        return float(text)
    except ValueError:
        raise CroploadError(f"{box.description}: '{text.strip()}' is not a number.") from None
