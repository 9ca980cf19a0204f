"""The one place that says what a range is: its level, its name, and how it is read off draws.

numpy is loaded where it is used, so that the command line knows the default without it.
"""

from cropload import handbook

#: Endings of the columns that hold a range, low to high.
ENDINGS = ("p10", "p50", "p90")
#: ``reach`` of the usual level as scipy has it, whose import is a quarter of a first answer.
_REACH = {0.8: 1.2815515655446004}
#: Draws behind every range, where none are named [1].
DEFAULT_DRAWS = 4000


def level():
    """Return the level of the default range [1]."""
    return float(handbook.value("interval.level"))


def short_label():
    """Return the range's name without its tails, such as ``80 % range``."""
    return f"{level():.0%} range".replace("%", " %")


def label():
    """Return the range's name as every label writes it.

    Examples
    --------
    >>> label()
    '80 % range, equal tails'
    """
    return f"{short_label()}, equal tails"


def often():
    """Return the level in figures, for pages and pictures, such as ``8 in 10``."""
    return f"{10 * level():g} in 10"


def in_ten():
    """Return the level as a share of ten, such as ``eight in ten``."""
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return f"{words[round(10 * level())]} in ten"


def reach():
    """Return how many standard deviations an end of a normal's range lies from its middle [1]."""
    if (usual := level()) in _REACH:
        return _REACH[usual]
    from scipy.special import ndtri

    return float(ndtri((1 + usual) / 2))


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
    import numpy as np

    tail = (1 - level()) / 2
    at = np.array([tail, 0.5, 1 - tail]) * (draws.shape[-1] - 1)
    below = np.floor(at).astype(int)
    above = np.minimum(below + 1, draws.shape[-1] - 1)
    parted = np.partition(draws, np.unique([below, above]), axis=-1)
    share = at - below
    low, high = parted[..., below], parted[..., above]
    return np.moveaxis(low + (high - low) * share, -1, 0)


def worst_tenth(draws):
    """Return the mean of the lowest tenth of draws along their last axis.

    Parameters
    ----------
    draws : ndarray, shape (..., draws)
        Any unit.

    Returns
    -------
    ndarray, shape (...)
        In the unit of the draws.

    Notes
    -----
    What the worst year in ten brings, in the mean of such years; never more than the mean. A tenth
    that is no whole number takes a part of the next draw, and fewer than ten give the lowest.
    """
    import numpy as np

    count = max(draws.shape[-1] / 10, 1.0)
    whole = int(count)
    rest = count - whole if whole < draws.shape[-1] else 0.0
    last = min(whole, draws.shape[-1] - 1)
    parted = np.partition(draws, (whole - 1, last), axis=-1)
    return (parted[..., :whole].sum(-1) + rest * parted[..., last]) / (whole + rest)


def whole_days(days):
    """Return the first day, middle and last day of draws of whole days along their last axis.

    Parameters
    ----------
    days : ndarray of int, shape (..., draws)
        Days [d].

    Returns
    -------
    ndarray of int, shape (3, ...)
        First and last day inside the range, and the median between them [d].

    Notes
    -----
    A range of days holds its first and its last day whole. Quantiles of whole days leave out no
    more than their tails, most often less, so a short range would hold more than its level. Here
    each end is the day that leaves out the share nearest to its tail, so that what is too much in
    one range is too little in another.
    Valid for 100 draws and more.
    """
    import numpy as np

    tail = (1 - level()) / 2
    parted = np.sort(days, axis=-1)
    n = parted.shape[-1]

    def first(ordered):
        day = ordered[..., int(np.floor(tail * (n - 1)))]
        before = (ordered < day[..., None]).mean(-1)
        through = (ordered <= day[..., None]).mean(-1)
        return day + (through - tail < tail - before)

    low, high = first(parted), -first(-parted[..., ::-1])
    middle = parted[..., (n - 1) // 2]
    return np.stack([np.minimum(low, middle), middle, np.maximum(high, middle)])


def columns(name, draws):
    """Return {name_p10: ..., name_p50: ..., name_p90: ...} of draws [unit of the draws]."""
    return dict(zip((f"{name}_{end}" for end in ENDINGS), quantiles(draws), strict=True))
