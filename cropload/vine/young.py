"""Young vines: the share of a grown vine's clusters that a vine bears in its first years."""

import numpy as np

from cropload import handbook

#: Log of no crop at all: a number, so that sums stay numbers, whose exponential is exactly 0.
LOG_OF_NOTHING = -1000.0

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


def leaf(season, year_planted):
    """Return the leaf that vines are in: how many seasons they have grown, this one included.

    Parameters
    ----------
    season : array_like
        Year of harvest.
    year_planted : array_like
        Year of harvest of the first season they grew in; NaN where it is not known.

    Returns
    -------
    ndarray
        1 in the season of planting, 0 or less before it, NaN where it is not known [1].

    Notes
    -----
    Valid for vines planted in spring. Where the season runs over the turn of the year, vines
    planted in the spring of 2024 are harvested first in 2025, which is then their year.

    Examples
    --------
    >>> int(leaf(2027, 2025))
    3
    """
    return np.asarray(season, float) - np.asarray(year_planted, float) + 1


def _by_leaf(key, leaves, unknown):
    values = np.asarray(handbook.value(key), float)
    leaves = np.asarray(leaves, float)
    known = np.isfinite(leaves)
    at = np.clip(np.where(known, leaves, 1) - 1, 0, len(values) - 1).astype(int)
    shares = np.where(leaves < 1, 0.0, values[at])
    return np.where(known, shares, unknown)


def crop_share(leaves):
    """Return the share of a grown vine's clusters that vines bear at the load usual at their age.

    Parameters
    ----------
    leaves : array_like
        As from ``leaf`` [1].

    Returns
    -------
    ndarray
        1 where the leaf is not known, 0 before planting [1].

    Notes
    -----
    Shares of ``young.share`` in the handbook; its last value holds on. Valid for vines trained
    and cropped as is usual, not for those grafted over or grown from layers of an old vine.

    Examples
    --------
    >>> [float(share) for share in crop_share([2, 3, 20])]
    [0.0, 0.35, 1.0]
    """
    return _by_leaf("young.share", leaves, 1.0)


def load_share(leaves):
    """Return the buds usually left on vines over those of grown ones.

    Parameters
    ----------
    leaves : array_like
        As from ``leaf`` [1].

    Returns
    -------
    ndarray
        1 where the leaf is not known or the vines are not planted yet [1].

    Notes
    -----
    Shares of ``young.load`` in the handbook; its last value holds on. Valid for vines built up as
    is usual, over three or four seasons.

    Examples
    --------
    >>> [float(share) for share in load_share([2, 3, 20])]
    [0.2, 0.4, 1.0]
    """
    leaves = np.asarray(leaves, float)
    return np.where(leaves < 1, 1.0, _by_leaf("young.load", leaves, 1.0))


def share_spread(leaves):
    """Return how far the log of ``crop_share`` may be out, as a standard deviation.

    Parameters
    ----------
    leaves : array_like
        As from ``leaf`` [1].

    Returns
    -------
    ndarray
        0 for grown vines and where nothing is borne [1].

    Notes
    -----
    Valid as ``crop_share``; from ``young.spread`` in the handbook.
    """
    return _by_leaf("young.spread", leaves, 0.0)


def first_bearing_leaf():
    """Return the first leaf with a crop [1]."""
    return int(np.argmax(np.asarray(handbook.value("young.share"), float) > 0)) + 1


def log_share(leaves):
    """Return the log of ``crop_share`` [1], ``LOG_OF_NOTHING`` where nothing is borne."""
    share = crop_share(leaves)
    return np.where(share > 0, np.log(np.where(share > 0, share, 1.0)), LOG_OF_NOTHING)


def leaf_word(number):
    """Return a leaf in words.

    Examples
    --------
    >>> leaf_word(3)
    'third leaf'
    """
    if 1 <= number <= len(_ORDINALS):
        return f"{_ORDINALS[int(number) - 1]} leaf"
    return f"leaf {int(number)}"
