"""The mean vine of a block in parts: what its parts grow, and what a sample of them measures."""

from dataclasses import fields

import numpy as np

from cropload.vine.growth import STAGES, Growth

_CLUSTERS = STAGES.index("clusters")
_WEIGHTS = [STAGES.index(f"weight_{when}") for when in ("lag", "veraison", "harvest")]


def mean_growth(growth, shares):
    """Return what grows on the mean vine of parts; a cluster weighs what all fruit does by all.

    Parameters
    ----------
    growth : Growth
        Arrays whose first axis is the parts.
    shares : sequence of (float, PruningPlan)
        Share of the vines of each part [1].

    Returns
    -------
    Growth
        Without that axis.

    Notes
    -----
    Missing vines are taken as spread evenly over the parts.
    """
    weights = np.array([share for share, _ in shares])

    def mean(values):
        return np.tensordot(weights, values, 1)

    def log_mean(values):
        return np.log(mean(np.exp(values)))

    clusters = log_mean(growth.log_clusters)
    return Growth(
        shoots=mean(growth.shoots),
        noncount_shoots=mean(growth.noncount_shoots),
        log_clusters=clusters,
        log_cluster_weight_g=log_mean(growth.log_clusters + growth.log_cluster_weight_g) - clusters,
        log_kg_picked=log_mean(growth.log_kg_picked),
        log_pruning_weight_kg_per_m=log_mean(growth.log_pruning_weight_kg_per_m),
    )


def put_growth(whole, place, growth):
    """Write what grows in one place into the arrays of a whole, in place."""
    for field in fields(Growth):
        getattr(whole, field.name)[place] = getattr(growth, field.name)


def mean_lines(about, lines, shares):
    """Return the straight lines of what is measured on vines sampled over all parts.

    Parameters
    ----------
    about : ndarray, shape (components,)
        Logs of the components about which the chain is linear [1].
    lines : tuple of ndarray
        Those of each part, shapes (parts, stages, components), (parts, stages), (parts, stages)
        and (parts, components, responses): rows and offset as from ``stage_rows``, then as from
        ``load_lines`` and ``load_shift`` [1].
    shares : sequence of (float, PruningPlan)
        Share of the vines of each part [1].

    Returns
    -------
    tuple of ndarray
        The same of the mean vine, without the first axis.

    Notes
    -----
    The log of a mean of exponentials has as its slope the mean of the slopes, by what each bears.
    A mean cluster weight is taken over clusters, so that of a part counts by the clusters there.
    """
    rows, offset, loads, shift = lines
    logs = offset + rows @ about
    # Clusters and their weight together are fruit, of which a mean vine bears the mean.
    for array in (rows, logs, loads):
        array[:, _WEIGHTS] += array[:, [_CLUSTERS]]
    logs += np.log([share for share, _ in shares])[:, None]
    whole = np.logaddexp.reduce(logs)
    by = np.exp(logs - whole)
    rows, loads = np.einsum("ps,psk->sk", by, rows), np.einsum("ps,ps->s", by, loads)
    shift = np.einsum("p,pkr->kr", by[:, _CLUSTERS], shift)
    for array in (rows, whole, loads):
        array[_WEIGHTS] -= array[_CLUSTERS]
    return rows, whole - rows @ about, loads, shift
