"""The search for moves of picking days: block by block, in pairs, and as an integer program."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from cropload.winery.cellar import kept_for, left_over
from cropload.winery.move_costs import priced
from cropload.winery.move_program import solve
from cropload.winery.turned_away import rows_of, turned_by_row

#: Most seasons looked at by the search, with tanks and presses too [1]; its answer is told of all.
_SEASONS, _WITH_CELLAR = 1000, 200
#: With more blocks fewer seasons are looked at, so that blocks times seasons stay so many [1].
_LOOKED_AT, _FEWEST = 60_000, 200
#: Most blocks of which pairs are tried [1].
_PAIRED = 12
#: A gain below this is none [t], nor, with many blocks, a round of less than this share [1].
_GAIN, _ROUND, _MANY = 1e-6, 0.01, 64


@dataclass(frozen=True)
class Found:
    """moves: {place of the block: days}; method: how they were found, and how near to the best."""

    moves: dict
    method: str


class MoveSearch:
    """Moves that cost least, where fruit without a place, moves and waiting have a price.

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
    costs : dict
        As from ``check_costs``.
    cellar : (DataFrame, DataFrame), optional
        Tanks and presses, which may be empty.
    """

    def __init__(self, schedule, limits, ahead, windows, costs, cellar=((), ())):
        self.rows, self.windows, self.costs = rows_of(limits, ahead), windows, costs
        self.varieties = schedule.varieties
        self.tanks, self.presses = (
            kept_for(what, table, dict.fromkeys(schedule.varieties))
            for what, table in zip(("tanks", "presses"), cellar, strict=True)
        )
        if not costs["wait"]:
            self.presses = [], {}
        self.has_cellar = bool(self.tanks[0] or self.presses[0])
        draws = schedule.undated.shape[1]
        most = min(max(_LOOKED_AT // max(len(windows), 1), _FEWEST), _SEASONS)
        most = min(most, _WITH_CELLAR) if self.has_cellar else most
        at = np.arange(0, draws, max(-(-draws // most), 1))
        self.open_days = schedule.open_days
        first, last = schedule.span
        far = 3 + max((abs(step) for steps in windows.values() for step in steps), default=0)
        self.first, self.days = first - far, last - first + 1 + 2 * far
        self.parts = {
            block: [(day[at], tonnes[at]) for day, tonnes in parts]
            for block, parts in schedule.movable_parts().items()
            if block in windows
        }
        self.cost = {
            block: costs["move"] * sum(t.mean() for _, t in parts) * np.abs(windows[block])
            for block, parts in self.parts.items()
        }
        self.near = {block: self._near(block, far) for block in self.parts}
        fixed = np.zeros((len(self.rows.limit), len(at)))
        kinds = dict.fromkeys(schedule.varieties) if self.has_cellar else ()
        arrives = {variety: np.zeros((self.days, len(at))) for variety in kinds}
        for (block, day, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
            if not (movable and block in windows):
                fixed += _counted(self.rows, block, day[at], tonnes[at])
                if self.has_cellar:
                    arrives[schedule.varieties[block]] += self._arriving(day[at], tonnes[at])
        self.fixed = Tally(fixed, arrives)

    def _near(self, block, far):
        """Return the places of the rows that a block can change, and these rows.

        Those around them are changed too, and those within them are needed; in small searches all
        are taken.
        """
        rows = self.rows
        if len(self.windows) <= _PAIRED:
            return np.arange(len(rows.limit)), rows
        first = min(int(day.min()) for day, _ in self.parts[block]) - far
        last = max(int(day.max()) for day, _ in self.parts[block]) + far
        near = set(
            np.flatnonzero((rows.starts <= last) & (rows.ends >= first) & rows.member[:, block])
        )
        for row, within in enumerate(rows.inside):
            if near.intersection(within):
                near.add(row)
        for row in sorted(near, reverse=True):
            near.update(rows.inside[row])
        places = np.array(sorted(near), int)
        return places, rows.only(places)

    def _arriving(self, day, tonnes):
        """Return what comes each day of picks on days (..., draws): (..., days, draws)."""
        found = np.zeros((*day.shape[:-1], self.days, day.shape[-1]))
        np.put_along_axis(
            found, day[..., None, :] - self.first, np.broadcast_to(tonnes, day.shape)[..., None, :],
            axis=-2,
        )  # fmt: skip
        return found

    def moved(self, block, steps):
        """Return a block moved by some days, as a Tally of arrays (steps, ..., draws)."""
        counted, arrives = 0.0, 0.0
        places, rows = self.near[block]
        for day, tonnes in self.parts[block]:
            then = [self.open_days(block, day + step) if step else day for step in steps]
            then = np.array(then)
            counted = counted + _counted(rows, block, then, tonnes)
            if self.has_cellar:
                arrives = arrives + self._arriving(then, tonnes)
        arrives = {self.varieties[block]: arrives} if self.has_cellar else {}
        return Tally(counted, arrives, places)

    def over(self, tally, rows=None):
        """Return the fruit over each row, and without a tank; and the nights it waits.

        Returns
        -------
        over : ndarray, shape (..., rows + 1, draws)
            [t]; the last without a tank, where there are tanks.
        waits : ndarray
            (..., draws) [t d]; one 0 where none counts.
        """
        over = turned_by_row(tally.counted, self.rows if rows is None else rows)
        if not self.has_cellar:
            return over, np.zeros(1)
        lead = over.shape[:-2]
        shape = (self.days, *lead, over.shape[-1])
        arrives = {
            variety: np.broadcast_to(
                np.moveaxis(each, -2, 0) if each.ndim > 2 or not lead else each[:, None], shape
            )
            for variety, each in tally.arrives.items()
        }
        left, waits = left_over(arrives, self.tanks, self.presses)
        if self.tanks[0]:
            left = np.broadcast_to(left, shape[1:])
            over = np.concatenate([over, left[..., None, :]], axis=-2)
        return over, waits

    def value(self, tally, rows=None):
        """Return what a tally costs in the mean, (...)."""
        over, waits = self.over(tally, rows)
        return priced(over, self.costs).sum(-1) + self.costs["wait"] * np.mean(waits, -1)

    def best(self, progress=None):
        """Return the moves found, and how; ``progress(done, total)`` is called after each round."""
        if not (len(self.rows.limit) or self.has_cellar) or not self.windows:
            return Found({}, "no search was needed, as nothing may move against a limit ahead")
        step = progress or (lambda done, total: None)
        chosen, value = self._in_turn(dict.fromkeys(self.windows, 0), step)
        paired = len(self.windows) <= _PAIRED and not self.has_cellar
        method = (
            "each block in turn to its best day until none helped"
            f"{', then pairs of blocks' if paired else ''}"
        )
        program = solve(self)
        if program is not None:
            theirs, bound, seasons = program
            if theirs is not None:
                theirs, better = self._in_turn(theirs, step)
                if better < value - _GAIN:
                    chosen, value = theirs, better
            few = self._tally(chosen).of(seasons)
            here = float(self.value(few)) + self._moving(chosen)
            t = "" if self.costs["short"] != 1 else " t"
            method += (
                f"; and a mixed-integer program over {len(seasons)} seasons: in these no choice of "
                f"moves comes below {bound:.2f}{t}, moves weighed in, and this one comes to "
                f"{here:.2f}{t}"
            )
        else:
            method += "; how much better others might be is not known"
        moves = {b: self.windows[b][at] for b, at in chosen.items() if self.windows[b][at]}
        return Found(moves, method)

    def _moving(self, chosen):
        return float(sum(self.cost[block][at] for block, at in chosen.items()))

    def _tally(self, chosen):
        tally = self.fixed
        for block, at in chosen.items():
            tally = tally.plus(self.moved(block, [self.windows[block][at]]).at(0))
        return tally

    def _in_turn(self, chosen, step):
        """Return the choice {block: place of its days} that no single block or pair betters."""
        chosen = dict(chosen)
        many = len(self.windows) > _MANY
        keep = {} if many else {b: self.moved(b, self.windows[b]) for b in self.windows}
        tally = self._tally(chosen)
        value = float(self.value(tally)) + self._moving(chosen)
        total = len(self.windows)
        while True:
            before = value
            for done, block in enumerate(self.windows):
                step(done, total)
                ways = keep[block] if block in keep else self.moved(block, self.windows[block])
                bare = tally.less(ways.at(chosen[block]))
                values = self.value(bare.of_rows(ways.places).plus(ways), self.near[block][1])
                values = values + self.cost[block]
                at = int(values.argmin())
                if values[at] < values[chosen[block]] - _GAIN:
                    value += float(values[at] - values[chosen[block]])
                    chosen[block], tally = at, bare.plus(ways.at(at))
            if value >= before - _GAIN and len(self.windows) <= _PAIRED and not self.has_cellar:
                chosen, value, tally = self._pairs(chosen, value, tally, keep)
            if value >= before - (max(_GAIN, _ROUND * before) if many else _GAIN):
                step(total, total)
                return chosen, value

    def _pairs(self, chosen, value, tally, keep):
        """Return the choice after the first two blocks that together better it, if any do."""
        for one, other in combinations(self.windows, 2):
            bare = tally.less(keep[one].at(chosen[one])).less(keep[other].at(chosen[other]))
            rest = sum(self.cost[b][at] for b, at in chosen.items() if b not in (one, other))
            for place in range(len(self.windows[one])):
                half = bare.plus(keep[one].at(place))
                values = self.value(half.plus(keep[other])) + self.cost[other]
                values = values + self.cost[one][place] + rest
                at = int(values.argmin())
                if values[at] < value - _GAIN:
                    chosen = chosen | {one: place, other: at}
                    return chosen, float(values[at]), half.plus(keep[other].at(at))
        return chosen, value, tally


@dataclass(frozen=True, eq=False)
class Tally:
    """What limits count and what comes by day, of all fruit or of one block.

    counted : (..., rows, draws) [t]; arrives : {variety: (..., days, draws) [t]}, empty where
    neither tanks nor presses count; places : the rows that it tells of, None for all.
    """

    counted: np.ndarray
    arrives: dict
    places: np.ndarray | None = None

    def _each(self, take):
        return Tally(take(self.counted), {v: take(a) for v, a in self.arrives.items()}, self.places)

    def at(self, place):
        """Return one of several ways."""
        return self._each(lambda each: each[place])

    def of(self, seasons):
        """Return some seasons of it."""
        return self._each(lambda each: each[..., seasons])

    def of_rows(self, places):
        """Return some rows of one that tells of all."""
        return Tally(self.counted[places], self.arrives, places)

    def plus(self, other, sign=1):
        """Return both together; the other may be several ways, of the same rows."""
        arrives = dict(self.arrives)
        for variety, each in other.arrives.items():
            arrives[variety] = arrives[variety] + sign * each
        if self.places is None and other.places is not None and other.counted.ndim == 2:
            counted = self.counted.copy()
            counted[other.places] += sign * other.counted
        else:
            counted = self.counted + sign * other.counted
        return Tally(counted, arrives, self.places)

    def less(self, other):
        """Return this one without the other."""
        return self.plus(other, -1)


def _counted(rows, block, day, tonnes):
    """Return what each row counts of picks on days (..., draws): (..., rows, draws)."""
    day = day[..., None, :]
    starts, ends = (each[:, None].astype(np.int32) for each in (rows.starts, rows.ends))
    return tonnes * ((day >= starts) & (day <= ends) & rows.member[:, block, None])
