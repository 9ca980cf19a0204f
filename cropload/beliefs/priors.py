"""Priors: what the handbook says of the components before any record."""

import numpy as np

from cropload import handbook
from cropload.beliefs.spreads import GROUPS
from cropload.vine.growth import COMPONENTS


def prior_logs(variety):
    """Return prior means and spreads of the log components for a variety, with their keys.

    Returns
    -------
    mean, spread : ndarray, shape (components,) [1]
    keys : list of str
        The handbook key behind each.
    """
    own = handbook.variety(variety)
    mean, spread, keys = [], [], []
    for name in COMPONENTS:
        entry = own.get(name)
        if entry is None or entry.value is None or entry.spread is None:
            entry = handbook.entry(f"prior.{name}")
        mean.append(np.log(entry.value))
        spread.append(entry.spread)
        keys.append(entry.key)
    return np.array(mean), np.array(spread), keys


def prior_spreads():
    """Return the handbook's spreads of blocks, seasons and residuals, as the engine takes them."""
    entries = [[handbook.entry(f"sd.{name}.{group}") for name in COMPONENTS] for group in GROUPS]
    return (
        np.array([[e.value for e in row] for row in entries], float),
        np.array([[e.extra["dof"] for e in row] for row in entries], float),
    )
