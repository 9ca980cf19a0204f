"""Rules of plans, and of what is counted on vines: buds, shoots, clusters."""

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.crops import trusted
from cropload.records.doubts.events import seasons_of
from cropload.records.doubts.facts import (
    KEYS,
    against_the_scale,
    agrees,
    milder,
    moves,
    other_seasons,
    scale_moves,
)
from cropload.records.doubts.rules import Rule, beyond, by_row, named, one_of_each, plausible, span
from cropload.records.later_rows import in_order

_MEND = "Possible, but rare: check the value and its unit."
_MEND_HEDGED = (
    "Vines pruned to a hedge or hardly at all may carry so many: else check the value, and the "
    "spacing of the vines."
)


def _hedged(table, column, key, values, what, usual):
    """Return a rule like ``plausible``, with more room above where the block usually has so many.

    Parameters
    ----------
    usual : callable
        Takes the facts, the values and the limits; returns the high end for each value.
    """

    def condition(facts):
        limits, numbers = entry(f"plausible.{key}"), values(facts)
        many = numbers > limits.high
        high = usual(facts, numbers, limits) if many.any() else np.inf
        few, more = beyond(numbers, limits.low, np.inf), beyond(numbers.where(many), -np.inf, high)
        if few.empty and more.empty:
            return ()
        hits = [few.assign(mend=_MEND), more.assign(mend=_MEND_HEDGED)]
        return pd.concat(hits).assign(limits=span(limits))

    words = f"{what} lies outside {{limits}}"
    name = named(table, key)
    return Rule((table, "blocks"), column, condition, words, "{mend}", "{told}", name=name)


def _of_plans(facts, numbers, limits):
    """Return the high end of plans: there is room for hedges, and for those who turn to them.

    A hedge shows by the training, by another season of as many buds, or by the buds counted.
    """
    frame = facts["pruning"]
    known, blocks = numbers.notna() & frame["season"].notna(), frame["block"]
    many = known & (numbers > limits.high)
    high = pd.Series(limits.high, numbers.index)
    others, more = (
        each.groupby(blocks).transform("sum") - each.astype(int) for each in (known, many)
    )
    high[others == 0] = limits.extra["alone_high"]
    hedged = (more > 0) | (facts.of_block("pruning", "training") == "minimal hedge")
    if many.any() and "counts" in facts:
        ratio, fit = _counted_buds(facts) / facts.means["plan"], entry("plausible.buds_of_plan")
        counted = ratio.index[ratio.between(fit.low, fit.high)]
        hedged |= pd.MultiIndex.from_frame(frame[KEYS]).isin(list(counted))
    high[hedged] = limits.extra["hedged_high"]
    return high


def _of_other_vines(facts, numbers, limits):
    """Return the high end of vines: twice the median of their season, or else of their block."""
    frame, high = facts["counts"], pd.Series(np.nan, numbers.index)
    for keys in (KEYS, ["block"]):
        lots = numbers.groupby([frame[key] for key in keys])
        # A few vines do not tell what a block is like.
        enough = lots.transform("count") >= limits.extra["vines"]
        median = lots.transform("median").where(enough)
        wide = (2 * median).clip(limits.high, limits.extra["hedged_high"])
        high = high.fillna(wide.mask(median > limits.high, limits.extra["hedged_high"]))
    return high.fillna(limits.high)


def _filled(frame, column):
    return frame[column].where(frame[column] > 0)


def _all_shoots(frame):
    shoots = frame["shoots"] + frame["noncount_shoots"].fillna(0)
    return shoots.where(shoots > 0)


def _a_metre(table, values):
    return lambda facts: values(facts[table]) / facts.of_block(table, "metres")


def _per_metre(column, key, values, what):
    what = f"{what} per metre of canopy"
    return _hedged("counts", column, key, _a_metre("counts", values), what, _of_other_vines)


def _pruned(table, values):
    column, key = "pruning_weight_kg", "pruning_weight_kg_per_m"
    what = "pruning weight per metre of canopy"
    return plausible(table, column, key, _a_metre(table, values), what, others=("blocks",))


def _too_long(facts):
    """Return which plans leave canes longer than their place, even at short internodes."""
    return facts.cane_m > facts.of_block("pruning", "vine_spacing_m") + 1e-9


def _long_canes(facts):
    """Return the first of the rows of a block whose plan leaves canes too long for its vines."""
    frame, wrong = facts["pruning"], _too_long(facts)
    if not wrong.any():
        return ()
    inner = entry("layout.internode_mm")
    told = frame.assign(
        metres=facts.cane_m * (inner.low + inner.high) / (2 * inner.low),
        buds=facts.cane_m / inner.low * 1000,
        room=facts.of_block("pruning", "vine_spacing_m"),
    )
    return one_of_each(told[wrong], ["block", "plan"])


PLAUSIBLE = [
    Rule(
        ("pruning", "blocks"),
        "plan",
        _long_canes,
        "a cane of {buds:.0f} buds is about {metres:.1f} m long, and the vine has {room:.3g} m",
        "Is the number right? Canes that are bent, overlap or cross the row, and vines pruned to a "
        "hedge, can be so; then leave it.",
        name="pruning-cane-length",
    ),
    _hedged(
        "pruning",
        "plan",
        "buds_per_m",
        lambda facts: (facts.plan_buds / facts.of_block("pruning", "metres")).where(
            ~_too_long(facts)
        ),
        "buds per metre of canopy",
        _of_plans,
    ),
    _pruned("pruning", lambda frame: frame["pruning_weight_kg"]),
    _per_metre("buds", "buds_per_m", lambda frame: _filled(frame, "buds"), "buds"),
    _per_metre("shoots", "shoots_per_m", _all_shoots, "shoots"),
    plausible(
        "counts",
        "clusters",
        "clusters_per_shoot",
        lambda facts: facts["counts"]["clusters"] / _all_shoots(facts["counts"]),
        "clusters per shoot",
    ),
    _per_metre("clusters", "clusters_per_m", lambda frame: frame["clusters"], "clusters"),
    _pruned("counts", lambda frame: _filled(frame, "pruning_weight_kg")),
    plausible(
        "counts",
        "leaf_area_m2",
        "leaf_area_m2_per_m",
        _a_metre("counts", lambda frame: _filled(frame, "leaf_area_m2")),
        "leaf area per metre of canopy",
    ),
]


def _places(column):
    """Doubt a row or a vine whose number the block does not have."""

    def condition(facts):
        frame = facts["counts"]
        most = facts.of_block("counts", "vines")
        if column == "row":
            most = facts.of_block("counts", "rows").fillna(most)
        # The same few names stand in many rows.
        codes, names = pd.factorize(frame[column].to_numpy(object))
        number = pd.to_numeric(pd.Series(names, dtype=object), errors="coerce").astype(float)
        number = pd.Series(number.to_numpy()[codes] if len(codes) else [], frame.index, dtype=float)
        hits = frame[number > most].assign(held=most)
        if column == "row" and len(hits):
            # Numbers of rows may run through the estate: the block's own then lie in one run.
            lots = number.groupby(frame["block"])
            run = (lots.max() - lots.min()).reindex(hits["block"]).to_numpy()
            hits = hits[~((run > 0) & (run < hits["held"]))]
        return one_of_each(hits, ["block"])

    rule = f"is beyond the {{held:,.0f}} {column}s of the block"
    mend = "Check the number and the block; the row is used as it stands."
    name = f"counts-{column}-beyond-block"
    return Rule(("counts", "blocks"), column, condition, rule, mend, name=name)


def _heavy_prunings(facts):
    """Return seasons whose prunings lie far above the heaviest of the block's other seasons."""
    limits, frame = entry("plausible.prunings_of_own_seasons"), facts["pruning"]
    grown = frame["season"] - facts.of_block("pruning", "year_planted")
    grown = ~(grown < entry("plausible.crop_of_variety").extra["young"] + 1)
    frame = frame[grown & (frame["pruning_weight_kg"] > 0)].drop_duplicates(KEYS, keep="last")
    by_weight = frame.sort_values("pruning_weight_kg", kind="stable")["pruning_weight_kg"]
    lots = by_weight.groupby(frame["block"])
    # Only the heaviest of a block can lie above all others.
    times = (by_weight / lots.shift())[~frame["block"].loc[by_weight.index].duplicated(keep="last")]
    seasons = frame["block"].map(frame.groupby("block").size())
    rows = times.index[(times > limits.value) & (seasons[times.index] > limits.extra["seasons"])]
    written = facts.parsed["pruning"].written("pruning_weight_kg")
    told = {"times": times[rows], "written": written, "block": frame["block"][rows]}
    return pd.DataFrame(told, rows)


def _shoots_per_bud(facts):
    """Return shoots over the buds of the vine, or else over those of the block's plan."""
    frame = facts["counts"]
    buds = _filled(frame, "buds")
    # The buds of a vine are often counted in winter, on a row of their own.
    if buds.notna().any() and (buds.isna() & frame["shoots"].notna()).any():
        vine = [frame[key] for key in ("season", "block", "row", "vine")]
        buds = buds.fillna(buds.groupby(vine).transform("max"))
    if "pruning" in facts:
        buds = buds.fillna(facts.beside("counts", facts.plans_held.set_index(KEYS)["buds"]))
    return frame["shoots"] / buds


def _over(upper, lower):
    return lambda facts: facts["fertility"][upper] / _filled(facts["fertility"], lower)


MISFITS = [
    Rule(
        ("pruning", "blocks"),
        "pruning_weight_kg",
        _heavy_prunings,
        "is {times:.2g} times the heaviest prunings of the other seasons of {block}",
        "Is it in another unit than {written}? Pounds are 2.2 times kilograms. Possible after a "
        "season without a crop, or where the vines were left longer.",
        name="pruning-weight-season",
        of="season",
    ),
    _places("row"),
    _places("vine"),
    plausible("counts", "shoots", "shoots_per_bud", _shoots_per_bud, "shoots per bud of the vine"),
    plausible("fertility", "shoots", "shoots_per_bud", _over("shoots", "buds"), "shoots per bud"),
    plausible(
        "fertility",
        "clusters",
        "clusters_per_shoot",
        _over("clusters", "shoots"),
        "clusters per shoot",
    ),
]


def _counted_buds(facts):
    """Return the mean buds of each block and season where enough vines were counted."""
    means, least = facts.means, entry("plausible.buds_of_plan").extra["vines"]
    return means["buds"].where((means["buds_vines"] >= least) & (means["buds"] > 0))


def plans_off(facts):
    """Return by how many seasons all plans lie off the counts: -1, 1, or 0 for not at all."""
    if "pruning" not in facts or not (_counted_buds(facts).notna()).any():
        return 0
    limits, plan = entry("plausible.buds_of_plan"), facts.means["plan"]
    counted, here = _counted_buds(facts).to_numpy(float), plan.to_numpy(float)
    best = 0
    for shift in (-1, 1):
        blocks, seasons = (plan.index.get_level_values(name) for name in KEYS)
        moved = plan.reindex(pd.MultiIndex.from_arrays([blocks, seasons + shift])).to_numpy(float)
        away, near = np.abs(np.log(counted / here)), np.abs(np.log(counted / moved))
        # Only where the plan changed can the two be told apart; the end has no plan at all.
        changed = np.isfinite(near) & ~(np.abs(np.log(moved / here)) < limits.extra["change"])
        away = np.where(np.isnan(away), np.inf, away)[changed]
        better = (near[changed] < limits.extra["near"]) & (away > limits.extra["away"])
        enough = np.sum(better & np.isfinite(away)) >= limits.extra["changes"]
        if enough and better.mean() > limits.extra["share"]:
            best = shift
    return best


def _shifted(facts):
    shift, plans = facts.once(plans_off), facts["pruning"]["plan"]
    rows = plans.index[plans != ""][:1] if shift else []
    way, side = ("early", "before") if shift < 0 else ("late", "after")
    season = [facts.parsed["pruning"].text(row, "season") for row in rows]
    return pd.DataFrame({"season": season, "way": way, "side": side}, rows)


def _plans_off_buds(facts):
    """Return the block and season of plans far from the buds counted, with what they are."""
    limits, means = entry("plausible.buds_of_plan"), facts.means
    if "pruning" not in facts:
        return means.iloc[:0]
    if facts.once(plans_off):
        return means
    ratio = _counted_buds(facts) / means["plan"]
    return means[(ratio < limits.low) | (ratio > limits.high)]


def _misplanned(facts):
    if facts.once(plans_off):
        return ()
    off, plans = _plans_off_buds(facts), facts.plans_held
    rows = pd.Series(plans.index, pd.MultiIndex.from_frame(plans[KEYS]))
    told = off[["plan", "buds", "buds_vines"]].reset_index()
    return told.set_index(rows.reindex(off.index).to_numpy())


_DOUBLE = (
    "If two vines, or two canopy sides, were counted as one, write half. Possible where the vines "
    "were left much longer than the plans on record say."
)
_HALF = (
    "If one side of the row or {metre} was counted, count the whole vine. "
    "Possible after frost or hail, where shoots were thinned (write it into table events), or "
    "where the vines were left much shorter than before."
)


def _held(facts):
    """Return the means of enough vines, with the plan they are held per bud of."""
    means = trusted(facts)
    held = means.copy()
    held.loc[means.index.isin(_plans_off_buds(facts).index), "plan"] = np.nan
    held["plan"] = held["plan"].fillna(held["buds"].where(held["buds"] > 0))
    enough = entry("plausible.shoots_of_own_seasons").extra["vines"]
    for name in ("shoots", "clusters"):
        held[name] = means[name].where((means[f"{name}_vines"] >= enough) & (means[name] > 0))
    return held


def _odd_means(facts):
    """Return what is odd about means -> {block and season: (mean, rule, mend)}.

    Shoots and clusters may be swapped, doubled, or counted on a part of the vine.  Means are held
    per planned bud where plans are known. A season that is rich or poor for all blocks drops out;
    where the scale agrees with counts x weights, nothing is doubted.
    """
    means, held = trusted(facts), _held(facts)
    swapped = {key: (held.loc[key, "shoots"], _SWAPPED, _CHANGE) for key in _swapped(held)}
    found, told = {"swapped": swapped}, set(swapped)
    part = {name: _moved(held, name) for name in ("shoots", "clusters")}
    scale, off = scale_moves(means)
    stands = agrees(scale) & ~against_the_scale(part["clusters"], off)
    for name, move in part.items():
        limits = entry(f"plausible.{name}_of_own_seasons")
        wrong = (move > np.log(limits.high)) | (move < np.log(limits.low))
        if name == "clusters":
            wrong |= against_the_scale(move, off)
        else:
            # Of few buds most burst and twins come, of the many of a hedge hardly half do.
            load = moves(np.log(held["plan"]), 1)[0].fillna(0.0) * limits.extra["load"]
            wrong &= ~(move + load).between(np.log(limits.low), np.log(limits.high))
        # Shoots and clusters that fall together, or clusters alone, are what frost leaves.
        fell = (move < 0) & ~(off > np.log(1 / limits.low) / 2)
        less = (means["lost"] > 0) | means.index.isin(facts.once(_struck))
        wrong &= ~(fell & less) & ~(stands & ((move < 0) | (name == "clusters")))
        found[name] = {
            key: (means.loc[key, name], *_of_others(facts, key, name, move[key]))
            for key in means.index[wrong]
            if key not in told and not (fell[key] and _cold(facts, key))
        }
        told |= set(found[name])
    return found


def _struck(facts):
    """Return blocks and seasons in which an event took shoots or fruit: frost, hail, thinning."""
    if "events" not in facts:
        return []
    events = facts["events"].dropna(subset=["date"])
    events = events[events["kind"] != "fruit left"]
    return list(zip(events["block"], seasons_of(facts, events["date"]), strict=True))


def _odd(kind, column):
    def condition(facts):
        found = {}
        for key, (mean, rule, mend) in facts.once(_odd_means)[kind].items():
            rows = facts.rows("counts", key)
            rows = rows.index[rows[column].notna()]
            told = {"mean": mean, "block": key[0], "rule": rule, "mend": mend}
            found[rows[0]] = {"more": len(rows) - 1, **told}
        return by_row(found)

    value, name = "{mean:.3g} a vine in {block}", f"counts-{kind}-season"
    return Rule(
        *(("counts", "blocks"), column, condition, "{rule}", "{mend}", value),
        name=name,
        of="season",
    )


_SWAPPED = "shoots and clusters of the season fit each other's usual numbers in the block"
_CHANGE = "If the two columns were swapped, change them over."


def _of_others(facts, key, name, move):
    block, season = key
    rule = (
        f"the {name} a vine of season {season} are about {np.exp(move):.2g} times those of the "
        "other seasons of the block, for the buds left"
    )
    metres = facts.blocks.loc[block, "vine_spacing_m"] * facts.blocks.loc[block, "canopies"]
    metre = "a metre of it" if metres == metres and metres > 1 else "a part of the vine"
    return rule, _DOUBLE if move > 0 else _HALF.format(metre=metre)


def _moved(held, name):
    """Return how far each mean lies from the block's other seasons [1], per planned bud."""
    seasons = entry(f"plausible.{name}_of_own_seasons").extra["seasons"]
    logs = np.log(held[name])
    per_bud = logs - np.log(held["plan"])
    known = milder(*moves(per_bud, seasons))
    return known.where(known.notna(), milder(*moves(logs.where(per_bud.isna()), seasons)))


def _swapped(held):
    """Return the keys where shoots and clusters fit each other's usual mean, not their own."""
    limits = entry("plausible.swapped_counts")
    plan = np.log(held["plan"].fillna(1.0))
    shoots, clusters = (np.log(held[name]) - plan for name in ("shoots", "clusters"))
    usual_shoots, usual_clusters = other_seasons(shoots)[0], other_seasons(clusters)[0]
    apart, near = usual_clusters - usual_shoots, np.log(limits.value)
    wrong = (apart > np.log(limits.low)) & (clusters < shoots)
    wrong &= ((shoots - usual_clusters).abs() < near) & ((clusters - usual_shoots).abs() < near)
    wrong &= clusters - shoots - apart < -np.log(limits.high)
    # Shoots hardly stray from the buds; a year poor in clusters alone is no slip.
    wrong &= shoots - usual_shoots > np.log(limits.extra["shoots"])
    # Of the two readings, the scale must not speak for the one on record.
    off = scale_moves(held)[1]
    other = off - (shoots - clusters)
    wrong &= ~(off.abs() < other.abs() - limits.extra["scale"])
    return held.index[wrong]


def _cold(facts, key):
    """Whether the block's station saw frost between budburst and the last count of shoots."""
    if not {"weather", "dates"} <= set(facts.parsed):
        return False
    block = facts.blocks.loc[key[0]]
    stages, counts = facts.rows("dates", key), facts.rows("counts", key)
    burst = stages.loc[stages["stage"] == "budburst", "date"].min()
    last = counts.loc[counts["clusters"].notna(), "date"].max()
    weather = facts["weather"]
    nights = weather[weather["date"].between(burst, last)]
    if block["station"]:
        nights = nights[nights["station"] == block["station"]]
    offset = 0.0 if pd.isna(block["frost_offset_c"]) else block["frost_offset_c"]
    return bool((nights["tmin_c"] + offset < entry("plausible.frost_night_c").value).any())


def _bare_shoots(facts):
    """Return vines with clusters and no shoot."""
    frame = facts["counts"]
    other = frame["noncount_shoots"].fillna(0) > 0
    least = entry("plausible.beside_a_zero").high
    bare = (frame["shoots"] == 0) & ~other & (frame["clusters"] > least)
    return one_of_each(frame[bare], ["season", "block"])


def _no_buds(facts):
    """Return vines with no buds before a later count of them."""
    # Shoots and clusters come with the season: none of them in spring is no slip, no bud is.
    frame, vine = facts["counts"], ["season", "block", "row", "vine"]
    zero = frame["buds"] == 0
    if not zero.any():
        return frame[zero]
    later = frame[frame["buds"] > entry("plausible.beside_a_zero").high]
    later = later.groupby(vine)["date"].max()
    rows = frame[zero]
    last = later.reindex(pd.MultiIndex.from_frame(rows[vine])).to_numpy()
    return rows[rows["date"].to_numpy() < last]


def _budless(facts):
    """Return vines with no buds among vines of the block that have some.

    Young vines are left alone, for one cut back to its base has no count bud; and so is a block
    without any bud, of which no vine tells what it should have.
    """
    frame = facts["counts"]
    zero = (frame["buds"] == 0) & ~frame.index.isin(facts.once(_no_buds).index)
    if not zero.any():
        return ()
    leaves = frame["season"] - facts.of_block("counts", "year_planted")
    young = leaves < entry("plausible.crop_of_variety").extra["young"]
    most = frame.groupby(["season", "block"])["buds"].transform("max")
    return one_of_each(frame[zero & ~young & (most > 0)], ["season", "block"])


_ZERO = "Leave the cell blank where nothing was counted; a zero counts as none on the vine."


def _told_twice(column):
    """Return the rows that fill a column again, with the row before them, in order of writing."""

    def condition(facts):
        if not facts["pruning"].duplicated(KEYS).any():
            return ()
        rows = in_order(facts["pruning"], KEYS)
        rows = rows[rows[column].ne("") & rows[column].notna()]
        rows = rows.assign(row=rows.index)
        before = rows.groupby(KEYS)[["row", "date", column]].shift()
        again = before[column].notna() & before[column].ne(rows[column])
        # Where both days are told, a plan was changed, and nothing is in doubt.
        if column == "plan":
            again &= before["date"].isna() | rows["date"].isna()
        return pd.DataFrame({"row": before["row"][again].astype(int)}, rows.index[again])

    return condition


CONTRADICTIONS = [
    Rule(
        ("pruning",),
        "plan",
        _told_twice("plan"),
        "another plan of that season and block stands in row {row}, and a day is missing; this row "
        "holds",
        "Write the day into column date, or take out the row that does not hold.",
        name="pruning-plan-twice",
        of="season",
    ),
    Rule(
        ("pruning",),
        "pruning_weight_kg",
        _told_twice("pruning_weight_kg"),
        "another weight of that season and block stands in row {row}; this row holds, and the two "
        "are not averaged",
        "Write one row with the mean of all vines weighed, if both count.",
        name="pruning-weight-twice",
        of="season",
    ),
    Rule(
        ("pruning", "counts"),
        "season",
        _shifted,
        "the plans seem to stand one season too {way}: the buds counted in a season fit the plan "
        "of the season {side}",
        "Write the year of the harvest that the pruning was for into column season.",
        "season {season}",
        name="pruning-season-shifted",
    ),
    Rule(
        ("pruning", "counts"),
        "plan",
        _misplanned,
        "leaves {plan:g} buds a vine, and {buds_vines:.0f} vines of {block} were counted at "
        "{buds:.1f} in season {season}",
        "Correct the plan, or the buds counted: canes x buds per cane + spurs x buds a spur.",
        name="pruning-plan-off-buds",
        of="season",
    ),
    _odd("swapped", "shoots"),
    _odd("shoots", "shoots"),
    _odd("clusters", "clusters"),
    Rule(
        ("counts",),
        "shoots",
        _bare_shoots,
        "there are clusters on the vine and no shoot that could bear them",
        _ZERO,
        name="counts-no-shoots",
        of="season",
    ),
    Rule(
        ("counts",),
        "buds",
        lambda facts: one_of_each(facts.once(_no_buds), ["season", "block"]),
        "the same vine had buds later in the season",
        _ZERO,
        name="counts-no-buds-yet",
        of="season",
    ),
    Rule(
        ("counts", "blocks"),
        "buds",
        _budless,
        "a living vine has buds, as the others counted in {block} in season {season} have; this "
        "zero lowers their mean",
        "Where no living vine stands, write 1 into column missing and leave this cell blank; "
        "missing_pct of table blocks is their share of the block.",
        name="counts-no-buds",
        of="season",
    ),
]
