"""How a vine answers to the number of buds it is left with (compensation).

Leaving twice the buds never gives twice the crop for long: fewer buds burst, the shoots carry
fewer clusters, and the clusters stay lighter. Each of these is a power of the load, with one
exponent for the first season on a new load and another once the vine has settled on it.
"""

from dataclasses import dataclass, fields

import numpy as np

from cropload import handbook

#: What responds to the load, in the order of the chain.
RESPONSES = ("burst", "fertility", "weight", "noncount", "pruning")


@dataclass(frozen=True)
class LoadExponents:
    """Exponents of the load response [1], each a float or an array of draws.

    ``*_first`` holds in the first season on a new load, ``*_settled`` from the third season on.
    ``weight_*`` is the exponent of cluster weight on clusters per vine; all others are exponents
    on buds per vine.
    """

    burst_first: float
    burst_settled: float
    fertility_first: float
    fertility_settled: float
    weight_first: float
    weight_settled: float
    noncount_first: float
    noncount_settled: float
    pruning_first: float
    pruning_settled: float

    def reshape(self, *shape):
        """Return the same exponents with every array of draws given this shape."""
        return LoadExponents(
            **{f.name: np.reshape(getattr(self, f.name), shape) for f in fields(self)}
        )


def exponents(normals=None):
    """Return the load exponents at their centres, or drawn with their spreads.

    Parameters
    ----------
    normals : ndarray, shape (5, draws), optional
        Standard normal draws [1], one row for each of ``RESPONSES``. The first-season and the
        settled exponent of one response share their row, because what makes a vine compensate
        more at once also makes it compensate more for good.

    Returns
    -------
    LoadExponents
        Floats at the centre, or arrays of shape (draws,) [1].

    Notes
    -----
    Valid for a change of load by a factor of about a third to three; the trials behind it reach
    no further.
    The exponents are this project's reading of published trials, so they carry a spread wide
    enough to hold them: see ``load.*`` in the handbook.
    """
    found = {}
    for row, response in enumerate(RESPONSES):
        for phase in ("first", "settled"):
            entry = handbook.entry(f"load.{response}.{phase}")
            value = float(entry.value)
            found[f"{response}_{phase}"] = (
                value if normals is None else value + entry.spread * normals[row]
            )
    return LoadExponents(**found)


def exponent_spreads():
    """Return the spread of each exponent [1] as a LoadExponents of standard deviations."""
    return LoadExponents(
        **{
            f"{response}_{phase}": float(handbook.entry(f"load.{response}.{phase}").spread)
            for response in RESPONSES
            for phase in ("first", "settled")
        }
    )


def carried_load(log_buds):
    """Return the load a vine has carried before each season, from the loads of all seasons.

    Parameters
    ----------
    log_buds : ndarray, shape (..., seasons)
        Natural log of buds per vine [1]; NaN where it is not known.

    Returns
    -------
    ndarray, shape (..., seasons)
        Natural log of the load carried [1]: the mean over the two nearest earlier seasons with a
        known load; the season's own load where none is earlier; NaN where nothing is known.

    Notes
    -----
    In the first season on a new load the old one has been carried, in the second the mean of
    both, and from the third season on the new one: so the response moves from its first-season
    to its settled form without a step.
    """
    log_buds = np.asarray(log_buds, float)
    carried = np.full(log_buds.shape, np.nan)
    last = np.full(log_buds.shape[:-1], np.nan)
    before = last.copy()
    for season in range(log_buds.shape[-1]):
        now = log_buds[..., season]
        known = np.where(np.isnan(before), last, (last + before) / 2)
        carried[..., season] = np.where(np.isnan(known), now, known)
        seen = ~np.isnan(now)
        before = np.where(seen, last, before)
        last = np.where(seen, now, last)
    return carried
