"""Rules of lots of clusters: the wrong stage, or the wrong number of clusters."""

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.crops import trusted
from cropload.records.doubts.days import before_its_time
from cropload.records.doubts.facts import (
    KEYS,
    STAGES,
    against_the_scale,
    agrees,
    day_of_season,
    milder,
    moves,
    scale_moves,
)
from cropload.records.doubts.rules import Rule, by_row, one_of_each, plausible


def _each(part):
    return lambda facts: facts["weights"]["weight_g"] / facts["weights"][part]


PLAUSIBLE = [
    plausible("weights", "weight_g", f"{one}_weight_g", _each(part), f"weight per {one}")
    for one, part in (("cluster", "clusters"), ("berry", "berries"))
]


def _unripe(facts):
    """Return lots of stage harvest weighed weeks before picking, before veraison or by lag lots."""
    limits = entry("plausible.harvest_lot_days")
    frame = facts["weights"]
    frame = frame[~frame.index.isin(facts.once(before_its_time, "weights").index)]
    frame = frame[frame["date"].notna() & (frame["stage"] == "harvest")]
    known = facts.days("dates", "veraison"), facts.days("weights", "lag", "max"), facts.picked
    turned, lag, picked = (facts.beside("weights", days)[frame.index] for days in known)
    date = frame["date"]
    # A block that was not picked yet in the season is held against its earliest picking so far.
    usual = facts.picked.rename("date").rename_axis(KEYS).reset_index()
    usual = day_of_season(usual).groupby(usual["block"])
    first = (
        frame["block"]
        .map(usual.min())
        .where(picked.isna() & (frame["block"].map(usual.count()) >= limits.extra["seasons"]))
    )
    most, least = f"{limits.high:g} days before", f"{limits.low:g} days after"
    reasons = [
        (date < turned, "lies before veraison of the block, {:%Y-%m-%d}", turned),
        (
            (picked - date).dt.days > limits.high,
            f"lies more than {most} picking, {{:%Y-%m-%d}}",
            picked,
        ),
        (
            first - day_of_season(frame) > limits.high,
            f"lies more than {most} any picking of the block so far",
            picked,
        ),
        ((date - lag).dt.days < limits.low, f"lies less than {least} lag lots of the block", lag),
    ]
    # The first reason that any lot of the season gives is told of, for all lots that give it.
    if not any(broken.any() for broken, _, _ in reasons):
        return frame.iloc[:0]
    left, found = pd.Series(True, frame.index), []
    lots = [frame[key] for key in KEYS]
    for broken, words, day in reasons:
        wrong = broken & left
        rules = [words.format(each) for each in day[wrong]]
        found.append(frame[wrong].assign(rule=rules))
        left &= ~wrong.groupby(lots).transform("any").astype(bool)
    hits = one_of_each(pd.concat(found), KEYS)
    text = facts.parsed["weights"].text
    return hits.assign(day=[text(row, "date") for row in hits.index])


def _ripe_lag(facts):
    """Return the first of the lag lots of a season weighed after veraison, or close to picking."""
    limits, frame = entry("plausible.harvest_lot_days"), facts["weights"]
    frame = frame[~frame.index.isin(facts.once(before_its_time, "weights").index)]
    frame = frame[frame["date"].notna() & (frame["stage"] == "lag")]
    known = facts.days("dates", "veraison"), facts.picked
    turned, picked = (facts.beside("weights", days)[frame.index] for days in known)
    late = frame["date"] > turned
    # Lots later than the picking are doubted by their day.
    close = (picked - frame["date"]).dt.days.between(0, limits.extra["lag"], inclusive="left")
    if not (late | close).any():
        return ()
    day = turned.where(late, picked).dt.strftime("%Y-%m-%d")
    what = np.where(late, "after veraison", "close to picking")
    return one_of_each(frame.assign(what=what, day=day)[late | close], KEYS)


def _pasted_twice(facts):
    """Return the first lot of a table whose days hold every lot twice, and how many more do.

    Two lots of a day may weigh the same by chance; two pairs of them and nothing else do not.
    """
    frame = facts["weights"]
    copied = frame.duplicated(keep=False)
    if not copied.any():
        return ()
    day = [frame[key] for key in (*KEYS, "date", "stage")]
    twice = copied.groupby(day).transform("all").astype(bool)
    different = frame["weight_g"].groupby(day).transform("nunique")
    hits = frame[twice & (different >= 2) & frame.duplicated()]
    return hits.assign(more=len(hits) - 1)[["more"]].iloc[:1]


def _odd_weights(facts):
    """Return seasons whose clusters weigh far more or less than in the block's other seasons.

    A season that is good or bad for all blocks drops out, more or fewer clusters a vine may make
    smaller or larger ones, and where the scale agrees with counts x weights nothing is doubted.
    """
    limits, means = entry("plausible.weight_of_own_seasons"), trusted(facts)
    scale, away = scale_moves(means)
    load = abs(entry("load.weight.settled").value)
    crowd = moves(np.log(means["clusters"].where(means["clusters"] > 0)), 1)[0].fillna(0.0)
    plan = moves(np.log(means["plan"]), 1)[0].fillna(0.0)
    room = load * np.maximum(crowd.abs(), plan.abs()).clip(upper=limits.extra["load_room"])
    seasons = limits.extra["seasons"]
    pairs = {stage: moves(np.log(means[f"{stage}_g"]), seasons) for stage in STAGES}
    alone = pd.DataFrame({stage: milder(*pair) for stage, pair in pairs.items()})
    wrong = alone.abs().sub(room, axis=0) > np.log(limits.high)
    wrong["harvest"] &= ~agrees(scale)
    wrong["harvest"] |= against_the_scale(alone["harvest"], away)
    same = means.index.isin(_one_number(facts))
    wrong |= (alone > np.log(entry("plausible.same_number").value)) & same[:, None]
    told = {tuple(key) for key in facts.once(_unripe)[KEYS].itertuples(index=False)}
    found = {}
    for key in means.index[wrong.any(axis=1).to_numpy()]:
        if key in told:
            continue
        stage = next(stage for stage in STAGES if wrong.loc[key, stage])
        lot = facts.rows("weights", key)
        rows = lot.index[lot["stage"] == stage]
        times = np.exp(pairs[stage][0][key])
        found[rows[0]] = {
            "block": key[0],
            "season": key[1],
            "stage": stage,
            "times": times,
            "grams": means.loc[key, f"{stage}_g"],
            "mend": _RIPE if times < 1 and stage == "harvest" else _LOT,
            "more": len(rows) - 1,
        }
    return by_row(found)


_LOT = "Check the number of clusters in the lots, the weight and the stage."
_RIPE = "Check the number of clusters, the weight, and whether the stage was harvest."


def _one_number(facts):
    """Return the seasons whose lots all have one number of clusters, where others differ."""
    limits = entry("plausible.same_number")
    frame = facts["weights"][[*KEYS, "clusters"]].dropna()
    groups = frame.groupby(KEYS)["clusters"]
    number, lots = groups.nunique(), groups.count()
    pairs = frame.drop_duplicates()
    # Numbers that the other seasons of the block have: all but one that only this season has.
    seasons = pairs.groupby(["block", "clusters"])["season"].transform("size")
    own = pairs.assign(own=seasons == 1).groupby(KEYS)["own"].sum()
    block = number.index.get_level_values("block")
    others = pairs.groupby("block")["clusters"].nunique().reindex(block).to_numpy() - own
    one = (number == 1) & (lots >= limits.extra["lots"]) & (others >= limits.extra["numbers"])
    return [(block, int(season)) for block, season in number.index[one]]


def _odd_lots(facts):
    """Return lots whose weight per cluster lies far from the other lots of their day."""
    limits, keys = entry("plausible.lot_of_its_day"), ["season", "block", "date", "stage"]
    frame = facts["weights"]
    frame = frame[frame["clusters"] >= limits.extra["clusters"]]
    logs = np.log(frame["weight_g"] / frame["clusters"])
    lots = logs.groupby([frame[key] for key in keys])
    off = logs - lots.transform("median")
    wrong = ~off.between(np.log(limits.low), np.log(limits.high))
    wrong &= lots.transform("count") >= limits.extra["lots"]
    return one_of_each(frame.assign(times=np.exp(off))[wrong], keys)


CONTRADICTIONS = [
    Rule(
        ("weights", "blocks"),
        "stage",
        lambda facts: facts.once(_unripe),
        "{rule}",
        "Write lag or veraison into column stage if the berries were not ripe, or mend the date.",
        "harvest on {day}",
        name="weights-unripe-harvest",
        of="season",
    ),
    Rule(
        ("weights", "blocks"),
        "stage",
        _ripe_lag,
        "lies {what} of the block, {day}",
        "Write veraison or harvest into column stage if the berries had turned, or mend the date.",
        "{text} on {date:%Y-%m-%d}",
        name="weights-ripe-lag",
        of="season",
    ),
    Rule(
        ("weights",),
        "weight_g",
        _pasted_twice,
        "is a row that stands in the table before, as does every other lot of its day",
        "Take the rows out if they were pasted twice: else each lot counts as two.",
        name="weights-pasted-twice",
    ),
    Rule(
        ("weights", "blocks"),
        "clusters",
        _odd_weights,
        "the {stage} lots of {season} weigh {times:.2g} times as much a cluster as in the other "
        "seasons of the block",
        "{mend}",
        "{grams:.3g} g a cluster in {block}",
        name="weights-season",
        of="season",
    ),
    Rule(
        ("weights",),
        "clusters",
        _odd_lots,
        "the lot weighs {times:.2g} times as much a cluster as those of its day",
        "Check the number of clusters and the weight of the lot.",
        name="weights-odd-lot",
        of="season",
    ),
]
