"""Are the pruners leaving what was planned?  Buds counted on pruned vines against the plan."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.beliefs.counting import SampleMean, mean_from_sample
from cropload.clock import day
from cropload.errors import CroploadError
from cropload.records.facts import bearing_vines
from cropload.season.crew_verdict import TOO_FEW, verdict_of, vines_to_tell
from cropload.season.vine_picking import block_of

#: What was to be left: a plan, or its buds alone.
PLANNED = arguments.any_of(
    arguments.kind("PruningPlan"),
    arguments.text,
    arguments.number(0, above=True, unit="1/vine", mend="A plan leaves at least one bud."),
)
#: Crop of one more bud, or a function that tells it.
PER_BUD = arguments.any_of(arguments.calling, arguments.number(unit="t/ha"))


class NoPlan(CroploadError):
    """Nothing was planned for a block; ``told`` says so without the mend, for any view to add."""

    def __init__(self, told):
        self.told = told
        super().__init__(f"{told} Fill column plan of table pruning, or name the plan (plan=).")


@dataclass(frozen=True)
class CrewCheck:
    """What a crew left against what was planned, for the block and row by row."""

    verdict: str
    planned_buds: float
    buds: SampleMean
    share_off: float
    share_long: float
    share_short: float
    vines_to_tell: int | None
    t_ha: tuple | None
    by_row: pd.DataFrame
    notes: tuple

    def __str__(self):
        """Say the finding in plain words."""
        sample = self.buds
        text = f"{self.verdict[0].upper()}{self.verdict[1:]}: {sample.mean:.1f} buds a vine"
        if not np.isnan(sample.low):
            text += f" ({sample.low:.1f} to {sample.high:.1f}, {100 * sample.confidence:g} % range)"
        noun = "vine" if sample.n == 1 else "vines"
        text += f" against {self.planned_buds:g} planned, {sample.n} {noun} counted."
        off = handbook.value("sampling.crew_vine_tolerance")
        text += f" {100 * self.share_off:.0f} % of the vines are more than {100 * off:g} % off."
        if self.vines_to_tell:
            text += f" About {self.vines_to_tell} vines in all would tell."
        if self.t_ha is not None:
            low, middle, high = self.t_ha
            text += f" Left so, that is {middle:+.2f} t/ha"
            text += "." if np.isnan(low) else f" ({low:+.2f} to {high:+.2f})."
        return " ".join([text, *self.notes])


@arguments.check_arguments(
    records=arguments.records,
    block=arguments.block,
    season=arguments.season,
    plan=arguments.optional(PLANNED),
    t_ha_per_bud=arguments.optional(PER_BUD),
)
def crew_check(records, block, season, *, plan=None, date=None, confidence=None, t_ha_per_bud=None):
    """Check a crew from the buds recorded in ``counts`` and the plan in ``pruning``.

    Parameters
    ----------
    records : Records
        The season folder.
    block : str
        A block of it.
    season : int
        The year of harvest the pruning is for.
    plan : PruningPlan, str or float, optional
        What was to be left; the plan recorded for the block and season otherwise, and where there
        is none, the last one before it as a forecast takes it, which the notes say.
    date : date, optional
        Only counts up to and including this day.
    confidence : float, optional
        Level of the range [1]; the handbook's otherwise.
    t_ha_per_bud : float or callable, optional
        See :func:`check_buds`.

    Returns
    -------
    CrewCheck

    Raises
    ------
    CroploadError
        An unknown block, no plan, no buds counted, or a vine counted twice on one day.

    Notes
    -----
    A vine counted on several days counts once, as it was last.
    Where the counted vines leave out rows of the block, or the number of rows is not recorded, they
    are read as a few rows standing for all, because a row is often the work of one pair of hands;
    the range is then wider, and rightly so.  Valid for vines picked by rule, not by eye.
    """
    found = block_of(records, block)
    counts = records.counts
    of_season = (counts["block"] == block) & (counts["season"] == season)
    mine = counts[of_season & counts["buds"].notna()]
    if date is not None:
        mine = mine[mine["date"] <= day(date)]
    if mine.empty:
        raise CroploadError(
            f"No buds are counted in block {block!r} for season {season}; count some pruned vines "
            "and enter them in counts."
        )
    twice = mine[mine.duplicated(["row", "vine", "date"], keep=False)]
    if not twice.empty:
        first = twice.iloc[0]
        raise CroploadError(
            f"Vine {first['vine']} in row {first['row']} of block {block!r} is counted twice on "
            f"{first['date']:%Y-%m-%d}; keep one of the two rows."
        )
    mine = mine.sort_values("date", kind="stable").drop_duplicates(["row", "vine"], keep="last")
    notes = ()
    if plan is None:
        plan, notes = planned_for(records, block, season)
    rows = found.get("rows", np.nan)
    check = check_buds(
        mine["buds"],
        plan,
        rows=mine["row"],
        rows_in_block=None if pd.isna(rows) else int(rows),
        bearing_vines=float(bearing_vines(found)),
        confidence=confidence,
        t_ha_per_bud=t_ha_per_bud,
    )
    return replace(check, notes=(*check.notes, *notes))


def planned_for(records, block, season):
    """Return the plan recorded for a block and season, or the last one before it.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    block : str
        A block of it.
    season : int
        The year of harvest the pruning is for.

    Returns
    -------
    plan, notes : str and tuple of str
        The notes say when an earlier plan stands in.

    Raises
    ------
    NoPlan
        When neither that season nor any before it has one.
    """
    pruning = records.pruning
    plans = pruning[(pruning["block"] == block) & (pruning["season"] <= season)]
    written = plans["plan"].fillna("").astype(str).str.strip() != ""
    plans = plans[written].sort_values("season", kind="stable")
    if plans.empty:
        raise NoPlan(f"No plan is recorded for block {block!r} in season {season} or before.")
    plan, of = str(plans["plan"].iloc[-1]), int(plans["season"].iloc[-1])
    if of == season:
        return plan, ()
    return plan, (
        f"No plan for {season} is on record: the last one, {plan} of {of}, is taken as unchanged.",
    )


@arguments.check_arguments(plan=PLANNED, t_ha_per_bud=arguments.optional(PER_BUD))
def check_buds(
    buds,
    plan,
    *,
    rows=None,
    rows_in_block=None,
    bearing_vines=None,
    confidence=None,
    t_ha_per_bud=None,
):
    """Compare buds counted on pruned vines with the plan.

    Parameters
    ----------
    buds : array_like
        Buds left on each counted vine [1/vine]; blanks are dropped.
    plan : PruningPlan, str or float
        The plan, or its buds [1/vine].
    rows : array_like, optional
        Row of each vine.
    rows_in_block : int, optional
        Rows of the block [1]; with all of them in the sample it is read as picked by row.
    bearing_vines : float, optional
        Bearing vines of the block [1].
    confidence : float, optional
        Level of the range [1]; the handbook's otherwise.
    t_ha_per_bud : float or callable, optional
        Crop change of one more bud a vine [t/ha], or a function of the difference in buds
        a vine [1/vine] that returns it [t/ha].

    Returns
    -------
    CrewCheck
        verdict, planned_buds, buds [1/vine], share_off, share_long, share_short [1],
        vines_to_tell [1], t_ha (low, middle, high) [t/ha] or None, by_row, notes.

    Raises
    ------
    CroploadError
        No counted vine, or a plan without buds.

    Notes
    -----
    The word is that of ``crew_verdict.verdict_of``: "long" and "short" where the range leaves out
    the plan, "on plan" where it is near the plan or shuts out a difference that matters, else "too
    few vines to tell".  A vine is off when it differs by more than
    ``sampling.crew_vine_tolerance``.  The words of the rows follow the same rule, so a row of a few
    vines mostly cannot be told.  ``vines_to_tell`` takes the mean to stay where it is.
    Valid for buds counted as the plan counts them, basal buds left out.
    """
    planned = _planned(plan)
    counted = pd.to_numeric(pd.Series(np.ravel(buds)), errors="coerce")
    row = pd.Series("", index=counted.index) if rows is None else pd.Series(np.ravel(rows))
    keep = counted.notna()
    counted, row = counted[keep].astype(float), row[keep].fillna("").astype(str)
    if confidence is None:
        confidence = handbook.value("interval.sample_confidence")
    if bearing_vines is not None:
        bearing_vines = max(float(bearing_vines), len(counted))
    vine_band = handbook.value("sampling.crew_vine_tolerance")

    design, notes = _design(row, rows_in_block)
    sample = mean_from_sample(
        counted, bearing_vines, design=design, strata=row, clusters=row, confidence=confidence
    )
    verdict = verdict_of(sample, planned)
    # A hair of room, so that 11 buds of 10 planned are not thrown out by rounding.
    off = counted / planned - 1
    is_long, is_short = off > vine_band + 1e-9, off < -vine_band - 1e-9

    by_row = []
    for label, vines in counted.groupby(row, sort=False):
        if label == "":
            continue
        one = mean_from_sample(vines, confidence=confidence)
        away = (is_long | is_short)[vines.index]
        by_row.append(
            (label, one.n, one.mean, one.low, one.high, away.mean(),
             verdict_of(one, planned))
        )  # fmt: skip
    table = pd.DataFrame(
        by_row, columns=["row", "vines", "buds_per_vine", "low", "high", "share_off", "verdict"]
    )
    order = pd.to_numeric(table["row"], errors="coerce")
    table = table.assign(order=order).sort_values(["order", "row"]).drop(columns="order")
    return CrewCheck(
        verdict,
        planned,
        sample,
        float((is_long | is_short).mean()),
        float(is_long.mean()),
        float(is_short.mean()),
        vines_to_tell(sample, planned, bearing_vines) if verdict == TOO_FEW else None,
        _crop_change(t_ha_per_bud, sample, planned),
        table.reset_index(drop=True),
        tuple(notes),
    )


def _planned(plan):
    if isinstance(plan, str):
        from cropload.vine.plan import PruningPlan

        plan = PruningPlan.parse(plan)
    try:
        planned = float(getattr(plan, "buds", plan))
    except (TypeError, ValueError):
        planned = np.nan
    if not np.isfinite(planned) or planned <= 0:
        raise CroploadError("A crew is checked against a plan with at least one bud a vine.")
    return planned


def _design(row, rows_in_block):
    labels = row[row != ""]
    if len(labels) < len(row) or labels.nunique() == len(labels):
        return "simple", []  # no rows known, or one vine in each: a row tells nothing more
    if rows_in_block is not None and labels.nunique() >= rows_in_block:
        return "stratified", []
    if (labels == labels.iloc[0]).all():
        return "simple", ["All vines are from one row: this is one row's work, not the block's."]
    return "row-cluster", []


def _crop_change(t_ha_per_bud, sample, planned):
    if t_ha_per_bud is None:
        return None
    ends = [end - planned for end in (sample.low, sample.mean, sample.high)]
    if callable(t_ha_per_bud):
        return tuple(np.nan if np.isnan(end) else float(t_ha_per_bud(end)) for end in ends)
    return tuple(float(t_ha_per_bud) * end for end in ends)
