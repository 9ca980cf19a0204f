"""Doubts about counts whose mean in a block lies far from the block's other seasons."""

from dataclasses import replace

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.rules import tell
from cropload.records.doubts.season_means import (
    against_the_scale,
    agrees,
    block_facts,
    milder,
    moves,
    others_median,
    scale_moves,
)

_DOUBLE = (
    "If two vines, or two canopy sides, were counted as one, write half. Possible where the vines "
    "were left much longer than the plans on record say."
)
_HALF = (
    "If one side of the row or {metre} was counted, count the whole vine. "
    "Possible after frost or hail, or where the vines were left much shorter than before."
)


def count_means(usable, means, misplanned=frozenset()):
    """Doubt shoots and clusters that are swapped, doubled, or counted on a part of the vine.

    Parameters
    ----------
    usable, means
        As for the other checks; ``counts`` is among the tables.
    misplanned : set of (block, season)
        Seasons whose plan is doubted already, and is no measure of the counts.

    Returns
    -------
    list of Fault
        One for a block and season.

    Notes
    -----
    Means are held per planned bud where plans are known. A season that is rich or poor for all
    blocks drops out; where the scale agrees with counts x weights, nothing is doubted.
    """
    table, facts = usable["counts"], block_facts(usable)
    enough = entry("plausible.shoots_of_own_seasons").extra["vines"]
    held = means.copy()
    held.loc[means.index.isin(list(misplanned)), "plan"] = np.nan
    held["plan"] = held["plan"].fillna(held["buds"].where(held["buds"] > 0))
    for name in ("shoots", "clusters"):
        kept = (means[f"{name}_vines"] >= enough) & (means[name] > 0)
        held[name] = means[name].where(kept)
    found = _swapped(table, held)
    told = {key for key, _ in found}
    part = {name: _moved(held, name) for name in ("shoots", "clusters")}
    scale, beyond = scale_moves(means)
    stands = agrees(scale) & ~against_the_scale(part["clusters"], beyond)
    for name in ("shoots", "clusters"):
        limits = entry(f"plausible.{name}_of_own_seasons")
        move = part[name]
        wrong = (move > np.log(limits.high)) | (move < np.log(limits.low))
        if name == "clusters":
            wrong |= against_the_scale(move, beyond)
        for key in means.index[wrong.to_numpy()]:
            agree = stands[key] and (name == "clusters" or move[key] < 0)
            # Shoots and clusters that fall together, or clusters alone, are what frost leaves.
            frost = (
                move[key] < 0
                and not beyond[key] > np.log(1 / limits.low) / 2
                and (means.loc[key, "lost"] > 0 or _cold(usable, key))
            )
            if key in told or agree or frost:
                continue
            told.add(key)
            found.append((key, _told(table, key, name, move[key], means, facts)))
    return [fault for _, fault in found]


def _moved(held, name):
    """Return how far each mean lies from the block's other seasons [1], per planned bud."""
    seasons = entry(f"plausible.{name}_of_own_seasons").extra["seasons"]
    logs = np.log(held[name])
    per_bud = logs - np.log(held["plan"])
    known = milder(*moves(per_bud, seasons))
    return known.where(known.notna(), milder(*moves(logs.where(per_bud.isna()), seasons)))


def _told(table, key, name, move, means, facts):
    block, season = key
    times = np.exp(move)
    rule = (
        f"the {name} a vine of season {season} are about {times:.2g} times those of the other "
        "seasons of the block, for the buds left"
    )
    metres = facts.loc[block, "vine_spacing_m"] * facts.loc[block, "canopies"]
    metre = "a metre of it" if metres == metres and metres > 1 else "a part of the vine"
    mend = _DOUBLE if move > 0 else _HALF.format(metre=metre)
    return _fault(table, key, name, rule, mend, means)


def _fault(table, key, name, rule, mend, means):
    block, season = key
    frame = table.frame
    here = (frame["block"] == block) & (frame["season"] == season) & frame[name].notna()
    rows = frame.index[here]
    value = f"{means.loc[key, name]:.3g} a vine in {block}"
    return replace(tell(table, rows[0], name, rule, mend, value), more=len(rows) - 1)


def _swapped(table, held):
    """Return (key, doubt) where shoots and clusters fit each other's usual mean, not their own."""
    limits = entry("plausible.swapped_counts")
    logs = {
        name: np.log(held[name]) - np.log(held["plan"].fillna(1.0))
        for name in ("shoots", "clusters")
    }
    usual = {name: others_median(part)[0] for name, part in logs.items()}
    apart = usual["clusters"] - usual["shoots"]
    crossed = (
        (logs["shoots"] - usual["clusters"]).abs(),
        (logs["clusters"] - usual["shoots"]).abs(),
    )
    straight = logs["clusters"] - logs["shoots"] - apart
    near = np.log(limits.value)
    wrong = (apart > np.log(limits.low)) & (crossed[0] < near) & (crossed[1] < near)
    wrong &= (logs["clusters"] < logs["shoots"]) & (straight < -np.log(limits.high))
    # Shoots hardly stray from the buds; a year poor in clusters alone is no slip.
    wrong &= logs["shoots"] - usual["shoots"] > np.log(limits.extra["shoots"])
    # Of the two readings, the scale must not speak for the one on record.
    beyond = scale_moves(held)[1]
    other = beyond - (logs["shoots"] - logs["clusters"])
    wrong &= ~(beyond.abs() < other.abs() - limits.extra["scale"])
    rule = "shoots and clusters of the season fit each other's usual numbers in the block"
    mend = "If the two columns were swapped, change them over."
    keys = held.index[wrong.to_numpy()]
    return [(key, _fault(table, key, "shoots", rule, mend, held)) for key in keys]


def _cold(usable, key):
    """Whether the block's station saw frost between budburst and the last count of shoots."""
    if not {"weather", "dates"} <= set(usable):
        return False
    block, season = key
    facts = block_facts(usable).loc[block]
    stages = usable["dates"].frame
    here = (stages["block"] == block) & (stages["season"] == season)
    burst = stages.loc[here & (stages["stage"] == "budburst"), "date"].min()
    counts = usable["counts"].frame
    here = (counts["block"] == block) & (counts["season"] == season) & counts["clusters"].notna()
    weather = usable["weather"].frame
    nights = weather[weather["date"].between(burst, counts.loc[here, "date"].max())]
    if facts["station"]:
        nights = nights[nights["station"] == facts["station"]]
    offset = 0.0 if pd.isna(facts["frost_offset_c"]) else facts["frost_offset_c"]
    return bool((nights["tmin_c"] + offset < entry("plausible.frost_night_c").value).any())


def typed_zeros(table):
    """Doubt vines with clusters and no shoot, or no buds before a later count of them.

    Parameters
    ----------
    table : ParsedTable
        Table counts.

    Returns
    -------
    list of Fault
        One for a column, block and season.
    """
    least = entry("plausible.beside_a_zero").high
    frame = table.frame
    other = frame["noncount_shoots"].fillna(0) > 0
    bare = (frame["shoots"] == 0) & ~other & (frame["clusters"] > least)
    rule = "there are clusters on the vine and no shoot that could bear them"
    found = _one_a_block(table, frame.index[bare], "shoots", rule)
    # Shoots and clusters come with the season: none of them in spring is no slip, no bud is.
    zero = frame["buds"] == 0
    if zero.any():
        vine = ["season", "block", "row", "vine"]
        keys = pd.MultiIndex.from_frame(frame[vine])
        # Only vines with a zero are looked at again: most tables have few.
        kept = frame[keys.isin(keys[zero.to_numpy()]) & frame["buds"].notna()]
        later = kept[kept["buds"] > least].groupby(vine)["date"].max()
        last = pd.Series(later.reindex(keys).to_numpy(), index=frame.index)
        rows = frame.index[zero & (frame["date"] < last)]
        found += _one_a_block(table, rows, "buds", "the same vine had buds later in the season")
    return found


def _one_a_block(table, rows, column, rule):
    mend = "Leave the cell blank where nothing was counted; a zero counts as none on the vine."
    found = []
    for _, lot in table.frame.loc[rows].groupby(["season", "block"]):
        fault = tell(table, lot.index[0], column, rule, mend)
        found.append(replace(fault, more=len(lot) - 1))
    return found
