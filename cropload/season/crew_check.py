"""Are the pruners leaving what was planned, and what does a difference mean for the crop?"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs.counting import SampleMean, mean_from_sample
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.clock import day
from cropload.errors import CroploadError
from cropload.records.facts import bearing_vines
from cropload.season.crew_verdict import TOO_FEW, verdict_of, vines_to_tell
from cropload.season.tables import crew_table
from cropload.season.vine_picking import block_of
from cropload.season.words import crew_sentence
from cropload.units import METRIC
from cropload.vine.plan import PruningPlan

#: What was to be left: a plan, or its buds alone.
PLANNED = arguments.any_of(
    arguments.kind("PruningPlan"),
    arguments.text,
    arguments.number(0, above=True, unit="1/vine", mend="A plan leaves at least one bud."),
)
#: Crop of one more bud, or a function that tells it.
PER_BUD = arguments.any_of(arguments.calling, arguments.number(unit="t/ha"))


#: A block of which no bud is left bears nothing; the log needs a hair.
_MOST_LOST = 1 - 1e-9


class NoPlan(CroploadError):
    """Nothing was planned for a block; ``mended`` says how a view lets its reader name a plan."""

    def __init__(self, missing, mend="name the plan (plan=)"):
        self.missing = missing
        super().__init__(f"{missing} Fill column plan of table pruning, or {mend}.")

    def mended(self, mend):
        """Return the same fault with the way to name a plan in some view."""
        return NoPlan(self.missing, mend)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class CrewCheck(Answer):
    """What a crew left against what was planned, for the block and row by row.

    Attributes
    ----------
    frame : DataFrame
        row, vines [1], buds_per_vine and its low and high end [1/vine], share_off [1], verdict.
    verdict : str
        ``"on plan"``, ``"long"``, ``"short"`` or ``"too few vines to tell"``.
    planned_buds : float
        Buds of the plan [1/vine].
    buds : SampleMean
        Mean of the counted vines [1/vine].
    share_off, share_long, share_short : float
        Shares of the vines that differ by more than the tolerance [1].
    vines_to_tell : int or None
        Vines in all at which a word would be said [1].
    t_ha : (low, middle, high) or None
        What the difference means for the coming crop [t/ha].
    block : str
        The block; empty for buds without records.
    season : int or None
        Year of the harvest that the pruning is for.
    days : tuple of Timestamp
        First and last day on which the vines were counted.
    """

    verdict: str
    planned_buds: float
    buds: SampleMean
    share_off: float
    share_long: float
    share_short: float
    vines_to_tell: int | None
    t_ha: tuple | None
    block: str = ""
    season: int | None = None
    days: tuple = ()

    def heading(self, units=METRIC):
        """Return the finding in plain words."""
        return crew_sentence(self, units)

    def tables(self, units=METRIC):
        """Return the rows, those with too few vines for a word left out of the first table."""
        return [crew_table(self, told_only=True), crew_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw the buds left in each row against the plan."""
        from cropload.season.charts import crew_rows

        return crew_rows(self).plot(ax)


@arguments.check_arguments(
    records=arguments.records,
    block=arguments.block,
    season=arguments.optional(arguments.season),
    plan=arguments.optional(PLANNED),
    t_ha_per_bud=arguments.optional(PER_BUD),
    history=arguments.optional(arguments.records),
    draws=arguments.draws,
    seed=arguments.seed,
)
def crew_check(
    records,
    block,
    season=None,
    *,
    plan=None,
    date=None,
    confidence=None,
    t_ha_per_bud=None,
    history=None,
    draws=DEFAULT_DRAWS,
    seed=0,
):
    """Check a crew from the buds recorded in ``counts`` and the plan in ``pruning``.

    Parameters
    ----------
    records, block : Records, str
        The season folder, and a block of it.
    season : int, optional
        The year of harvest the pruning is for; the latest with buds counted in the block when
        left out.
    plan : PruningPlan, str or float, optional
        What was to be left, or its buds alone [1/vine]; the plan recorded for the block and season
        otherwise, and where there is none, the last one before it as a forecast takes it, which
        the notes say.
    date : date, optional
        Only counts up to and including this day.
    confidence : float, optional
        Level of the range [1]; the handbook's otherwise.
    t_ha_per_bud : float or callable, optional
        Crop of one more bud a vine [t/ha], see :func:`check_buds`; as the block's own records tell
        it when left out.
    history : Records, optional
        Records whose earlier seasons say how the crop answers; ``records`` when left out. What is
        learnt from them is kept, so the same ones answer quicker the second time.
    draws, seed : int
        Draws [1] and their seed [1].

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
    block = check_block(records, block)
    facts = block_of(records, block)
    counts = records.counts
    mine = counts[(counts["block"] == block) & counts["buds"].notna()]
    if season is None:
        season = last_counted(records, block)
    mine = mine[mine["season"] == season]
    if date is not None:
        mine = mine[mine["date"] <= day(date)]
    if mine.empty:
        when = "" if season is None else f" for season {season}"
        raise CroploadError(
            f"No buds are counted in block {block!r}{when}; count some pruned vines and enter "
            "them in counts."
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
    # Buds alone, without a plan that spreads them over the vine, say nothing of the crop.
    if t_ha_per_bud is None and isinstance(plan, (str, PruningPlan)):
        history = records if history is None else history
        t_ha_per_bud = crop_of_extra_buds(history, block, plan, season, draws=draws, seed=seed)
    rows = facts.get("rows", np.nan)
    check = check_buds(
        mine["buds"],
        plan,
        rows=mine["row"],
        rows_in_block=None if pd.isna(rows) else int(rows),
        bearing_vines=float(bearing_vines(facts)),
        confidence=confidence,
        t_ha_per_bud=t_ha_per_bud,
    )
    return replace(
        check,
        notes=(*check.notes, *notes),
        block=block,
        season=int(season),
        days=(mine["date"].min(), mine["date"].max()),
    )


def last_counted(records, block):
    """Return the latest season with buds counted in a block, or None."""
    counts = records.counts
    seen = counts["season"][(counts["block"] == block) & counts["buds"].notna()]
    return int(seen.max()) if len(seen) else None


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
        ``t_ha`` is None without ``t_ha_per_bud``.

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
        table.reset_index(drop=True),
        tuple(notes),
        sources=("sampling.crew_mean_tolerance", "sampling.crew_vine_tolerance"),
        verdict=verdict,
        planned_buds=planned,
        buds=sample,
        share_off=float((is_long | is_short).mean()),
        share_long=float(is_long.mean()),
        share_short=float(is_short.mean()),
        vines_to_tell=vines_to_tell(sample, planned, bearing_vines) if verdict == TOO_FEW else None,
        t_ha=_crop_change(t_ha_per_bud, sample, planned),
    )


def _planned(plan):
    if isinstance(plan, str):
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


@arguments.check_arguments(
    records=arguments.records,
    season=arguments.season,
    draws=arguments.draws,
    seed=arguments.seed,
)
def crop_of_extra_buds(records, block, plan, season, *, draws=DEFAULT_DRAWS, seed=0):
    """Return a function from buds more than planned to the change of the crop.

    Parameters
    ----------
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    plan : PruningPlan or str
        What was to be left.
    season : int
        Year of the harvest the pruning is for.
    draws, seed : int
        Draws [1] and their seed [1].

    Returns
    -------
    callable
        Takes buds a vine more than planned [1/vine], negative for fewer, and returns the middle
        of the change of the crop in the coming season [t/ha]; made for ``t_ha_per_bud`` of
        ``crew_check``.

    Raises
    ------
    CroploadError
        For a block or plan that cannot be.

    Notes
    -----
    Plan and what was left are computed on the same draws, with the load response of a first
    season, so the change is smaller than in proportion to the buds.
    Valid for buds more or fewer spread over the vine as the plan spreads them.
    """
    block = check_block(records, block)
    plan = PruningPlan.parse(plan)
    if not plan.buds:
        raise CroploadError("A plan without buds bears no crop to compare with.")
    estate = estate_before_season(records, int(season))
    at = estate.facts.place(block)

    def crop(extra):
        # Buds more than planned are dead buds with the sign turned round.
        share = -float(extra) / plan.buds
        return plan_draws(
            estate, [at], [plan], draws=draws, seed=seed, dead_buds=min(share, _MOST_LOST)
        ).t_ha()[0, 0]

    planned = crop(0.0)

    def change(extra):
        """Return the middle of the change of the crop [t/ha]."""
        return float(np.median(crop(extra) - planned))

    return change
