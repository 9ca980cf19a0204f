"""Which blocks could be picked earlier or later, so that less fruit needs another place."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.meant import check_block
from cropload.errors import CroploadError
from cropload.units import METRIC, unit_system
from cropload.winery.capacity import Capacity, capacity_table
from cropload.winery.cellar import cellar_table
from cropload.winery.fit import fit_of
from cropload.winery.limits import ahead_of, limits_of, named_days
from cropload.winery.move_costs import bill_of, check_costs
from cropload.winery.move_search import MoveSearch
from cropload.winery.schedule import IntakeSchedule

CAUTION = (
    "Days are only moved on the calendar: ripeness, health of the fruit, weather and the contract "
    "decide whether a block may wait or come early. Ask whoever makes the wine."
)

#: Most days that a pick may move either way [d].
_FARTHEST = 60
#: Days around the span that a moved pick, kept clear of closed days, may come to lie on [d].
_BEYOND = _FARTHEST + 3
_EPSILON = 1e-9


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Relief(Answer):
    """Moves of picking days that leave less fruit without a place, and what they change.

    Attributes
    ----------
    frame : DataFrame
        block, variety, days (later; earlier when negative) [d], date_now and date_then (middle),
        tonnes_p50 [t]; in the order of days.
    before, after : Capacity
        As from ``capacity_table``.
    fits : (Fit, Fit)
        The fit before and after, on every measure of ``fit_of``.
    cellars : tuple of Cellar
        Tanks and presses before and after; empty where none were given.
    schedule : IntakeSchedule
        With the moves made.
    ahead : ndarray of bool, shape (limits,)
        Which limits still lie ahead; only these are relieved.
    worth : float
        Tonnes over that a tonne moved by a day must save [1/d].
    method : str
        How the moves were found, and what is known of the best there can be.
    too_big : dict
        {block: chance that it alone is over the highest limit [1]}, where that is likely.
    bills : tuple of Bill
        Before and after [currency], each with the best room booked; empty without costs.
    """

    before: Capacity
    after: Capacity
    fits: tuple
    cellars: tuple
    schedule: IntakeSchedule
    ahead: np.ndarray
    worth: float
    method: str
    too_big: dict
    bills: tuple = ()

    def heading(self, units=METRIC):
        """Return what the moves change, in one to three sentences."""
        from cropload.winery.words import relief_sentence

        return relief_sentence(self, unit_system(units))

    def tables(self, units=METRIC):
        """Return the moves, when there are any, and every measure and limit now and then."""
        from cropload.winery import tables

        booked = [tables.booked_table(self)] if self.bills and self.bills[1].booked else []
        if not len(self.frame):
            return booked
        change = tables.before_after_table(self, unit_system(units))
        return [tables.moves_table(self), *booked, change, tables.chances_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw the intake by period with the moves made, and return the axes."""
        from cropload.winery.charts import intake_rows

        return intake_rows(self.schedule, self.after, unit_system(units)).plot(ax)


def _window(value, name):
    either_way = arguments.plain_number(value)
    pair = value if isinstance(value, (tuple, list)) else (-either_way, either_way)
    ends = [arguments.plain_number(end) for end in pair]
    whole = len(ends) == 2 and all(end % 1 == 0 for end in ends)
    if not whole or not -_FARTHEST <= ends[0] <= 0 <= ends[1] <= _FARTHEST:
        raise CroploadError(
            f"The window {arguments.shown(value)} of {name} must be days earlier (0 or below) and "
            f"days later (0 or above), whole and at most {_FARTHEST} either way, like (-3, 7)."
        )
    return int(ends[0]), int(ends[1])


def _windows(schedule, windows, limits):
    """Return {place of the block: days it may move, 0 included} of blocks that may move.

    A move that puts more of a block's fruit on days that no limit names for it is none: there is
    no telling that anyone takes it there.
    """
    usual = _window(int(handbook.value("intake.move_days")), "every block")
    given = {}
    if isinstance(windows, dict):
        for block, value in windows.items():
            given[check_block(schedule, block)] = _window(value, f"block '{block}'")
    elif windows is not None:
        usual = _window(windows, "every block")
    today = (pd.Timestamp(schedule.as_of) - pd.Timestamp(0)).days if schedule.as_of else -np.inf
    nowhere = _nowhere(schedule, limits)
    found = {}
    for block, parts in schedule.movable_parts().items():
        middle = min(float(np.median(day)) for day, _ in parts)
        low, high = given.get(schedule.blocks[block], usual)
        # What is held to wanted days stays within them.
        within = list(zip(parts, schedule.held.get(block, ()), strict=False))
        low = max([low, *(min(first - int(day.min()), 0) for (day, _), (first, _) in within)])
        high = min([high, *(max(last - int(day.max()), 0) for (day, _), (_, last) in within)])
        now = nowhere(block, 0) + _EPSILON
        days = [
            step
            for step in range(low, high + 1)
            if step == 0 or (middle + step > today and nowhere(block, step) <= now)
        ]
        if len(days) > 1:
            found[block] = sorted(days, key=abs)
    return found


def _nowhere(schedule, limits):
    """Return a function of a block and days moved: its mean fruit on days no limit names [t]."""
    named = named_days(schedule, limits, beyond=_BEYOND)
    first, parts = schedule.span[0] - _BEYOND, schedule.movable_parts()

    def found(block, step):
        days = named[schedule.varieties[block]]
        low = min(int(day.min()) for day, _ in parts[block]) + min(step, 0) - _BEYOND + _FARTHEST
        high = max(int(day.max()) for day, _ in parts[block]) + max(step, 0) + _BEYOND - _FARTHEST
        if days[low - first : high - first + 1].all():
            return 0.0
        moved = [
            (schedule.open_days(block, day + step) if step else day, tonnes)
            for day, tonnes in parts[block]
        ]
        return sum(float((tonnes * ~days[day - first]).mean()) for day, tonnes in moved)

    return found


@arguments.check_arguments(
    schedule=arguments.kind("IntakeSchedule"),
    worth=arguments.optional(arguments.number(0)),
    tanks=arguments.optional(arguments.frame),
    presses=arguments.optional(arguments.frame),
    pickers=arguments.optional(arguments.frame),
    costs=arguments.optional(arguments.row),
    progress=arguments.optional(arguments.calling),
)
def relieve(
    schedule,
    capacity,
    *,
    windows=None,
    worth=None,
    tanks=None,
    presses=None,
    pickers=None,
    costs=None,
    progress=None,
):
    """Find moves of whole blocks that leave the least fruit without a place, or that cost least.

    Parameters
    ----------
    schedule, capacity : IntakeSchedule, DataFrame
        As from ``intake_schedule``, and as table capacity.
    windows : int, (int, int) or dict, optional
        Days that picks may move [d]: 7 for a week either way, (-3, 7), or {block: window} with
        the handbook's for the rest; (0, 0) holds a block where it is.
    worth : float, optional
        Tonnes over that a tonne moved by a day must save [1/d]; the handbook's when left out. 0
        moves blocks for any gain.
    tanks, presses : DataFrame, optional
        As tables tanks and presses: fruit without a tank has no place either.
    pickers : DataFrame, optional
        As table pickers: told before and after, not searched for.
    costs : dict, optional
        Prices, to search for what costs least in the place of tonnes: move [currency/t/d],
        outside, for room booked elsewhere before the season is known [currency/t], short, for
        fruit that has no room in the end [currency/t], wait, before a press [currency/t a night].
    progress : callable, optional
        Called as progress(done, total) after each block of each round.

    Returns
    -------
    Relief
        ``.frame`` has one row a block that moves; ``print`` says what the moves bring.

    Raises
    ------
    CroploadError
        For a worth below 0, an unknown block, or a window or costs that cannot be.

    Notes
    -----
    What is brought down is the mean over the seasons drawn of ``Fit.elsewhere_mean`` and of fruit
    without a tank, plus the worth of what is moved; or what these cost, with the best room booked
    for each limit and for the tanks. Fruit over a limit is counted for the tanks too. Each block
    in turn is moved to the day that is best with the others where they are, until none helps,
    then pairs of blocks; and where it fits, a mixed-integer program (HiGHS) over a sample of
    seasons looks for better, and tells how low any choice could come in those seasons.
    ``.method`` says how near.
    Whole picks move by whole days, all parts of a split pick together, within the wanted days
    they are held to; what is picked stays,
    periods that are over by ``as_of`` are left out, and no move puts more of a block's fruit on
    days that no row of the limits names for it.
    Valid for moves of so few days that the crop stays what it is.
    """
    if costs is not None and worth is not None:
        raise CroploadError("A move has a worth in tonnes, or a cost: give one of worth and costs.")
    worth = handbook.value("intake.worth_of_move") if worth is None else float(worth)
    # Tonnes alone: each without a place counts as one, and no room is booked.
    by = {"move": worth, "short": 1.0} if costs is None else costs
    by = check_costs(by)
    limits, _ = limits_of(schedule, capacity)
    ahead = ahead_of(schedule, limits)
    given = [pd.DataFrame() if each is None else each for each in (tanks, presses)]
    asked = (schedule, limits, ahead, _windows(schedule, windows, limits), by, tuple(given))
    found = MoveSearch(*asked).best(progress)
    moved = {schedule.blocks[block]: days for block, days in found.moves.items()}
    then = schedule.moved(moved) if moved else schedule
    bills = [
        bill_of(each, limits, ahead, moves, by, tuple(given))
        for each, moves in ((schedule, {}), (then, found.moves))
    ]
    # Without prices moves need only leave less without a place, whatever they are worth.
    moving = [0.0 if costs else bill.moving for bill in bills]
    if bills[1].total - moving[1] >= bills[0].total - moving[0]:
        # Better in the seasons looked at, and not in all of them.
        moved, then, bills = {}, schedule, [bills[0]] * 2
    fits = fit_of(schedule, capacity), fit_of(then, capacity)
    given.append(pd.DataFrame() if pickers is None else pickers)
    cellars = (schedule, then) if any(map(len, given)) else ()
    return Relief(
        frame=_moves(schedule, moved),
        notes=(f"How: {found.method}.", CAUTION),
        before=capacity_table(schedule, capacity),
        after=capacity_table(then, capacity),
        fits=fits,
        cellars=tuple(cellar_table(each, *given) for each in cellars),
        schedule=then,
        ahead=ahead,
        worth=worth,
        method=found.method,
        too_big=_too_big(schedule, limits, ahead),
        bills=() if costs is None else tuple(bills),
    )


def _moves(schedule, moved):
    names, tonnes = schedule.totals("block")
    rows = []
    for name, step in moved.items():
        at = schedule.blocks.index(name)
        now = min(float(np.median(day)) for day, _ in schedule.movable_parts()[at])
        now = pd.Timestamp(0) + pd.Timedelta(days=round(now))
        rows.append((name, schedule.varieties[at], step, now, now + pd.Timedelta(days=step)))
    columns = ["block", "variety", "days", "date_now", "date_then"]
    frame = pd.DataFrame(rows, columns=columns)
    middle = dict(zip(names, ranges.quantiles(tonnes)[1], strict=True))
    frame["tonnes_p50"] = [float(middle[name]) for name in moved]
    return frame.sort_values(["date_now", "block"], kind="stable", ignore_index=True)


def _too_big(schedule, limits, ahead):
    """Return {block: chance} of blocks that no single day can take: only a split pick helps."""
    level, chances = handbook.value("intake.chance_of_excess"), {}
    for block, parts in schedule.movable_parts().items():
        rows = ahead & limits.member[:, block]
        if rows.any():
            most = limits.limit[rows].max()
            chances[schedule.blocks[block]] = max(float((t > most).mean()) for _, t in parts)
    return {name: chance for name, chance in chances.items() if chance > level}
