"""Thinning put into words, for the panel and the command line."""

import numpy as np

from cropload.forecasting import ranges
from cropload.units import METRIC
from cropload.views import wording


def thinning_sentence(found, target_t_ha=None, units=METRIC):
    """Return what to leave on a vine, in words with the reader's units.

    Parameters
    ----------
    found : Thinning
        Of ``thin_to``.
    target_t_ha : float, optional
        The target asked for, when it was a crop [t/ha].
    units : UnitSystem
        Units to show.
    """
    text = found.message
    if target_t_ha is not None and units.name != "metric":
        text = text.replace(f"{target_t_ha:g} t/ha", wording.amount("t_ha", target_t_ha, units), 1)
    low, middle, high = found.clusters_now
    return (
        f"{found.block}: {text} Clusters on a vine now: {middle:.0f} "
        f"({low:.0f} to {high:.0f}, {ranges.label()})."
    )


def around(found, each_way=3):
    """Return the options next to the one advised, or to the likeliest, and leaving all."""
    options = found.options
    keep = options["keep"].to_numpy()
    centre = found.keep
    if found.drop == 0:
        centre = int(keep[int(options["chance"].to_numpy().argmax())])
    near = np.abs(keep - centre) <= each_way
    return options[near | (keep == keep.max())].reset_index(drop=True)
