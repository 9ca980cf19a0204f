"""Growth: the chain from the buds of a plan to crop, its load response, and its straight lines.

Everything here is arithmetic on arrays. ``grow`` runs the whole chain on draws; ``stage_rows``
gives the same chain as straight lines in the logs, which is what a count needs to narrow it.

Leaving twice the buds never gives twice the crop for long (compensation): fewer buds burst, the
shoots carry fewer clusters, and the clusters stay lighter. Each of these is a power of the load,
with one exponent for the first season on a new load and another once the vine has settled on it.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from cropload import handbook
from cropload.vine.plan_shape import PlanShape

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

#: What responds to the load, in the order of the chain.
RESPONSES = ("burst", "fertility", "weight", "noncount", "pruning")

#: What a block has of its own beside its components, whatever the season: how much more strongly
#: it answers to the load than the estate's vines do, a yearly trend, and a load nobody wrote down.
OWN = ("answer", "trend", "load")

#: What is believed of a block: its components, and what it has of its own.
STATE = (*COMPONENTS, *OWN)

_AT = {name: place for place, name in enumerate(STATE)}

#: Responses in which a block may be stronger or weaker than its estate.
_OWN_RESPONSES = ("burst", "fertility", "weight")


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
    values = {}
    for row, response in enumerate(RESPONSES):
        for phase in ("first", "settled"):
            entry = handbook.entry(f"load.{response}.{phase}")
            value = float(entry.value)
            values[f"{response}_{phase}"] = (
                value if normals is None else value + entry.spread * normals[row]
            )
    return LoadExponents(**values)


def answer_strength():
    """Return by how much a block's own answer moves each response's normal, (responses,) [1]."""
    own = handbook.value("load.own_answer")
    return np.array([own if name in _OWN_RESPONSES else 0.0 for name in RESPONSES])


def exponent_spreads():
    """Return the spread of each exponent [1] as a LoadExponents of standard deviations."""
    return LoadExponents(
        **{
            f"{response}_{phase}": float(handbook.entry(f"load.{response}.{phase}").spread)
            for response in RESPONSES
            for phase in ("first", "settled")
        }
    )


def settled_move(log_ratio):
    """Return how components move from one load to another once the vines have settled on it.

    Parameters
    ----------
    log_ratio : array_like, shape (...)
        Log of the new load over the old one [1].

    Returns
    -------
    ndarray, shape (..., components)
        Moves of the logs [1], the exponents of the load response at their centres.

    Notes
    -----
    Prunings are left as they are: strong vines are left more buds, so between blocks their
    prunings do not fall with the load as they do in a vine that is given more.
    """
    e = exponents()
    clusters = 1 + e.burst_settled + e.fertility_settled
    powers = {
        "shoots_per_bud": e.burst_settled,
        "clusters_per_shoot": e.fertility_settled,
        "cluster_weight_g": e.weight_settled * clusters,
        "noncount_shoots": e.noncount_settled,
    }
    each = np.array([powers.get(name, 0.0) for name in COMPONENTS])
    return np.multiply.outer(np.asarray(log_ratio, float), each)


def trend_line():
    """Return how a trend of the crop moves the components, (components,) [1].

    Clusters and their weight bear it alike: crops alone do not tell which of the two it is.
    """
    return np.array(
        [0.5 if n in ("clusters_per_shoot", "cluster_weight_g") else 0.0 for n in COMPONENTS]
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


@dataclass(frozen=True)
class LoadState:
    """The loads a vine's components refer to, as arrays that broadcast over blocks and plans.

    ``log_reference``: log of the buds per vine at which the components are stated [1];
    ``log_carried``: log of the load of the seasons before [1]; ``log_clusters_reference``: log of
    the clusters per vine at which cluster weight is stated [1]; ``log_age``: log of a young vine's
    usual load over a grown one's, by which it has fewer non-count shoots too [1].
    """

    log_reference: np.ndarray
    log_carried: np.ndarray
    log_clusters_reference: np.ndarray
    log_age: np.ndarray | float = 0.0

    def settled_at(self, log_buds):
        """Return the state of vines that have long carried ``log_buds``."""
        return replace(self, log_carried=log_buds)


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
    """The chain in logs; ``grown`` and ``from_old_wood`` are shoots [1/vine] themselves.

    ``changed`` is the load less the one carried, ``settled`` the carried one less that which the
    components refer to. ``carried_clusters`` are those of a vine settled on the load it carried,
    against those the components refer to, and ``surplus`` is what this season's are above them.
    """

    buds: np.ndarray
    changed: np.ndarray
    settled: np.ndarray
    shoots: np.ndarray
    noncount: np.ndarray
    grown: np.ndarray
    from_old_wood: np.ndarray
    bearing: np.ndarray
    clusters: np.ndarray
    carried_clusters: np.ndarray
    surplus: np.ndarray
    weight: np.ndarray
    pruning: np.ndarray


def log_chain(x, shape, state, e, noncount_fertility=None):
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
    if noncount_fertility is None:
        noncount_fertility = handbook.value("noncount.fertility")
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
    noncount = noncount + state.log_age
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
    surplus = clusters - state.log_clusters_reference - carried_clusters
    weight = x["cluster_weight_g"] + e.weight_settled * carried_clusters + e.weight_first * surplus
    return Chain(
        buds=buds,
        changed=changed,
        settled=settled,
        shoots=shoots,
        noncount=noncount,
        grown=grown,
        from_old_wood=from_old_wood,
        bearing=bearing,
        clusters=clusters,
        carried_clusters=carried_clusters,
        surplus=surplus,
        weight=weight,
        pruning=(
            x["pruning_weight_kg_per_m"] + e.pruning_settled * settled + e.pruning_first * changed
        ),
    )


def grow(log_components, shape, state, exponents, noncount_fertility=None, log_share=None):
    """Run the chain from buds to crop.

    Parameters
    ----------
    log_components : ndarray, shape (components, ...)
        Natural logs of ``COMPONENTS``, what else there is being left aside; the trailing axes are
        blocks and draws.
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
    x = dict(zip(COMPONENTS, log_components, strict=False))
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


def _chain_at(centre, shape, state):
    """Return components' logs by name, exponents at their centres, and the chain there."""
    x, e = dict(zip(COMPONENTS, np.asarray(centre, float).T, strict=True)), exponents()
    return x, e, log_chain(x, shape, state, e)


def stage_rows(centre, shape, state):
    """Return what each stage measures as a straight line in the logs of the components.

    Parameters
    ----------
    centre : ndarray, shape (n, components)
        Logs of the components about which the chain is made linear.
    shape, state
        As in ``grow``, with arrays of shape (n,).

    Returns
    -------
    rows : ndarray, shape (n, stages, components)
        Coefficients [1].
    offset : ndarray, shape (n, stages)
        So that ln(measured) = rows @ ln(components) + offset. The measured are, by stage: buds,
        shoots, non-count shoots and counted clusters per vine [1/vine], cluster weight at lag
        phase, veraison and harvest [g], crop picked per bearing vine [kg/vine], and prunings per
        metre of canopy [kg/m].

    Notes
    -----
    Exponents are at their centres. Only the share of the clusters borne on non-count shoots is not
    linear in the logs; it is taken at the centre.
    Valid near the centre: within the handbook's spreads the crop is off by less than one percent.
    """
    x, e, chain = _chain_at(centre, shape, state)
    n = len(centre)
    unit = np.eye(len(COMPONENTS))

    def line(**parts):
        row = np.zeros((n, len(COMPONENTS)))
        for name, coefficient in parts.items():
            row += np.multiply.outer(np.broadcast_to(coefficient, n), unit[_AT[name]])
        return row

    share = np.exp(chain.shoots - chain.bearing)[:, None]
    to_buds = line(buds_left=1.0)
    to_shoots = line(buds_left=1.0 + e.burst_first, shoots_per_bud=1.0)
    to_noncount = line(buds_left=e.noncount_first, noncount_shoots=1.0)
    to_clusters = (
        line(clusters_per_shoot=1.0, buds_left=e.fertility_first)
        + share * to_shoots
        + (1.0 - share) * to_noncount
    )
    to_weight = e.weight_first * to_clusters + line(cluster_weight_g=1.0)
    rows, values = zip(
        (to_buds, chain.buds),
        (to_shoots, chain.shoots),
        (to_noncount, chain.noncount),
        (to_clusters + line(counting_bias=1.0), chain.clusters + x["counting_bias"]),
        (to_weight - line(increase_factor=1.0), chain.weight - x["increase_factor"]),
        (to_weight - line(ripening_factor=1.0), chain.weight - x["ripening_factor"]),
        (to_weight, chain.weight),
        (
            to_clusters + to_weight + line(recovery=1.0),
            chain.clusters + chain.weight + x["recovery"] - np.log(1000.0),
        ),
        (
            line(buds_left=e.pruning_first, pruning_weight_kg_per_m=1.0),
            chain.pruning,
        ),
        strict=True,
    )
    rows = np.stack(rows, axis=1)
    values = np.stack([np.broadcast_to(v, n) for v in values], axis=1)
    return rows, values - np.einsum("nsk,nk->ns", rows, centre)


def load_lines(centre, shape, state, its_own):
    """Return what each stage measures as a line in the log of a load that nobody wrote down.

    Parameters
    ----------
    centre, shape, state
        As in ``stage_rows``.
    its_own : ndarray of bool, shape (n,)
        Whether the season's own load is the unknown one too, or only the load carried before.

    Returns
    -------
    ndarray, shape (n, stages)
        Coefficients [1].
    """
    _, e, chain = _chain_at(centre, shape, state)
    share = np.exp(chain.shoots - chain.bearing)
    buds = np.asarray(its_own, float)
    changed = buds - 1.0
    shoots = buds + e.burst_settled + e.burst_first * changed
    noncount = e.noncount_settled + e.noncount_first * changed
    clusters = e.fertility_settled + e.fertility_first * changed
    clusters = clusters + share * shoots + (1.0 - share) * noncount
    usual = 1 + e.burst_settled + e.fertility_settled
    weight = e.weight_settled * usual + e.weight_first * (clusters - usual)
    pruning = e.pruning_settled + e.pruning_first * changed
    return np.stack(
        [buds, shoots, noncount, clusters, weight, weight, weight, clusters + weight, pruning], -1
    )


def response_shift(centre, shape, state):
    """Return how what is not known of the load response moves each component.

    Parameters
    ----------
    centre, shape, state
        As in ``stage_rows``.

    Returns
    -------
    ndarray, shape (n, components, responses)
        Shift of each component's log, as measured, for one unit of the standard normal behind
        each of ``RESPONSES`` [1]. Zero where the load is what the components were measured under.
    """
    _, e, chain = _chain_at(centre, shape, state)
    spread = exponent_spreads()
    shift = np.zeros((len(centre), len(COMPONENTS), len(RESPONSES)))
    for response, name in (
        ("burst", "shoots_per_bud"),
        ("fertility", "clusters_per_shoot"),
        ("noncount", "noncount_shoots"),
        ("pruning", "pruning_weight_kg_per_m"),
    ):
        first, later = getattr(spread, f"{response}_first"), getattr(spread, f"{response}_settled")
        shift[:, _AT[name], RESPONSES.index(response)] = (
            first * chain.changed + later * chain.settled
        )
        if response in ("burst", "fertility"):
            # The clusters of the carried load are part of the weight's own settled response.
            shift[:, _AT["cluster_weight_g"], RESPONSES.index(response)] = (
                (e.weight_settled - e.weight_first) * later * chain.settled
            )
    shift[:, _AT["cluster_weight_g"], RESPONSES.index("weight")] = (
        spread.weight_settled * chain.carried_clusters + spread.weight_first * chain.surplus
    )
    return shift


def load_shift(mean, shape, state):
    """Return how what is not known of the load response moves each component, by the load alone.

    Parameters
    ----------
    mean : ndarray, shape (n, components)
        Prior means of the logs [1].
    shape, state
        As in ``stage_rows``.

    Returns
    -------
    ndarray, shape (n, components, responses)
        As from ``response_shift`` [1].

    Notes
    -----
    The clusters that weight answers to are those of the plan, against those of the usual load.
    Were they the clusters counted, their sampling error would stand on both sides, and thousands
    of blocks would seem to know a response that none of them has shown.
    """
    usual = state.log_reference
    flat = PlanShape(usual, np.zeros_like(usual), np.zeros_like(usual))
    rows, offset = stage_rows(mean, flat, LoadState(usual, usual, usual))
    stage = STAGES.index("clusters")
    counted = np.einsum("nk,nk->n", rows[:, stage], mean) + offset[:, stage]
    clusters = counted - mean[:, COMPONENTS.index("counting_bias")]
    return response_shift(mean, shape, LoadState(usual, state.log_carried, clusters, state.log_age))
