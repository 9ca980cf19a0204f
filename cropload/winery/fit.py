"""Whether the crop fits the limits of intake in all, from draws that share the season."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.winery.capacity import limited_sums, limits_of


@dataclass(frozen=True)
class Fit:
    """What the limits that lie ahead leave without a place.

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
    """

    limits: int
    chance_any: float
    elsewhere: tuple
    elsewhere_mean: float


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
    Where a period limits all fruit and single varieties, what is over there is the larger of the
    two. Fruit turned away in one period is not offered to the next, and what is picked on days
    without a limit counts as placed.
    Valid as ``capacity_table``.
    """
    limits, _ = limits_of(schedule, capacity)
    ahead = np.ones(len(limits.limit), bool)
    if schedule.as_of:
        ahead = limits.ends > (pd.Timestamp(schedule.as_of) - pd.Timestamp(0)).days
    if not ahead.any():
        return Fit(0, 0.0, (0.0, 0.0, 0.0), 0.0)
    over = np.maximum(limited_sums(schedule, limits) - limits.limit[:, None], 0.0)[ahead]
    spans = np.column_stack([limits.starts, limits.ends])[ahead]
    every = np.array([variety == "" for variety in limits.varieties])[ahead]
    total = np.zeros(over.shape[1])
    for span in np.unique(spans, axis=0):
        here = (spans == span).all(axis=1)
        total += np.maximum(over[here & every].sum(0), over[here & ~every].sum(0))
    ends = tuple(float(end) for end in ranges.quantiles(total))
    return Fit(int(ahead.sum()), float((over > 1e-9).any(0).mean()), ends, float(total.mean()))
