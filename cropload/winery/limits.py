"""Limits of intake as the table of them has it: checked, laid out, and which days they name."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.errors import CroploadError, near
from cropload.winery import periods as intake_periods

#: Words of column intake.
INTAKE = LIMIT, CLOSED, NO_LIMIT = ("limit", "closed", "no limit")


@arguments.check_arguments(capacity=arguments.frame)
def check_capacity(capacity):
    """Check limits of intake, also when they were not read from a file.

    Parameters
    ----------
    capacity : DataFrame
        As table capacity: period_start, period_end, limit_t [t], variety (blank for all fruit),
        intake (limit, closed or no limit; blank for limit).

    Returns
    -------
    DataFrame
        In order of time, with a column period (its name) in front.

    Raises
    ------
    CroploadError
        For a period without its days or that ends before it starts, a limit that is missing
        or below zero, or one where intake is closed or without limit.
    """
    frame = pd.DataFrame(capacity).copy().reset_index(drop=True)
    missing = [n for n in ("period_start", "period_end", "limit_t") if n not in frame]
    if missing:
        raise CroploadError(f"The capacity has no column {' and '.join(missing)}.")
    for name in ("variety", "intake"):
        frame[name] = frame[name].fillna("").astype(str) if name in frame else ""
    frame["intake"] = frame["intake"].replace("", LIMIT)
    try:
        for name in ("period_start", "period_end"):
            frame[name] = pd.to_datetime(frame[name]).astype("datetime64[ns]")
        frame["limit_t"] = frame["limit_t"].astype(float)
    except (TypeError, ValueError) as fault:
        raise CroploadError(f"The capacity cannot be read: {fault}.") from None
    intake_periods.check(frame)
    words = [
        intake_periods.span_words(start, end)
        for start, end in zip(frame["period_start"], frame["period_end"], strict=True)
    ]
    for word, limit, kind in zip(words, frame["limit_t"], frame["intake"], strict=True):
        if kind not in INTAKE:
            raise CroploadError(
                f"The intake of {word} is '{kind}'; it is one of {', '.join(INTAKE)}. "
                f"{near(kind, INTAKE)}".strip()
            )
        if kind != LIMIT:
            if limit > 0:
                raise CroploadError(
                    f"{word} is told to be {kind}, and to have a limit of {limit:g} t. Keep one."
                )
        elif not limit >= 0 or np.isinf(limit):
            shown = "missing" if np.isnan(limit) else f"{limit:g} t"
            raise CroploadError(
                f"The limit for {word} is {shown}; a limit is 0 t or more. Where there is none, "
                f"write '{NO_LIMIT}' in column intake."
            )
    frame["limit_t"] = frame["limit_t"].mask(frame["intake"] == CLOSED, 0.0)
    frame["limit_t"] = frame["limit_t"].mask(frame["intake"] == NO_LIMIT, np.nan)
    frame.insert(0, "period", pd.Series(words, dtype=object))
    order = ["period_start", "period_end", "variety"]
    return frame.sort_values(order, kind="stable", ignore_index=True)


@dataclass(frozen=True, eq=False)
class Limits:
    """Limits of intake laid out for arrays.

    starts, ends : first and last days [d since 1970-01-01]; limit [t], infinite for none; member :
    (limits, blocks), whether a limit counts a block's fruit; varieties : its variety, blank for all
    fruit.
    """

    table: pd.DataFrame
    starts: np.ndarray
    ends: np.ndarray
    limit: np.ndarray
    member: np.ndarray
    varieties: tuple


def limits_of(schedule, capacity):
    """Return the limits that concern a schedule, and notes on those that do not.

    Parameters
    ----------
    schedule, capacity : IntakeSchedule, DataFrame
        As from ``intake_schedule``, and as table capacity.

    Returns
    -------
    limits : Limits
    notes : list of str
    """
    frame = check_capacity(capacity)
    notes, known = [], set(schedule.varieties)
    for variety in dict.fromkeys(frame["variety"]):
        if variety and variety not in known:
            hint = near(variety, known)
            notes.append(
                f"No block of variety '{variety}' is in this forecast, so its limits are not "
                f"used. {hint}".strip()
            )
    frame = frame[frame["variety"].isin(["", *known])]
    # A table may hold the limits of several seasons; picking may run into the January after.
    first, last = pd.Timestamp(schedule.season, 1, 1), pd.Timestamp(schedule.season + 1, 1, 31)
    here = (frame["period_end"] >= first) & (frame["period_start"] <= last)
    if len(frame) and not here.any():
        notes.append(f"None of the limits of intake lies in season {schedule.season}.")
    frame = frame[here].reset_index(drop=True)
    starts, ends = intake_periods.days(frame)
    member = np.array(
        [[word in ("", v) for v in schedule.varieties] for word in frame["variety"]], bool
    ).reshape(len(frame), len(schedule.blocks))
    varieties = tuple(frame["variety"])
    limit = frame["limit_t"].fillna(np.inf).to_numpy(float)
    return Limits(frame, starts, ends, limit, member, varieties), notes


def ahead_of(schedule, limits):
    """Return which limits are not over by the day of the schedule, (limits) bool."""
    if not schedule.as_of:
        return np.ones(len(limits.limit), bool)
    return limits.ends > (pd.Timestamp(schedule.as_of) - pd.Timestamp(0)).days


def named_days(schedule, limits, rows=slice(None), beyond=0):
    """Return {variety: which days a row of the limits names for it}, bool.

    The days are those of the schedule's span, and as many before and after it as ``beyond`` says.
    """
    first, last = schedule.span
    days = np.arange(first - beyond, last + 1 + beyond)
    inside = (days >= limits.starts[rows, None]) & (days <= limits.ends[rows, None])
    for_each = dict(zip(schedule.varieties, limits.member[rows].T, strict=True))
    return {variety: inside[member].any(0) for variety, member in for_each.items()}


def limited_sums(schedule, limits):
    """Return the tonnes that each limit counts, (limits, draws) [t]."""
    until = dict(schedule.until("variety"))
    every = sum(until.values())
    out = np.empty((len(limits.limit), schedule.undated.shape[1]))
    for variety in dict.fromkeys(limits.varieties):
        rows = np.array([name == variety for name in limits.varieties])
        found = every if not variety else until[variety]
        out[rows] = schedule.between(found, limits.starts[rows], limits.ends[rows])
    return out


def closed_days(capacity, varieties):
    """Return {variety: days on which nobody takes it in [d since 1970-01-01]}, sorted.

    Parameters
    ----------
    capacity : DataFrame
        As table capacity.
    varieties : sequence of str
        Names of varieties.
    """
    frame = check_capacity(capacity)
    frame = frame[frame["limit_t"] == 0]
    found = {}
    for variety in dict.fromkeys(varieties):
        starts, ends = intake_periods.days(frame[frame["variety"].isin(["", variety])])
        days = [np.arange(start, end + 1) for start, end in zip(starts, ends, strict=True)]
        if days:
            found[variety] = np.unique(np.concatenate(days))
    return found


def own_periods(capacity, season):
    """Return the periods of a season that table capacity parts the intake into.

    Parameters
    ----------
    capacity : DataFrame
        As table capacity.
    season : int
        Year of harvest.

    Returns
    -------
    DataFrame
        Those for all fruit that are not closed; where it has none, all of the season.
    """
    here = capacity[capacity["period_end"].dt.year == season]
    intake = here["intake"] if "intake" in here else pd.Series("", here.index)
    wide = here[(here["variety"].fillna("") == "") & (intake != CLOSED)]
    return wide if len(wide) else here
