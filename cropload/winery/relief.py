"""Which blocks could be picked earlier or later, so that no period is likely to be too full."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.beliefs.meant import check_block
from cropload.errors import CroploadError
from cropload.winery.capacity import capacity_table, limited_sums, limits_of
from cropload.winery.intake_result import IntakeSchedule
from cropload.winery.relief_search import search

CAUTION = (
    "Days are only moved on the calendar: ripeness, health of the fruit, weather and the contract "
    "decide whether a block may wait or come early. Ask whoever makes the wine."
)

#: Where the level is out of reach, the worst chance must fall by this for moves to be made [1].
_HARDLY = 0.01


@dataclass(frozen=True, eq=False)
class Relief:
    """Moves of picking days that bring chances of excess down, and what they leave.

    Attributes
    ----------
    level : float
        Chance that is accepted [1].
    moves : DataFrame
        block, variety, days (later; earlier when negative) [d], date_now and date_then (middle),
        tonnes_p50 [t]; in the order of days.
    before, after : DataFrame
        As from ``capacity_table``.
    schedule : IntakeSchedule
        With the moves made.
    reached : bool
        Whether every period is at or under the level.
    method : str
        How the moves were found, and what is proved of them.
    message : str
        One or two sentences for the reader.
    """

    level: float
    moves: pd.DataFrame
    before: pd.DataFrame = field(repr=False)
    after: pd.DataFrame = field(repr=False)
    schedule: IntakeSchedule = field(repr=False)
    reached: bool
    method: str
    message: str
    evaluated: int = 0


def _window(value, name):
    pair = (-value, value) if np.isscalar(value) else tuple(value)
    whole = len(pair) == 2 and all(float(end) == int(end) for end in pair)
    if not whole or not -60 <= pair[0] <= 0 <= pair[1] <= 60:
        raise CroploadError(
            f"The window {value} of {name} must be days earlier (0 or below) and days later (0 or "
            "above), whole and at most 60 either way, like (-3, 7)."
        )
    return int(pair[0]), int(pair[1])


def _windows(schedule, windows):
    """Return {place of the block: days it may move, without 0} of blocks that may move."""
    usual = _window(int(handbook.value("intake.move_days")), "every block")
    given = {}
    if hasattr(windows, "items"):
        for block, value in windows.items():
            given[check_block(schedule, block)] = _window(value, f"block '{block}'")
    elif windows is not None:
        usual = _window(windows, "every block")
    middle = {}
    for (block, day, _), movable in zip(schedule.portions, schedule.movable, strict=True):
        if movable:
            middle[block] = min(middle.get(block, np.inf), float(np.median(day)))
    today = (pd.Timestamp(schedule.as_of) - pd.Timestamp(0)).days if schedule.as_of else -np.inf
    found = {}
    for block, day in middle.items():
        low, high = given.get(schedule.blocks[block], usual)
        days = [step for step in range(low, high + 1) if step and day + step > today]
        if days:
            found[block] = sorted(days, key=abs)
    return found


@arguments.check_arguments(
    schedule=arguments.kind("IntakeSchedule"),
    chance=arguments.optional(arguments.share),
    effort=arguments.whole(1),
)
def relieve(schedule, capacity, *, chance=None, windows=None, effort=20_000):
    """Find the fewest blocks to move, by the fewest days, so that no period is likely too full.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule``.
    capacity : DataFrame
        As table capacity.
    chance : float, optional
        Chance of going over a limit that is accepted [1]; the handbook's when left out.
    windows : int, (int, int) or dict, optional
        Days that picks may move [d]: 7 for a week either way, (-3, 7), or {block: window} with
        the handbook's for the rest; (0, 0) holds a block where it is.
    effort : int
        Most combinations looked at [1].

    Returns
    -------
    Relief

    Raises
    ------
    CroploadError
        For a chance outside 0 to 1, an unknown block or a window that cannot be.

    Notes
    -----
    The chance of a period is the share of draws over its limit, so shared seasons stay in it; it
    is no linear function of the moves. Up to 30 blocks are searched by branch and bound, which
    proves that no fewer blocks will do and that these move the fewest tonnes times days among
    them. With more blocks, or where that would take more than ``effort`` looks, the moves that
    help most are made sweep by sweep (help is measured in tonnes over the limit at the accepted
    chance), and then every single change and every exchange of a moved block for another is
    tried until none helps; fewer or smaller moves may exist then. ``.method`` says which.
    Whole picks move by whole days, all parts of a split pick together; what is picked stays, and
    periods that are over by ``as_of`` are left out of the aim.
    Valid for moves of so few days that the crop stays what it is.
    """
    level = handbook.value("intake.chance_of_excess") if chance is None else float(chance)
    if not 0 <= level < 1:
        raise CroploadError(f"The accepted chance must be from 0 to below 1, not {chance}.")
    before = capacity_table(schedule, capacity)
    limits, _ = limits_of(schedule, capacity)
    open_row = np.ones(len(limits.limit), bool)
    if schedule.as_of:
        open_row = limits.ends > (pd.Timestamp(schedule.as_of) - pd.Timestamp(0)).days
    windows = _windows(schedule, windows)
    sums = limited_sums(schedule, limits)[open_row]
    answer = search(
        schedule,
        windows,
        limits.starts[open_row],
        limits.ends[open_row],
        limits.limit[open_row],
        limits.member[open_row],
        sums,
        level,
        effort,
    )
    moved = {schedule.blocks[block]: days for block, days in answer.moves.items()}
    was = _worst(before, open_row)
    after = capacity_table(schedule.moved(moved), capacity)
    if _worst(after, open_row) > max(level + 1e-12, was - _HARDLY):
        moved, after = {}, before
    then, worst = schedule.moved(moved), _worst(after, open_row)
    return Relief(
        level=level,
        moves=_moves(schedule, moved),
        before=before,
        after=after,
        schedule=then,
        reached=bool(worst <= level + 1e-12),
        method=answer.method,
        message=" ".join(
            [
                _message(before[open_row], after[open_row], moved, level, answer),
                *(_too_big(schedule, limits, open_row, level) if worst > level + 1e-12 else ()),
            ]
        ),
        evaluated=answer.evaluated,
    )


def _worst(table, open_row):
    return table.loc[open_row, "chance_over"].max() if open_row.any() else 0.0


def _moves(schedule, moved):
    names, tonnes = schedule.totals("block")
    rows = []
    for name, step in moved.items():
        at = schedule.blocks.index(name)
        pairs = zip(schedule.portions, schedule.movable, strict=True)
        days = [np.median(day) for (block, day, _), movable in pairs if movable and block == at]
        now = pd.Timestamp(0) + pd.Timedelta(days=round(min(days)))
        rows.append((name, schedule.varieties[at], step, now, now + pd.Timedelta(days=step)))
    columns = ["block", "variety", "days", "date_now", "date_then"]
    frame = pd.DataFrame(rows, columns=columns)
    middle = dict(zip(names, np.median(tonnes, axis=1), strict=True))
    frame["tonnes_p50"] = [float(middle[name]) for name in moved]
    return frame.sort_values(["date_now", "block"], kind="stable", ignore_index=True)


def _too_big(schedule, limits, open_row, level):
    """Name blocks that no single day can take: only a split pick helps them."""
    names, found = [], {}
    for (block, _, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
        rows = open_row & limits.member[:, block]
        if movable and rows.any():
            found[block] = float((tonnes > limits.limit[rows].max()).mean())
    names = [
        f"{schedule.blocks[b]} ({_percent(share)})" for b, share in found.items() if share > level
    ]
    if names:
        yield (
            f"One pick alone is over the highest limit with a chance above {_percent(level)}: "
            f"{', '.join(names)}. Splitting it over two periods would help more than moving it."
        )


def _percent(share):
    return f"{100 * share:.0f} %"


def _message(before, after, moved, level, answer):
    if before.empty:
        return "No limit of intake lies ahead, so there is nothing to relieve."
    was, now = before["chance_over"].max(), after["chance_over"].max()
    if not moved and was <= level:
        return (
            f"No period goes over its limit with a chance above {_percent(level)}; the highest is "
            f"{_percent(was)}. Nothing needs to move."
        )
    count = f"{len(moved)} block" + ("s" if len(moved) != 1 else "")
    if now <= level + 1e-12:
        return (
            f"Moving {count} brings the highest chance of going over a limit from {_percent(was)} "
            f"to {_percent(now)}, at or under the {_percent(level)} accepted."
        )
    worst = after.loc[after["chance_over"].idxmax()]
    proof = (
        "No moves inside the windows reach it. "
        if answer.impossible
        else "No moves were found that reach it. "
    )
    best = f"The best found moves {count}" if moved else "No move makes it better"
    return (
        f"A chance of {_percent(level)} is not reached. {proof}{best}; the highest chance is then "
        f"{_percent(now)} (it was {_percent(was)}), in {worst['period']}. Wider windows, a higher "
        "limit or fruit sold elsewhere would have to give."
    )
