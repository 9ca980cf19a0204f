"""What of the records a forecast does not learn from, why, and what to do about it, in words."""

from cropload import handbook
from cropload.beliefs.measured import bare_seasons, last_visits
from cropload.records.facts import season_crops

#: Sentences of one kind that are written out.
SHOWN = 5


def not_learned_from(records, facts):
    """Return what is on record and is not learned from, one sentence each.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    facts : BlockFacts
        Fixed facts of the blocks.

    Returns
    -------
    list of str
        Each says what, why, and what to do; empty when everything is used.

    Notes
    -----
    Valid for whole records; a forecast of an earlier day also leaves out what is dated later.
    """
    return [*_traces(records, facts), *_bare_vines(records, facts), *_counted_again(records)]


def _shortened(sentences):
    rest = len(sentences) - SHOWN
    more = [f"And {rest:,} more like it."] if rest > 0 else []
    return sentences[:SHOWN] + more


def _traces(records, facts):
    """Tell of crops that count as lost: none, a trace of fruit, or lost wholly by lost_pct."""
    harvest = records.harvest
    if harvest.empty:
        return []
    limit = handbook.entry("plausible.t_ha").low
    area = dict(zip(facts.names, facts.area_ha, strict=True))
    table = season_crops(harvest).reset_index().sort_values(["season", "block"])
    crop = table["tonnes"] / (table["picked_pct"] / 100) / table["block"].astype(str).map(area)
    sentences = []
    for row, per_hectare in zip(table.itertuples(), crop, strict=True):
        if row.lost_pct >= 100:
            sentences.append(
                f"Harvest {row.season} of {row.block} is left out of the history: its crop was "
                "lost wholly (lost_pct 100). Nothing to do, if that is so."
            )
        elif per_hectare < limit:
            sentences.append(
                f"Harvest {row.season} of {row.block} is left out of the history: with "
                f"{per_hectare:.2g} t/ha, under {limit:g} t/ha, its crop counts as lost. If the "
                "vines bore more, correct the tonnes in table harvest."
            )
    return _shortened(sentences)


def _bare_vines(records, facts):
    """Tell of seasons in which no counted vine of a block carries a cluster."""
    sentences = []
    bare = bare_seasons(records.counts, facts)
    for (block, season), vines in sorted(bare.items(), key=lambda each: each[0][1]):
        sentences.append(
            f"The cluster counts of {season} in {block} are left out of the history: none of "
            f"the {vines} vines counted carries a cluster, so its crop counts as lost (0 t). "
            "If clusters were not counted yet, leave the cells blank in place of 0."
        )
    return _shortened(sentences)


def _counted_again(records):
    """Tell of counts that a later visit to the same vine stands for."""
    again, blocks, days = 0, {}, set()
    for column in ("buds", "shoots", "noncount_shoots", "clusters"):
        counts = records.counts[records.counts[column].notna()]
        earlier = counts.index.difference(last_visits(records.counts, column).index)
        again = again + len(earlier)
        blocks |= dict.fromkeys(counts.loc[earlier, "block"].astype(str))
        days |= set(counts.loc[earlier, "date"].dt.strftime("%Y-%m-%d"))
    if not again:
        return []
    named = ", ".join(list(blocks)[:SHOWN]) + (", ..." if len(blocks) > SHOWN else "")
    when = f"from {min(days)}" + (f" to {max(days)}" if len(days) > 1 else "")
    return [
        f"{again:,} {'counts are' if again > 1 else 'count is'} not used ({named}; {when}): the "
        "same thing was counted again on the same vine on a later day of the season, and the last "
        "count stands. Nothing to do, unless a date, row or vine is wrong."
    ]
