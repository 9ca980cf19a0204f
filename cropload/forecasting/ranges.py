"""The one place that says what a range is: its level, its name, and how it is read off draws."""

import numpy as np

from cropload import handbook

#: Endings of the columns that hold a range, low to high.
ENDINGS = ("p10", "p50", "p90")


def level():
    """Return the level of the default range [1]."""
    return float(handbook.value("interval.level"))


def label():
    """Return the range's name as every label writes it.

    Examples
    --------
    >>> label()
    '80 % range, equal tails'
    """
    return f"{level():.0%} range, equal tails".replace("%", " %")


def quantiles(draws):
    """Return the low end, middle and high end of draws along their last axis.

    Parameters
    ----------
    draws : ndarray, shape (..., draws)
        Any unit.

    Returns
    -------
    ndarray, shape (3, ...)
        Quantiles (1 - level)/2, 1/2 and (1 + level)/2, in the unit of the draws.

    Notes
    -----
    Linear between order statistics, as numpy's default.
    Valid for 100 draws and more; the ends of a range from fewer are noise.
    """
    tail = (1 - level()) / 2
    at = np.array([tail, 0.5, 1 - tail]) * (draws.shape[-1] - 1)
    below = np.floor(at).astype(int)
    above = np.minimum(below + 1, draws.shape[-1] - 1)
    parted = np.partition(draws, np.unique([below, above]), axis=-1)
    share = at - below
    low, high = parted[..., below], parted[..., above]
    return np.moveaxis(low + (high - low) * share, -1, 0)


def columns(name, draws):
    """Return {name_p10: ..., name_p50: ..., name_p90: ...} of draws [unit of the draws]."""
    return dict(zip((f"{name}_{end}" for end in ENDINGS), quantiles(draws), strict=True))
