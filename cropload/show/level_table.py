"""The rows in which pruning levels are set, each with its answer beside its numbers."""

from pathlib import Path

import anywidget
import traitlets

from cropload.vine.plan import SPUR_MOST_BUDS, PlanError, PruningPlan

#: Most levels compared side by side; more do not fit on a screen.
MOST_LEVELS = 5
#: Name of each number, its label, and the ends of its slider (the box beside it goes further).
NUMBERS = {
    "canes": ("canes", 0, 8),
    "buds_per_cane": ("buds per cane", SPUR_MOST_BUDS + 1, 20),
    "spurs": ("spurs", 0, 40),
    "buds_per_spur": ("buds per spur", 1, SPUR_MOST_BUDS),
}
#: What a user starts from where a plan has no such wood.
_START = {"buds_per_cane": 8, "buds_per_spur": 2}
#: More of anything than a vine carries.
_MOST = 1000


class LevelTable(anywidget.AnyWidget):
    """A table of levels in the browser: native boxes and sliders, and HTML of answers.

    Attributes
    ----------
    levels : list of dict
        ``name`` and the four numbers as they stand in the boxes; None for an empty box.
    asked, answered : int
        Count of changes made in the browser, and of those whose answer is in ``rows`` [1].
    head : dict
        HTML above each column of answers.
    rows : list of dict
        HTML of each column of answers, ``plan`` in words, ``note`` and ``fault``, one a level.
    """

    _esm = Path(__file__).with_suffix(".js")
    _css = Path(__file__).with_suffix(".css")

    words = traitlets.Dict().tag(sync=True)
    levels = traitlets.List().tag(sync=True)
    head = traitlets.Dict().tag(sync=True)
    rows = traitlets.List().tag(sync=True)
    asked = traitlets.Int(0).tag(sync=True)
    answered = traitlets.Int(0).tag(sync=True)

    def __init__(self, changed):
        super().__init__(
            words={
                "level": "level",
                "called": "name",
                "remove": "remove",
                "slider": "slider",
                **{key: list(value) for key, value in NUMBERS.items()},
            }
        )
        self.observe(lambda _: changed(), "asked")

    def set_by_hand(self, levels):
        """Set the levels as a user would."""
        self.set_state({"levels": levels, "asked": self.asked + 1})

    def show(self, levels, head, rows):
        """Show levels with their answers, in one message to the browser."""
        with self.hold_sync():
            self.levels, self.head, self.rows = levels, head, rows
            self.answered = self.asked


def level_of(plan, name=""):
    """Return a level that holds a plan; numbers it does not use are what one would start from."""
    numbers = {key: getattr(plan, key) or _START.get(key, 0) for key in NUMBERS}
    return {"name": name, **numbers}


def plan_of(level):
    """Return the plan of a level.

    Raises
    ------
    PlanError
        When its numbers are no plan.
    """
    numbers = {}
    for key, (label, *_) in NUMBERS.items():
        value = level[key]
        if value is None:
            raise PlanError(f"{label} is empty.")
        if value != value or value != int(value):
            raise PlanError(f"{label} must be a whole number, not {value:g}.")
        if value < 0:
            raise PlanError(f"{label} is {value:g}; it cannot be below 0.")
        if value > _MOST:
            raise PlanError(f"{label} is {value:g}; no vine carries that. Check the number.")
        numbers[key] = int(value)
    try:
        return PruningPlan(**numbers)
    except PlanError as fault:
        raise PlanError(str(fault).removeprefix("Plan: ")) from None


class Levels:
    """The levels of a block with every step back and forth.

    Parameters
    ----------
    levels : list of dict
        As in ``LevelTable``.
    """

    def __init__(self, levels):
        self.now, self._past, self._future = levels, [], []
        self._moving = None

    def put(self, levels):
        """Take new levels; moves of one number after each other are one step."""
        moved = _moved(self.now, levels)
        if moved == ():
            return
        if moved is None or moved != self._moving:
            self._past.append(self.now)
        self._moving, self._future, self.now = moved, [], levels

    def undo(self):
        """Go a step back, where there is one."""
        self._step(self._past, self._future)

    def redo(self):
        """Take a step back again."""
        self._step(self._future, self._past)

    def _step(self, here, there):
        if here:
            there.append(self.now)
            self.now, self._moving = here.pop(), None

    @property
    def can_undo(self):
        """Whether there is a step to take back."""
        return bool(self._past)

    @property
    def can_redo(self):
        """Whether a step was taken back."""
        return bool(self._future)


def _moved(before, after):
    """Return the one number (level, name) that differs; () when none does, None for more."""
    if len(before) != len(after):
        return None
    differ = [
        (at, key)
        for at, (old, new) in enumerate(zip(before, after, strict=True))
        for key in old
        if old[key] != new[key]
    ]
    # A name given for a plan goes with its numbers, and is no move of its own.
    differ = [each for each in differ if each[1] != "name"] or differ
    if not differ:
        return ()
    return differ[0] if len(differ) == 1 else None
