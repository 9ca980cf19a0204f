"""Growth: from the buds of a plan to shoots, clusters, cluster weight and crop.

Everything here is arithmetic on arrays. ``grow`` runs the whole chain on draws; ``stage_lines.py``
gives the same chain as straight lines in the logs, which is what a count needs to narrow it.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from cropload import handbook

#: The components of the chain, each positive and log-normal, in the order used in every array.
COMPONENTS = (
    "buds_left",
    "shoots_per_bud",
    "clusters_per_shoot",
    "cluster_weight_g",
    "recovery",
    "noncount_shoots",
    "pruning_weight_kg_per_m",
    "counting_bias",
    "increase_factor",
    "ripening_factor",
)

#: What can be measured, in the order in which the season brings it.
STAGES = (
    "buds",
    "shoots",
    "noncount_shoots",
    "clusters",
    "weight_lag",
    "weight_veraison",
    "weight_harvest",
    "harvest",
    "pruning_weight",
)


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

    def relative_to(self, reference):
        """Return the shape with burst and fertility relative to those of ``reference``.

        A mean measured under the reference plan then stays right at that plan, and the profile
        only says how another plan differs from it.
        """
        return PlanShape(
            self.log_buds,
            self.log_burst - reference.log_burst,
            self.log_fertility - reference.log_fertility,
        )

    def reshape(self, *shape):
        """Return the same shape object with its arrays reshaped."""
        return PlanShape(
            *(np.reshape(a, shape) for a in (self.log_buds, self.log_burst, self.log_fertility))
        )


def _take(values, count):
    """Return the first ``count`` values of a profile; the last one holds beyond its end."""
    return values[np.minimum(np.arange(count), len(values) - 1)]


def plan_shapes(plans, profile):
    """Return the shapes of plans under a node profile.

    Parameters
    ----------
    plans : sequence of PruningPlan
        Length plans.
    profile : NodeProfile
        Burst and fertility by node position [1].

    Returns
    -------
    PlanShape
        Arrays of shape (plans,) [1].

    Notes
    -----
    Valid for count buds; non-count shoots are a component of their own.
    """
    rows = []
    for plan in plans:
        buds = burst = clusters = 0.0
        for pieces, length, bursts, fertilities in (
            (plan.canes, plan.buds_per_cane, profile.cane_burst, profile.cane_fertility),
            (plan.spurs, plan.buds_per_spur, profile.spur_burst, profile.spur_fertility),
        ):
            if pieces and length:
                node_burst = _take(bursts, length)
                buds += pieces * length
                burst += pieces * node_burst.sum()
                clusters += pieces * (node_burst * _take(fertilities, length)).sum()
        rows.append((np.log(buds), np.log(burst / buds), np.log(clusters / burst)))
    return PlanShape(*np.array(rows).T)


@dataclass(frozen=True)
class LoadState:
    """The loads a vine's components refer to, as arrays that broadcast over blocks and plans.

    ``log_reference``: log of the buds per vine the components were measured under [1];
    ``log_carried``: log of the load of the seasons before [1]; ``log_clusters_reference``: log of
    the clusters per vine at which cluster weight is stated [1].
    """

    log_reference: np.ndarray
    log_carried: np.ndarray
    log_clusters_reference: np.ndarray

    def settled_at(self, log_buds):
        """Return the state of vines that have long carried ``log_buds``."""
        return LoadState(self.log_reference, log_buds, self.log_clusters_reference)


@dataclass(frozen=True, eq=False)
class Growth:
    """What grows, as arrays of one shape: per vine, except cluster weight.

    shoots and noncount_shoots [1/vine], clusters [1/vine], cluster_weight_g [g], kg_on_vine
    [kg/vine], kg_picked [kg/vine] (what reaches the scale), pruning_weight_kg_per_m [kg/m].
    The chain is worked in logs, and a range of a log is the log of the range: so the logs are
    kept, and their exponentials are taken once, when asked for.
    """

    shoots: np.ndarray
    noncount_shoots: np.ndarray
    log_clusters: np.ndarray
    log_cluster_weight_g: np.ndarray
    log_kg_picked: np.ndarray
    log_pruning_weight_kg_per_m: np.ndarray

    @cached_property
    def clusters(self):
        """Clusters per vine [1/vine]."""
        return np.exp(self.log_clusters)

    @cached_property
    def cluster_weight_g(self):
        """Cluster weight at harvest [g]."""
        return np.exp(self.log_cluster_weight_g)

    @property
    def kg_on_vine(self):
        """Crop on the vine [kg/vine]."""
        return self.clusters * self.cluster_weight_g / 1000.0

    @cached_property
    def kg_picked(self):
        """Crop that reaches the scale [kg/vine]."""
        return np.exp(self.log_kg_picked)

    @cached_property
    def pruning_weight_kg_per_m(self):
        """Prunings of the wood grown, per metre of canopy [kg/m]."""
        return np.exp(self.log_pruning_weight_kg_per_m)


class Chain(NamedTuple):
    """The chain in logs; ``grown`` and ``from_old_wood`` are shoots [1/vine] themselves."""

    buds: np.ndarray
    shoots: np.ndarray
    noncount: np.ndarray
    grown: np.ndarray
    from_old_wood: np.ndarray
    bearing: np.ndarray
    clusters: np.ndarray
    weight: np.ndarray
    pruning: np.ndarray


def log_chain(x, shape, state, e, noncount_fertility):
    """Return the chain in logs.

    Parameters
    ----------
    x : dict
        {component: its log} [1].
    shape, state, e, noncount_fertility
        As in ``grow``.

    Returns
    -------
    Chain
    """
    buds = shape.log_buds + x["buds_left"]
    changed = buds - state.log_carried
    settled = state.log_carried - state.log_reference
    shoots = (
        buds
        + x["shoots_per_bud"]
        + shape.log_burst
        + e.burst_settled * settled
        + e.burst_first * changed
    )
    noncount = x["noncount_shoots"] + e.noncount_settled * settled + e.noncount_first * changed
    grown, from_old_wood = np.exp(shoots), np.exp(noncount)
    bearing = np.log(grown + noncount_fertility * from_old_wood)
    clusters = (
        x["clusters_per_shoot"]
        + bearing
        + shape.log_fertility
        + e.fertility_settled * settled
        + e.fertility_first * changed
    )
    # Clusters per vine once settled on the carried load, in a season like any other.
    carried_clusters = (1 + e.burst_settled + e.fertility_settled) * settled
    weight = (
        x["cluster_weight_g"]
        + e.weight_settled * carried_clusters
        + e.weight_first * (clusters - state.log_clusters_reference - carried_clusters)
    )
    pruning = x["pruning_weight_kg_per_m"] + e.pruning_settled * settled + e.pruning_first * changed
    return Chain(buds, shoots, noncount, grown, from_old_wood, bearing, clusters, weight, pruning)


def grow(log_components, shape, state, exponents, noncount_fertility=None, log_share=None):
    """Run the chain from buds to crop.

    Parameters
    ----------
    log_components : ndarray, shape (components, ...)
        Natural logs of ``COMPONENTS``; the trailing axes are blocks and draws.
    shape : PlanShape
        Plans, with arrays that broadcast against one component.
    state : LoadState
        Loads, with arrays that broadcast against one component.
    exponents : LoadExponents
        Load response [1], floats or arrays that broadcast against one component.
    noncount_fertility : float, optional
        Clusters on a non-count shoot relative to a count shoot [1]; the handbook's by default.
    log_share : ndarray, optional
        Log of the share of its clusters that a young vine bears [1]; all of them by default. Its
        clusters weigh what a grown vine's would: it is not a grown vine with few clusters.

    Returns
    -------
    Growth
        Arrays with the broadcast shape; weights in [g] and [kg/vine].

    Notes
    -----
    clusters = clusters per shoot x (shoots + relative fertility x non-count shoots), so non-count
    shoots bear, but less.
    Valid for single vines on average over a block, not for one vine.
    """
    if noncount_fertility is None:
        noncount_fertility = handbook.value("noncount.fertility")
    x = dict(zip(COMPONENTS, log_components, strict=True))
    chain = log_chain(x, shape, state, exponents, noncount_fertility)
    clusters = chain.clusters if log_share is None else chain.clusters + log_share
    return Growth(
        shoots=chain.grown,
        noncount_shoots=chain.from_old_wood,
        log_clusters=clusters,
        log_cluster_weight_g=chain.weight,
        log_kg_picked=clusters + chain.weight + (x["recovery"] - np.log(1000.0)),
        log_pruning_weight_kg_per_m=chain.pruning,
    )
