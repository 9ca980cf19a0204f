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
        here = table[table["wood"] == wood].groupby("node")[["buds", "shoots", "clusters"]].sum()
        for what, top, bottom in (("burst", "shoots", "buds"), ("fertility", "clusters", "shoots")):
            values = getattr(base, f"{wood}_{what}").copy()
            nodes = here.index.to_numpy(int)
            inside = (nodes >= 1) & (nodes <= len(values))
            nodes, rows = nodes[inside], here[inside]
            n = rows[bottom].to_numpy(float)
            if n.sum() > 0 and rows[top].sum() > 0:
                old = values[nodes - 1]
                own = rows[top].to_numpy(float) / np.maximum(n, 1)
                own = own * (n @ old) / (n @ own)
                share = n / (n + prior)
                values[nodes - 1] = share * own + (1 - share) * old
            profile[f"{wood}_{what}"] = values
    return NodeProfile(**profile), int(table["shoots"].sum())


def shape_of(plan, profile, cache):
    """Return (log buds, log burst, log fertility) of one plan; ``cache`` keeps those done."""
    key = (plan, id(profile))
    if key not in cache:
        shape = plan_shapes([plan], profile)
        cache[key] = (shape.log_buds[0], shape.log_burst[0], shape.log_fertility[0])
    return cache[key]
