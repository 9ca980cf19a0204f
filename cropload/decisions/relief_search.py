"""The search behind ``relieve``: branch and bound over blocks and days, or one move at a time."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

_EPSILON = 1e-9
#: More blocks than this are not searched exhaustively, and so many are looked at a step [1].
_MOST_EXACT, _MOST_GREEDY = 30, 40
#: Where the level is out of reach, one more block must take this much off the summed excess [1].
_WORTH = 0.005

EXACT = (
    "exact search (branch and bound over blocks and whole days): no fewer blocks will do, and "
    "no choice of as many blocks moves fewer tonnes times days"
)
GREEDY = (
    "one move after another that helps most, then every single change and every exchange of a "
    "moved block tried until none helped; fewer or smaller moves may exist"
)
NEEDLESS = "no search was needed"


@dataclass(frozen=True)
class Answer:
    """moves: {place of the block: days}; impossible: proved that the windows cannot do it."""

    moves: dict
    method: str
    impossible: bool = False
    evaluated: int = 0


class _Spent(Exception):
    """The effort allowed is used up."""


class _Problem:
    """Contributions of moved blocks to the limits, and how full these are."""

    def __init__(self, schedule, windows, starts, ends, limit, member, sums, level, effort):
        self.starts, self.ends = starts[:, None], ends[:, None]
        self.limit, self.member, self.level = limit[:, None] + _EPSILON, member, level
        self.windows, self.base, self.effort, self.evaluated = windows, sums, effort, 0
        self.parts = {block: [] for block in windows}
        for (block, day, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
            if movable and block in self.parts:
                self.parts[block].append((day, tonnes))
        self.mean = {b: sum(t.mean() for _, t in parts) for b, parts in self.parts.items()}
        self._change, self._best = {}, {}

    def _inside(self, block, step):
        total = 0.0
        for day, tonnes in self.parts[block]:
            moved = day + step
            total = total + tonnes * ((moved >= self.starts) & (moved <= self.ends))
        return total * self.member[:, block, None]

    def change(self, block, step):
        """Return the change of tonnes that each limit counts when a block moves, (limits, draws)."""
        if not step:
            return 0.0
        if block not in self._change:
            if len(self._change) >= _MOST_GREEDY:
                self._change.pop(next(iter(self._change)))
            now = self._inside(block, 0)
            self._change[block] = {
                s: (self._inside(block, s) - now).astype(np.float32) for s in self.windows[block]
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


def _greedy(problem, budget):
    """Return moves found one at a time, then improved by single changes and exchanges."""
    moves, sums = {}, problem.base
    state = (problem.excess(sums), 0, 0.0)
    stop = problem.evaluated + budget

    def rank(now, tried):
        return (round(problem.excess(now), 9), len(tried), problem.cost(tried))

    def helps(found):
        if found is None or found[0] >= state:
            return False
        more = found[0][1] - state[1]
        return found[0][0] == 0 or state[0] - found[0][0] >= _WORTH * max(more, 0)

    def candidates():
        full = np.count_nonzero(sums > problem.limit, axis=1) / sums.shape[1] > problem.level
        weight = {}
        for block in problem.windows:
            inside = problem._inside(block, moves.get(block, 0))
            weight[block] = float(inside[full].mean()) if full.any() else 0.0
        order = sorted(weight, key=lambda b: -weight[b])
        return list(dict.fromkeys([*moves, *order[:_MOST_GREEDY]]))

    def single(start, now, look, without=()):
        """Return the best state one change away from some moves."""
        found = None
        for block in look:
            if block in without:
                continue
            bare = now - problem.change(block, start.get(block, 0))
            others = {b: s for b, s in start.items() if b != block}
            for step in (0, *problem.windows[block]):
                if problem.evaluated > stop or step == start.get(block, 0):
                    continue
                tried = {**others, block: step} if step else others
                then = bare + problem.change(block, step)
                key = rank(then, tried)
                if found is None or key < found[0]:
                    found = (key, tried, then)
        return found

    while problem.evaluated <= stop:
        look = candidates()
        found = single(moves, sums, look)
        if not helps(found):
            found = None
            for block in list(moves):
                others = {b: s for b, s in moves.items() if b != block}
                swapped = single(others, sums - problem.change(block, moves[block]), look, (block,))
                if swapped and (found is None or swapped[0] < found[0]):
                    found = swapped
        if not helps(found):
            break
        state, moves, sums = found
    return moves


def search(schedule, windows, starts, ends, limit, member, sums, level, effort):
    """Search for the moves; see ``relieve`` for what is asked and how it is done.

    Parameters
    ----------
    schedule : IntakeSchedule
        Before any move.
    windows : dict
        {place of the block: days it may move [d]}.
    starts, ends, limit, member : ndarray
        Limits, as in ``Limits``.
    sums : ndarray
        What each limit counts now, (limits, draws) [t].
    level : float
        Chance that is accepted [1].
    effort : int
        Most combinations looked at [1].

    Returns
    -------
    Answer
    """
    problem = _Problem(schedule, windows, starts, ends, limit, member, sums, level, effort)
    if not len(sums) or problem.excess(problem.base) <= 0:
        return Answer({}, NEEDLESS, evaluated=problem.evaluated)
    if not windows:
        return Answer({}, "no block may move", True, problem.evaluated)
    impossible = False
    if len(windows) <= _MOST_EXACT:
        try:
            moves = _exact(problem)
        except _Spent:
            moves = None
        else:
            if moves is not None:
                return Answer(moves, EXACT, False, problem.evaluated)
            impossible = True
    moves = _greedy(problem, effort)
    return Answer(moves, GREEDY, impossible, problem.evaluated)
