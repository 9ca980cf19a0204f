"""Stages as straight lines: what each count or weight says of the components, in their logs."""

import numpy as np

from cropload import handbook
from cropload.vine.growth import COMPONENTS, log_chain
from cropload.vine.load_response import RESPONSES, exponent_spreads

_AT = {name: place for place, name in enumerate(COMPONENTS)}


def stage_rows(centre, shape, state, exponents, noncount_fertility=None):
    """Return what each stage measures as a straight line in the logs of the components.

    Parameters
    ----------
    centre : ndarray, shape (n, components)
        Logs of the components about which the chain is made straight.
    shape, state
        As in ``growth.grow``, with arrays of shape (n,).
    exponents : LoadExponents
        At their centres [1].
    noncount_fertility : float, optional
        As in ``growth.grow`` [1].

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
    Only the share of the clusters borne on non-count shoots is not straight in the logs; it is
    taken at the centre.
    Valid near the centre: within the handbook's spreads the crop is off by less than one percent.
    """
    if noncount_fertility is None:
        noncount_fertility = handbook.value("noncount.fertility")
    centre = np.asarray(centre, float)
    e = exponents
    x = dict(zip(COMPONENTS, centre.T, strict=True))
    chain = log_chain(x, shape, state, e, noncount_fertility)
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


def response_shift(centre, shape, state, exponents, noncount_fertility=None):
    """Return how what is not known of the load response moves each component.

    Parameters
    ----------
    centre, shape, state, exponents, noncount_fertility
        As in ``stage_rows``.

    Returns
    -------
    ndarray, shape (n, components, responses)
        Shift of each component's log, as measured, for one unit of the standard normal behind
        each of ``RESPONSES`` [1]. Zero where the load is what the components were measured under.
    """
    if noncount_fertility is None:
        noncount_fertility = handbook.value("noncount.fertility")
    centre, e, spread = np.asarray(centre, float), exponents, exponent_spreads()
    x = dict(zip(COMPONENTS, centre.T, strict=True))
    chain = log_chain(x, shape, state, e, noncount_fertility)
    changed = chain.buds - state.log_carried
    settled = state.log_carried - state.log_reference
    carried_clusters = (1 + e.burst_settled + e.fertility_settled) * settled
    shift = np.zeros((len(centre), len(COMPONENTS), len(RESPONSES)))
    for response, name in (
        ("burst", "shoots_per_bud"),
        ("fertility", "clusters_per_shoot"),
        ("noncount", "noncount_shoots"),
        ("pruning", "pruning_weight_kg_per_m"),
    ):
        first, later = getattr(spread, f"{response}_first"), getattr(spread, f"{response}_settled")
        shift[:, _AT[name], RESPONSES.index(response)] = first * changed + later * settled
        if response in ("burst", "fertility"):
            # The clusters of the carried load are part of the weight's own settled response.
            shift[:, _AT["cluster_weight_g"], RESPONSES.index(response)] = (
                (e.weight_settled - e.weight_first) * later * settled
            )
    surplus = chain.clusters - state.log_clusters_reference - carried_clusters
    shift[:, _AT["cluster_weight_g"], RESPONSES.index("weight")] = (
        spread.weight_settled * carried_clusters + spread.weight_first * surplus
    )
    return shift
