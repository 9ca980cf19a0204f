"""The mix: the plan for each block that brings most within what the owner bears, solved exactly.

A choice of one plan a block is a linear program with whole numbers. What a crop beyond a contract
earns, and the mean of the worst tenth of the years (Rockafellar and Uryasev, 2000, Journal of Risk
2:21), are linear in it too, a line a draw: so it is solved over a sample of the draws, and says so.
"""

import ctypes
import os
import sys
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError

#: Draws the mix is sought on, the first ones of all [1]; what it brings is told on all of them.
SAMPLE = 400
#: Longest search of one mix [s]; the gap then says how much better another one could be.
_SECONDS = 20
#: The limit on the worst year, as a rule is named.
WORST_YEAR = "worst year"
#: Share of the years whose mean is the worst year.
_TENTH = 0.1


@dataclass(frozen=True)
class Limits:
    """What the owner bears; what is left at None sets no limit.

    worst_year : least that may be left in the worst year in ten, the mean of the worst tenth of
        the years, once settled [currency; t where no price is known].
    hours : pruning hours that there are [h], of the minutes told with the costs.
    ceilings : {block or variety: most it may bear, in the mean of the years once settled} [t/ha].
    area_out : area that may leave its bands, or get further out of them, less what comes nearer,
        as a share of the whole [1]; the handbook's ``mix.area_out`` when left out.
    """

    worst_year: float | None = None
    hours: float | None = None
    ceilings: dict = field(default_factory=dict)
    area_out: float = field(default_factory=lambda: handbook.value("mix.area_out"))

    def __post_init__(self):
        faults = []
        numbers = {"hours": self.hours, "area_out": self.area_out}
        numbers |= {f"ceiling of {name}": value for name, value in self.ceilings.items()}
        for name, value in numbers.items():
            if value is not None and not (_real(value) and value >= 0):
                faults.append(f"The limit {name} must be a number of 0 or more, not {value!r}.")
        if self.worst_year is not None and not _real(self.worst_year):
            faults.append(f"The limit worst_year must be a number, not {self.worst_year!r}.")
        if faults:
            raise CroploadError("\n".join(faults))


def _real(value):
    kinds = (int, float, np.number)
    return isinstance(value, kinds) and not isinstance(value, bool) and np.isfinite(value)


@dataclass(frozen=True, eq=False)
class Rule:
    """A limit that is a sum over the blocks: ``use`` of each plan, ``most`` in all.

    use : ndarray, shape (scenarios, blocks); ``name`` in words; unit of both as the name says.
    """

    name: str
    use: np.ndarray
    most: float

    def used(self, picks):
        """Return what a choice uses of it."""
        return float(self.use[picks, np.arange(len(picks))].sum())


@dataclass(frozen=True, eq=False)
class Mix:
    """A choice of plans, and what is sure of it.

    Attributes
    ----------
    picks : ndarray of int, shape (blocks,)
        Scenario whose plan each block has.
    value : float
        What it brings over the seasons on the sample, in the mean [currency or t].
    gap : float
        By how much another choice could be better at most, as a share [1].
    held : bool
        Whether all limits hold; where none can, the picks are the first scenario's.
    costs : tuple of (str, float)
        Each limit that binds, and what the best mix without it would bring more [currency or t];
        where limits do not hold, each that no mix holds, and NaN.
    """

    picks: np.ndarray
    value: float
    gap: float
    held: bool
    costs: tuple = ()


@contextmanager
def without_words():
    """Keep off the standard output what the solver's compiled code prints past Python."""
    try:
        sys.stdout.flush()
        kept = os.dup(1)
    except (OSError, AttributeError):
        # There is no standard output, as in a program without a console.
        yield
        return
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.close(nowhere)
        yield
    finally:
        _flush_compiled()
        os.dup2(kept, 1)
        os.close(kept)


def _flush_compiled():
    """Have the C library write what it holds back; without one that says so, it is left."""
    with suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).fflush(None)


@dataclass(frozen=True, eq=False)
class Question:
    """What a mix is chosen from.

    Attributes
    ----------
    pay : Pay
        Prices and costs.
    seasons : ndarray, shape (seasons, scenarios, blocks, draws)
        Crops of the seasons that are added up, a sample of draws [t].
    weights : ndarray, shape (seasons,)
        What each season counts [1].
    settled : ndarray, shape (scenarios, blocks, draws)
        Crop of the season whose worst year is looked at [t].
    allowed : ndarray of bool, shape (scenarios, blocks)
        Plans to choose from, each once.
    """

    pay: object
    seasons: np.ndarray
    weights: np.ndarray
    settled: np.ndarray
    allowed: np.ndarray

    def best(self, rules=(), worst_year=None):
        """Return the Mix that brings most and holds the rules and the worst year.

        Parameters
        ----------
        rules : sequence of Rule
            Limits that are sums over the blocks.
        worst_year : float, optional
            As in `Limits`.

        Notes
        -----
        Valid to the gap of the solver (HiGHS in scipy), which is nothing unless it runs out of
        time.
        """
        free = self._solve((), None)
        if self._holds(free, rules, worst_year):
            return free
        mix = self._solve(rules, worst_year)
        limits = [(rule.name, ([r for r in rules if r is not rule], worst_year)) for rule in rules]
        if worst_year is not None:
            limits.append((WORST_YEAR, (rules, None)))
        if mix is None:
            alone = [(rule.name, ([rule], None)) for rule in rules]
            alone += [(WORST_YEAR, ((), worst_year))] * (worst_year is not None)
            never = tuple((name, np.nan) for name, how in alone if self._solve(*how) is None)
            stay = np.zeros(self.allowed.shape[1], int)
            return Mix(stay, self.value(stay), 0.0, False, never)
        costs = []
        for name, without in limits:
            other = self._solve(*without) if len(limits) > 1 else free
            more = 0.0 if other is None else other.value - mix.value
            if more > 1e-9 * max(1.0, abs(mix.value)):
                costs.append((name, more))
        return Mix(mix.picks, mix.value, mix.gap, True, tuple(costs))

    def value(self, picks):
        """Return what a choice brings over the seasons in the mean of the sample."""
        rows = picks[None]
        each = [self.pay.margin(tonnes, rows).mean() for tonnes in self.seasons]
        return float(self.weights @ each)

    def _holds(self, mix, rules, worst_year):
        from cropload.beliefs.ranges import worst_tenth

        if any(rule.used(mix.picks) > rule.most + 1e-9 * abs(rule.most) for rule in rules):
            return False
        margin = self.pay.margin(self.settled, mix.picks[None])[0]
        return worst_year is None or worst_tenth(margin) >= worst_year

    def _solve(self, rules, worst_year):
        """Return the best Mix within rules and worst year; None where there is none."""
        # Loaded late: only a decision needs the solver.
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        program = _Program(self.allowed)
        draws = self.settled.shape[-1]
        for weight, tonnes in zip(self.weights, self.seasons, strict=True):
            program.gain(program.season(self.pay, tonnes), weight / draws)
        for rule in rules:
            program.at_most(rule.use, rule.most)
        if worst_year is not None:
            program.worst_year(program.season(self.pay, self.settled), worst_year)
        rows, columns, values = (np.concatenate(part) for part in program.entries)
        matrix = coo_array((values, (rows, columns)), shape=(program.rows, program.size)).tocsr()
        lower, upper = np.array(program.bounds).T
        objective = np.array(program.objective)
        # The solver's first look at a program has called some without a solution that have one: it
        # is believed only where the search without that look finds none either.
        for look in (True, False):
            with without_words():
                found = milp(
                    -objective / (np.abs(objective).max() or 1.0),
                    constraints=LinearConstraint(matrix, *np.array(program.limits).T),
                    integrality=np.array(program.whole),
                    bounds=Bounds(lower, upper),
                    options={"mip_rel_gap": 0.0, "time_limit": _SECONDS, "presolve": look},
                )
            if found.x is not None:
                break
        if found.x is None:
            return None
        picks = found.x[: self.allowed.size].reshape(self.allowed.shape).argmax(0)
        return Mix(picks, self.value(picks), float(found.mip_gap or 0.0), True)


class _Program:
    """A linear program with whole numbers, put together line by line.

    The first columns say which plan (scenario) each block has; those of money and risk follow.
    """

    def __init__(self, allowed):
        self.shape = allowed.shape
        self.bounds = [(0.0, float(may)) for may in allowed.ravel()]
        self.whole = [1] * allowed.size
        self.objective = [0.0] * allowed.size
        self.entries, self.limits = ([], [], []), []
        scenarios, blocks = allowed.shape
        for at in range(blocks):
            self._line(np.arange(scenarios) * blocks + at, np.ones(scenarios), 1.0, 1.0)

    @property
    def rows(self):
        return len(self.limits)

    @property
    def size(self):
        return len(self.bounds)

    def _line(self, columns, values, low, high):
        rows, places, numbers = self.entries
        rows.append(np.full(len(columns), len(self.limits)))
        places.append(np.asarray(columns))
        numbers.append(np.asarray(values, float))
        self.limits.append((low, high))

    def _column(self, low, high, whole=0):
        self.bounds.append((low, high))
        self.whole.append(whole)
        self.objective.append(0.0)
        return self.size - 1

    def at_most(self, use, most):
        unit = np.abs(use).max() or 1.0
        self._line(np.arange(use.size), use.ravel() / unit, -np.inf, most / unit)

    def season(self, pay, tonnes):
        """Return a season's margins as gains (draws, choices), over [(draw, column, value)] and
        constants (draws,).

        Revenue is the first price of all fruit, and more or less for fruit beyond each bend of a
        contract; that fruit is a column where it depends on the choice whether there is any.
        """
        scenarios, blocks, draws = tonnes.shape
        choice = np.arange(scenarios * blocks)
        gains = -pay.fixed - pay.per_t * tonnes
        constant, overs = np.zeros(draws), []
        chosen = np.array([high for _, high in self.bounds[: choice.size]]).reshape(self.shape) > 0
        for contract, members in zip(pay.contracts, pay.members, strict=True):
            mine = np.zeros((scenarios, blocks, 1))
            mine[:, members] = 1.0
            fruit = tonnes * mine
            first, price, bends = contract.bends()
            gains = gains + price * fruit
            constant += first
            most = np.where(chosen[..., None], fruit, -np.inf).max(0).sum(0)
            least = np.where(chosen[..., None], fruit, np.inf).min(0).sum(0)
            flat = fruit.reshape(-1, draws).T
            for at, changes in bends:
                changes = np.broadcast_to(changes, draws)
                always = least >= at
                gains = gains + changes * fruit * always
                constant -= changes * at * always
                for draw in np.flatnonzero(~always & (most > at) & (changes != 0)):
                    change = changes[draw]
                    # In shares of the bend: the crop less what is over it is no more than it.
                    share = flat[draw] / at
                    over = self._column(0.0, most[draw] / at - 1.0)
                    self._line(np.append(choice, over), np.append(share, -1.0), -np.inf, 1.0)
                    if change > 0:
                        self._no_more_over(over, choice, share)
                    overs.append((draw, over, change * at))
        return gains.reshape(-1, draws).T, overs, constant

    def _no_more_over(self, over, choice, share):
        """Bind fruit over a cap that earns more than below it: none while the cap is not full."""
        room = self.bounds[over][1]
        full = self._column(0.0, 1.0, 1)
        self._line([over, full], [1.0, -room], -np.inf, 0.0)
        self._line([*choice, over, full], [*share, -1.0, -1.0], 0.0, np.inf)

    def gain(self, season, weight):
        """Add a season's margins to what is sought, each draw with one weight."""
        gains, overs, _ = season
        for place, value in enumerate(weight * gains.sum(0)):
            self.objective[place] += value
        for _, over, value in overs:
            self.objective[over] += weight * value

    def worst_year(self, season, least):
        """Hold the mean of the worst tenth of a season's margins at no less than ``least``."""
        gains, overs, constant = season
        draws, choices = gains.shape
        # Solvers like numbers near one.
        unit = np.abs(gains).max() or 1.0
        level = self._column(-np.inf, np.inf)
        short = [self._column(0.0, np.inf) for _ in range(draws)]
        more = [([], []) for _ in range(draws)]
        for draw, over, value in overs:
            more[draw][0].append(over)
            more[draw][1].append(value)
        for draw, (columns, values) in enumerate(more):
            at = [*range(choices), *columns, level, short[draw]]
            line = [*(gains[draw] / unit), *(np.array(values) / unit), -1.0, 1.0]
            self._line(at, line, -constant[draw] / unit, np.inf)
        share = np.full(draws, -1 / (_TENTH * draws))
        self._line([level, *short], [1.0, *share], least / unit, np.inf)
