"""From records to measurements: one log value with its sampling error a block, season and stage."""

from dataclasses import replace

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.events import NOTHING, happened
from cropload.beliefs.log_means import grouped_log_means
from cropload.records.content import Lately, fingerprint
from cropload.records.facts import season_crops, weighed_together
from cropload.vine.growth import STAGES
from cropload.vine.plan import PruningPlan

COLUMNS = ["block", "season", "stage", "value", "log_value", "log_variance", "n", "date"]

#: Column of ``counts`` -> the stage it measures.
_COUNTED = {
    "buds": "buds",
    "shoots": "shoots",
    "noncount_shoots": "noncount_shoots",
    "clusters": "clusters",
}


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


def _frame(index_frame, stage, value, log_variance, n, date):
    value = np.asarray(value, float)
    some = value > 0
    return pd.DataFrame(
        {
            "block": index_frame["block"].astype(str).to_numpy()[some],
            "season": index_frame["season"].to_numpy(int)[some],
            "stage": stage,
            "value": value[some],
            "log_value": np.log(value[some]),
            "log_variance": np.asarray(log_variance, float)[some],
            "n": np.asarray(n, float)[some],
            "date": pd.to_datetime(np.asarray(date)[some]),
        },
        columns=COLUMNS,
    )


def last_visits(counts, column):
    """Return the last count of each vine in each season; a later visit stands for an earlier."""
    counts = counts[counts[column].notna()]
    if counts.empty:
        return counts
    return counts.sort_values("date", kind="stable").drop_duplicates(
        ["block", "season", "row", "vine"], keep="last"
    )


def _count_means(records, facts, column, counters=None, events=NOTHING):
    counts = last_visits(records.counts, column)
    if counts.empty:
        return counts, counts
    counts, taken = events.as_if_nothing(counts, [column], _COUNTED[column])
    share = None
    if counters:
        counts, share = _corrected(counts, column, counters)
    population = dict(zip(facts.names, facts.bearing, strict=True))
    table = grouped_log_means(counts, ["block", "season"], column, population)
    for added in (share, taken):
        if added is not None:
            table["log_variance"] += added.reindex(table.index).fillna(0.0).to_numpy(float)
    return counts, table


def _corrected(counts, column, counters):
    """Return counts without each counter's own bias, and what its spread adds by block and season.

    The rows of one counter err together, so their share of the sample bears the whole spread.
    """
    who = counts["counter"].astype(str).str.strip()
    bias = who.map({name: log for name, (log, _) in counters.items()}).fillna(0.0)
    spread = who.map({name: each for name, (_, each) in counters.items()}).fillna(0.0)
    fixed = counts[column].to_numpy(float) / np.exp(bias.to_numpy(float))
    fixed = counts.assign(**{column: fixed}, _who=who, _spread=spread.to_numpy(float))
    keys = ["block", "season"]
    lots = fixed.groupby([*keys, "_who"])["_spread"].agg(["size", "first"])
    share = lots["size"] / lots.groupby(keys)["size"].transform("sum")
    added = ((share * lots["first"]) ** 2).groupby(keys).sum()
    return fixed.drop(columns=["_who", "_spread"]), added


def _counted(records, facts, events, counters=None):
    for column, stage in _COUNTED.items():
        own = counters if column == "clusters" else None
        counts, table = _count_means(records, facts, column, own, events)
        if counts.empty:
            continue
        last = counts.groupby(["block", "season"], sort=True)["date"].max()
        # A block whose vines are all at zero has lost its crop (hail, frost): not an ordinary
        # season to learn from, and nothing that its neighbours share.
        table = table[~table["event"].to_numpy(bool)]
        yield _frame(
            table.reset_index(),
            stage,
            np.exp(table["log_mean"]),
            table["log_variance"],
            table["n"],
            last.reindex(table.index).to_numpy(),
        )


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
    bare = bare_seasons(records.counts[records.counts["season"] == season], records, facts)
    return {block: vines for (block, _), vines in bare.items()}


def bare_seasons(counts, records, facts):
    """Return {(block, season): vines counted} where all the vines of ``counts`` are bare."""
    counts, table = _count_means(replace(records, counts=counts), facts, "clusters")
    if counts.empty:
        return {}
    table = table[table["event"].to_numpy(bool)].reset_index()
    keys = zip(table["block"].astype(str), table["season"].astype(int), strict=True)
    return dict(zip(keys, table["n"].astype(int), strict=True))


def _weighed(records, events):
    weights = records.weights
    weights = weights[(weights["clusters"] > 0) & (weights["weight_g"] > 0)]
    if weights.empty:
        return
    # Vines differ too: many clusters from few of them say little of the block.
    usual = weights["clusters"] / handbook.value("sampling.clusters_weighed_a_vine")
    vines = weights["vines"].astype(float).fillna(usual).clip(lower=1)
    weights = weights.assign(vines=np.minimum(vines, weights["clusters"]))
    cv, between = (
        handbook.value(f"sampling.{key}")
        for key in ("cv_cluster_weight_g", "weight_cv_between_vines")
    )
    for stage in ("lag", "veraison", "harvest"):
        lots, taken = weights[weights["stage"] == stage], None
        if len(lots):
            lots, taken = events.as_if_nothing(lots, ["weight_g"], f"weight_{stage}")
            groups = lots.groupby(["block", "season"], sort=True)
            here = groups[["clusters", "weight_g", "vines"]].sum()
            here["date"], here["taken"] = groups["date"].max(), 0.0 if taken is None else taken
            here = here.reset_index()
            yield _frame(
                here,
                f"weight_{stage}",
                here["weight_g"] / here["clusters"],
                cv**2 / here["clusters"] + between**2 / here["vines"] + here["taken"],
                here["clusters"],
                here["date"],
            )


def _picked(records, facts, events):
    harvest = records.harvest
    if harvest.empty:
        return
    # What the vines bore is what the scale said, and what hail, frost or birds took before it.
    whole, taken = events.at_the_scale(harvest)
    bore = harvest.assign(whole=whole, taken=taken * whole).groupby(["block", "season"])
    table = season_crops(harvest).join(bore[["whole", "taken"]].sum()).reset_index()
    share = table["picked_pct"] / 100
    bearing = dict(zip(facts.names, facts.bearing, strict=True))
    vines = table["block"].astype(str).map(bearing).to_numpy(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = table["whole"].to_numpy(float) * 1000 / vines / share.to_numpy(float)
        # The loss is judged by eye, and the more is lost the less the rest says of the whole.
        guess = np.nan_to_num((table["taken"] / table["whole"]).to_numpy(float))
        # How the tonnes of a ticket were shared out between its blocks is a guess on paper.
        joint = weighed_together(records)
        pairs = zip(table["block"].astype(str), table["season"], strict=True)
        shared = np.array([(block, int(season)) in joint for block, season in pairs])
        guess = guess + shared * handbook.value("forecast.joint_share_error") ** 2
    value = np.where(np.isfinite(value), value, 0.0)
    # A trace of fruit is a lost crop: an event, not an ordinary season that blocks share.
    area = table["block"].astype(str).map(dict(zip(facts.names, facts.area_ha, strict=True)))
    scale = table["tonnes"] / area / share
    value = np.where(scale < handbook.entry("plausible.t_ha").low, 0.0, value)
    # A part that is picked says less of the whole: vines differ, and the rest is still hanging.
    scale = handbook.value("forecast.scale_error") ** 2
    part = (
        (1 - share.to_numpy(float))
        * handbook.value("sampling.cv_clusters") ** 2
        / np.sqrt(np.maximum(vines * share.to_numpy(float), 1.0))
    )
    yield _frame(table, "harvest", value, scale + part + guess, table["rows"], table["date"])


def _pruned(records, facts):
    """Yield prunings per metre of canopy; they grew in the season before the row's own."""
    length = dict(zip(facts.names, facts.canopy_length_m, strict=True))
    weight = records.pruning[records.pruning["pruning_weight_kg"].notna()]
    cv = handbook.value("sampling.cv_pruning_weight_kg")
    if len(weight):
        vines = weight["vines_weighed"].fillna(10).to_numpy(float)
        yield _frame(
            weight.assign(season=weight["season"] - 1),
            "pruning_weight",
            weight["pruning_weight_kg"] / weight["block"].astype(str).map(length).to_numpy(float),
            cv**2 / np.maximum(vines, 1),
            vines,
            weight["date"],
        )
    counts = records.counts[records.counts["pruning_weight_kg"] > 0]
    if len(counts):
        table = counts.groupby(["block", "season"], sort=True).agg(
            value=("pruning_weight_kg", "mean"),
            n=("pruning_weight_kg", "size"),
            date=("date", "max"),
        )
        table = table.reset_index()
        done = set(zip(weight["block"], weight["season"], strict=True))
        keep = [(b, s) not in done for b, s in zip(table["block"], table["season"], strict=True)]
        table = table[keep]
        if len(table):
            yield _frame(
                table.assign(season=table["season"] - 1),
                "pruning_weight",
                table["value"] / table["block"].astype(str).map(length).to_numpy(float),
                cv**2 / table["n"],
                table["n"],
                table["date"],
            )


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
    parts = [
        *_counted(records, facts, events, counters),
        *_weighed(records, events),
        *_picked(records, facts, events),
        *_pruned(records, facts),
    ]
    if not parts:
        return pd.DataFrame(columns=COLUMNS)
    frame = pd.concat(parts, ignore_index=True)
    order = {stage: at for at, stage in enumerate(STAGES)}
    return frame.sort_values(
        ["block", "season", "stage"], key=lambda c: c.map(order) if c.name == "stage" else c
    ).reset_index(drop=True)
