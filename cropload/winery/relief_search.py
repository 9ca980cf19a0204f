"""The search behind ``relieve``: branch and bound over blocks and days, or one move at a time."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

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

    def __init__(
        self, schedule, windows, starts, ends, limit, member, sums, level, effort, every=1
    ):
        sums = sums[:, ::every]
        self.starts, self.ends = starts[:, None], ends[:, None]
        self.limit, self.member, self.level = limit[:, None] + _EPSILON, member, level
        self.windows, self.base, self.effort, self.evaluated = windows, sums, effort, 0
        self.parts = {block: [] for block in windows}
        for (block, day, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
            if movable and block in self.parts:
                self.parts[block].append((day[::every], tonnes[::every]))
        self.mean = {b: sum(t.mean() for _, t in parts) for b, parts in self.parts.items()}
        self._change, self._best = {}, {}

    def inside(self, block, step):
        """Return what each limit counts of a block that is moved by some days, (limits, draws)."""
        total = 0.0
        for day, tonnes in self.parts[block]:
            moved = day + step
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
    # Many blocks are screened on fewer draws, with a little in hand for what those cannot see.
    thin = max(sums.shape[1] // _SCREEN_DRAWS, 1) if len(windows) > _MOST_EXACT else 1
    drawn = sums.shape[1] // thin
    aim = level - np.sqrt(level * (1 - level) / drawn) if thin > 1 else level
    screen = _Problem(
        schedule, windows, starts, ends, limit, member, sums, max(aim, 0.0), effort, thin
    )
    moves = _greedy(screen, effort)
    return Answer(moves, GREEDY, impossible, problem.evaluated + screen.evaluated)
