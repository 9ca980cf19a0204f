"""What moves, a place elsewhere, fruit without one and waiting cost, at the user's own prices."""

from dataclasses import dataclass

import numpy as np

from cropload import arguments
from cropload.errors import CroploadError, near

#: What has a price.
KINDS = ("move", "outside", "short", "wait")
_NUMBER = arguments.number(0)


def check_costs(costs):
    """Return prices of every kind [currency].

    Parameters
    ----------
    costs : dict
        move [a tonne and day], outside [a tonne of room booked elsewhere beforehand], short [a
        tonne that has no room in the end], wait [a tonne and night before a press]; what is left
        out costs nothing, and without a price of outside room none is booked.

    Raises
    ------
    CroploadError
        For another name, a price below 0, or none for fruit without room.
    """
    for name, price in costs.items():
        if name not in KINDS:
            raise CroploadError(
                f"There is no cost '{name}'; they are {', '.join(KINDS)}. "
                f"{near(str(name), KINDS)}".strip()
            )
        _NUMBER(f"the cost of {name}", price)
    if not costs.get("short", 0) > 0:
        raise CroploadError(
            "What a tonne without room costs (short) must be above 0: against it the others are "
            "weighed."
        )
    found = {name: float(costs.get(name, 0.0)) for name in KINDS}
    if "outside" not in costs:
        found["outside"] = np.inf
    return found


def priced(over, costs):
    """Return what fruit over a limit costs in the mean, with the best room booked for it.

    Parameters
    ----------
    over : ndarray, shape (..., draws)
        Fruit over one limit [t].
    costs : dict
        As from ``check_costs``.

    Notes
    -----
    Room is booked before the season is known. The best amount is passed in as many cases as its
    price is of that of a tonne without room; the cost is then that of fruit without room in these
    cases alone. Source: the textbook rule of stock for one period, from memory.
    """
    draws = over.shape[-1]
    tail = draws * costs["outside"] / costs["short"]
    if tail >= draws:
        return costs["short"] * over.mean(-1)
    whole = int(tail)
    ranked = np.partition(over, draws - 1 - whole, axis=-1)
    worst = ranked[..., draws - whole :].sum(-1) + (tail - whole) * ranked[..., draws - 1 - whole]
    return costs["short"] * worst / draws


def best_booking(over, costs):
    """Return the room to book for fruit over one limit, (...) [t]."""
    draws = over.shape[-1]
    tail = draws * costs["outside"] / costs["short"]
    if tail >= draws:
        return np.zeros(over.shape[:-1])
    at = draws - 1 - int(tail)
    return np.partition(over, at, axis=-1)[..., at]


@dataclass(frozen=True)
class Bill:
    """What an intake costs in the mean [currency].

    moving, outside, short, wait : of moves, room booked, fruit without room, waiting; booked :
    ((what it is booked for, tonnes [t]), ...).
    """

    moving: float
    outside: float
    short: float
    wait: float
    booked: tuple

    @property
    def total(self):
        """All of it [currency]."""
        return self.moving + self.outside + self.short + self.wait


def bill_of(over, names, waits, moved, costs):
    """Return the bill of an intake, with the best room booked for each limit.

    Parameters
    ----------
    over : ndarray, shape (limits, draws)
        Fruit over each [t].
    names : sequence of str
        What they are.
    waits : ndarray or float
        Tonnes times nights before a press [t d].
    moved : float
        Tonnes times days moved, in the mean [t d].
    costs : dict
        As from ``check_costs``.
    """
    room = best_booking(over, costs)
    short = np.maximum(over - room[:, None], 0.0).sum(0).mean()
    booked = tuple((n, float(t)) for n, t in zip(names, room, strict=True) if t > 0)
    return Bill(
        moving=costs["move"] * moved,
        outside=costs["outside"] * float(room.sum()) if booked else 0.0,
        short=costs["short"] * float(short),
        wait=costs["wait"] * float(np.mean(waits)),
        booked=booked,
    )
