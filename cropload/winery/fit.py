"""Whether the crop fits the limits of intake in all, from draws that share the season."""

from dataclasses import dataclass

import numpy as np

from cropload import arguments
from cropload.beliefs import ranges
from cropload.winery.capacity import ENOUGH
from cropload.winery.limits import ahead_of, limited_sums, limits_of, named_days
from cropload.winery.turned_away import rows_of, turned_by_row


@dataclass(frozen=True)
class Fit:
    """What the limits that lie ahead leave without a place, and how full the fullest period is.

    Attributes
    ----------
    limits : int
        Limits ahead [1].
    chance_any : float
        Chance that any of them is gone over [1].
    elsewhere : tuple of float
        Low end, middle and high end of the tonnes over the limits in all [t].
    elsewhere_mean : float
        Their mean [t].
    outside_mean, outside_high : float
        Fruit ahead on days that no row of table capacity names for it: mean, and what it is
        over in one case of ten [t].
    peak : str
        The period that is oftenest the fullest; empty where no period has a limit for all fruit.
    peak_chance : float
        How often it is [1].
    peak_t : tuple of float
        Low end, middle and high end of the fullest period, whichever it is [t].
    enough_t : float
        What every period would have to take so that in 8 of 10 cases none is too full [t].
    """

    limits: int
    chance_any: float = 0.0
    elsewhere: tuple = (0.0, 0.0, 0.0)
    elsewhere_mean: float = 0.0
    outside_mean: float = 0.0
    outside_high: float = 0.0
    peak: str = ""
    peak_chance: float = 0.0
    peak_t: tuple = (0.0, 0.0, 0.0)
    enough_t: float = 0.0


@arguments.check_arguments(schedule=arguments.kind("IntakeSchedule"), capacity=arguments.frame)
def fit_of(schedule, capacity):
    """Return the chance that any limit ahead is gone over, and the tonnes without a place.

    Parameters
    ----------
    schedule, capacity : IntakeSchedule, DataFrame
        As in ``capacity_table``.

    Returns
    -------
    Fit

    Raises
    ------
    CroploadError
        For limits that cannot be.

    Notes
    -----
    Counted within each draw, so that a good and an early season is one season for all blocks.
    Fruit over is counted once: that of closed days first, then from the limit of fewest days and
    varieties to the widest, each less what the limits inside it turn away. Where limits overlap
    only in part this is the most it can be. Fruit turned away in one period is not offered to the
    next, and what is picked on days that no row names is told apart.
    Valid as ``capacity_table``.
    """
    limits, _ = limits_of(schedule, capacity)
    ahead = ahead_of(schedule, limits)
    if not ahead.any():
        return Fit(0)
    sums = limited_sums(schedule, limits)
    over = (sums - limits.limit[:, None])[ahead] > 1e-9
    total = elsewhere(schedule, limits, ahead)
    apart = outside(schedule, limits)
    return Fit(
        limits=int(ahead.sum()),
        chance_any=float(over.any(0).mean()),
        elsewhere=tuple(float(end) for end in ranges.quantiles(total)),
        elsewhere_mean=float(total.mean()),
        outside_mean=float(apart.mean()),
        outside_high=float(ranges.quantiles(apart)[2]),
        **_peak(limits, ahead, sums),
    )


def elsewhere(schedule, limits, ahead):
    """Return the tonnes over the limits ahead in all, each once, (draws) [t]."""
    return over_rows(schedule, rows_of(limits, ahead)).sum(0)


def over_rows(schedule, rows):
    """Return the tonnes over each row as from ``rows_of``, each once, (rows, draws) [t]."""
    names = dict(schedule.until("variety"))
    sums = np.zeros((len(rows.limit), schedule.undated.shape[1]))
    for variety in dict.fromkeys(rows.varieties):
        mine = np.array([name == variety for name in rows.varieties])
        found = names[variety] if variety else sum(names.values())
        sums[mine] = schedule.between(found, rows.starts[mine], rows.ends[mine])
    return turned_by_row(sums, rows)


def outside(schedule, limits):
    """Return the fruit ahead on days that no row names for it, (draws) [t]."""
    named, first = named_days(schedule, limits), schedule.span[0]
    total = np.zeros(schedule.undated.shape[1])
    for (block, day, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
        if movable:
            total += np.where(named[schedule.varieties[block]][day - first], 0.0, tonnes)
    return total


def _peak(limits, ahead, sums):
    """Return how full the fullest period ahead with a limit for all fruit is, and which it is."""
    wide = np.array([variety == "" for variety in limits.varieties])
    rows = np.flatnonzero(ahead & wide & (limits.limit > 0))
    if not len(rows):
        return {}
    fullest = sums[rows].argmax(0)
    often = np.bincount(fullest, minlength=len(rows)) / len(fullest)
    height = sums[rows].max(0)
    return {
        "peak": limits.table["period"].iloc[rows[often.argmax()]],
        "peak_chance": float(often.max()),
        "peak_t": tuple(float(end) for end in ranges.quantiles(height)),
        "enough_t": float(np.quantile(height, ENOUGH)),
    }
