"""Spreads of the effects: what the handbook says, and what the records made of it."""

from dataclasses import dataclass

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.vine.growth import COMPONENTS, settled_move

#: Groups of random effects whose spread is learnt from the records.
GROUPS = ("block", "season", "variety_season", "residual")


@dataclass(frozen=True)
class Spreads:
    """Standard deviations on the log scale [1], one row a group of ``GROUPS``.

    ``sd`` and ``dof``: shape (groups, components); ``variety``: shape (components,) or
    (varieties, components), the spread of a variety's mean about its prior mean; ``estate``: shape
    (components,), that of what all varieties of an estate share, none by default; ``common``: the
    weight, in seasons of evidence, of the handbook's sum over the components of a group beside what
    is learnt of it, where their spreads move together too [1].
    """

    sd: np.ndarray
    dof: np.ndarray
    variety: np.ndarray
    estate: np.ndarray | None = None
    common: float = 0.0


@dataclass(frozen=True)
class Learned:
    """Spreads learnt from the records, and how much the records know of each.

    ``spreads``: the estimate; ``known``: effective number of effects seen, shape (groups,
    components) [1]; ``widen``: standard deviation of the Student distribution that so few effects
    allow, relative to ``spreads`` [1].
    """

    spreads: Spreads
    known: np.ndarray
    widen: np.ndarray


@dataclass(frozen=True)
class Variances:
    """Variances of the effects [1].

    estate, block : (components,); variety : (components,) or (varieties, components);
    season, variety_season, residual : (seasons, components).
    """

    estate: np.ndarray
    variety: np.ndarray
    block: np.ndarray
    season: np.ndarray
    variety_season: np.ndarray
    residual: np.ndarray


def variances(spreads, seasons, widen=None):
    """Return the variances of the effects of so many seasons.

    Parameters
    ----------
    spreads : Spreads
        Standard deviations [1].
    seasons : int
        Seasons [1]; the last is the one forecast.
    widen : ndarray, shape (groups, components), optional
        Factors on the spreads of the blocks and of the season forecast [1].

    Returns
    -------
    Variances
    """
    square = np.maximum(spreads.sd, 1e-6) ** 2
    season, both, residual = (np.tile(square[g], (seasons, 1)) for g in (1, 2, 3))
    block = square[0]
    if widen is not None:
        block = block * widen[0] ** 2
        for array, group in ((season, 1), (both, 2), (residual, 3)):
            array[-1] *= widen[group] ** 2
    estate = np.zeros(square.shape[1]) if spreads.estate is None else spreads.estate
    estate, variety = (np.maximum(spread, 1e-6) ** 2 for spread in (estate, spreads.variety))
    return Variances(estate, variety, block, season, both, residual)


def student_width(dof):
    """Return how much wider than a normal's a range is where few effects tell a spread.

    Parameters
    ----------
    dof : array_like
        Degrees of freedom [1].

    Returns
    -------
    ndarray
        Student's quantile over the normal one at the ends of the range [1].

    Notes
    -----
    Fisher and Cornish (1960, Technometrics 2:209): within 0.3 % from four degrees of freedom on at
    the level of the range. All components of a group know their spread together, so the tails do
    not average out over a crop: the ends of the range have to be right, not the variance.
    """
    z, dof = ranges.reach(), np.asarray(dof, float)
    return 1 + (z**2 + 1) / (4 * dof) + (5 * z**4 + 16 * z**2 + 3) / (96 * dof**2)


def prior_logs(variety):
    """Return prior means and spreads of the log components for a variety, with their keys.

    All are told at the load ``load.reference_buds_per_m``: a figure measured at another load (its
    ``at_buds_per_m``) is moved there as vines settle on a load.

    Returns
    -------
    mean, spread : ndarray, shape (components,) [1]
    keys : list of str
        The handbook key behind each.
    """
    own = handbook.variety(variety)
    mean, spread, keys = [], [], []
    usual = handbook.value("load.reference_buds_per_m")
    for at, name in enumerate(COMPONENTS):
        entry = own.get(name)
        if entry is None or entry.value is None or entry.spread is None:
            entry = handbook.entry(f"prior.{name}")
        loaded = np.log(usual / entry.extra.get("at_buds_per_m", usual))
        mean.append(np.log(entry.value) + settled_move(loaded)[at])
        spread.append(entry.spread)
        keys.append(entry.key)
    return np.array(mean), np.array(spread), keys


def estate_spread():
    """Return how far all varieties of an estate lie from the handbook together, (components,)."""
    return np.array([handbook.entry(f"prior.{name}").extra["estate"] for name in COMPONENTS])


def prior_spreads():
    """Return the handbook's spreads of blocks, seasons and residuals, as the engine takes them."""
    entries = [[handbook.entry(f"sd.{name}.{group}") for name in COMPONENTS] for group in GROUPS]
    return (
        np.array([[e.value for e in row] for row in entries], float),
        np.array([[e.extra["dof"] for e in row] for row in entries], float),
    )
