"""The boxes of an owner's scenarios: blocks, a plan for each in every scenario, and costs."""

from dataclasses import fields

import ipywidgets as widgets
import numpy as np

from cropload.beliefs.history import estate_before_season
from cropload.errors import CroploadError
from cropload.owner.money import COSTS, Costs
from cropload.owner.scenarios import FEWEST, MOST
from cropload.owner.words import MONEY_CAUTION
from cropload.show.panels import parts
from cropload.show.panels.fields import choice, field
from cropload.units import METRIC
from cropload.vine.plan import PlanError, PruningPlan
from cropload.vine.training import first_levels, longest_cane

#: Names of the scenarios a panel opens with, and the place of their plan in `first_levels`.
_NAMES = ("today", "longer", "shorter", "scenario 4", "scenario 5")
_LEVEL = {"today": "as last winter", "longer": "heavier", "shorter": "lighter"}


class ScenarioBoxes(widgets.VBox):
    """Choose blocks, and write a pruning plan for each of them in every scenario.

    Parameters
    ----------
    records : Records
        Records with the blocks.
    season : int
        Year of the harvest the pruning is for.
    chosen : sequence of str or None
        Blocks ticked at first; the first three when None.
    """

    def __init__(self, records, season, chosen):
        names = [str(name) for name in records.blocks["block"]]
        chosen = names[:3] if chosen is None else [str(block) for block in chosen]
        unknown = [block for block in chosen if block not in names]
        if unknown:
            raise CroploadError(
                f"There is no block '{unknown[0]}' in these records. The blocks are: "
                f"{', '.join(names)}."
            )
        self.count = choice("Scenarios", range(FEWEST, MOST + 1), min(3, MOST), "17em")
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
            field(f"Scenario {at} is called", width="22em", value=name)
            for at, name in enumerate(_NAMES, start=1)
        ]
        estate = estate_before_season(records, season)
        self.plans = {name: self._plan_boxes(estate, name) for name in names}
        self.rows = widgets.VBox()
        super().__init__(
            [
                parts.html(parts.head("Blocks")),
                parts.row(*self.blocks.values()),
                parts.html(
                    parts.head("Plans")
                    + parts.note(
                        "Scenario 1 is what the others are held against. Write canes x buds, then "
                        "spurs x buds, like 3x8+3x2, or 24x2 for spurs alone."
                    )
                ),
                self.rows,
            ]
        )
        self._lay_out()
        for box in (*self.blocks.values(), self.count):
            box.observe(lambda _: self._lay_out(), "value")

    @staticmethod
    def _plan_boxes(estate, block):
        """Return a box a scenario for one block, with the last plan, longer and shorter wood."""
        at = estate.facts.place(block)
        plans, words = first_levels(
            estate.last_plan[at],
            float(np.exp(estate.log_reference[at])),
            estate.facts.training[at],
            longest_cane(estate.facts.vine_spacing_m(at)),
        )
        known = dict(zip(words, plans, strict=True))
        width = f"{13 + 0.5 * len(block):.1f}em"
        return [
            field(
                f"{block}, scenario {number}",
                width=width,
                value=str(known.get(_LEVEL.get(name), plans[0])),
            )
            for number, name in enumerate(_NAMES, start=1)
        ]

    def _lay_out(self):
        """Show the boxes of the chosen blocks and scenarios."""
        rows = [parts.row(*self.names[: self.count.value])]
        for block in self.chosen_blocks:
            rows.append(parts.row(*self.plans[block][: self.count.value]))
        self.rows.children = rows

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


class CostBoxes(widgets.VBox):
    """Costs in the currency of the prices, per vine, bud, area or weight."""

    def __init__(self, units=METRIC):
        self.units = units
        self.boxes = {each.name: parts.number_box("", 0.0) for each in fields(Costs)}
        super().__init__(
            [
                parts.html(
                    parts.head("Costs")
                    + parts.note(
                        "In the currency of your prices, which come from table prices. 0 is not "
                        f"counted. {MONEY_CAUTION}"
                    )
                ),
                parts.row(*self.boxes.values()),
            ]
        )
        self._label()

    def _label(self):
        us = self.units.name == "us"
        for name, box in self.boxes.items():
            words, per, _ = COSTS[name]
            box.description = f"Cost of {words} [per {per[us]}]"
            box.layout.width = f"{8 + 0.52 * len(box.description):.1f}em"

    def use_units(self, units):
        """Show costs per the other unit, the same money."""
        for name, box in self.boxes.items():
            factor = COSTS[name][2]
            if factor != 1.0 and units.name != self.units.name:
                box.value = round(box.value * (factor if units.name == "us" else 1 / factor), 6)
        self.units = units
        self._label()

    def terms(self):
        """Return the Costs of the boxes, metric."""
        us = self.units.name == "us"
        return Costs(
            **{
                name: box.value / COSTS[name][2] if us else box.value
                for name, box in self.boxes.items()
            }
        )
