"""Room in the tanks: hectolitres from tonnes, with the published range of kg of grapes per hl."""

import numpy as np

from cropload import arguments, handbook
from cropload.errors import CroploadError
from cropload.units import SHORT_TON_T
from cropload.vine.checking import numbers

#: The US gallon is 231 cubic inches of 2.54 cm each [l].
GALLON_L = 231 * 0.254**3


def tank_volume(tonnes, kg_per_hl=None):
    """Return the least and the most volume that grapes fill [hl].

    Parameters
    ----------
    tonnes : float or ndarray
        Grapes [t].
    kg_per_hl : (float, float), optional
        Least and most grapes for a hectolitre [kg/hl]; the published range when left out.

    Returns
    -------
    low, high : float or ndarray
        Volume when most and when least grapes are needed [hl].

    Raises
    ------
    CroploadError
        When the range is not two numbers above 0, the lower one first.

    Notes
    -----
    Published as 115 to 140 kg/hl; the same source says 150 (120 to 180) US gallons a short ton,
    which is 133 to 200 kg/hl (160 at 150): the two ranges overlap only in part, and the source
    does not say why. Measure your own and give it here.
    Leave room above for fermentation; the volume is that of the juice or wine alone.
    Valid for still wine.

    Examples
    --------
    >>> [round(volume, 1) for volume in tank_volume(10.0)]
    [71.4, 87.0]
    """
    low, high = (
        handbook.band("intake.kg_per_hl")
        if kg_per_hl is None
        else (arguments.pair(lambda _, end: arguments.plain_number(end))("kg_per_hl", kg_per_hl))
    )
    if not (np.isfinite(low) and np.isfinite(high) and 0 < low <= high):
        raise CroploadError(
            f"Grapes for a hectolitre must be two numbers above 0, the lower first, not "
            f"{low:g} and {high:g} kg/hl."
        )
    kg = numbers("tonnes", tonnes, "t") * 1000
    volumes = kg / high, kg / low
    return tuple(float(v) if v.ndim == 0 else v for v in volumes)


@arguments.check_arguments(gallons_per_short_ton=arguments.number(0, above=True))
def kg_per_hl(gallons_per_short_ton):
    """Return the grapes for a hectolitre [kg/hl] from US gallons a short ton.

    Parameters
    ----------
    gallons_per_short_ton : float
        Wine from 2,000 lb of grapes [US gal].

    Examples
    --------
    >>> round(kg_per_hl(150), 1)
    159.8
    """
    return SHORT_TON_T * 1000 / (gallons_per_short_ton * GALLON_L / 100)
