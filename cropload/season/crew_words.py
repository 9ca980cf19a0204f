"""A crew check made and put into words, for the panel and the command line."""

from dataclasses import replace

import numpy as np

from cropload.beliefs.meant import check_block
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.clock import day
from cropload.errors import CroploadError
from cropload.season.crew_check import NoPlan, crew_check, planned_for
from cropload.season.crew_crop import crew_tolerances, crop_of_extra_buds
from cropload.season.crew_verdict import TOO_FEW
from cropload.season.words import signed
from cropload.show import wording
from cropload.units import METRIC

#: Head of the column of vines that differ too much; the tolerance is told in the sentence above.
OFF_HEAD = "share of vines off"


def checked_crew(
    records,
    block,
    season=None,
    *,
    plan=None,
    date=None,
    history=None,
    draws=DEFAULT_DRAWS,
    seed=0,
    name_plan="name the plan",
):
    """Check a crew, with what the difference means for the crop.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    block : str
        Name of the block.
    season : int, optional
        Year of the harvest the pruning is for; the latest with buds counted in the block when
        left out.
    plan : str or PruningPlan, optional
        What was to be left; the plan on record when left out, as ``crew_check`` finds it.
    date : str or date, optional
        Only counts up to this day.
    history : Records, optional
        Records whose earlier seasons say how the crop answers; ``records`` when left out. What is
        learnt from them is kept, so the same ones answer quicker the second time.
    draws, seed : int
        Draws [1] and their seed [1].
    name_plan : str
        How the reader of a view says what was to be left, for the message where no plan is known.

    Returns
    -------
    CrewCheck
        With ``t_ha`` set [t/ha].

    Raises
    ------
    CroploadError
        For a block without buds counted or without a plan, and for what cannot be read.
    """
    block = check_block(records, block)
    if season is None:
        counts = records.counts
        told = counts[(counts["block"] == block) & counts["buds"].notna()]
        if told.empty:
            raise CroploadError(
                f"No buds are counted in block '{block}'; count some pruned vines and enter them "
                "in counts."
            )
        season = int(told["season"].max())
    limit = day(date)
    # First without the crop, so that a missing plan or count is told as such.
    try:
        crew_check(records, block, season, plan=plan, date=limit)
    except NoPlan as fault:
        raise CroploadError(
            f"{fault.told} Fill column plan of table pruning, or {name_plan}."
        ) from None
    notes = ()
    if plan is None:
        plan, notes = planned_for(records, block, season)
    history = records if history is None else history
    crop = crop_of_extra_buds(history, block, plan, season, draws=draws, seed=seed)
    check = crew_check(records, block, season, plan=plan, date=limit, t_ha_per_bud=crop)
    return replace(check, notes=(*check.notes, *notes))


def crew_sentence(check, units=METRIC):
    """Return the finding in plain words, the crop in the units of the reader."""
    sample = check.buds
    _, vine = crew_tolerances()
    text = f"{check.verdict[0].upper()}{check.verdict[1:]}: {sample.mean:.1f} buds a vine"
    if not np.isnan(sample.low):
        text += f" ({sample.low:.1f} to {sample.high:.1f}, {100 * sample.confidence:g} % range)"
    noun = "vine" if sample.n == 1 else "vines"
    text += (
        f" against {check.planned_buds:g} planned, {sample.n} {noun} counted. "
        f"{100 * check.share_off:.0f} % of the vines are more than {100 * vine:g} % off "
        f"({100 * check.share_long:.0f} % long, {100 * check.share_short:.0f} % short)."
    )
    if check.vines_to_tell:
        text += f" About {check.vines_to_tell} vines in all would tell."
    if check.t_ha is not None:
        low, middle, high = check.t_ha
        places = 2
        text += f" Left so, the coming crop changes by {signed('t_ha', middle, units, places)}"
        if np.isnan(low):
            text += "."
        else:
            ends = [
                signed("t_ha", end, units, places).removesuffix(f" {units.label('t_ha')}")
                for end in (low, high)
            ]
            text += f" ({ends[0]} to {ends[1]} over the {100 * sample.confidence:g} % range)."
    return " ".join([text, *check.notes])


def rows_not_told(check):
    """Return a sentence on the rows with too few counted vines for a word, or an empty text."""
    some = check.by_row[check.by_row["verdict"] == TOO_FEW]
    if some.empty:
        return ""
    few, most = int(some["vines"].min()), int(some["vines"].max())
    vines = f"{few} to {most} vines" if few < most else "1 vine" if few == 1 else f"{few} vines"
    if len(some) == len(check.by_row):
        what = "1 row" if len(some) == 1 else f"each of {len(some)} rows"
    else:
        what = "1 more row" if len(some) == 1 else f"each of {len(some)} more rows"
    return f"{vines} counted in {what}: too few to tell by the row."


def crew_rows(check, told_only=False):
    """Return the rows of the table by row, as text: row, vines, buds, share off, verdict.

    With ``told_only`` rows with too few vines for a word are left out.
    """
    rows = []
    for row in check.by_row.to_dict("records"):
        if told_only and row["verdict"] == TOO_FEW:
            continue
        mean = wording.figure(row["buds_per_vine"])
        if not np.isnan(row["low"]):
            mean += f" ({wording.figure(row['low'])} to {wording.figure(row['high'])})"
        rows.append(
            (row["row"], str(row["vines"]), mean, f"{100 * row['share_off']:.0f} %", row["verdict"])
        )
    return rows
