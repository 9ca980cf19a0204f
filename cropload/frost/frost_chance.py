"""From which frost chance on another plan pays, and the range of a chance seen in few years."""

import numpy as np
from scipy.special import ndtri

from cropload import arguments
from cropload.beliefs import ranges


def break_even(normal, frost, other_normal, other_frost):
    """Return the yearly frost chance above which the other plan gives more crop.

    Parameters
    ----------
    normal, frost : array_like
        Crop of the plan at hand in a year without frost and in a frost year, any unit.
    other_normal, other_frost : array_like
        The same of the other plan (longer wood, a late cut).

    Returns
    -------
    ndarray
        Chance [1]; 0 when the other plan gains in both kinds of year, inf when in neither, and nan
        when it gives more without frost but less with it, so that more frost speaks against it.

    Notes
    -----
    Valid for the mean crop over many years, with one kind of frost year.
    With r the loss over the gain times the frost-year crop this is r / (1 + r).
    """
    price = np.asarray(normal, float) - other_normal
    payout = np.asarray(other_frost, float) - frost
    both = price + payout
    chance = np.divide(price, both, out=np.full(np.shape(both), np.nan), where=both != 0)
    return np.where(
        (price <= 0) & (payout >= 0),
        0.0,
        np.where((price >= 0) & (payout <= 0), np.inf, np.where(price < 0, np.nan, chance)),
    )


@arguments.check_arguments(
    loss=arguments.number(0, 1),
    gain=arguments.number(0, above=True),
    frost_year_crop=arguments.number(0, 1, above=True),
)
def late_cut_break_even(loss, gain, frost_year_crop):
    """Return the frost chance above which a late final cut pays.

    Parameters
    ----------
    loss : float
        Share of the crop lost to the cut in a year without frost [1].
    gain : float
        Share by which it lifts a frost year's crop [1].
    frost_year_crop : float
        A frost year's crop without it, relative to a normal one [1].

    Notes
    -----
    ``r / (1 + r)`` with ``r = loss / (gain * frost_year_crop)``: 0.562 for Chardonnay and 0.422
    for Merlot when frost halves the crop (University of Georgia trial).
    """
    return float(break_even(1.0, frost_year_crop, 1.0 - loss, frost_year_crop * (1.0 + gain)))


def wilson(hits, years, level=None):
    """Return the Wilson range of a chance seen in a few years.

    Parameters
    ----------
    hits : array_like
        Years in which it happened; parts of a year allowed [1].
    years : int
        Years looked at [1].
    level : float, optional
        Share of truths inside [1]; the handbook's interval level when not given.

    Returns
    -------
    tuple of ndarray
        Low and high [1].
    """
    level = ranges.level() if level is None else level
    z = ndtri(0.5 + level / 2)
    share = np.asarray(hits, float) / years
    middle = (share + z**2 / (2 * years)) / (1 + z**2 / years)
    half = z / (1 + z**2 / years) * np.sqrt(share * (1 - share) / years + z**2 / (4 * years**2))
    return np.maximum(middle - half, 0.0), np.minimum(middle + half, 1.0)
