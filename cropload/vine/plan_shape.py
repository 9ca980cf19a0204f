"""The shape of a plan: how many buds, and how they burst and bear by their place on the wood."""

from dataclasses import dataclass

import numpy as np

from cropload import handbook


@dataclass(frozen=True)
class NodeProfile:
    """Burst and fertility by node position, relative to the vine's mean [1].

    Each is an array over positions 1 (basal), 2, ...; the last value holds beyond its end.
    """

    cane_burst: np.ndarray
    cane_fertility: np.ndarray
    spur_burst: np.ndarray
    spur_fertility: np.ndarray

    @classmethod
    def from_handbook(cls):
        """Return the default profile: low at the base, level from node 4 to 10, falling past 11."""
        return cls(
            *(
                np.asarray(handbook.value(f"profile.{wood}.{what}"), float)
                for wood in ("cane", "spur")
                for what in ("burst", "fertility")
            )
        )


@dataclass(frozen=True)
class PlanShape:
    """What growth needs to know of one or more plans, as arrays of one shape.

    ``log_buds``: natural log of buds per vine [1]; ``log_burst`` and ``log_fertility``: natural
    log of the mean burst and fertility of the plan's nodes relative to the profile [1].
    """

    log_buds: np.ndarray
    log_burst: np.ndarray
    log_fertility: np.ndarray


def _take(values, count):
    """Return the first ``count`` values of a profile; the last one holds beyond its end."""
    return values[np.minimum(np.arange(count), len(values) - 1)]


def plan_shapes(plans, profile):
    """Return the shapes of plans under a node profile.

    Parameters
    ----------
    plans : sequence of PruningPlan or DividedPlan
        Length plans.
    profile : NodeProfile
        Burst and fertility by node position [1].

    Returns
    -------
    PlanShape
        Arrays of shape (plans,) [1].

    Notes
    -----
    Valid for count buds; non-count shoots are a component of their own. Of a block in parts it is
    the shape of the mean vine.
    """
    rows = []
    for plan in plans:
        buds = burst = clusters = 0.0
        for share, part in plan.shares:
            for pieces, length, bursts, fertilities in (
                (part.canes, part.buds_per_cane, profile.cane_burst, profile.cane_fertility),
                (part.spurs, part.buds_per_spur, profile.spur_burst, profile.spur_fertility),
            ):
                if pieces and length:
                    node_burst, some = _take(bursts, length), share * pieces
                    buds += some * length
                    burst += some * node_burst.sum()
                    clusters += some * (node_burst * _take(fertilities, length)).sum()
        rows.append((np.log(buds), np.log(burst / buds), np.log(clusters / burst)))
    return PlanShape(*np.array(rows).T)
