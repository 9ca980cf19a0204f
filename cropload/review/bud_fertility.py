"""Bud fertility by node: what dissections or spring counts say, held to the handbook's shape."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.records.facts import block_facts
from cropload.review.node_model import NodeModel, fit_model
from cropload.units import METRIC
from cropload.vine.plan_shape import NodeProfile

#: What is fitted -> the column counted and the column it is counted on.
WHAT = {"burst": ("shoots", "buds"), "fertility": ("clusters", "shoots")}


@dataclass(frozen=True, eq=False, repr=False)
class BudFertility(Answer):
    """Burst and fertility by node position, against the handbook's shape.

    Attributes
    ----------
    frame : DataFrame
        One row a group, wood, figure (``"burst"``: shoots per bud; ``"fertility"``: clusters per
        shoot) and node: ``by``, wood, what, node, examined [1], value_p10, _p50, _p90 [1],
        relative_p10, _p50, _p90 and handbook, relative to one level [1], differs (whether the
        range leaves the handbook's shape out), buds_seen and buds_enough [1], the buds at that
        node from which on they alone tell the figure within ``fertility.error``.
    by : str
        ``"variety"`` or ``"block"``.
    error : float
        Relative error that is small enough [1].
    """

    by: str = field(kw_only=True)
    error: float = field(kw_only=True)

    @property
    def names(self):
        """The varieties or blocks that were examined."""
        return list(dict.fromkeys(self[self.by])) if len(self) else []

    def of(self, name, what="fertility"):
        """Return the rows of one variety or block and figure."""
        return self.frame[(self[self.by] == name) & (self["what"] == what)]

    def heading(self, units=METRIC):
        """Return what is told."""
        return f"Shoots and clusters by node, of each {self.by}, against the handbook's shape."

    def tables(self, units=METRIC):
        """Return a table for each group and figure, the clusters per shoot first."""
        from cropload.review.tables import fertility_table

        pairs = [(name, what) for what in reversed(WHAT) for name in self.names]
        return tuple(
            fertility_table(self, name, what) for name, what in pairs if len(self.of(name, what))
        )

    def plot(self, ax=None, units=METRIC, name=None, what="fertility"):
        """Draw the nodes of one group, the first by default; on axes, of its first kind of wood."""
        from cropload.review.vine_charts import fertility_panels, plot_fertility

        name = name or self.names[0]
        if ax is None:
            return plot_fertility(self, name, what)
        return fertility_panels(self, name, what)[0].plot(ax)


@dataclass(frozen=True, eq=False)
class NodeFit:
    """A fitted generalized linear model of one wood of one group.

    nodes, seen : positions and how many buds or shoots were examined there [1].
    relative : (3, nodes), low end, middle and high end relative to the handbook's level [1].
    absolute : (3, nodes), shoots per bud or clusters per shoot, seasons and blocks on average [1].
    shape : (nodes,), the handbook's shape [1]. dispersion : variance over that of the family [1].
    result : the NodeModel. family : its name.
    """

    nodes: np.ndarray
    seen: np.ndarray
    relative: np.ndarray
    absolute: np.ndarray
    shape: np.ndarray
    dispersion: float
    family: str
    result: NodeModel


def _design(rows, nodes):
    """Return a named frame: an effect for each node, and one for each season and block but one."""
    frame = pd.DataFrame({f"node {node}": (rows["node"] == node).to_numpy(float) for node in nodes})
    for cell in list(dict.fromkeys(rows["cell"]))[1:]:
        frame[cell] = (rows["cell"] == cell).to_numpy(float)
    return frame


def _off_the_edge(rows, top, bottom, poisson):
    """Return rows without a season and block of nothing, or in which every single bud burst.

    Half a shoot or cluster, spread over its nodes, keeps such a level from running away.
    """
    sums = rows.groupby("cell")[[top, bottom]].transform("sum")
    share = 0.5 * rows[bottom] / sums[bottom]
    seen = rows[top].astype(float).mask(sums[top] == 0, share)
    if not poisson:
        seen = seen.mask(sums[top] == sums[bottom], rows[bottom] - share)
    return rows.assign(**{top: seen})


def fit_nodes(rows, what, shape, *, node_spread=None):
    """Fit burst or fertility by node to one wood of one group.

    Parameters
    ----------
    rows : DataFrame
        season, block, node, buds, shoots, clusters of table fertility [1].
    what : str
        ``"burst"`` or ``"fertility"``.
    shape : ndarray
        The handbook's shape by node from 1 [1]; the last value holds beyond its end.
    node_spread : float, optional
        Spread of a node about that shape, log scale [1]; the handbook's by default. An infinite
        one lets the counts speak alone.

    Returns
    -------
    NodeFit

    Raises
    ------
    CroploadError
        When nothing was examined.

    Notes
    -----
    Burst is binomial with a logit, or Poisson where a bud gave more than one shoot; fertility is
    Poisson with a log. Each season and block has a level of its own. The handbook's shape enters
    as one more row a node, of as many buds as its spread is worth (a prior by data augmentation,
    Greenland 2006, Int. J. Epidemiol. 35:765, from memory), with a level of its own, so that only
    the shape is held to it. Counts that vary more than the family allows weigh less.
    Valid for ten buds a node or more.
    """
    top, bottom = WHAT[what]
    rows = rows[rows[bottom] > 0].reset_index(drop=True)
    if rows.empty or rows[top].sum() <= 0:
        raise CroploadError(f"No {top} by node are on record, so {what} cannot be fitted.")
    spread = handbook.value("fertility.node") if node_spread is None else float(node_spread)
    nodes = np.array(sorted(rows["node"].astype(int).unique()))
    old = np.asarray(shape, float)[np.minimum(nodes, len(shape)) - 1]
    seen = rows.groupby("node")[bottom].sum().reindex(nodes).to_numpy(float)
    cell = "season " + rows["season"].astype(str) + ", " + rows["block"].astype(str)
    rows = rows.assign(cell=cell)
    level = rows[top].sum() / (seen @ old)
    poisson = what == "fertility" or (rows[top] > rows[bottom]).any()
    rows = _off_the_edge(rows, top, bottom, poisson)
    if np.isfinite(spread):
        expected = level * old if poisson else np.clip(level * old, 0.02, 0.98)
        odds = 1.0 if poisson else 1 - expected
        worth = odds / (expected * spread**2)
        prior = pd.DataFrame({"node": nodes, "cell": "handbook", bottom: worth})
        prior[top] = worth * expected
        data = pd.concat([rows[["node", "cell", bottom, top]], prior], ignore_index=True)
    else:
        data = rows[["node", "cell", bottom, top]]
    design = _design(data, nodes)

    def fitted(dispersion):
        # Each row's weight bears its dispersion; the rows of the handbook keep every node finite.
        weights = np.where(data["cell"] == "handbook", 1.0, 1 / dispersion)
        if poisson:
            return fit_model(data[top], design, weights, exposure=data[bottom])
        return fit_model(data[top] / data[bottom], design, weights * data[bottom].to_numpy(float))

    first = fitted(1.0)
    real = (data["cell"] != "handbook").to_numpy(bool)
    freedom = real.sum() - design.loc[real].any().sum()
    squares = float((first.pearson[real] ** 2).sum())
    dispersion = max(squares / freedom, 1.0) if freedom > 0 else 1.0
    result = fitted(dispersion) if dispersion > 1 else first
    return _reduced(result, design, nodes, seen, old, dispersion, poisson, real)


def _reduced(result, design, nodes, seen, old, dispersion, poisson, real):
    """Turn the model's coefficients into relative and absolute ranges."""
    count, z = len(nodes), ranges.reach()
    # Each node at the mean level of the seasons and blocks examined.
    at = np.zeros((count, design.shape[1]))
    at[:, :count] = np.eye(count)
    at[:, count:] = design.loc[real].iloc[:, count:].mean().to_numpy(float)
    eta = at @ result.params.to_numpy(float)
    covariance = at @ result.covariance.to_numpy(float) @ at.T
    value = np.exp(eta) if poisson else 1 / (1 + np.exp(-eta))
    slope = np.ones(count) if poisson else 1 - value
    log_covariance = slope[:, None] * covariance * slope[None, :]
    ends = np.array([-z, 0.0, z])[:, None]
    absolute = eta + ends * np.sqrt(np.diag(covariance))
    absolute = np.exp(absolute) if poisson else 1 / (1 + np.exp(-absolute))
    # Relative to a level at which the nodes examined add up to what the handbook's do.
    weight = seen * value / (seen @ value)
    contrast = np.eye(count) - weight[None, :]
    relative = value * (seen @ old) / (seen @ value)
    relative_sd = np.sqrt(np.einsum("ij,jk,ik->i", contrast, log_covariance, contrast))
    return NodeFit(
        nodes=nodes,
        seen=seen,
        relative=relative * np.exp(ends * relative_sd),
        absolute=absolute,
        shape=old,
        dispersion=dispersion,
        family="Poisson" if poisson else "binomial",
        result=result,
    )


def _groups(records, by):
    facts = block_facts(records)
    if by not in ("variety", "block"):
        raise CroploadError(f"Bud fertility is by variety or block, not by '{by}'.")
    table = records.fertility
    if table.empty:
        raise CroploadError(
            "Table fertility is empty: fill it with the buds, shoots and clusters at each node "
            "position, from buds cut open in winter or from counts in spring."
        )
    labels = facts.varieties if by == "variety" else facts.names
    of = dict(zip(facts.names, labels, strict=True))
    return table.assign(group=table["block"].astype(str).map(of)).groupby("group", sort=False)


@arguments.check_arguments(records=arguments.records, by=arguments.text)
def bud_fertility(records, by="variety"):
    """Return burst and fertility by node position, with ranges, against the handbook's shape.

    Parameters
    ----------
    records : Records
        Table fertility is used.
    by : str
        ``"variety"`` or ``"block"``.

    Returns
    -------
    BudFertility

    Raises
    ------
    CroploadError
        When the table is empty, or for another ``by``.

    Notes
    -----
    See ``fit_nodes``. Buds that are enough: the clusters on them number dispersion x (z / error)^2
    or more, for a count of mean m has a relative error of 1 / sqrt(m); the shoots on them as many
    x (1 - share of buds that burst), for that is the relative error of a share.
    Valid for the nodes examined; others keep the handbook's shape.
    """
    base, rows = NodeProfile.from_handbook(), []
    error, z = handbook.value("fertility.error"), ranges.reach()
    for name, table in _groups(records, by):
        for wood, here in table.groupby("wood", sort=False):
            buds = here.groupby("node")["buds"].sum()
            clusters = here.groupby("node")["clusters"].sum()
            for what in WHAT:
                try:
                    fit = fit_nodes(here, what, getattr(base, f"{wood}_{what}"))
                except CroploadError:
                    continue
                wanted = fit.dispersion * (z / error) ** 2
                for at, node in enumerate(fit.nodes):
                    if what == "burst":
                        per_bud = fit.absolute[1, at]
                        left = 1.0 if fit.family == "Poisson" else 1 - per_bud
                    else:
                        # A node without any cluster is judged by half a one.
                        per_bud, left = max(clusters[node], 0.5) / buds[node], 1.0
                    low, _, high = fit.relative[:, at]
                    rows.append(
                        {
                            by: name,
                            "wood": wood,
                            "what": what,
                            "node": int(node),
                            "examined": fit.seen[at],
                            **_ends("value", fit.absolute[:, at]),
                            **_ends("relative", fit.relative[:, at]),
                            "handbook": fit.shape[at],
                            "differs": bool(not low <= fit.shape[at] <= high),
                            "buds_seen": float(buds[node]),
                            "buds_enough": max(int(np.ceil(wanted * left / per_bud)), 1),
                        }
                    )
    from cropload.review.lesson_words import fertility_notes

    sources = ("fertility.node", "fertility.error", "fertility.between_years")
    found = BudFertility(pd.DataFrame(rows), sources=sources, by=by, error=error)
    return replace(found, notes=fertility_notes(found))


def _ends(name, values):
    return {f"{name}_{end}": value for end, value in zip(ranges.ENDINGS, values, strict=True)}


def fitted_profile(records, variety):
    """Return the node profile of a variety as fitted, and the shoots examined.

    Parameters
    ----------
    records : Records
        Table fertility is used.
    variety : str
        Variety whose blocks are pooled.

    Returns
    -------
    profile : NodeProfile
        The handbook's at nodes and woods that were not examined.
    shoots : int
        Shoots examined [1]; 0 when nothing was.
    """
    base = NodeProfile.from_handbook()
    facts = block_facts(records)
    members = {n for n, v in zip(facts.names, facts.varieties, strict=True) if v == variety}
    table = records.fertility[records.fertility["block"].astype(str).isin(members)]
    found = {}
    for wood in ("cane", "spur"):
        here = table[table["wood"] == wood]
        for what, (top, bottom) in WHAT.items():
            values = getattr(base, f"{wood}_{what}").copy()
            here_within = here[here["node"] <= len(values)]
            if here_within[bottom].sum() > 0 and here_within[top].sum() > 0:
                fit = fit_nodes(here_within, what, values)
                values[fit.nodes - 1] = fit.relative[1]
            found[f"{wood}_{what}"] = values
    return NodeProfile(**found), int(table["shoots"].sum())
