"""The search for moves of picking days: block by block, in pairs, and as an integer program."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from cropload.winery.turned_away import rows_of, turned_away

#: Most seasons looked at by the search, and by the program [1]; its answer is told of all.
_SEASONS, _SAMPLED = 1000, 100
#: With more blocks fewer seasons are looked at, so that blocks times seasons stay so many [1].
_LOOKED_AT, _FEWEST = 60_000, 200
#: Most blocks of which pairs are tried, and most block-days times seasons of the program [1].
_PAIRED, _PROGRAM = 12, 120_000
#: Longest that the program may take [s].
_SECONDS = 10.0
#: A gain below this is none [t], nor, with many blocks, a round of less than this share [1].
_GAIN, _ROUND, _MANY = 1e-6, 0.01, 64


@dataclass(frozen=True)
class Found:
    """moves: {place of the block: days}; method: how they were found, and how near to the best."""

    moves: dict
    method: str


class MoveSearch:
    """Moves that leave the least fruit without a place, with what is moved weighed in.

    Parameters
    ----------
    schedule : IntakeSchedule
        As it stands.
    limits : Limits
        As from ``limits_of``.
    ahead : ndarray of bool, shape (limits,)
        Which of them count.
    windows : dict
        {place of the block: days it may move, 0 first}.
    worth : float
        Tonnes over that a tonne moved by a day must save [1/d].
    """

    def __init__(self, schedule, limits, ahead, windows, worth):
        self.rows, self.windows = rows_of(limits, ahead), windows
        self.starts, self.ends = (
            each[:, None].astype(np.int32) for each in (self.rows.starts, self.rows.ends)
        )
        draws = schedule.undated.shape[1]
        most = min(max(_LOOKED_AT // max(len(windows), 1), _FEWEST), _SEASONS)
        at = np.arange(0, draws, max(-(-draws // most), 1))
        self.open_days = schedule.open_days
        self.parts = {
            block: [(day[at], tonnes[at]) for day, tonnes in parts]
            for block, parts in schedule.movable_parts().items()
            if block in windows
        }
        self.cost = {
            block: worth * sum(t.mean() for _, t in parts) * np.abs(windows[block])
            for block, parts in self.parts.items()
        }
        self.fixed = np.zeros((len(self.rows.limit), len(at)))
        for (block, day, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
            if not (movable and block in windows):
                self.fixed += self._counted(block, day[at], tonnes[at])

    def _counted(self, block, day, tonnes):
        """Return what each row counts of picks on days (..., draws): (..., rows, draws)."""
        rows, day = self.rows, day[..., None, :]
        inside = (day >= self.starts) & (day <= self.ends) & rows.member[:, block, None]
        return tonnes * inside

    def inside(self, block):
        """Return what each row counts of a block for each day it may move, (days, rows, draws)."""
        return self._moved(block, self.windows[block])

    def _moved(self, block, steps):
        """Return what each row counts of a block moved by some days, (days, rows, draws)."""
        total = 0.0
        for day, tonnes in self.parts[block]:
            then = [self.open_days(block, day + step) if step else day for step in steps]
            total = total + self._counted(block, np.array(then), tonnes)
        return total

    def value(self, sums):
        """Return the mean tonnes over [t] of sums (..., rows, draws)."""
        return turned_away(sums, self.rows).mean(-1)

    def best(self):
        """Return the moves found, and how."""
        if not len(self.rows.limit) or not self.windows:
            return Found({}, "no search was needed, as nothing may move against a limit ahead")
        nothing = dict.fromkeys(self.windows, 0)
        chosen, value = self._in_turn(nothing)
        method = (
            "each block in turn to its best day until none helped"
            f"{', then pairs of blocks' if len(self.windows) <= _PAIRED else ''}"
        )
        program = self._program()
        if program is not None:
            theirs, bound, seasons = program
            if theirs is not None:
                theirs, better = self._in_turn(theirs)
                if better < value - _GAIN:
                    chosen, value = theirs, better
            here = self._of_sample(chosen, seasons)
            method += (
                f"; and a mixed-integer program over {len(seasons)} seasons: in these no choice of "
                f"moves comes below {bound:.2f} t, moves weighed in, and this one comes to "
                f"{here:.2f} t"
            )
        else:
            method += "; how much better others might be is not known"
        moves = {b: self.windows[b][at] for b, at in chosen.items() if self.windows[b][at]}
        return Found(moves, method)

    def _in_turn(self, chosen):
        """Return the choice {block: place of its days} that no single block or pair betters."""
        chosen = dict(chosen)
        many = len(self.windows) > _MANY
        keep = {} if many else {b: self.inside(b) for b in self.windows}

        def inside(block):
            return keep[block] if block in keep else self.inside(block)

        sums = self.fixed + sum(
            self._moved(b, [self.windows[b][at]])[0] for b, at in chosen.items()
        )
        value = float(self.value(sums)) + sum(self.cost[b][at] for b, at in chosen.items())
        while True:
            before, cost = value, sum(self.cost[b][at] for b, at in chosen.items())
            for block in self.windows:
                ways = inside(block)
                bare = sums - ways[chosen[block]]
                rest = cost - self.cost[block][chosen[block]]
                values = self.value(bare + ways) + self.cost[block] + rest
                at = int(values.argmin())
                if values[at] < value - _GAIN:
                    chosen[block], value, sums = at, float(values[at]), bare + ways[at]
                    cost = rest + self.cost[block][at]
            if value >= before - _GAIN and len(self.windows) <= _PAIRED:
                chosen, value, sums = self._pairs(chosen, value, sums, keep)
            if value >= before - (max(_GAIN, _ROUND * before) if many else _GAIN):
                return chosen, value

    def _pairs(self, chosen, value, sums, keep):
        """Return the choice after the first two blocks that together better it, if any do."""
        for one, other in combinations(self.windows, 2):
            bare = sums - keep[one][chosen[one]] - keep[other][chosen[other]]
            rest = sum(self.cost[b][at] for b, at in chosen.items() if b not in (one, other))
            for place, way in enumerate(keep[one]):
                values = self.value(bare + way + keep[other]) + self.cost[other]
                values = values + self.cost[one][place] + rest
                at = int(values.argmin())
                if values[at] < value - _GAIN:
                    chosen = chosen | {one: place, other: at}
                    return chosen, float(values[at]), bare + way + keep[other][at]
        return chosen, value, sums

    def _of_sample(self, chosen, seasons):
        sums = self.fixed[:, seasons]
        for block, at in chosen.items():
            sums = sums + self._moved(block, [self.windows[block][at]])[0][:, seasons]
        return float(self.value(sums)) + sum(self.cost[b][at] for b, at in chosen.items())

    def _program(self):
        """Return a choice, the least that any can come to [t], and the seasons; None if too big."""
        ways = sum(map(len, self.windows.values()))
        seasons = min(_SAMPLED, self.fixed.shape[1], _PROGRAM // max(ways, 1))
        if seasons < 20:
            return None
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        places = np.linspace(0, self.fixed.shape[1] - 1, seasons).astype(int)
        count, rows = len(self.rows.limit), self.rows
        of_row = np.arange(count * seasons).reshape(count, seasons)
        at, to, values, cost, one = [], [], [], [], []
        for number, block in enumerate(self.windows):
            for step, counted in enumerate(self.inside(block)[:, :, places]):
                row, season = np.nonzero(counted)
                at.append(of_row[row, season])
                to.append(np.full(len(row), len(cost)))
                values.append(counted[row, season])
                cost.append(self.cost[block][step])
                one.append(number)
        # What a row turns away, and what the rows within it do, is taken off what it counts.
        for row in range(count):
            for other in (row, *rows.inside[row]):
                at.append(of_row[row])
                to.append(ways + of_row[other])
                values.append(np.full(seasons, -1.0))
        size = ways + count * seasons
        held = coo_array(
            (np.concatenate(values), (np.concatenate(at), np.concatenate(to))),
            shape=(count * seasons, size),
        ).tocsr()
        room = (rows.limit[:, None] - self.fixed[:, places]).ravel()
        each = coo_array(
            (np.ones(ways), (one, np.arange(ways))), shape=(len(self.windows), size)
        ).tocsr()
        answer = milp(
            np.concatenate([cost, np.full(count * seasons, 1 / seasons)]),
            constraints=[LinearConstraint(held, ub=room), LinearConstraint(each, 1, 1)],
            integrality=np.arange(size) < ways,
            bounds=Bounds(0, np.where(np.arange(size) < ways, 1, np.inf)),
            options={"time_limit": _SECONDS},
        )
        bound = answer.get("mip_dual_bound")
        if bound is None or not np.isfinite(bound):
            return None
        chosen = None
        if answer.x is not None:
            picked = np.split(answer.x[:ways], np.cumsum([*map(len, self.windows.values())])[:-1])
            chosen = {b: int(part.argmax()) for b, part in zip(self.windows, picked, strict=True)}
        return chosen, float(bound), places
