"""Which blocks could be picked earlier or later, so that no period is likely to be too full.

The search is branch and bound over blocks and days, or one move at a time.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs.meant import check_block
from cropload.errors import CroploadError
from cropload.units import METRIC, unit_system
from cropload.winery.capacity import Capacity, capacity_table
from cropload.winery.fit import fit_of
from cropload.winery.limits import ahead_of, limited_sums, limits_of, named_days
from cropload.winery.schedule import IntakeSchedule

CAUTION = (
    "Days are only moved on the calendar: ripeness, health of the fruit, weather and the contract "
    "decide whether a block may wait or come early. Ask whoever makes the wine."
)

#: Most days that a pick may move either way [d].
_FARTHEST = 60
#: Days around the span that a moved pick, kept clear of closed days, may come to lie on [d].
_BEYOND = _FARTHEST + 3
#: Where the level is out of reach, the worst chance must fall by this for moves to be made [1].
_HARDLY = 0.01
_EPSILON = 1e-9
#: More blocks than this are not searched exhaustively, and so many are looked at a step [1].
_MOST_EXACT, _MOST_GREEDY = 30, 40
#: With more blocks the search looks at about so many draws; its answer is checked on all.
_SCREEN_DRAWS = 800
#: Where the level is out of reach, moves are taken back that together matter less than this [1].
_NEGLIGIBLE = 0.05

EXACT = (
    "exact search (branch and bound over blocks and whole days): no fewer blocks will do, and "
    "no choice of as many blocks moves fewer tonnes times days"
)
GREEDY = (
    "the moves that help most, sweep by sweep, then every single change and every exchange of a "
    "moved block tried until none helped; fewer or smaller moves may exist"
)
NEEDLESS = "no search was needed"


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Relief(Answer):
    """Moves of picking days that bring chances of excess down, and what they leave.

    Attributes
    ----------
    frame : DataFrame
        block, variety, days (later; earlier when negative) [d], date_now and date_then (middle),
        tonnes_p50 [t]; in the order of days.
    level : float
        Chance that is accepted [1].
    before, after : Capacity
        As from ``capacity_table``.
    fits : (Fit, Fit)
        The fit before and after, on every measure of ``fit_of``.
    schedule : IntakeSchedule
        With the moves made.
    ahead : ndarray of bool, shape (limits,)
        Which limits still lie ahead; only these are relieved.
    reached : bool
        Whether every period is at or under the level.
    method : str
        How the moves were found, and what is proved of them.
    impossible : bool
        Whether it is proved that no moves inside the windows reach the level.
    too_big : dict
        {block: chance that it alone is over the highest limit [1]}, where that is above the level.
    evaluated : int
        Combinations looked at [1].
    """

    level: float
    before: Capacity
    after: Capacity
    fits: tuple
    schedule: IntakeSchedule
    ahead: np.ndarray
    reached: bool
    method: str
    impossible: bool
    too_big: dict
    evaluated: int = 0

    def heading(self, units=METRIC):
        """Return what the moves change, in one to three sentences."""
        from cropload.winery.words import relief_sentence

        return relief_sentence(self)

    def tables(self, units=METRIC):
        """Return the moves, when there are any, and every measure and limit now and then."""
        from cropload.winery import tables

        moves = [tables.moves_table(self)] if len(self.frame) else []
        return [
            *moves,
            tables.before_after_table(self, unit_system(units)),
            tables.chances_table(self),
        ]

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
    """Return {place of the block: days it may move, without 0} of blocks that may move.

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
    middle = {
        block: min(float(np.median(day)) for day, _ in parts)
        for block, parts in _movable_parts(schedule).items()
    }
    today = (pd.Timestamp(schedule.as_of) - pd.Timestamp(0)).days if schedule.as_of else -np.inf
    nowhere = _nowhere(schedule, limits)
    found = {}
    for block, day in middle.items():
        low, high = given.get(schedule.blocks[block], usual)
        now = nowhere(block, 0) + _EPSILON
        days = [
            step
            for step in range(low, high + 1)
            if step and day + step > today and nowhere(block, step) <= now
        ]
        if days:
            found[block] = sorted(days, key=abs)
    return found


def _nowhere(schedule, limits):
    """Return a function of a block and days moved: its mean fruit on days no limit names [t]."""
    named = named_days(schedule, limits, beyond=_BEYOND)
    first = schedule.span[0] - _BEYOND
    parts = _movable_parts(schedule)

    def found(block, step):
        days = named[schedule.varieties[block]]
        moved = [(schedule.open_days(block, day + step), tonnes) for day, tonnes in parts[block]]
        return sum(float((tonnes * ~days[day - first]).mean()) for day, tonnes in moved)

    return found


def _movable_parts(schedule):
    """Return {place of the block: [(days, tonnes) of each portion that may move]}."""
    found = {}
    for (block, day, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
        if movable:
            found.setdefault(block, []).append((day, tonnes))
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
    schedule, capacity : IntakeSchedule, DataFrame
        As from ``intake_schedule``, and as table capacity.
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
        ``.frame`` has one row a block that moves; ``print`` says what the moves bring.

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
    No move puts more of a block's fruit on days that no row of the limits names for it.
    Whole picks move by whole days, all parts of a split pick together; what is picked stays, and
    periods that are over by ``as_of`` are left out of the aim.
    Valid for moves of so few days that the crop stays what it is.
    """
    level = handbook.value("intake.chance_of_excess") if chance is None else float(chance)
    if not 0 <= level < 1:
        raise CroploadError(f"The accepted chance must be from 0 to below 1, not {chance}.")
    before = capacity_table(schedule, capacity)
    limits, _ = limits_of(schedule, capacity)
    ahead = ahead_of(schedule, limits)
    windows = _windows(schedule, windows, limits)
    sums = limited_sums(schedule, limits)[ahead]
    result = _search(
        schedule,
        windows,
        limits.starts[ahead],
        limits.ends[ahead],
        limits.limit[ahead],
        limits.member[ahead],
        sums,
        level,
        effort,
    )
    moved = {schedule.blocks[block]: days for block, days in result.moves.items()}
    then = schedule.moved(moved)
    after = capacity_table(then, capacity)
    if _worst(after, ahead) > max(level + 1e-12, _worst(before, ahead) - _HARDLY):
        moved, then, after = {}, schedule, before
    reached = bool(_worst(after, ahead) <= level + 1e-12)
    fits = fit_of(schedule, capacity), fit_of(then, capacity)
    return Relief(
        frame=_moves(schedule, moved),
        fits=fits,
        notes=(f"How: {result.method}.", CAUTION),
        level=level,
        before=before,
        after=after,
        schedule=then,
        ahead=ahead,
        reached=reached,
        method=result.method,
        impossible=result.impossible,
        too_big={} if reached else _too_big(schedule, limits, ahead, level),
        evaluated=result.evaluated,
    )


def _worst(table, ahead):
    return table.frame.loc[ahead, "chance_over"].max() if ahead.any() else 0.0


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


def _too_big(schedule, limits, ahead, level):
    """Return {block: chance} of blocks that no single day can take: only a split pick helps."""
    chances = {}
    for (block, _, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
        rows = ahead & limits.member[:, block]
        if movable and rows.any():
            chances[schedule.blocks[block]] = float((tonnes > limits.limit[rows].max()).mean())
    return {name: chance for name, chance in chances.items() if chance > level}


@dataclass(frozen=True)
class _Moves:
    """moves: {place of the block: days}; impossible: proved that the windows cannot do it."""

    moves: dict
    method: str
    impossible: bool = False
    evaluated: int = 0


class _Spent(Exception):
    """The effort allowed is used up."""


class _Problem:
    """Contributions of moved blocks to the limits, and how full these are."""

    def __init__(
        self, schedule, windows, starts, ends, limit, member, sums, level, effort, every=1
    ):
        sums = sums[:, ::every]
        self.starts, self.ends = starts[:, None], ends[:, None]
        self.open_days = schedule.open_days
        self.limit, self.member, self.level = limit[:, None] + _EPSILON, member, level
        self.windows, self.base, self.effort, self.evaluated = windows, sums, effort, 0
        self.parts = {
            block: [(day[::every], tonnes[::every]) for day, tonnes in parts]
            for block, parts in _movable_parts(schedule).items()
            if block in windows
        }
        self.mean = {b: sum(t.mean() for _, t in parts) for b, parts in self.parts.items()}
        self._change, self._best = {}, {}

    def inside(self, block, step):
        """Return what each limit counts of a block that is moved by some days, (limits, draws)."""
        total = 0.0
        for day, tonnes in self.parts[block]:
            moved = self.open_days(block, day + step) if step else day
            total = total + tonnes * ((moved >= self.starts) & (moved <= self.ends))
        return total * self.member[:, block, None]

    def change(self, block, step):
        """Return the change of what each limit counts when a block moves, (limits, draws)."""
        if not step:
            return 0.0
        if block not in self._change:
            if len(self._change) >= _MOST_GREEDY:
                self._change.pop(next(iter(self._change)))
            now = self.inside(block, 0)
            self._change[block] = {
                s: (self.inside(block, s) - now).astype(np.float32) for s in self.windows[block]
            }
        return self._change[block][step]

    def best(self, block):
        """Return the least change that any move of a block can bring, draw by draw."""
        if block not in self._best:
            least = np.minimum.reduce([self.change(block, s) for s in self.windows[block]])
            self._best[block] = np.minimum(least, 0)
        return self._best[block]

    def excess(self, sums):
        """Return by how much chances lie above the level, summed over the limits [1]."""
        self.evaluated += 1
        chance = np.count_nonzero(sums > self.limit, axis=1) / sums.shape[1]
        over = chance - self.level
        return float(over[over > 1e-12].sum())

    def gap(self, sums):
        """Return the tonnes that chances lie above the level by, summed over the limits [t].

        The chance of a limit is at most the level when the quantile of that level is at most the
        limit; how far it lies above falls with every tonne moved, where the chance may not yet.
        """
        self.evaluated += 1
        draws = sums.shape[1]
        allowed = int(self.level * draws + _EPSILON)
        rows = np.count_nonzero(sums > self.limit, axis=1) > allowed
        if not rows.any():
            return 0.0
        place = draws - 1 - allowed
        return float((np.partition(sums[rows], place)[:, place] - self.limit[rows, 0]).sum())

    def cost(self, moves):
        """Return tonnes times days moved [t d]."""
        return sum(self.mean[block] * abs(step) for block, step in moves.items())

    def spend(self):
        if self.evaluated > self.effort:
            raise _Spent


def _assign(problem, blocks, sums, bounds, moves, best):
    """Give the blocks their days one by one; branches that cannot do it or cost more are cut."""
    problem.spend()
    block, rest = blocks[0], blocks[1:]
    for step in problem.windows[block]:
        tried = {**moves, block: step}
        cost = problem.cost(tried) + sum(problem.mean[b] for b in rest)
        if best and cost >= best[0] - _EPSILON:
            break
        now = sums + problem.change(block, step)
        if problem.excess(now + bounds[len(tried)] if rest else now) > 0:
            continue
        best = _assign(problem, rest, now, bounds, tried, best) if rest else (cost, tried)
    return best


def _exact(problem):
    """Return the moves with the fewest blocks and then the fewest tonnes times days, or None."""
    blocks = sorted(problem.windows, key=lambda b: -problem.mean[b])
    if problem.excess(problem.base + sum(problem.best(b) for b in blocks)) > 0:
        return None
    for count in range(1, len(blocks) + 1):
        found = ()
        for chosen in combinations(blocks, count):
            problem.spend()
            # What the blocks after the first, second, ... could at best take away.
            bounds, total = [0.0] * (count + 1), 0.0
            for place in range(count - 1, -1, -1):
                bounds[place + 1] = total
                total = total + problem.best(chosen[place])
            if problem.excess(problem.base + total) > 0:
                continue
            found = _assign(problem, chosen, problem.base, bounds, {}, found)
        if found:
            return found[1]
    return None


def _candidates(problem, moves, sums):
    """Return the blocks worth a look: those moved, and those with most fruit in full periods."""
    full = np.count_nonzero(sums > problem.limit, axis=1) / sums.shape[1] > problem.level
    weight = {
        block: float(problem.inside(block, moves.get(block, 0))[full].mean()) if full.any() else 0.0
        for block in problem.windows
    }
    order = sorted(weight, key=lambda b: -weight[b])
    return list(dict.fromkeys([*moves, *order[:_MOST_GREEDY]]))


def _changes(problem, moves, sums, look, stop):
    """Return the best change of each block from some moves, best first: (rank, block, step)."""
    found = []
    for block in look:
        bare = sums - problem.change(block, moves.get(block, 0))
        others = {b: s for b, s in moves.items() if b != block}
        best = None
        for step in (0, *problem.windows[block]):
            if problem.evaluated > stop or step == moves.get(block, 0):
                continue
            tried = {**others, block: step} if step else others
            key = _rank(problem, tried, bare + problem.change(block, step))
            if best is None or key < best[0]:
                best = (key, block, step)
        if best:
            found.append(best)
    return sorted(found)


def _rank(problem, moves, sums):
    return round(problem.gap(sums), 6), len(moves), problem.cost(moves)


def _with(problem, moves, sums, block, step):
    """Return moves and sums with one block moved otherwise."""
    then = sums - problem.change(block, moves.get(block, 0)) + problem.change(block, step)
    others = {b: s for b, s in moves.items() if b != block}
    return ({**others, block: step} if step else others), then


def _greedy(problem, budget):
    """Return moves found sweep by sweep, then improved by single changes and exchanges."""
    moves, sums = {}, problem.base
    start = problem.gap(sums)
    rank, stop = (start, 0, 0.0), problem.evaluated + budget
    while problem.evaluated <= stop:
        before = rank
        look = _candidates(problem, moves, sums)
        changes = _changes(problem, moves, sums, look, stop)
        least = (rank[0] - changes[0][0][0]) / 2 if changes else 0.0
        for _, block, step in changes:
            tried, then = _with(problem, moves, sums, block, step)
            key = _rank(problem, tried, then)
            # The best change is made, and of the others those that still help half as much.
            if key < rank and (rank == before or (rank[0] > 0 and rank[0] - key[0] >= least > 0)):
                rank, moves, sums = key, tried, then
        if rank == before:
            best = None
            for block in moves:
                others, bare = _with(problem, moves, sums, block, 0)
                rest = [b for b in look if b != block]
                for key, other, step in _changes(problem, others, bare, rest, stop)[:1]:
                    if key < rank and (best is None or key < best[0]):
                        best = (key, *_with(problem, others, bare, other, step))
            if best is None:
                break
            rank, moves, sums = best
    return moves if rank[0] <= 0 else _worth_it(problem, moves, sums, rank[0], start)


def _worth_it(problem, moves, sums, gap, start):
    """Take back moves that hardly matter, where the level is out of reach."""
    while moves:
        without = {b: sums - problem.change(b, step) for b, step in moves.items()}
        gaps = {b: problem.gap(then) for b, then in without.items()}
        block = min(gaps, key=gaps.get)
        if gaps[block] > gap + _NEGLIGIBLE * (start - gap):
            break
        sums = without[block]
        moves = {b: step for b, step in moves.items() if b != block}
    return moves


def _search(schedule, windows, starts, ends, limit, member, sums, level, effort):
    """Search for the moves; limits as in ``Limits``, ``sums`` (limits, draws) [t] as they are."""
    problem = _Problem(schedule, windows, starts, ends, limit, member, sums, level, effort)
    if not len(sums) or problem.excess(problem.base) <= 0:
        return _Moves({}, NEEDLESS, evaluated=problem.evaluated)
    if not windows:
        return _Moves({}, "no block may move", True, problem.evaluated)
    impossible = False
    if len(windows) <= _MOST_EXACT:
        try:
            moves = _exact(problem)
        except _Spent:
            moves = None
        else:
            if moves is not None:
                return _Moves(moves, EXACT, False, problem.evaluated)
            impossible = True
    # Many blocks are screened on fewer draws, with a little in hand for what those cannot see.
    thin = max(sums.shape[1] // _SCREEN_DRAWS, 1) if len(windows) > _MOST_EXACT else 1
    drawn = sums.shape[1] // thin
    aim = level - np.sqrt(level * (1 - level) / drawn) if thin > 1 else level
    screen = _Problem(
        schedule, windows, starts, ends, limit, member, sums, max(aim, 0.0), effort, thin
    )
    moves = _greedy(screen, effort)
    return _Moves(moves, GREEDY, impossible, problem.evaluated + screen.evaluated)
