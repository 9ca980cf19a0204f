"""The rows of a panel in which pruning levels are set: canes, buds per cane, spurs, buds a spur."""

import ipywidgets as widgets

from cropload.errors import CroploadError
from cropload.show.panels import parts
from cropload.show.panels.later import REST_S, Later
from cropload.vine.plan import SPUR_MOST_BUDS, PlanError, PruningPlan

#: Most levels compared side by side; more do not fit on a screen.
MOST_LEVELS = 5

#: Name of each number, its label, and the ends of its slider (the box beside it goes further).
NUMBERS = (
    ("canes", "canes", 0, 8),
    ("buds_per_cane", "buds per cane", SPUR_MOST_BUDS + 1, 20),
    ("spurs", "spurs", 0, 40),
    ("buds_per_spur", "buds per spur", 1, SPUR_MOST_BUDS),
)

#: Buds by which a lighter and a heavier level differ from last winter's, on a cane or in spurs.
_STEP = 2


class LevelRow(widgets.VBox):
    """One pruning level: four labelled numbers, a name and a button that takes it away."""

    def __init__(self, place, changed, removed):
        self.place = place
        self.name = ""
        self.title = parts.html()
        self.fields = {
            key: parts.NumberField(f"Level {place} {label}", low, low, high)
            for key, label, low, high in NUMBERS
        }
        for each in self.fields.values():
            each.box.observe(changed, "value")
        self.remove = widgets.Button(
            description=f"Remove level {place}", layout=widgets.Layout(width="11em")
        )
        self.remove.on_click(lambda _: removed(place))
        super().__init__([self.title, parts.row(*self.fields.values(), self.remove)])

    def set(self, plan, name=None):
        """Show a plan; numbers it does not use stay at what a user would start from."""
        if name is not None:
            self.name = name
        for key, each in self.fields.items():
            given = getattr(plan, key)
            length = key in ("buds_per_cane", "buds_per_spur")
            if length and given == 0:
                given = 8 if key == "buds_per_cane" else 2
            each.box.value = given

    def set_name(self, name):
        """Show a name beside the level's number, such as ``as last winter``."""
        self.name = name
        words = f"Level {self.place}" + (f" ({name})" if name else "")
        self.title.value = parts.head(words)

    def plan(self):
        """Return the plan in the boxes.

        Raises
        ------
        PlanError
            With the number of the level before what is wrong.
        """
        numbers = {key: each.number for key, each in self.fields.items()}
        for (_, label, *_), value in zip(NUMBERS, numbers.values(), strict=True):
            if not isinstance(value, int):
                raise PlanError(
                    f"Level {self.place}: {label} must be a whole number, not {value:g}."
                )
            if value < 0:
                raise PlanError(f"Level {self.place}: {label} is {value}; it cannot be below 0.")
            if value > 1000:
                raise PlanError(
                    f"Level {self.place}: {label} is {value}; no vine carries that. "
                    "Check the number."
                )
        try:
            return PruningPlan(**numbers)
        except PlanError as fault:
            raise PlanError(f"Level {self.place}: {str(fault).removeprefix('Plan: ')}") from None


class LevelRows(widgets.VBox):
    """Up to five levels, with buttons to add one and to take one away.

    Parameters
    ----------
    changed : callable
        Called without arguments whenever a level changes; a slider that is dragged moves its box
        at once, and the call comes when it rests.
    """

    def __init__(self, changed):
        self._changed, self._later = changed, Later(REST_S)
        self._quiet = False
        self.rows = [LevelRow(n, self._tell, self.remove) for n in range(1, MOST_LEVELS + 1)]
        self.count = 1
        self.adding = widgets.Button(description="Add a level", layout=widgets.Layout(width="11em"))
        self.adding.on_click(lambda _: self.add())
        super().__init__([])
        self._lay_out()

    def _tell(self, _=None):
        if not self._quiet:
            self._later.call("changed", self._changed)

    def settle(self):
        """Work out at once a change that still waits, so that what is kept is what is shown."""
        self._later.now()

    def _lay_out(self):
        for row in self.rows[: self.count]:
            row.set_name(row.name)
            row.remove.disabled = self.count == 1
        self.adding.disabled = self.count == MOST_LEVELS
        self.adding.tooltip = "" if self.count < MOST_LEVELS else "Five levels are the most"
        self.children = [*self.rows[: self.count], self.adding]

    def set(self, plans, names):
        """Show plans with their names, all at once."""
        self._quiet = True
        self.count = len(plans)
        for row, plan, name in zip(self.rows, plans, names, strict=False):
            row.set(plan, name)
        self._quiet = False
        self._lay_out()
        self._later.drop()
        self._changed()

    def add(self, plan=None, name=""):
        """Add a level: a plan, or a copy of the last level to change.

        Raises
        ------
        CroploadError
            When there are as many as fit.
        """
        if self.count == MOST_LEVELS:
            raise CroploadError(f"There are {MOST_LEVELS} levels already; remove one first.")
        last, new = self.rows[self.count - 1], self.rows[self.count]
        self._quiet = True
        if plan is not None:
            new.set(plan, name)
        else:
            new.name = name
            for key, each in new.fields.items():
                each.box.value = last.fields[key].box.value
        self._quiet = False
        self.count += 1
        self._lay_out()
        self._later.drop()
        self._changed()

    def remove(self, place):
        """Take level ``place`` away; the ones after it move up."""
        if self.count == 1:
            return
        self._quiet = True
        for row, after in zip(self.rows[place - 1 :], self.rows[place:], strict=False):
            row.name = after.name
            for key, each in row.fields.items():
                each.box.value = after.fields[key].box.value
        self._quiet = False
        self.count -= 1
        self._lay_out()
        self._later.drop()
        self._changed()

    def plans(self):
        """Return the plans of all levels.

        Raises
        ------
        PlanError
            With every level that is no plan.
        """
        plans, faults = [], []
        for row in self.rows[: self.count]:
            try:
                plans.append(row.plan())
            except PlanError as fault:
                faults.append(str(fault))
        if faults:
            raise PlanError("\n".join(faults))
        return plans
