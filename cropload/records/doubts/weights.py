"""Doubts about lots of clusters: the wrong stage, or the wrong number of clusters."""

from dataclasses import replace

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.rules import tell
from cropload.records.doubts.season_days import picked_days
from cropload.records.doubts.season_means import (
    STAGES,
    against_the_scale,
    agrees,
    dated,
    milder,
    moves,
    scale_moves,
)


def harvest_lots_too_early(usable, misdated=frozenset()):
    """Doubt lots of stage harvest weighed weeks before picking, before veraison or beside lag lots.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable; ``weights`` is among them.
    misdated : set of int
        Rows of weights whose date is doubted already.

    Returns
    -------
    (list of Fault, set of (block, season))
        One doubt for a block and season, and the seasons they speak of.
    """
    limits = entry("plausible.harvest_lot_days")
    table = usable["weights"]
    frame = dated(table.frame)
    frame = frame[~frame.index.isin(list(misdated))]
    picked, turned = picked_days(usable), _veraison(usable)
    first = pd.to_datetime(
        pd.DataFrame({"year": frame["season"], "month": 1, "day": 1}), errors="coerce"
    )
    frame = frame.assign(day=(frame["date"] - first).dt.days)
    usual = _days_of_year(picked)
    lag = frame[frame["stage"] == "lag"].groupby(["block", "season"])["date"].max()
    found, told = [], set()
    for (block, season), lot in frame[frame["stage"] == "harvest"].groupby(["block", "season"]):
        key = (block, season)
        own = usual[block].drop(season, errors="ignore") if block in usual.index else ()
        rule, early = "", lot.iloc[:0]
        if key in turned.index:
            early = lot[lot["date"] < turned[key]]
            rule = f"lies before veraison of the block, {turned[key]:%Y-%m-%d}"
        if early.empty and key in picked.index:
            early = lot[(picked[key] - lot["date"]).dt.days > limits.high]
            rule = f"lies more than {limits.high:g} days before picking, {picked[key]:%Y-%m-%d}"
        elif early.empty and len(own) >= limits.extra["seasons"]:
            early = lot[own.min() - lot["day"] > limits.high]
            rule = f"lies more than {limits.high:g} days before any picking of the block so far"
        if early.empty and key in lag.index:
            early = lot[(lot["date"] - lag[key]).dt.days < limits.low]
            rule = f"lies less than {limits.low:g} days after lag lots of the block"
        if early.empty:
            continue
        row = int(early.index[0])
        mend = "Write lag or veraison into column stage if the berries were not ripe, or mend the "
        value = f"harvest on {table.text(row, 'date')}"
        fault = tell(table, row, "stage", rule, mend + "date.", value)
        found.append(replace(fault, more=len(early) - 1))
        told.add((block, int(season)))
    return found, told


def odd_weights(usable, means, told=frozenset()):
    """Doubt a season whose clusters weigh far more or less than in the block's other seasons.

    Parameters
    ----------
    usable, means
        As for the other checks.
    told : set of (block, season)
        Seasons whose lots are doubted already.

    Returns
    -------
    list of Fault
        One for a block and season.

    Notes
    -----
    A season that is good or bad for all blocks drops out, more or fewer clusters a vine may make
    smaller or larger ones, and where the scale agrees with counts x weights nothing is doubted.
    """
    limits = entry("plausible.weight_of_own_seasons")
    table, seasons = usable["weights"], limits.extra["seasons"]
    scale, away = scale_moves(means)
    load = abs(entry("load.weight.settled").value)
    crowd, _ = moves(np.log(means["clusters"].where(means["clusters"] > 0)), 1)
    shift, plan = (crowd.fillna(0.0), moves(np.log(means["plan"]), 1)[0].fillna(0.0))
    room = load * np.maximum(shift.abs(), plan.abs()).clip(upper=limits.extra["load_room"])
    pairs = {stage: moves(np.log(means[f"{stage}_g"]), seasons) for stage in STAGES}
    alone = pd.DataFrame({stage: milder(*pair) for stage, pair in pairs.items()})
    beyond = pd.DataFrame({stage: alone[stage].abs() - room for stage in STAGES})
    wrong = beyond > np.log(limits.high)
    wrong["harvest"] &= ~agrees(scale)
    wrong["harvest"] |= against_the_scale(alone["harvest"], away)
    same = means.index.isin(_one_number(table))
    wrong |= (alone > np.log(entry("plausible.same_number").value)) & same[:, None]
    found = []
    for key in means.index[wrong.any(axis=1).to_numpy()]:
        if key in told:
            continue
        block, season = key
        stages = [stage for stage in STAGES if wrong.loc[key, stage]]
        stage = stages[0]
        frame = table.frame
        here = (frame["block"] == block) & (frame["season"] == season) & (frame["stage"] == stage)
        rows = frame.index[here]
        times = np.exp(pairs[stage][0][key])
        rule = (
            f"the {stage} lots of {season} weigh {times:.2g} times as much a cluster as in the "
            f"other seasons of the block"
        )
        if np.log(times) < 0 and stage == "harvest":
            mend = "Check the number of clusters, the weight, and whether the stage was harvest."
        else:
            mend = "Check the number of clusters in the lots, the weight and the stage."
        value = f"{means.loc[key, f'{stage}_g']:.3g} g a cluster in {block}"
        fault = tell(table, rows[0], "clusters", rule, mend, value)
        found.append(replace(fault, more=len(rows) - 1))
    return found


def _one_number(table):
    """Return the seasons whose lots all have one number of clusters, where others differ."""
    limits = entry("plausible.same_number")
    groups = table.frame.groupby(["block", "season"])["clusters"]
    number, lots = groups.nunique(), groups.count()
    found = []
    for key in number.index[(number == 1) & (lots >= limits.extra["lots"])]:
        block, season = key
        here = (table.frame["block"] == block) & (table.frame["season"] != season)
        if table.frame.loc[here, "clusters"].nunique() >= limits.extra["numbers"]:
            found.append((block, int(season)))
    return found


def odd_lots(table):
    """Doubt a lot whose weight per cluster lies far from the other lots of its day.

    Parameters
    ----------
    table : ParsedTable
        Table weights.

    Returns
    -------
    list of Fault
        One for a block, day and stage.
    """
    limits = entry("plausible.lot_of_its_day")
    frame = table.frame[table.frame["clusters"] >= limits.extra["clusters"]]
    logs = np.log(frame["weight_g"] / frame["clusters"])
    groups = [frame[name] for name in ("season", "block", "date", "stage")]
    number, middle = (logs.groupby(groups).transform(what) for what in ("count", "median"))
    off = logs - middle
    wrong = (number >= limits.extra["lots"]) & ~off.between(np.log(limits.low), np.log(limits.high))
    found = []
    for _, lot in frame[wrong].groupby(["season", "block", "date", "stage"]):
        row = lot.index[0]
        rule = f"the lot weighs {np.exp(off[row]):.2g} times as much a cluster as those of its day"
        mend = "Check the number of clusters and the weight of the lot."
        fault = tell(table, row, "clusters", rule, mend)
        found.append(replace(fault, more=len(lot) - 1))
    return found


def _veraison(usable):
    if "dates" not in usable:
        return pd.Series(dtype="datetime64[ns]")
    frame = dated(usable["dates"].frame)
    frame = frame[frame["stage"] == "veraison"]
    return frame.groupby(["block", "season"])["date"].min()


def _days_of_year(days):
    """Return days counted from the first of January of their season, by block and season."""
    if days.empty:
        return pd.Series(dtype=float, index=days.index)
    year = days.index.get_level_values(1)
    first = pd.to_datetime(
        pd.DataFrame({"year": year, "month": 1, "day": 1}, index=days.index), errors="coerce"
    )
    return (days - first).dt.days.astype(float)
