"""Rules of the scale: picks, shares picked and lost, and crops beside others and the counts."""

from collections import Counter

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.blocks import fractions
from cropload.records.doubts.facts import other_seasons, others_median
from cropload.records.doubts.rules import Rule, beyond, by_row, span
from cropload.units import SUFFIXES

_COMMA = (
    "If it belongs to the number before it, write that with a decimal point: in a file whose cells "
    "are parted by commas, a decimal comma starts a new cell."
)


def _falling(facts):
    """Return shares picked so far that fall from one pick to the next."""
    frame = facts["harvest"].dropna(subset=["date"]).sort_values("date", kind="stable")
    share = frame["picked_pct"].fillna(100.0)
    before = share.groupby([frame["season"], frame["block"]]).shift()
    return pd.DataFrame({"before": before})[frame["picked_pct"] < before].sort_index()


FALLING = Rule(
    ("harvest",),
    "picked_pct",
    _falling,
    "falls below the {before:g} % of the pick before",
    "Write the share picked so far, this pick included; the last pick of a block is 100.",
)


def _odd_t_ha(facts):
    limits, crop = entry("plausible.t_ha"), facts.crop_t_ha
    # Nothing picked is a plain fact; a trace of fruit is doubtful.
    low, high = beyond(crop.where(crop > 0), limits.low, np.inf), beyond(crop, 0, limits.high)
    trace = "It counts as a lost crop, and is left out of the history: correct it if it was none."
    rare = "Possible, but rare: check the value and its unit."
    hits = pd.concat([low.assign(mend=trace), high.assign(mend=rare)])
    return hits.assign(limits=span(limits))


PLAUSIBLE = [
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        _odd_t_ha,
        "the season's crop per hectare lies outside {limits}",
        "{mend}",
        "{told}",
        name="harvest-t-ha",
        of="season",
    ),
    fractions("harvest", "picked_pct"),
    fractions("harvest", "lost_pct"),
]


def _judged(facts):
    """Return crops with how many ``times`` the block's usual one they are, and what makes it so.

    ``cause`` is the tonnes that are ``low`` or ``high``, or a share ``lost_pct`` or ``picked_pct``
    that makes a usual weight an odd crop, or "".
    """
    limits = entry("plausible.crop_of_usual")
    crops = facts.crops
    crops = crops[crops["whole"] > 0].reset_index()
    planted = crops["block"].map(facts.blocks["year_planted"])
    # Young vines bear little: their crops are no measure of the others'.
    young = crops["season"] - planted < entry("plausible.crop_of_variety").extra["young"]
    usual, count = others_median(crops["whole"], crops["block"], ~young.to_numpy())
    usual = usual.where(count >= limits.extra["other_seasons"])
    usual = _of_its_turn(crops, young).fillna(usual)
    whole, fits = crops["whole"], limits.high * usual
    # A crop far too high makes no other one low.
    far = whole > fits
    sound, _ = others_median(whole, crops["block"], ~(young | far).to_numpy())
    spoilt = far.groupby(crops["block"]).transform("any") & ~far
    usual = usual.mask(spoilt & (sound < usual), sound)
    low = (whole < limits.low * usual) & (crops["lost"] == 0) & ~young
    high = ~low & far
    # The scale itself may be as usual, and a share make the crop of it.
    loss = high & (crops["lost"] > 0) & (crops["tonnes"] / crops["share"] <= fits)
    share = high & ~loss & (crops["share"] < 1) & (whole * crops["share"] <= fits)
    cause = np.select([low, loss, share, high], ["low", "lost_pct", "picked_pct", "high"], "")
    return crops.assign(times=whole / usual, cause=cause)


def _of_its_turn(crops, young):
    """Return the usual crop of on or of off years where a block bears in turn, else NaN.

    It does where all crops of one turn lie above all of the other, with two and more of each that
    are much alike.
    """
    alike = entry("plausible.crop_of_usual").extra["turn"]
    turn = (crops["season"] % 2).astype(int)
    grown = crops["whole"].mask(young)
    on, off = (grown.where(turn == at).groupby(crops["block"]) for at in (1, 0))
    bears = (on.min() > off.max()) | (off.min() > on.max())
    for turns in (on, off):
        bears &= (turns.count() >= 2) & (turns.max() < alike * turns.min())
    groups = crops["block"].astype(str) + turn.map(" {}".format)
    same, _ = others_median(crops["whole"], groups, ~young.to_numpy())
    return same.where(crops["block"].map(bears).astype(bool))


def _caused(cause):
    def condition(facts):
        crops = facts.once(_judged)
        hits = crops[crops["cause"] == cause]
        if hits.empty:
            return hits[["times"]]
        rows = hits["lost_row" if cause == "lost_pct" else "row"].astype(int)
        comma = f" {_COMMA}" if facts.parsed["harvest"].raw.separator == "," else ""
        hits = pd.DataFrame({"times": hits["times"].to_numpy(), "comma": comma}, rows.to_numpy())
        return hits.assign(percent=100 * hits["times"]).sort_index()

    return condition


def _blamed(facts):
    """Return the rows of table harvest whose share is told of as the cause of an odd crop."""
    return {row for cause in ("lost_pct", "picked_pct") for row in _caused(cause)(facts).index}


def _decimal_commas(facts):
    """Return shares picked that look like the decimals of the tonnes before them.

    In a file parted by commas ``22,97`` is 22 t of which 97 % was picked.  That is doubted where
    hardly any other row tells a share, the other tonnes have decimals and these have none, and
    nothing more of the season was picked.
    """
    table, frame = facts.parsed["harvest"], facts["harvest"]
    tonnes, share = (table.matches.get(name) for name in ("tonnes", "picked_pct"))
    beside = tonnes and share and share.position == tonnes.position + 1
    if table.raw.separator != "," or not beside or frame.empty:
        return ()
    limits = entry("plausible.comma_shares")
    filled = frame["picked_pct"].notna()
    if not filled.any():
        return ()
    pointed = pd.Series(["." in table.text(row, "tonnes") for row in frame.index], frame.index)
    if filled.mean() > limits.high or not pointed[~filled].mean() >= limits.extra["decimals"]:
        return ()
    alone = ~frame.duplicated(["season", "block"], keep=False)
    past = frame["season"] < frame["season"].max()
    rows = frame.index[filled & alone & past & ~pointed & (frame["picked_pct"] < 100)]
    return rows.difference(list(_blamed(facts)))


def _small_losses(facts):
    """Return losses that look like fractions."""
    lost, text = facts["harvest"]["lost_pct"], facts.parsed["harvest"].text
    told = lost[lost > 0]
    # Cells with the percent sign beside plain fractions are asked about elsewhere.
    signed = any(text(row, "lost_pct").endswith("%") for row in told.index)
    return () if signed or not told.max() > 1 else told.index[told < 1]


def _shares_kept(facts):
    """Return losses that look like the share that was kept."""
    limits, crops = entry("plausible.lost_pct"), facts.once(_judged)
    kept = crops[crops["lost_pct"] > limits.high]
    if kept.empty:
        return ()
    seasons = crops.groupby("block")["season"].transform("nunique")[kept.index]
    often = kept.groupby("block")["season"].transform("nunique")
    many = (often >= limits.extra["seasons"]) & (2 * often > seasons)
    per_hectare = kept["whole"] / kept["block"].map(facts.blocks["area"])
    over = per_hectare > entry("plausible.t_ha").high
    often = f"is more than {limits.high:g} % in most seasons of the block"
    words = [
        f"makes the whole crop {crop:.0f} t/ha" if most else often
        for crop, most in zip(per_hectare, over, strict=True)
    ]
    hits = kept.assign(rule=words)[many | over]
    hits = hits[~hits["lost_row"].isin(_blamed(facts))]
    return hits.set_index(hits["lost_row"].astype(int))[["rule"]].sort_index()


SHARES = [
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        _caused("low"),
        "is {percent:.0f} % of the usual crop of the block",
        "If hail, frost, birds or rot took the rest, write the share lost, in percent, into "
        "column lost_pct; else check the weight. As it stands, it counts as an ordinary crop.",
        name="harvest-low-crop",
        of="season",
    ),
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        _caused("high"),
        "is {times:.1f} times the usual crop of the block",
        "Check the weight and the block. As it stands, it counts as an ordinary crop.",
        name="harvest-high-crop",
        of="season",
    ),
    Rule(
        ("harvest", "blocks"),
        "lost_pct",
        _caused("lost_pct"),
        "makes the crop {times:.1f} times the usual one of the block",
        "The tonnes alone would be in the usual range, so hardly as much was lost: write the "
        "share of the whole crop that was lost, not the share that was left, or clear the cell.",
        name="harvest-lost-high-crop",
        of="season",
    ),
    Rule(
        ("harvest", "blocks"),
        "picked_pct",
        _caused("picked_pct"),
        "makes the crop {times:.1f} times the usual one of the block",
        "The tonnes alone would be in the usual range: clear the cell, or write 100, if all "
        "of the block was picked.{comma}",
        name="harvest-picked-high-crop",
        of="season",
    ),
    Rule(
        ("harvest", "blocks"),
        "picked_pct",
        _decimal_commas,
        "is a share picked in a table that tells hardly any, beside tonnes without decimals",
        _COMMA,
        name="harvest-decimal-comma",
    ),
    Rule(
        ("harvest",),
        "lost_pct",
        _small_losses,
        "is less than one percent, so it may be a fraction",
        "For 40 percent write 40 or 40 %, not 0.4; clear the cell if hardly any was lost.",
        name="harvest-small-loss",
    ),
    Rule(
        ("harvest", "blocks"),
        "lost_pct",
        _shares_kept,
        "{rule}",
        "Write the share of the crop that was lost, not the share that was kept.",
        name="harvest-share-kept",
        of="season",
    ),
]


def _picks(facts):
    frame = facts["harvest"]
    return frame[frame["tonnes"] > 0]


def _entered_twice(facts):
    """Return the same tonnes twice in one block and season, one for each, with the ``first`` row.

    Two loads on tickets of their own, and picks whose shares differ, may weigh the same.  Round
    weights meet by chance: with few digits they are doubted only where one has no date.  Loads of
    one machine on different days are alike, and doubted only where the season's crop is about
    twice the usual one of the block.
    """
    frame, limits, found = _picks(facts), entry("plausible.same_tonnes"), {}
    crops = facts.crops["tonnes"]
    crops = crops[crops > 0]
    about_twice = crops >= limits.extra["twice"] * other_seasons(crops)[0]
    same = frame[frame.duplicated(["season", "block", "tonnes"], keep=False)]
    told = set()
    for (season, block, tonnes), pair in same.groupby(["season", "block", "tonnes"]):
        tickets, shares = pair["ticket"], pair["picked_pct"].dropna()
        own_tickets = (tickets != "").all() and tickets.is_unique
        own_shares = len(shares) == len(pair) and shares.is_unique
        text = np.format_float_positional(tonnes, trim="-").replace(".", "").strip("0")
        dated = pair["date"].notna().all()
        by_chance = dated and len(text) < limits.value
        loads = dated and pair["date"].is_unique and not about_twice[block, season]
        if (block, season) in told or own_tickets or own_shares or by_chance or loads:
            continue
        told.add((block, season))
        found[pair.index[-1]] = {"first": pair.index[0], "block": block, "season": int(season)}
    return by_row(found, ["first", "block", "season"])


def _ended_below_whole(facts):
    """Return past seasons that end with less than all picked, or shares given for each pick."""
    frame = _picks(facts)
    if not (frame["picked_pct"] < 100).any():
        return ()
    shares = frame["picked_pct"].fillna(100.0)
    lots = shares.groupby([frame["season"], frame["block"]])
    top, total, picks = (lots.transform(what) for what in ("max", "sum", "size"))
    each = (picks > 1) & ((total - 100).abs() <= entry("plausible.picks_sum").value)
    ended = frame["block"].map(_latest_seasons(facts)) > frame["season"]
    last = ~frame.duplicated(["season", "block"], keep="last")
    words = {
        True: (
            "the picks of the season add up to 100 %, so each may be a share of its own; read as "
            "the share picked so far, only {top:g} % is picked",
            "Write the share picked so far, this pick included: 100 at the last pick.",
        ),
        False: (
            "the season ends at {top:g} % picked, and a later season is on record",
            "Add the row of the last pick, or write 100 there. If fruit was left hanging or lost, "
            "write 100 here and the share into column lost_pct.",
        ),
    }
    hits = frame.assign(top=top, each=each)[last & (top < 100) & (each | ended)]
    hits = hits.sort_values(["season", "block"], kind="stable")
    texts = [words[bool(each)] for each in hits["each"]]
    rules = [rule.format(top=most) for (rule, _), most in zip(texts, hits["top"], strict=True)]
    return pd.DataFrame({"rule": rules, "mend": [mend for _, mend in texts]}, hits.index)


def _latest_seasons(facts):
    """Return the last season that a block has rows of, or that any block was picked in."""
    picked = _picks(facts)["season"].max()
    parts = [
        facts[name].groupby("block")["season"].max()
        for name in ("pruning", "counts", "weights", "dates")
        if name in facts
    ]
    parts.append(pd.Series(picked, index=facts["harvest"]["block"].unique()))
    return pd.concat(parts).groupby(level=0).max()


_CHECK = (
    "Check the tonnes, and the vines, clusters and weights of the block: one of them may be in "
    "another unit, or of another block. Clusters thinned or lost after the count make a low share."
)


def _ratio(facts):
    """Return tonnes over what the counts come to [1], without tonnes told of as entered twice."""
    means, twice = facts.means, facts.once(_entered_twice)
    doubled = means.index.isin(list(zip(twice["block"], twice["season"], strict=True)))
    return (means["tonnes"] / means["expected"]).where(~doubled & (means["expected"] > 0)).dropna()


def _off_the_counts(facts):
    """Return blocks whose tonnes lie far from clusters x weight x vines, with the words for it."""
    limits, ratio = entry("plausible.scale_of_counts"), facts.once(_ratio)
    middles = ratio.groupby(level="block").median()
    named = {block: _looks(facts, middle, block) for block, middle in middles.items()}
    times, found = Counter(named.values()), {}
    losses = facts.means["lost"].reindex(ratio.index).to_numpy()
    ends = np.cumsum(ratio.groupby(level="block").size().to_numpy())
    values, seasons = ratio.to_numpy(), ratio.index.get_level_values("season")
    for (block, middle), start, end in zip(middles.items(), [0, *ends], ends, strict=False):
        middle, lot = float(middle), values[start:end]
        # Fruit thinned every year leaves half of what was counted; one unit in several blocks
        # is no chance.
        shared = named[block] and times[named[block]] > 1
        low, high = (limits.low, limits.high) if shared else limits.extra["thinned"]
        out = (lot < limits.low) | (lot > limits.high)
        most = not low <= middle <= high and out.mean() > limits.extra["most"]
        other = _other_block(facts, block, lot, limits)
        looks = named[block] if most and not other else ""
        # One season alone may have lost its crop; it is told where the number speaks of a slip.
        lost = np.fmax.reduce(losses[start:end]) > 0 and middle < 1
        alone = len(lot) < limits.extra["seasons"]
        if not (other or looks or (most and not lost and not alone)):
            continue
        mend = f"It looks like {looks}: write the tonnes of the whole block. " if looks else ""
        mend += f"It looks like the crop of {other}. " if other else ""
        found[_last_row(facts, block, seasons[end - 1])] = {
            "block": block,
            "mend": mend + _CHECK,
            "over": f"{len(lot)} season{'s' if len(lot) > 1 else ''}",
            "middle": middle,
        }
    return by_row(found, ["block", "mend", "over", "middle"])


def _doubted(facts):
    """Return the blocks whose tonnes are doubted altogether."""
    return list(facts.once(_off_the_counts)["block"]) if "harvest" in facts else []


def trusted(facts):
    """Return the means without doubted tonnes, which speak neither for nor against others."""
    means = facts.means
    doubted = means.index.get_level_values("block").isin(_doubted(facts))
    return means.assign(tonnes=means["tonnes"].mask(doubted))


def _one_season(facts):
    """Return seasons with far more fruit than their counts allow; a lost crop is no slip."""
    limits, ratio = entry("plausible.scale_of_counts"), facts.once(_ratio)
    logs = np.log(ratio[~ratio.index.get_level_values("block").isin(_doubted(facts))])
    usual, count = other_seasons(logs)
    off = (logs - usual).where(count >= limits.extra["seasons"])
    off = off[(off > np.log(limits.extra["one_season"])) & (logs > np.log(limits.high))]
    found = {
        _last_row(facts, block, season): {
            "block": block,
            "season": season,
            "times": np.exp(logs[block, season]),
            "usual": np.exp(move),
        }
        for (block, season), move in off.items()
    }
    return by_row(found)


def _off_the_others(facts):
    """Return blocks whose tonnes lie off the counts where those of the other blocks do not.

    Half as many vines again, or two thirds of them, come out like this in every season; so does
    fruit thinned each year, which table events tells.
    """
    limits = entry("plausible.scale_of_others")
    logs = np.log(facts.once(_ratio))
    blocks = logs.index.get_level_values("block")
    lots = logs[~blocks.isin(_doubted(facts))].groupby(level="block")
    middle = lots.median()
    steady = (lots.size() >= limits.extra["seasons"]) & (lots.std() <= limits.extra["steady"])
    rest, others = others_median(middle, np.zeros(len(middle)), steady.to_numpy())
    off = middle - rest
    wrong = steady & (others >= limits.extra["blocks"])
    wrong &= off.abs().between(np.log(limits.low), np.log(limits.high))
    thinned = ()
    if "events" in facts:
        events = facts["events"]
        thinned = events["block"][events["kind"].isin(["thinning", "fruit left"])]
    found = {
        _last_row(facts, block, lots.get_group(block).index[-1][1]): {
            "block": block,
            "times": np.exp(middle[block]),
            "rest": np.exp(rest[block]),
        }
        for block in middle.index[wrong & ~middle.index.isin(thinned)]
    }
    return by_row(found)


def _off_the_variety(facts):
    """Return blocks without counts whose tonnes lie far from the variety's others per hectare."""
    limits, means, blocks = entry("plausible.crop_of_variety"), facts.means, facts.blocks
    # What hail or frozen fruit left is counted back to what hung there.
    crops = (means["tonnes"] / (1 - means["lost"].where(means["lost"] < 1).fillna(0.0))).dropna()
    of = blocks.reindex(crops.index.get_level_values("block"))
    seasons = crops.index.get_level_values("season").to_numpy()
    bearing = ~(seasons - of["year_planted"].to_numpy(float) < limits.extra["young"])
    per_hectare = (crops / of["area"].to_numpy(float))[bearing]
    usual = per_hectare[np.isfinite(per_hectare)].groupby(level="block").median()
    told = usual.index.isin(_doubted(facts))
    names = blocks["variety"].reindex(usual.index)
    kin, number = others_median(usual, names, ~told)
    held = means["expected"].groupby(level="block").count().reindex(usual.index, fill_value=0)
    found = {}
    for block in usual.index[(number > 0) & (held == 0) & ~told]:
        ratio = usual[block] / kin[block]
        looks = _looks(facts, ratio, block, limits.extra["match"])
        low, high = limits.extra["named"] if looks else (limits.low, limits.high)
        if low <= ratio <= high:
            continue
        mend = f"It looks like {looks}: write the tonnes of the whole block. " if looks else ""
        found[_last_row(facts, block, crops[[block]].index[-1][1])] = {
            "block": block,
            "crop": usual[block],
            "ratio": ratio,
            "variety": names[block],
            "mend": mend + "Check the tonnes, and the vines and the spacing of the block.",
        }
    return by_row(found)


def _looks(facts, ratio, block, match=None):
    """Return the units that tonnes so many times too large may be in, or ``""``."""
    us, (area, bearing) = facts.us("harvest", "tonnes"), facts.once(_sizes)[block]
    match = entry("plausible.scale_of_counts").extra["match"] if match is None else match
    units = {
        "tonnes per hectare": 1 / area,
        "tons per acre": SUFFIXES["_ha"][1] / area,
        "lb per vine" if us else "kg per vine": (2000 if us else 1000) / bearing,
    }
    off = {name: abs(np.log(ratio / factor)) for name, factor in units.items()}
    return " or ".join(sorted((name for name in off if off[name] <= match), key=off.get))


def _sizes(facts):
    """Return {block: (area [ha], bearing vines [1])}."""
    sizes = facts.blocks[["area", "bearing"]]
    return dict(zip(sizes.index, sizes.to_numpy(float), strict=True))


def _medians(rows):
    """Return the median of each row of an array [1], NaN for none, and of how many numbers."""
    rows = np.sort(rows, axis=1)
    count = np.isfinite(rows).sum(axis=1)
    low, high = (np.maximum(count - 1, 0) // 2, count // 2)
    at = np.arange(len(rows))
    return (rows[at, low] + rows[at, np.minimum(high, rows.shape[1] - 1)]) / 2, count


def _far_blocks(facts):
    """Return the blocks far off their counts, and by season the logs of tonnes and expected."""
    limits = entry("plausible.scale_of_counts")
    means = facts.means
    block, names = pd.factorize(means.index.get_level_values("block"))
    season, years = pd.factorize(means.index.get_level_values("season"))
    tonnes, expected = np.full((2, len(names), len(years)), np.nan)
    tonnes[block, season], expected[block, season] = np.log(means[["tonnes", "expected"]].T.values)
    far = np.abs(_medians(tonnes - expected)[0]) > np.log(limits.extra["swapped"])
    return dict(zip(names, range(len(names)), strict=True)), far, tonnes, expected


def _other_block(facts, block, lot, limits):
    """Return the block whose tonnes were changed over with those of this one, or ``""``."""
    if abs(np.median(np.log(lot))) < np.log(limits.extra["swapped"]):
        return ""
    if len(lot) < limits.extra["seasons"]:
        return ""
    places, far, tonnes, expected = facts.once(_far_blocks)
    others, at = np.flatnonzero(far), places[block]
    others = others[others != at]
    least, match = limits.extra["seasons"], limits.extra["match"]
    one, many = _medians(np.abs(tonnes[at] - expected[others]))
    near = (one <= match) & (many >= least)
    one, others = one[near], others[near]
    other, more = _medians(np.abs(tonnes[others] - expected[at]))
    most = np.where(more < least, np.inf, np.fmax(one, other))
    if not len(most) or not most.min() <= match:
        return ""
    return list(places)[others[np.argmin(most)]]


def _last_row(facts, block, season):
    return int(facts.once(_last_rows)[block, season])


def _last_rows(facts):
    return facts.crops["row"].to_dict()


CONTRADICTIONS = [
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        lambda facts: facts.once(_entered_twice),
        "are the tonnes of row {first} again, for the same block and season",
        "Take one of the rows out if the pick was entered twice. If both were picked, give each "
        "its ticket or the share picked so far. As it stands, the two are added up.",
        name="harvest-entered-twice",
        of="season",
    ),
    Rule(
        ("harvest",),
        "picked_pct",
        _ended_below_whole,
        "{rule}",
        "{mend}",
        name="harvest-not-whole",
        of="season",
    ),
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        lambda facts: facts.once(_off_the_counts),
        "over {over} the scale is {middle:.2g} times clusters x cluster weight x bearing vines as "
        "a rule",
        "{mend}",
        "{text} in {block}",
        name="harvest-off-counts",
        of="block",
    ),
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        _one_season,
        "the scale of {season} is {times:.2g} times clusters x cluster weight x bearing vines, "
        "{usual:.2g} times the usual share of the block",
        "Check the tonnes, and the counts and weights of that season: clusters counted on one "
        "side of the row or on a metre of it, or a pick entered twice, come out like this.",
        "{text} in {block}",
        name="harvest-season-off-counts",
        of="season",
    ),
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        _off_the_others,
        "the scale is {times:.2g} times clusters x cluster weight x bearing vines season after "
        "season, and {rest:.2g} times in the other blocks",
        "Check vines and missing_pct of table blocks: half as many vines again come out like this. "
        "Fruit thinned or left each year does too: tell it in table events.",
        "{text} in {block}",
        name="harvest-off-others",
        of="block",
    ),
    Rule(
        ("harvest", "blocks"),
        "tonnes",
        _off_the_variety,
        "comes to {crop:.3g} t/ha as a rule, {ratio:.2g} times the other blocks of {variety}",
        "{mend}",
        "{text} in {block}",
        name="harvest-off-variety",
        of="block",
    ),
]
