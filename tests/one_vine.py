"""One vine with easy numbers: the logs of its components, its load and what it carried."""

import numpy as np

from cropload.vine.growth import COMPONENTS, LoadState
from cropload.vine.plan_shape import PlanShape

VALUES = {
    "buds_left": 1.0,
    "shoots_per_bud": 0.9,
    "clusters_per_shoot": 1.6,
    "cluster_weight_g": 120.0,
    "recovery": 0.95,
    "noncount_shoots": 2.0,
    "pruning_weight_kg_per_m": 0.4,
    "counting_bias": 0.95,
    "increase_factor": 2.0,
    "ripening_factor": 1.3,
}


def logs(**changes):
    return np.log([(VALUES | changes)[name] for name in COMPONENTS])


def flat(buds):
    """The shape of a load whose nodes are all alike."""
    return PlanShape(np.log(buds), 0.0, 0.0)


def state(reference, carried=None, clusters=None):
    clusters = reference * 0.9 * 1.6 if clusters is None else clusters
    return LoadState(*np.log([reference, carried or reference, clusters]))


def stage_logs(found, x, log_buds):
    """Return the log of what each stage would measure, from what grew of the components ``x``."""
    component = dict(zip(COMPONENTS, x, strict=True))
    return np.array(
        [
            log_buds + component["buds_left"],
            np.log(found.shoots),
            np.log(found.noncount_shoots),
            np.log(found.clusters) + component["counting_bias"],
            np.log(found.cluster_weight_g) - component["increase_factor"],
            np.log(found.cluster_weight_g) - component["ripening_factor"],
            np.log(found.cluster_weight_g),
            np.log(found.kg_picked),
            np.log(found.pruning_weight_kg_per_m),
        ]
    )
