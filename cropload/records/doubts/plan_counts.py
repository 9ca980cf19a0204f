"""Doubts about plans that the buds counted on the vines contradict."""

import numpy as np

from cropload.handbook import entry
from cropload.records.doubts.rules import tell


def plans_against_buds(usable, means):
    """Doubt plans far from the buds counted in their season, and plans one season off.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable.
    means : pandas.DataFrame
        As ``season_means`` gives it.

    Returns
    -------
    (list of Fault, set of (block, season))
        One doubt for each block and season, or one for all where the plans are shifted; and the
        seasons whose plans are doubted.
    """
    if "pruning" not in usable:
        return [], set()
    limits = entry("plausible.buds_of_plan")
    table = usable["pruning"]
    buds = means["buds"].where((means["buds_vines"] >= limits.extra["vines"]) & (means["buds"] > 0))
    if buds.notna().any():
        shift = _shift(buds, means["plan"], limits)
        if shift:
            return [_shifted(table, shift)], set(means.index)
    ratio = (buds / means["plan"]).dropna()
    found, told = [], set()
    for block, season in ratio.index[(ratio < limits.low) | (ratio > limits.high)]:
        mean, planned = buds[block, season], means["plan"][block, season]
        rule = (
            f"leaves {planned:g} buds a vine, and {means['buds_vines'][block, season]:.0f} vines "
            f"of {block} were counted at {mean:.1f} in season {season}"
        )
        mend = "Correct the plan, or the buds counted: canes x buds per cane + spurs x buds a spur."
        found.append(tell(table, _row(table, block, season), "plan", rule, mend))
        told.add((block, season))
    return found, told


def _shift(buds, plan, limits):
    """Return by how many seasons the plans lie off the counts: -1, 1, or 0 for not at all."""
    best = 0
    for shift in (-1, 1):
        blocks, seasons = (buds.index.get_level_values(name) for name in ("block", "season"))
        moved = plan.reindex(list(zip(blocks, seasons + shift, strict=True))).to_numpy(float)
        counted, here = buds.to_numpy(float), plan.to_numpy(float)
        with np.errstate(divide="ignore", invalid="ignore"):
            away, near = np.abs(np.log(counted / here)), np.abs(np.log(counted / moved))
            # Only where the plan changed can the two be told apart; the end has no plan at all.
            changed = np.isfinite(near) & ~(np.abs(np.log(moved / here)) < limits.extra["change"])
        away = np.where(np.isnan(away), np.inf, away)[changed]
        near = near[changed]
        better = (near < limits.extra["near"]) & (away > limits.extra["away"])
        known = np.isfinite(away)
        enough = np.sum(better & known) >= limits.extra["changes"]
        if enough and better.mean() > limits.extra["share"]:
            best = shift
    return best


def _shifted(table, shift):
    way = "early" if shift < 0 else "late"
    rows = table.frame.index[table.frame["plan"] != ""]
    rule = (
        f"the plans seem to stand one season too {way}: the buds counted in a season fit the plan "
        f"of the season {'before' if shift < 0 else 'after'}"
    )
    mend = "Write the year of the harvest that the pruning was for into column season."
    value = f"season {table.text(int(rows[0]), 'season')}"
    return tell(table, rows[0], "season", rule, mend, value)


def _row(table, block, season):
    frame = table.frame
    here = (frame["block"] == block) & (frame["season"] == season) & (frame["plan"] != "")
    return int(frame.index[here][0])
