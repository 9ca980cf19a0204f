"""From records to measurements: one log value with its sampling error a block, season and stage."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.cells import Cells
from cropload.beliefs.events import happened
from cropload.beliefs.log_means import log_means
from cropload.records.content import Lately, fingerprint
from cropload.records.facts import season_crops, weighed_together
from cropload.vine.growth import STAGES
from cropload.vine.plan import PruningPlan

COLUMNS = ["block", "season", "stage", "value", "log_value", "log_variance", "n", "date"]

#: Columns of ``counts`` that measure the stage of the same name.
_COUNTED = ("buds", "shoots", "noncount_shoots", "clusters")


#: Measurements made, by what the records said.
_MEASURED = Lately(8)


def plans_by_season(records):
    """Return the plan of each block and season on record, {(block, season): PruningPlan}."""
    rows = records.pruning
    rows = rows[rows["plan"].notna() & (rows["plan"].astype(str).str.strip() != "")]
    read = {text: PruningPlan.parse(text) for text in rows["plan"].unique()}
    return {
        (str(block), int(season)): read[text]
        for block, season, text in zip(rows["block"], rows["season"], rows["plan"], strict=True)
    }


@dataclass(frozen=True, eq=False)
class _Part:
    """What was measured of one stage, an array each: cell, value, log_variance, n, date."""

    stage: str
    cell: np.ndarray
    value: np.ndarray
    log_variance: np.ndarray
    n: np.ndarray
    date: np.ndarray


def _frame(cells, parts):
    """Return parts as one frame, in order of block, season and stage."""
    order = {stage: at for at, stage in enumerate(STAGES)}
    stage = np.concatenate([np.full(len(part.cell), order[part.stage]) for part in parts])
    cell, value, log_variance, n, date = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("cell", "value", "log_variance", "n", "date")
    )
    some = np.flatnonzero(value > 0)
    place, season = cells.place(cell[some]), cells.season(cell[some])
    names = np.array(cells.names, object)
    rank = np.empty(len(names), int)
    rank[sorted(range(len(names)), key=cells.names.__getitem__)] = np.arange(len(names))
    by = np.lexsort((stage[some], season, rank[place]))
    some = some[by]
    return pd.DataFrame(
        {
            "block": names[place[by]],
            "season": season[by],
            "stage": np.array(STAGES, object)[stage[some]],
            "value": value[some],
            "log_value": np.log(value[some]),
            "log_variance": log_variance[some],
            "n": n[some].astype(float),
            "date": pd.to_datetime(date[some]),
        },
        columns=COLUMNS,
    )


def last_visits(counts, column):
    """Return the last count of each vine in each season; a later visit stands for an earlier."""
    return counts.iloc[_Visits(counts).last(column)]


class _Visits:
    """Vines visited: the rows of ``counts`` in the order of their days, each vine with a number."""

    def __init__(self, counts):
        self._counts, self._date = counts, counts["date"].to_numpy()
        self._order = np.argsort(self._date, kind="stable")
        self._vine = np.zeros(len(counts), int)
        for name in ("block", "season", "row", "vine"):
            codes, values = pd.factorize(counts[name])
            self._vine = self._vine * (len(values) + 1) + codes

    def last(self, column):
        """Return where the last count of each vine stands, places in ``counts``."""
        order = self._order[self._counts[column].notna().to_numpy(bool)[self._order]]
        return order[~pd.Series(self._vine[order]).duplicated(keep="last").to_numpy()]

    def means(self, column, cell, cells, bearing, events, counters=None):
        """Return what the counts of a column measure, or None."""
        rows = self.last(column)
        if not len(rows):
            return None
        cell, added = cell[rows], 0.0
        values = self._counts[column].to_numpy(float)[rows]
        if events.taken:
            counts, taken = events.as_if_nothing(self._counts.iloc[rows], [column], column)
            values, added = counts[column].to_numpy(float), cells.spread_out(taken)
        if counters:
            who = self._counts["counter"].iloc[rows]
            bias, share = _counters(who, cell, counters, cells.count)
            values, added = values / np.exp(bias), added + share
        population = np.repeat(bearing, cells.seasons)
        found = log_means(cell, values, cells.count, column, population)
        # A block whose vines are all at zero has lost its crop (hail, frost): not an ordinary
        # season to learn from, and nothing that its neighbours share.
        at = np.flatnonzero((found["n"] > 0) & ~found["event"])
        date = cells.latest(cell, self._date[rows])
        return _Part(
            column,
            at,
            np.exp(found["log_mean"][at]),
            (found["log_variance"] + added)[at],
            found["n"][at],
            date[at],
        )


def _counters(who, cell, counters, count):
    """Return each row's bias by its counter, and what the spreads of these add to each cell.

    The rows of one counter err together, so their share of the sample bears the whole spread.
    """
    who, names = pd.factorize(who.astype(str).str.strip())
    told = np.array([counters.get(name, (0.0, 0.0)) for name in names], float).reshape(-1, 2)
    size = np.bincount(cell * len(names) + who, minlength=count * len(names))
    size = size.reshape(count, len(names))
    share = size / np.maximum(size.sum(1, keepdims=True), 1)
    return told[who, 0], ((share * told[:, 1]) ** 2).sum(1)


def lost_blocks(records, facts, season):
    """Return the blocks whose counted vines all carry no cluster in a season, with the vines.

    Returns
    -------
    dict
        {block: vines counted [1]}.

    Notes
    -----
    Such a block is taken as lost: 0 t, apart from the log-normal model, which knows no zero. It
    takes ``sampling.zero_event_vines`` vines to say so; fewer zeros count as half a cluster in
    the whole sample, with a wide error.
    """
    bare = bare_seasons(records.counts[records.counts["season"] == season], facts)
    return {block: vines for (block, _), vines in bare.items()}


def bare_seasons(counts, facts):
    """Return {(block, season): vines counted} where all the vines of ``counts`` are bare."""
    if counts.empty:
        return {}
    cells, counts = Cells(facts, counts), last_visits(counts, "clusters")
    cell = cells.of(counts)
    vines = np.bincount(cell, minlength=cells.count)
    clusters = np.bincount(cell, counts["clusters"].to_numpy(float), minlength=cells.count)
    bare = (clusters <= 0) & (vines >= handbook.value("sampling.zero_event_vines"))
    return {cells.name(at): int(vines[at]) for at in np.flatnonzero(bare)}


def _counted(records, cells, facts, events, counters=None):
    if records.counts.empty:
        return
    visits, cell = _Visits(records.counts), cells.of(records.counts)
    for column in _COUNTED:
        own = counters if column == "clusters" else None
        part = visits.means(column, cell, cells, facts.bearing, events, own)
        if part is not None:
            yield part


def _weighed(records, cells, events):
    weights = records.weights
    weights = weights[(weights["clusters"] > 0) & (weights["weight_g"] > 0)]
    # Vines differ too: many clusters from few of them say little of the block.
    usual = weights["clusters"] / handbook.value("sampling.clusters_weighed_a_vine")
    vines = weights["vines"].astype(float).fillna(usual).clip(lower=1)
    weights = weights.assign(vines=np.minimum(vines, weights["clusters"]))
    cv, between = (
        handbook.value(f"sampling.{key}")
        for key in ("cv_cluster_weight_g", "weight_cv_between_vines")
    )
    for stage in ("lag", "veraison", "harvest"):
        lots = weights[weights["stage"] == stage]
        if lots.empty:
            continue
        cell = cells.of(lots)
        lots, taken = events.as_if_nothing(lots, ["weight_g"], f"weight_{stage}")
        at, added = np.unique(cell), cells.spread_out(taken)
        clusters, weight_g, vines = (
            np.bincount(cell, lots[name].to_numpy(float), minlength=cells.count)[at]
            for name in ("clusters", "weight_g", "vines")
        )
        yield _Part(
            f"weight_{stage}",
            at,
            weight_g / clusters,
            cv**2 / clusters + between**2 / vines + added[at],
            clusters,
            cells.latest(cell, lots["date"].to_numpy())[at],
        )


def _picked(records, cells, facts, events):
    harvest = records.harvest
    if harvest.empty:
        return
    # What the vines bore is what the scale said, and what hail, frost or birds took before it.
    whole, taken = events.at_the_scale(harvest)
    table = season_crops(harvest).reset_index()
    cell, rows = cells.of(table), cells.of(harvest)
    taken = np.bincount(rows, taken * whole, minlength=cells.count)[cell]
    whole = np.bincount(rows, whole, minlength=cells.count)[cell]
    tonnes = table["tonnes"].to_numpy(float)
    share = table["picked_pct"].to_numpy(float) / 100
    vines = facts.bearing[cells.place(cell)]
    with np.errstate(divide="ignore", invalid="ignore"):
        value = whole * 1000 / vines / share
        # The loss is judged by eye, and the more is lost the less the rest says of the whole.
        guess = np.nan_to_num(taken / whole)
        # How the tonnes of a ticket were shared out between its blocks is a guess on paper.
        joint = weighed_together(records)
        shared = np.array([cells.name(each) in joint for each in cell])
        guess = guess + shared * handbook.value("forecast.joint_share_error") ** 2
        scale = tonnes / facts.area_ha[cells.place(cell)] / share
    value = np.where(np.isfinite(value), value, 0.0)
    # A trace of fruit is a lost crop: an event, not an ordinary season that blocks share.
    value = np.where(scale < handbook.entry("plausible.t_ha").low, 0.0, value)
    # A part that is picked says less of the whole: vines differ, and the rest is still hanging.
    part = (
        (1 - share)
        * handbook.value("sampling.cv_clusters") ** 2
        / np.sqrt(np.maximum(vines * share, 1.0))
    )
    error = handbook.value("forecast.scale_error") ** 2 + part + guess
    n, date = table["rows"].to_numpy(), table["date"].to_numpy()
    yield _Part("harvest", cell, value, error, n, date)


def _pruned(records, cells, facts):
    """Yield prunings per metre of canopy; they grew in the season before the row's own."""
    rows = records.pruning[records.pruning["pruning_weight_kg"].notna()]
    done, cv = cells.of(rows), handbook.value("sampling.cv_pruning_weight_kg")

    def part(cell, weight_kg, vines, date):
        value = weight_kg / facts.canopy_length_m[cells.place(cell)]
        error = cv**2 / np.maximum(vines, 1)
        return _Part("pruning_weight", cells.before(cell), value, error, vines, date)

    if len(rows):
        vines = rows["vines_weighed"].fillna(10).to_numpy(float)
        yield part(done, rows["pruning_weight_kg"].to_numpy(float), vines, rows["date"].to_numpy())
    counts = records.counts[records.counts["pruning_weight_kg"] > 0]
    if len(counts):
        cell = cells.of(counts)
        at = np.setdiff1d(cell, done)
        vines = np.bincount(cell, minlength=cells.count)[at].astype(float)
        weight = np.bincount(cell, counts["pruning_weight_kg"].to_numpy(float), cells.count)[at]
        date = cells.latest(cell, counts["date"].to_numpy())[at]
        yield part(at, weight / vines, vines, date)


def measurements(records, facts, counters=None):
    """Return what was measured, one row a block, season and stage.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    facts : BlockFacts
        Fixed facts of the blocks.
    counters : dict, optional
        {counter: (log of the bias of their cluster counts, its spread)} [1], to be taken out.

    Returns
    -------
    DataFrame
        block, season, stage, value (in the stage's own unit: [1/vine], [g], [kg/vine] per
        bearing vine, [kg/m]), log_value and log_variance of the sample [1], n, date (the last).

    Notes
    -----
    A zero mean is left out: a lost crop is an event, not an ordinary season. What an event took is
    put back, so that all stages tell of the season as if it had not happened.
    ``season`` is the season in which the thing grew.
    """
    content = (fingerprint(records), tuple((counters or {}).items()))
    return _MEASURED.get(content, lambda: _measured(records, facts, counters)).copy()


def _measured(records, facts, counters):
    events = happened(records, facts)
    cells = Cells(facts, records.counts, records.weights, records.harvest, records.pruning)
    parts = [
        *_counted(records, cells, facts, events, counters),
        *_weighed(records, cells, events),
        *_picked(records, cells, facts, events),
        *_pruned(records, cells, facts),
    ]
    return _frame(cells, parts) if parts else pd.DataFrame(columns=COLUMNS)
