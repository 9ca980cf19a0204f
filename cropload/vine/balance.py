"""Balance of a vine: yield, prunings, canes and leaves against each other."""

import numpy as np

from cropload import arguments
from cropload.errors import CroploadError
from cropload.vine.checking import numbers, plain, together


@arguments.check_arguments(axis=arguments.optional(arguments.whole(-2, 2)))
def ravaz_index(yield_kg, pruning_weight_kg, axis=None):
    """Return yield over pruning weight, as a ratio of sums [kg/kg].

    Parameters
    ----------
    yield_kg : float or array
        Yield of each vine or block [kg].
    pruning_weight_kg : float or array
        Prunings cut in the winter after that harvest, same vines or blocks [kg].
    axis : int, optional
        Sum along this axis only [1]; over everything when not given.

    Returns
    -------
    float or array
        Ravaz index [kg/kg].

    Raises
    ------
    CroploadError
        When a value is negative or infinite, the lengths differ, no pair is complete, or the
        prunings add up to nothing.

    Notes
    -----
    Valid for dormant prunings of the whole year's growth; summer trimmings give no true index.
    A pair with a missing yield or a missing pruning weight is left out of both sums, so that the
    yield of a vine nobody weighed at pruning does not raise the index.  The mean of the vines' own
    ratios is larger, at times by a quarter, and is not used.  Bands: ``band.ravaz``.

    Examples
    --------
    >>> ravaz_index([4.0, 2.0, 3.0], [0.5, 0.5, float("nan")])
    6.0
    """
    crop = numbers("yield_kg", yield_kg, "kg")
    wood = numbers("pruning_weight_kg", pruning_weight_kg, "kg")
    crop, wood = together(yield_kg=crop, pruning_weight_kg=wood)
    known = ~(np.isnan(crop) | np.isnan(wood))
    if not np.all(known.any(axis=axis)):
        raise CroploadError(
            "No vine or block has both a yield and a pruning weight. "
            "Weigh the prunings of the winter after the harvest."
        )
    total = np.where(known, wood, 0.0).sum(axis=axis)
    if np.any(total == 0):
        raise CroploadError("pruning_weight_kg adds up to 0 kg; the index needs prunings above 0.")
    return plain(np.where(known, crop, 0.0).sum(axis=axis) / total)
