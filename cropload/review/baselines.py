"""Guesses that a grower makes without any model, beside which every forecast is scored."""

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs.measured import measurements
from cropload.records.as_of import records_until
from cropload.records.facts import block_facts, together

#: Guesses a grower would make without any model, with the words for them.
BASELINES = {
    "last_season": "same as last season",
    "block_mean": "the block's mean so far",
    "count_x_last_weight": "clusters counted x last season's cluster weight",
}


@arguments.check_arguments(
    records=arguments.records,
    season=arguments.season,
    crops=arguments.optional(arguments.each(arguments.each(arguments.text))),
)
def baselines(records, season, as_of, crops=None):
    """Return what a grower would have guessed on a day, one column a baseline [t].

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.
    as_of : str or date
        Only records up to this day are used.
    crops : sequence of sequences of str, optional
        The blocks of each crop to guess; each block alone when left out.

    Returns
    -------
    DataFrame
        One row a crop, its name the blocks joined by " + "; NaN where a guess needs what was not
        on record for each of its blocks.

    Notes
    -----
    Tonnes of blocks on one ticket were split on paper, which is a guess of its own: such a season
    counts for a crop that holds all of them, and for no other.
    """
    known = records_until(records, as_of)
    facts = block_facts(known)
    found = measurements(known, facts)
    wide = {
        stage: found[found["stage"] == stage].pivot_table(
            index="block", columns="season", values="value"
        )
        for stage in ("harvest", "clusters", "weight_harvest")
    }
    vines = pd.Series(facts.bearing, index=list(facts.names)) / 1000.0

    def of(stage, wanted):
        table = wide[stage]
        found = table[wanted] if wanted in table else pd.Series(dtype=float)
        return found.reindex(vines.index)

    counted = of("clusters", season) * of("weight_harvest", season - 1) / 1000.0 * vines
    before = wide["harvest"].reindex(vines.index)
    before = before[[s for s in before.columns if s < season]].mul(vines, axis=0)
    partners = _partners(known, season)

    def guesses(blocks):
        mine = before.loc[blocks]
        for year, groups in partners.items():
            apart = [block for block in blocks if not groups.get(block, set()) <= set(blocks)]
            if apart and year in mine:
                mine = mine.copy()
                mine.loc[apart, year] = np.nan
        return _past_guesses(mine, season).sum(skipna=False)

    alone = before.copy()
    for year, groups in partners.items():
        if year in alone:
            alone.loc[list(groups), year] = np.nan
    alone = _past_guesses(alone, season)
    if crops is None:
        return alone.assign(count_x_last_weight=counted)
    rows = [alone.loc[c[0]] if len(c) == 1 else guesses(list(c)) for c in crops]
    frame = pd.DataFrame(rows).reset_index(drop=True)
    frame["count_x_last_weight"] = [counted[list(c)].sum(skipna=False) for c in crops]
    return frame.set_axis([" + ".join(c) for c in crops])


def _past_guesses(before, season):
    """Return each block's last season and its mean [t]."""
    frame = pd.DataFrame(index=before.index, dtype=float)
    frame["last_season"] = before.get(season - 1, np.nan)
    frame["block_mean"] = before.mean(axis=1) if before.shape[1] else np.nan
    return frame


def _partners(records, season):
    """Return {earlier season: {block: the blocks it was weighed with}}, where there are any."""
    found = {}
    for year, rows in records.harvest.groupby("season"):
        if year < season:
            groups = together(rows.assign(block=rows["block"].astype(str)))
            groups = {block: lot for block, lot in groups.items() if len(lot) > 1}
            if groups:
                found[int(year)] = groups
    return found


def joint_notes(records, season):
    """Return in which earlier seasons blocks shared a ticket, and what that takes from a guess.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest that is guessed.

    Returns
    -------
    list of str
    """
    seasons = {}
    for year, groups in _partners(records, season).items():
        for lot in set(groups.values()):
            name = " + ".join(b for b in block_facts(records).names if b in lot)
            seasons.setdefault(name, []).append(str(year))
    return [
        f"{name} were weighed together in {', '.join(years)}, so the tonnes of each alone are not "
        "known: that season counts for no guess of one of them, only for a crop that holds all of "
        "them."
        for name, years in sorted(seasons.items())
    ]
