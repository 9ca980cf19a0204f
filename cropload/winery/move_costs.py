"""What moves, a place elsewhere, fruit without one and waiting cost, at the user's own prices."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.errors import CroploadError, near
from cropload.winery.cellar import kept_for, left_over
from cropload.winery.fit import over_rows
from cropload.winery.periods import span_words
from cropload.winery.turned_away import rows_of

#: What has a price.
KINDS = ("move", "outside", "short", "wait")
#: Dearer ones cannot be weighed against the others to the last digit [currency].
_NUMBER = arguments.number(0, 1e9)


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
        For another name, a price below 0 or above 1e9, or none for fruit without room.
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


def bill_of(schedule, limits, ahead, moves, costs, cellar):
    """Return the bill of an intake, with the best room booked for each limit.

    Parameters
    ----------
    schedule : IntakeSchedule
        With the moves made.
    limits, ahead : Limits, ndarray of bool
        As in ``MoveSearch``.
    moves : dict
        {place of the block: days}, for what they cost [d].
    costs, cellar
        As in ``MoveSearch``.
    """
    rows, epoch = rows_of(limits, ahead), pd.Timestamp(0)
    over, waits = over_rows(schedule, rows), np.zeros(1)
    names = [
        span_words(*(epoch + pd.Timedelta(days=int(day)) for day in (start, end)))
        + (f", {variety}" if variety else "")
        for start, end, variety in zip(rows.starts, rows.ends, rows.varieties, strict=True)
    ]
    if any(map(len, cellar)):
        arrives = {v: np.diff(until, axis=0) for v, until in schedule.until("variety")}
        kept = [kept_for(w, t, arrives) for w, t in zip(("tanks", "presses"), cellar, strict=True)]
        left, waits = left_over(arrives, *kept)
        if kept[0][0]:
            over = np.vstack([over, np.broadcast_to(left, over.shape[1:])])
            names.append("fruit without a tank")
    parts = schedule.movable_parts()
    moved = sum(abs(days) * sum(t.mean() for _, t in parts[b]) for b, days in moves.items())
    room = best_booking(over, costs)
    short = np.maximum(over - room[:, None], 0.0).sum(0).mean()
    booked = tuple((n, float(t)) for n, t in zip(names, room, strict=True) if t > 0)
    return Bill(
        moving=costs["move"] * float(moved),
        outside=costs["outside"] * float(room.sum()) if booked else 0.0,
        short=costs["short"] * float(short),
        wait=costs["wait"] * float(np.mean(waits)),
        booked=booked,
    )
