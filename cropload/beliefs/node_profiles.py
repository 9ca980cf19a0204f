"""Node profiles: the handbook's, moved by the user's own counts of fertility by node."""

import numpy as np

from cropload import handbook
from cropload.vine.plan_shape import NodeProfile, plan_shapes


def node_profile(records, variety, facts, base=None):
    """Return the node profile of a variety: the handbook's, moved by the user's own counts.

    Parameters
    ----------
    records : Records
        Its ``fertility`` table is used [shoots and clusters by node].
    variety : str
        Variety whose blocks are pooled.
    facts : BlockFacts
        Fixed facts of the blocks.
    base : NodeProfile, optional
        Profile that the counts move; the handbook's when left out.

    Returns
    -------
    profile : NodeProfile
    shoots : int
        Shoots examined [1]; 0 when the handbook's profile stands.

    Notes
    -----
    At each node the user's figure and the handbook's are weighed by the shoots (for burst: buds)
    examined there against ``forecast.profile_weight``.
    """
    base = NodeProfile.from_handbook() if base is None else base
    members = {n for n, v in zip(facts.names, facts.varieties, strict=True) if v == variety}
    table = records.fertility
    table = table[table["block"].astype(str).isin(members)]
    if table.empty:
        return base, 0
    prior = handbook.value("forecast.profile_weight")
    profile = {}
    for wood in ("cane", "spur"):
        here = table[table["wood"] == wood]
        node = here["node"].to_numpy(int)
        for what, top, bottom in (("burst", "shoots", "buds"), ("fertility", "clusters", "shoots")):
            values = getattr(base, f"{wood}_{what}").copy()
            inside = (node >= 1) & (node <= len(values))
            seen, n = (
                np.bincount(
                    node[inside] - 1, np.nan_to_num(here[name].to_numpy(float))[inside], len(values)
                )
                for name in (top, bottom)
            )
            if n.sum() > 0 and seen.sum() > 0:
                own = seen / np.maximum(n, 1)
                own = own * (n @ values) / (n @ own)
                share = n / (n + prior)
                values = share * own + (1 - share) * values
            profile[f"{wood}_{what}"] = values
    return NodeProfile(**profile), int(table["shoots"].sum())


def shape_of(plan, profile, cache):
    """Return (log buds, log burst, log fertility) of one plan; ``cache`` keeps those done."""
    key = (plan, id(profile))
    if key not in cache:
        shape = plan_shapes([plan], profile)
        cache[key] = (shape.log_buds[0], shape.log_burst[0], shape.log_fertility[0])
    return cache[key]
