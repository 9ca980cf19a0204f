"""Where a difference between plans turns from less to more, and what it is made of."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

ALWAYS, NEVER, FROM, TO, BETWEEN = "always", "never", "from", "to", "between"

#: Largest crop that is looked for, as a share of that drawn [1].
_MOST_CROP = 4.0


@dataclass(frozen=True)
class BreakEven:
    """Where a difference turns from less to more: ``kind`` is one of the words above.

    ``low``, ``high``: where it turns (one of them infinite but between two turns); ``now``: where
    it stands; all in one unit. ``pays``: whether it is more where it stands.
    """

    kind: str
    low: float
    high: float
    now: float
    pays: bool


def line_break_even(start, slope, now, high=np.inf):
    """Return the BreakEven of a difference ``start + slope * x``, for x from 0 to ``high``."""
    # What is nothing but for rounding, as of plans that cost the same, is nothing.
    start = 0.0 if abs(start) <= 1e-9 * abs(slope * now) else start
    pays = start + slope * now > 0
    end = start + slope * high if np.isfinite(high) else (slope or start)
    if start >= 0 and end >= 0 and max(start, end) > 0:
        return BreakEven(ALWAYS, 0.0, high, now, pays)
    if start <= 0 and end <= 0:
        return BreakEven(NEVER, np.inf, -np.inf, now, pays)
    at = -start / slope
    return (
        BreakEven(FROM, at, np.inf, now, pays)
        if slope > 0
        else BreakEven(TO, -np.inf, at, now, pays)
    )


def crop_break_even(gain, unit):
    """Return the BreakEven of a difference by the crop that a plan brings.

    Parameters
    ----------
    gain : callable
        The difference at so many times the crop drawn [1].
    unit : float
        The crop drawn [t/ha].

    Notes
    -----
    Contracts make it bend, so the turns nearest to the crop drawn are told; none is looked for
    beyond four times that crop.
    """
    from scipy.optimize import brentq

    pays, found = gain(1.0) > 0, {}
    for way, steps in (
        (-1, np.linspace(1, 0, 9)),
        (1, np.linspace(1, _MOST_CROP, 13)),
    ):
        for before, after in pairwise(steps):
            if (gain(after) > 0) != pays:
                found[way] = brentq(gain, before, after, xtol=1e-6) * unit
                break
    low, high = found.get(-1), found.get(1)
    if pays:
        kind = {(0, 0): ALWAYS, (1, 0): FROM, (0, 1): TO, (1, 1): BETWEEN}[-1 in found, 1 in found]
        ends = (-np.inf if low is None else low, np.inf if high is None else high)
        return BreakEven(kind, *ends, unit, True)
    if high is not None:
        return BreakEven(FROM, high, np.inf, unit, False)
    if low is not None:
        return BreakEven(TO, -np.inf, low, unit, False)
    return BreakEven(NEVER, np.inf, -np.inf, unit, False)


@dataclass(frozen=True, eq=False)
class Pair:
    """Some plans beside the first scenario's: fruit of each contract in every season and draw.

    Attributes
    ----------
    lots : tuple
        (contract, other fruit, changed blocks' before, and after), each (seasons, draws) [t].
    fixed : ndarray, shape (draws or 1,)
        What the plans cost more in a season [currency].
    picking : (ndarray, ndarray)
        What picking the changed blocks costs before and after, (seasons, draws) [currency].
    weights : ndarray, shape (seasons,)
        What each season counts [1].
    changed : ndarray of int
        Places of the blocks whose plan differs.
    """

    lots: tuple
    fixed: np.ndarray
    picking: tuple
    weights: np.ndarray
    changed: np.ndarray

    def gain(self, crop=1.0):
        """Return what is left over more, (seasons, draws), at so many times the new crop."""
        return self.earned(crop) - self.owed(crop) - self.spent(crop)

    def earned(self, crop=1.0):
        """Return what is paid more for the fruit [currency]."""
        return sum(
            contract.terms.pay(other + crop * after) - contract.terms.pay(other + before)
            for contract, other, before, after in self.lots
        )

    def owed(self, crop=1.0):
        """Return what is owed more under the contracts [currency]."""
        return sum(
            contract.terms.penalty(other + crop * after) - contract.terms.penalty(other + before)
            for contract, other, before, after in self.lots
        )

    def spent(self, crop=1.0):
        """Return what pruning, thinning and picking cost more [currency]."""
        before, after = self.picking
        return self.fixed + crop * after - before

    def mean(self, each):
        """Return what values by season and draw come to over the seasons, in the mean."""
        return float(self.weights @ np.broadcast_to(each, self.picking[0].shape).mean(-1))


def pair_of(pay, seasons, weights, picks):
    """Return the Pair of a choice of plans.

    Parameters
    ----------
    pay : Pay
        Prices and costs.
    seasons : ndarray, shape (seasons, scenarios, blocks, draws)
        Crops [t].
    weights : ndarray, shape (seasons,)
        What each season counts [1].
    picks : ndarray of int, shape (blocks,)
        Scenario whose plan each block has; 0 where that is the first one's.
    """
    changed, lots = np.flatnonzero(picks), []
    new = seasons[:, picks[changed], changed]
    old = seasons[:, 0, changed]
    for contract, members in zip(pay.contracts, pay.members, strict=True):
        mine = np.isin(changed, members)
        if mine.any():
            rest = seasons[:, 0, members[~np.isin(members, changed)]].sum(1)
            lots.append((contract, rest, old[:, mine].sum(1), new[:, mine].sum(1)))
    per_t = pay.per_t[changed]
    return Pair(
        tuple(lots),
        (pay.fixed[picks[changed], changed] - pay.fixed[0, changed]).sum(0),
        ((per_t * old).sum(1), (per_t * new).sum(1)),
        weights,
        changed,
    )
