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


def pruning_weight_per_m(pruning_weight_kg, canopy_length_m):
    """Return pruning weight per length of canopy [kg/m].

    Parameters
    ----------
    pruning_weight_kg : float or array
        Prunings of one vine [kg].
    canopy_length_m : float or array
        Vine spacing times canopy walls [m].

    Returns
    -------
    float or array
        Prunings per m of canopy [kg/m].

    Raises
    ------
    CroploadError
        When a weight is below 0, or a length is not above 0.

    Notes
    -----
    Valid for vines that fill their space.  Two published families of bands differ by about half:
    see ``band.pruning_weight_kg_per_m`` and name the one used.

    Examples
    --------
    >>> pruning_weight_per_m(0.9, 1.8)
    0.5
    """
    wood = numbers("pruning_weight_kg", pruning_weight_kg, "kg")
    length = numbers("canopy_length_m", canopy_length_m, "m", above_zero=True)
    wood, length = together(pruning_weight_kg=wood, canopy_length_m=length)
    return plain(wood / length)


def cane_weight_g(pruning_weight_kg, shoots):
    """Return the mean weight of a cane grown [g].

    Parameters
    ----------
    pruning_weight_kg : float or array
        Prunings of one vine, or of many vines together [kg].
    shoots : float or array
        Shoots that ripened to canes on the same vines [1].

    Returns
    -------
    float or array
        Weight of a cane [g].

    Raises
    ------
    CroploadError
        When a weight is below 0, or a number of shoots is not above 0.

    Notes
    -----
    For a block give sums over its vines, not a mean of ratios.  Bands: ``band.cane_weight_g``.

    Examples
    --------
    >>> cane_weight_g(0.6, 15)
    40.0
    """
    wood = numbers("pruning_weight_kg", pruning_weight_kg, "kg")
    canes = numbers("shoots", shoots, "1", above_zero=True)
    wood, canes = together(pruning_weight_kg=wood, shoots=canes)
    return plain(1000 * wood / canes)


def leaf_area_per_fruit(leaf_area_m2, yield_kg):
    """Return leaf area per weight of fruit [m2/kg].

    Parameters
    ----------
    leaf_area_m2 : float or array
        Leaf area of one vine, measured [m2].
    yield_kg : float or array
        Fruit of the same vine [kg].

    Returns
    -------
    float or array
        Leaf area per fruit [m2/kg]; ten times the figure gives cm2/g.

    Raises
    ------
    CroploadError
        When an area is below 0, or a yield is not above 0.

    Notes
    -----
    Valid at ripening with the leaves that are then at work.  Bands: ``band.leaf_area_m2_per_kg``.

    Examples
    --------
    >>> leaf_area_per_fruit(4.0, 4.0)
    1.0
    """
    leaves = numbers("leaf_area_m2", leaf_area_m2, "m2")
    fruit = numbers("yield_kg", yield_kg, "kg", above_zero=True)
    leaves, fruit = together(leaf_area_m2=leaves, yield_kg=fruit)
    return plain(leaves / fruit)
