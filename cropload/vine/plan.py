"""A pruning plan: how many canes and spurs a vine is left with, and how many buds on each."""

import re
from dataclasses import dataclass

from cropload.arguments import plain_number, shown
from cropload.errors import CroploadError

#: The trade calls a piece of up to three buds a spur, and a longer one a cane (common practice).
SPUR_MOST_BUDS = 3

#: Above this a plan is taken for a slip of the key, not for a vine.
MOST_BUDS = 1000

_PIECE = re.compile(r"\s*([0-9]{1,4})\s*[xX×*]\s*([0-9]{1,4})\s*")
_HOW = "Write canes x buds, then spurs x buds, like 3x8+3x2 (or 24x2 for spurs alone)"


def _is_whole(number):
    """Whether ``number`` is a whole number, whatever its type; True and NaN are none."""
    try:
        return not isinstance(number, bool) and int(number) == number
    except (TypeError, ValueError, OverflowError):
        return False


class PlanError(CroploadError):
    """A pruning plan that no vine can carry, or that cannot be read."""


@dataclass(frozen=True, order=True)
class PruningPlan:
    """The count buds one vine is left with.

    Parameters
    ----------
    canes : int
        Canes per vine [1].
    buds_per_cane : int
        Count buds on each cane [1]; at least 4, because a shorter piece is a spur.
    spurs : int
        Spurs per vine [1].
    buds_per_spur : int
        Count buds on each spur [1]; 1 to 3.

    Raises
    ------
    PlanError
        When a number is negative or broken, when no bud is left, or when a piece has the wrong
        length for its name.

    Notes
    -----
    Basal (non-count) buds are not counted.
    Valid for 1 to 1000 buds per vine.
    Source: common practice, no source.

    Examples
    --------
    >>> plan = PruningPlan.parse("3x8+3x2")
    >>> plan.buds, str(plan)
    (30, '3x8+3x2')
    >>> round(plan.buds_per_metre(1.5), 1)
    20.0
    """

    canes: int
    buds_per_cane: int
    spurs: int = 0
    buds_per_spur: int = 2

    def __post_init__(self):
        for name in ("canes", "buds_per_cane", "spurs", "buds_per_spur"):
            number = getattr(self, name)
            if not _is_whole(number):
                raise PlanError(f"Plan: {name} must be a whole number, not {shown(number)}.")
            if number < 0:
                raise PlanError(f"Plan: {name} is {number}; it cannot be below 0.")
            object.__setattr__(self, name, int(number))
        for wood, pieces, buds in (
            ("cane", self.canes, self.buds_per_cane),
            ("spur", self.spurs, self.buds_per_spur),
        ):
            if pieces and not buds:
                raise PlanError(
                    f"Plan: its {wood}s have 0 buds. Write how many buds each {wood} has, or "
                    f"leave the {wood}s out."
                )
        if self.canes and self.buds_per_cane <= SPUR_MOST_BUDS:
            raise PlanError(
                f"Plan: a piece of {self.buds_per_cane} buds is a spur, not a cane "
                f"(a cane has {SPUR_MOST_BUDS + 1} or more). Give it as spurs."
            )
        if self.spurs and not 1 <= self.buds_per_spur <= SPUR_MOST_BUDS:
            raise PlanError(
                f"Plan: a spur has 1 to {SPUR_MOST_BUDS} buds, not {self.buds_per_spur}. "
                "Give a longer piece as a cane."
            )
        if not self.canes:
            object.__setattr__(self, "buds_per_cane", 0)
        if not self.spurs:
            object.__setattr__(self, "buds_per_spur", 0)
        if self.buds == 0:
            raise PlanError("Plan: no bud is left on the vine. Leave at least one cane or spur.")
        if self.buds > MOST_BUDS:
            raise PlanError(
                f"Plan: {self.buds} buds on one vine is more than {MOST_BUDS}. Check the numbers."
            )

    @property
    def buds(self):
        """Count buds per vine [1]."""
        return self.canes * self.buds_per_cane + self.spurs * self.buds_per_spur

    @property
    def shares(self):
        """What is left on which share of the vines [1]: this plan, on all of them."""
        return ((1.0, self),)

    def buds_per_metre(self, canopy_length_m):
        """Return the bud load per metre of canopy [1/m] for ``canopy_length_m`` [m/vine]."""
        return _per_metre(self.buds, canopy_length_m)

    @classmethod
    def parse(cls, text):
        """Read a plan written like ``3x8+3x2``: canes first, then spurs; ``24x2`` is spurs alone.

        Parameters
        ----------
        text : str, PruningPlan or DividedPlan
            The plan; one that is read already is returned as it is.

        Raises
        ------
        PlanError
            When the text cannot be read, with the way to write it.
        """
        if isinstance(text, (cls, DividedPlan)):
            return text
        if not isinstance(text, str):
            raise PlanError(f"A plan is a text, not {shown(text)}. {_HOW}.")
        written = text.strip()
        pieces = written.split("+")
        if not written or len(pieces) > 2:
            raise PlanError(f"Plan '{written}' cannot be read. {_HOW}.")
        numbers = []
        for piece in pieces:
            match = _PIECE.fullmatch(piece)
            if not match:
                what = f"'{piece.strip()}'" if piece.strip() else "an empty piece"
                raise PlanError(
                    f"Plan '{written}' cannot be read: {what} is not a number of canes or spurs, "
                    f"an x, and the buds on each. {_HOW}."
                )
            numbers.append((int(match[1]), int(match[2])))
        try:
            if len(numbers) == 1 and numbers[0][1] <= SPUR_MOST_BUDS:
                return cls(0, 0, *numbers[0])
            if len(numbers) == 1:
                return cls(*numbers[0])
            if numbers[1][1] > SPUR_MOST_BUDS and 0 not in numbers[1]:
                raise PlanError(
                    f"Plan: the second piece, {numbers[1][0]}x{numbers[1][1]}, is longer than a "
                    f"spur ({SPUR_MOST_BUDS} buds at most). {_HOW}."
                )
            return cls(*numbers[0], *numbers[1])
        except PlanError as error:
            raise PlanError(f"{error} (read from '{written}')") from None

    def __str__(self):
        parts = []
        if self.canes:
            parts.append(f"{self.canes}x{self.buds_per_cane}")
        if self.spurs:
            parts.append(f"{self.spurs}x{self.buds_per_spur}")
        return "+".join(parts)

    def words(self):
        """Return the plan in words, such as ``3 canes of 8 buds and 3 spurs of 2``."""
        parts = []
        if self.canes:
            parts.append(f"{self.canes} cane{'s' * (self.canes > 1)} of {self.buds_per_cane} buds")
        if self.spurs:
            unit = "" if parts else f" bud{'s' * (self.buds_per_spur > 1)}"
            parts.append(f"{self.spurs} spur{'s' * (self.spurs > 1)} of {self.buds_per_spur}{unit}")
        return " and ".join(parts)


@dataclass(frozen=True)
class DividedPlan:
    """What a block is left with whose parts carry plans of their own.

    Parameters
    ----------
    names : tuple of str
        The parts, such as ``("strong", "weak")``.
    plans : tuple of PruningPlan
        The plan of each.
    vines : tuple of float
        The vines of each [1].

    Raises
    ------
    PlanError
        When a part has no vines, or none is there.

    Notes
    -----
    It stands wherever the plan of a block does; its buds are those of the mean vine.
    Parts differ by their plans alone: what their vigour does beyond that is not told.
    Source: common practice, no source.

    Examples
    --------
    >>> plans = PruningPlan.parse("3x10+3x2"), PruningPlan.parse("2x8+2x2")
    >>> split = DividedPlan(("strong", "weak"), plans, (1000, 3000))
    >>> split.buds, str(split)
    (24.0, 'strong 3x10+3x2; weak 2x8+2x2')
    """

    names: tuple
    plans: tuple
    vines: tuple

    def __post_init__(self):
        if not self.vines or not all(0 < vines < float("inf") for vines in self.vines):
            raise PlanError(f"Plan of parts: each has vines above 0, not {shown(self.vines)}.")

    @property
    def shares(self):
        """What is left on which share of the vines [1], a pair a part."""
        total = sum(self.vines)
        return tuple(
            (each / total, plan) for each, plan in zip(self.vines, self.plans, strict=True)
        )

    @property
    def buds(self):
        """Count buds of the mean vine [1]."""
        return sum(share * plan.buds for share, plan in self.shares)

    def buds_per_metre(self, canopy_length_m):
        """Return the bud load per metre of canopy [1/m] for ``canopy_length_m`` [m/vine]."""
        return _per_metre(self.buds, canopy_length_m)

    def __str__(self):
        named = zip(self.names, self.plans, strict=True)
        return "; ".join(f"{name} {plan}" for name, plan in named)

    def words(self):
        """Return the plans in words, such as ``24 spurs of 2 buds (strong)``."""
        named = zip(self.names, self.plans, strict=True)
        return "; ".join(f"{plan.words()} ({name})" for name, plan in named)


def _per_metre(buds, canopy_length_m):
    if not 0 < plain_number(canopy_length_m) < float("inf"):
        raise PlanError(f"Canopy length must be above 0 m, not {shown(canopy_length_m)}.")
    return buds / canopy_length_m


def _is_last(plan):
    return isinstance(plan, str) and plan.strip().casefold() == "last"


def parse_plans(plans, last=None):
    """Read several plans, each once, in the order given.

    Parameters
    ----------
    plans : str or iterable
        Plans as one comma-separated text, as texts, or as PruningPlan objects.
    last : PruningPlan or DividedPlan, optional
        What the text ``last`` stands for.

    Raises
    ------
    PlanError
        With every plan that cannot be read, not only the first.
    """
    if isinstance(plans, str):
        plans = plans.split(",")
    elif isinstance(plans, (PruningPlan, DividedPlan)) or not hasattr(plans, "__iter__"):
        plans = [plans]
    parsed, faults = [], []
    for plan in plans:
        try:
            read = PruningPlan.parse(plan) if not _is_last(plan) else last
            if read is None:
                raise PlanError("Plan 'last' is one block's on record, and none is here. Write it.")
        except PlanError as error:
            faults.append(str(error))
            continue
        if read not in parsed:
            parsed.append(read)
    if faults:
        raise PlanError("\n".join(faults))
    if not parsed:
        raise PlanError(f"No plan was given. {_HOW}.")
    return parsed
