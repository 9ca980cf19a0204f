"""Doubts about tonnes that the counts of the same seasons, or other blocks, contradict."""

import numpy as np

from cropload.handbook import entry
from cropload.records.doubts.rules import tell
from cropload.records.doubts.season_means import block_facts, others_median
from cropload.records.tables import TABLES
from cropload.units import SUFFIXES

_CHECK = (
    "Check the tonnes, and the vines, clusters and weights of the block: one of them may be in "
    "another unit, or of another block. Clusters thinned or lost after the count make a low share."
)


def scale_against_counts(usable, means, doubled=frozenset()):
    """Doubt tonnes far from clusters x weight x vines, over the seasons of a block or in one.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable; ``blocks`` and ``harvest`` are among them.
    means : pandas.DataFrame
        As ``season_means`` gives it.
    doubled : set of (block, season)
        Seasons whose tonnes were entered twice, as told elsewhere.

    Returns
    -------
    (list of Fault, set of str)
        One doubt a block, and the blocks whose tonnes are doubted altogether.
    """
    limits = entry("plausible.scale_of_counts")
    facts, us = block_facts(usable), usable["harvest"].us(TABLES["harvest"]["tonnes"])
    kept = ~means.index.isin(list(doubled))
    ratio = (means["tonnes"] / means["expected"]).where(kept & (means["expected"] > 0))
    found, told = [], set()
    middles = ratio.dropna().groupby(level="block").median()
    named = {block: _looks(middle, facts.loc[block], us) for block, middle in middles.items()}
    for block, lot in ratio.dropna().groupby(level="block"):
        middle = float(middles[block])
        # Fruit thinned every year leaves half of what was counted; one unit in several blocks
        # is no chance.
        shared = named[block] and list(named.values()).count(named[block]) > 1
        low, high = (limits.low, limits.high) if shared else limits.extra["thinned"]
        out = (lot < limits.low) | (lot > limits.high)
        most = not low <= middle <= high and out.mean() > limits.extra["most"]
        other = _other_block(means, block, lot, limits)
        looks = named[block] if most and not other else ""
        # One season alone may have lost its crop; it is told where the number speaks of a slip.
        lost = means["lost"].reindex(lot.index).max() > 0 and middle < 1
        alone = len(lot) < limits.extra["seasons"]
        if not (other or looks or (most and not lost and not alone)):
            continue
        mend = f"It looks like {looks}: write the tonnes of the whole block. " if looks else ""
        mend += f"It looks like the crop of {other}. " if other else ""
        seasons = lot.index.get_level_values("season")
        rule = (
            f"over {len(lot)} season{'s' if len(lot) > 1 else ''} the scale is {middle:.2g} times "
            f"clusters x cluster weight x bearing vines as a rule"
        )
        row = _row(usable["harvest"], block, seasons[-1])
        value = usable["harvest"].text(row, "tonnes") + f" in {block}"
        found.append(tell(usable["harvest"], row, "tonnes", rule, mend + _CHECK, value))
        told.add(block)
    return [*found, *_one_season(usable, ratio, told, limits)], told


def _one_season(usable, ratio, told, limits):
    """Doubt one season with far more fruit than its counts allow; a lost crop is no slip."""
    logs = np.log(ratio[~ratio.index.get_level_values("block").isin(list(told))])
    usual, count = others_median(logs)
    beyond = (logs - usual).where(count >= limits.extra["seasons"])
    beyond = beyond[(beyond > np.log(limits.extra["one_season"])) & (logs > np.log(limits.high))]
    found = []
    for (block, season), move in beyond.items():
        row = _row(usable["harvest"], block, season)
        rule = (
            f"the scale of {season} is {np.exp(logs[block, season]):.2g} times clusters x cluster "
            f"weight x bearing vines, {np.exp(move):.2g} times the usual share of the block"
        )
        mend = (
            "Check the tonnes, and the counts and weights of that season: clusters counted on one "
            "side of the row or on a metre of it, or a pick entered twice, come out like this."
        )
        value = usable["harvest"].text(row, "tonnes") + f" in {block}"
        found.append(tell(usable["harvest"], row, "tonnes", rule, mend, value))
    return found


def crops_of_variety(usable, means, told=frozenset()):
    """Doubt tonnes of blocks without counts that lie far from the other blocks per hectare.

    Parameters
    ----------
    usable, means
        As for ``scale_against_counts``.
    told : set of str
        Blocks whose tonnes are doubted already.

    Returns
    -------
    list of Fault
        One a block.
    """
    limits = entry("plausible.crop_of_variety")
    facts, us = block_facts(usable), usable["harvest"].us(TABLES["harvest"]["tonnes"])
    # What hail or frozen fruit left is counted back to what hung there.
    crops = (means["tonnes"] / (1 - means["lost"].where(means["lost"] < 1).fillna(0.0))).dropna()
    if crops.empty:
        return []
    blocks, seasons = (crops.index.get_level_values(name) for name in ("block", "season"))
    area, planted = (facts[name].reindex(blocks).to_numpy(float) for name in ("area", "planted"))
    bearing = ~(seasons.to_numpy() - planted < limits.extra["young"])
    per_hectare = (crops / area)[bearing]
    per_hectare = per_hectare[np.isfinite(per_hectare)]
    usual = per_hectare.groupby(level="block").median()
    held = means["expected"].groupby(level="block").count()
    names = facts["variety"].reindex(usual.index)
    found = []
    for block, crop in usual.items():
        kin = (names == names[block]) & (names.index != block)
        of = f"the other blocks of {names[block]}"
        kin = kin & ~names.index.isin(list(told))
        if block in told or held.get(block, 0) or not kin.any():
            continue
        ratio = crop / usual[kin].median()
        looks = _looks(ratio, facts.loc[block], us, limits.extra["match"])
        low, high = limits.extra["named"] if looks else (limits.low, limits.high)
        if low <= ratio <= high:
            continue
        mend = f"It looks like {looks}: write the tonnes of the whole block. " if looks else ""
        mend += "Check the tonnes, and the vines and the spacing of the block."
        rule = f"comes to {crop:.3g} t/ha as a rule, {ratio:.2g} times {of}"
        row = _row(usable["harvest"], block, crops[[block]].index[-1][1])
        value = usable["harvest"].text(row, "tonnes") + f" in {block}"
        found.append(tell(usable["harvest"], row, "tonnes", rule, mend, value))
    return found


def _looks(ratio, facts, us, match=None):
    """Return the units that tonnes so many times too large may be in, or ``""``."""
    limits = entry("plausible.scale_of_counts")
    match = limits.extra["match"] if match is None else match
    units = {
        "tonnes per hectare": 1 / facts["area"],
        "tons per acre": SUFFIXES["_ha"][1] / facts["area"],
        "lb per vine" if us else "kg per vine": (2000 if us else 1000) / facts["bearing"],
    }
    off = {name: abs(np.log(ratio / factor)) for name, factor in units.items()}
    return " or ".join(sorted((name for name in off if off[name] <= match), key=off.get))


def _other_block(means, block, lot, limits):
    """Return the block whose tonnes were changed over with those of this one, or ``""``."""
    far, near = np.log(limits.extra["swapped"]), limits.extra["match"]
    if abs(np.log(lot).median()) < far or len(lot) < limits.extra["seasons"]:
        return ""
    tonnes, expected = np.log(means["tonnes"]), np.log(means["expected"])
    best = {}
    for other in means.index.unique("block").drop(block):
        pairs = (tonnes[block] - expected[other], tonnes[other] - expected[block])
        pairs = [pair.dropna() for pair in pairs]
        straight = (tonnes[other] - expected[other]).dropna()
        if min(map(len, pairs)) < limits.extra["seasons"] or straight.empty:
            continue
        if abs(straight.median()) > far:
            best[other] = max(float(pair.abs().median()) for pair in pairs)
    name = min(best, key=best.get, default="")
    return name if name and best[name] <= near else ""


def _row(table, block, season):
    frame = table.frame
    rows = frame.index[(frame["block"] == block) & (frame["season"] == season)]
    return int(rows[-1])
