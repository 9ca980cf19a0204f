"""The word a crew check may say, and how many vines it takes to say one."""

import math

import numpy as np

from cropload import handbook
from cropload.beliefs.counting import checked_confidence
from cropload.season.sampling import above, quantile_of, sample_size

ON_PLAN, LONG, SHORT, TOO_FEW = "on plan", "long", "short", "too few vines to tell"


def verdict_of(sample, planned):
    """Return the word for the mean of counted vines against a plan.

    Parameters
    ----------
    sample : SampleMean
        Mean of the counted vines with its range [1/vine].
    planned : float
        Buds of the plan [1/vine].

    Returns
    -------
    str
        ``"on plan"``, ``"long"``, ``"short"`` or ``"too few vines to tell"``.

    Notes
    -----
    "on plan": the whole range lies within ``sampling.crew_mean_tolerance`` of the plan, or it holds
    the plan and shuts out a difference of ``sampling.crew_tell``. Else "long" or "short" when the
    range lies wholly above or below the plan. Else, and with fewer vines than
    ``sampling.crew_least_vines``, there are too few vines: the plan may be kept, or missed by a
    tenth. A crew on plan is so called long or short no more often than the range misses.
    Valid for ranges that hold the mean as often as they say.
    """
    least = handbook.value("sampling.crew_least_vines")
    if sample.n < least or np.isnan(sample.low):
        return TOO_FEW
    near = handbook.value("sampling.crew_mean_tolerance")
    tell = handbook.value("sampling.crew_tell")
    low, high = sample.low / planned - 1, sample.high / planned - 1
    if -near <= low and high <= near:
        return ON_PLAN
    if low > 0:
        return LONG
    if high < 0:
        return SHORT
    return ON_PLAN if -tell <= low and high <= tell else TOO_FEW


def vines_to_tell(sample, planned, bearing_vines=None):
    """Return the vines in all at which a word would be said, the mean staying where it is.

    Parameters
    ----------
    sample, planned
        As in ``verdict_of``.
    bearing_vines : float, optional
        Bearing vines of the block [1].

    Returns
    -------
    int or None
        Vines [1]; None where the counted vines show no spread to reckon with.

    Notes
    -----
    Valid while vines go on to differ as those counted do.
    """
    if np.isnan(sample.low) or sample.mean <= 0 or sample.high <= sample.low:
        return None
    away = abs(sample.mean / planned - 1)
    tell = handbook.value("sampling.crew_tell")
    # The range must leave out the plan, or hold it and nothing a tenth away.
    room = max(away, tell - away) * planned / sample.mean
    # The CV that a simple sample would need to have this range: carries the design's own effect.
    as_simple = sample.standard_error / sample.mean * np.sqrt(sample.n)
    if bearing_vines is not None and bearing_vines > sample.n:
        as_simple /= np.sqrt(1 - sample.n / bearing_vines)
    needed = sample_size(as_simple, room, sample.confidence, bearing_vines)
    return max(needed, sample.n + 1)


def vines_to_check(cv, difference=None, confidence=0.95, population=None):
    """Return the vines to count so that a crew check can say its word.

    Parameters
    ----------
    cv : float
        Coefficient of variation of buds between vines [1].
    difference : float, optional
        Difference from the plan that is to be told [1]; ``sampling.crew_tell`` when left out.
    confidence : float
        Level of the range [1].
    population : int, optional
        Bearing vines of the block [1].

    Returns
    -------
    int
        The smallest number [1] at which a crew on plan is told so, and one that is off by the
        difference is told long or short, each with the chance ``sampling.crew_power`` or more;
        the whole population where nothing less will do.

    Raises
    ------
    CroploadError
        For a CV, difference, confidence or population that cannot be.

    Notes
    -----
    A crew on plan asks for more: its mean may stray to either side, and its range must still end
    short of the difference on both. With half range ``t s`` and standard error ``s`` that is
    ``(t + z) s <= difference``, ``z`` the normal quantile of ``(1 + power) / 2``.
    Valid for vines picked at random or by row.

    Examples
    --------
    >>> vines_to_check(0.12, 0.10)
    17
    """
    cv = above(cv, "The coefficient of variation", zero=True)
    if difference is None:
        difference = handbook.value("sampling.crew_tell")
    difference = above(difference, "The difference to tell")
    confidence = checked_confidence(confidence)
    strays = quantile_of(handbook.value("sampling.crew_power"), math.inf)
    most = None if population is None else int(above(population, "The number of vines"))
    vines = int(handbook.value("sampling.crew_least_vines"))
    while most is None or vines < most:
        left = 1.0 if most is None else 1 - vines / most
        error = cv / math.sqrt(vines) * math.sqrt(left)
        if (quantile_of(confidence, vines - 1) + strays) * error <= difference * (1 + 1e-12):
            return vines
        # A hundredth at a time where many are needed, so that a tiny difference ends soon too.
        vines += max(1, vines // 100)
    return most
