"""Tanks, presses and pickers day by day: what is still occupied, and what finds no room."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.beliefs import ranges
from cropload.errors import CroploadError

#: Tonnes that still count as nothing [t].
_NOTHING = 1e-9


@dataclass(frozen=True)
class Use:
    """How tanks, presses, or those who pick are used in all.

    Attributes
    ----------
    what : str
        ``tanks``, ``presses`` or ``pickers``.
    room : float
        All of them together [hl], or what they press or pick in a day [t].
    chance_left : float
        Chance that some fruit finds no room on the day it comes [1].
    left_mean, left_high : float
        Fruit without a tank in the season, or that waits for a press or for picking in its fullest
        night: mean, and what it is over in one case of ten [t].
    fullest : Timestamp or None
        The day on which most is used in the mean.
    used : tuple of float
        Low end, middle and high end of what is used on that day [hl, or t].
    """

    what: str
    room: float
    chance_left: float
    left_mean: float
    left_high: float
    fullest: pd.Timestamp | None
    used: tuple


@dataclass(frozen=True, eq=False)
class Cellar:
    """A schedule of intake held against tanks and presses, day by day.

    Attributes
    ----------
    frame : DataFrame
        One row a day and kind: day, what (tanks, presses or pickers), room, used_p10, used_p50,
        used_p90, used_mean [hl in tanks, t otherwise], chance_left [1] that fruit of the day finds
        no tank or waits over night, left_mean, left_p90 of it [t].
    notes : tuple of str
        What is taken, and which fruit no tank or press is kept for.
    uses : tuple of Use
        Tanks and presses in all; what there is none of is left out.
    """

    frame: pd.DataFrame
    notes: tuple
    uses: tuple


@arguments.check_arguments(
    schedule=arguments.kind("IntakeSchedule"),
    tanks=arguments.frame,
    presses=arguments.frame,
    pickers=arguments.optional(arguments.frame),
)
def cellar_table(schedule, tanks, presses, pickers=None):
    """Hold a schedule against tanks, presses and those who pick, day by day.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule``.
    tanks, presses : DataFrame
        As tables tanks and presses.
    pickers : DataFrame, optional
        As table pickers; they pick what table picking names them for.

    Returns
    -------
    Cellar

    Raises
    ------
    CroploadError
        For volumes, loads, days or cycles that are missing or not above 0.

    Notes
    -----
    Fruit goes into the tanks kept for its variety, then into those for any, on the day it comes,
    and stays for their days; fruit that finds no room is counted and goes elsewhere. Volumes are
    added up: that a lot fills its last tank only in part is not counted, so a little room is lost.
    Presses take fruit on the day it comes, what waited first, in tonnes and not in whole loads;
    what they leave waits for the next day. Fruit that no tank or press is kept for needs none.
    So it is with picking: rate times hours is what one picks in a day. Tanks and presses are taken
    to get the fruit on the day that it is planned for.
    Valid as the schedule.
    """
    rows, uses, notes = [], [], []
    arrives = {v: np.diff(until, axis=0) for v, until in schedule.until("variety")}
    asked = [("tanks", tanks, _fill, arrives), ("presses", presses, _press, arrives)]
    if pickers is not None:
        asked.append(("pickers", pickers, _press, _by_picker(schedule)))
    for what, table, run, arrives in asked:
        if not len(table):
            continue
        kept, fits = kept_for(what, table, arrives)
        without = [v for v in arrives if not fits[v] and arrives[v].any()]
        if without:
            tonnes = sum(arrives[v].sum(0).mean() for v in without)
            notes.append(
                f"No {what} are kept for {', '.join(without)} (about {tonnes:.1f} t), so it is "
                "counted against none."
            )
        wanted = {v: arrives[v] for v in arrives if fits[v]}
        if not wanted:
            continue
        used, left = run(wanted, fits, kept)
        rows.append(_rows(what, schedule.span[0], sum(each[1] for each in kept), used, left))
        uses.append(_use(what, rows[-1], left))
    if any(use.what == "tanks" for use in uses) and tanks["kg_per_hl"].isna().any():
        notes.append(
            f"Tanks without kg_per_hl fill at {handbook.band('intake.kg_per_hl')[0]:g} kg of "
            "grapes for a hectolitre, the fewest published."
        )
    frame = pd.concat(rows, ignore_index=True) if rows else _rows("", 0, 0.0, *np.zeros((2, 0, 1)))
    return Cellar(frame=frame, notes=tuple(notes), uses=tuple(uses))


def cellar_of(schedule, records):
    """Return the Cellar of a schedule and of all that records have for it; None for nothing."""
    if not len(records.tanks) + len(records.presses) + len(records.pickers):
        return None
    return cellar_table(schedule, records.tanks, records.presses, records.pickers)


def _by_picker(schedule):
    """Return {picker: what it is to pick each day, (days, draws) [t]}."""
    first, last = schedule.span
    found, every = {}, np.arange(schedule.undated.shape[1])
    for (_, day, tonnes), name in zip(schedule.portions, schedule.pickers, strict=True):
        if name:
            total = found.setdefault(name, np.zeros((last - first + 1, len(every))))
            total[day - first, every] += tonnes
    return found


def kept_for(what, table, varieties):
    """Return tanks or presses alike together, and {variety: places of those that take it}."""
    kept = _kept(what, table) if len(table) else []
    fits = {v: [at for at, each in enumerate(kept) if each[0] in (v, "")] for v in varieties}
    for places in fits.values():
        # Those kept for the variety come before those for any.
        places.sort(key=lambda at: kept[at][0] == "")
    return kept, fits


def left_over(arrives, tanks, presses):
    """Return fruit that finds no tank, and fruit that waits over night for a press.

    Parameters
    ----------
    arrives : dict
        {variety: what comes each day, (days, ...) [t]}.
    tanks, presses : (list, dict)
        As from ``kept_for``.

    Returns
    -------
    left, waits : ndarray, shape (...)
        Tonnes in all days, and tonnes times nights [t, t d].
    """
    found = []
    for (kept, fits), run in ((tanks, _fill), (presses, _press)):
        wanted = {v: each for v, each in arrives.items() if fits.get(v)}
        found.append(run(wanted, fits, kept)[1].sum(0) if wanted else np.zeros(1))
    return found


def _kept(what, table):
    """Return (variety, room [hl or t a day], days held [d], kg for a hl) of like ones together."""
    frame = pd.DataFrame(table).copy()
    names = {
        "tanks": ("volume_hl", "days_held"),
        "presses": ("load_t", "cycles_a_day"),
        "pickers": ("t_per_hour", "hours_a_day"),
    }[what]
    for name in names:
        if name not in frame or not (frame[name] > 0).all() or np.isinf(frame[name]).any():
            raise CroploadError(f"Table {what} needs {name} above 0 in each row. Fill it in.")
    frame["variety"] = frame["variety"].fillna("") if "variety" in frame else ""
    if what == "pickers":
        frame["variety"] = frame["picker"]
    if what != "tanks":
        room = frame[names[0]] * frame[names[1]]
        return [(v, float(each.sum()), 1, 1000.0) for v, each in room.groupby(frame["variety"])]
    least = handbook.band("intake.kg_per_hl")[0]
    frame["kg"] = frame["kg_per_hl"].fillna(least) if "kg_per_hl" in frame else least
    groups = frame.groupby(["variety", "days_held", "kg"])["volume_hl"].sum()
    return [
        (variety, float(hl), int(days), float(kg)) for (variety, days, kg), hl in groups.items()
    ]


def _fill(wanted, fits, kept):
    """Return what tanks hold each day (days, draws) [hl], and fruit without one [t]."""
    shape = next(iter(wanted.values())).shape
    filled = np.zeros((len(kept), *shape))
    held, left = np.zeros((2, *shape))
    inside = np.zeros((len(kept), *shape[1:]))
    for day in range(shape[0]):
        for at, (_, _, days, _) in enumerate(kept):
            if day >= days:
                inside[at] -= filled[at, day - days]
        for variety, arrives in wanted.items():
            rest = arrives[day].copy()
            for at in fits[variety]:
                _, room, _, kg = kept[at]
                taken = np.minimum(rest * 1000 / kg, np.maximum(room - inside[at], 0.0))
                filled[at, day] += taken
                inside[at] += taken
                rest = np.maximum(rest - taken * kg / 1000, 0.0)
            left[day] += rest
        held[day] = inside.sum(0)
    return held, left


def _press(wanted, fits, kept):
    """Return what presses do each day (days, draws) [t], and what waits over the night [t]."""
    shape = next(iter(wanted.values())).shape
    done, waits = np.zeros((2, *shape))
    queue = {variety: np.zeros(shape[1:]) for variety in wanted}
    for day in range(shape[0]):
        room = [np.full(shape[1:], each[1]) for each in kept]
        for variety, arrives in wanted.items():
            rest = queue[variety] + arrives[day]
            for at in fits[variety]:
                taken = np.minimum(rest, room[at])
                room[at] = room[at] - taken
                rest = rest - taken
                done[day] += taken
            queue[variety] = rest
            waits[day] += rest
    return done, waits


def _rows(what, first, room, used, left):
    """Return the days on which any fruit comes or is held, as rows of the frame."""
    ends = ranges.quantiles(used) if len(used) else np.zeros((3, 0))
    short = left > _NOTHING
    frame = pd.DataFrame(
        {
            "day": pd.Timestamp(0) + pd.to_timedelta(first + np.arange(len(used)), unit="D"),
            "what": what,
            "room": room,
            **{f"used_{end}": each for end, each in zip(ranges.ENDINGS, ends, strict=True)},
            "used_mean": used.mean(1),
            "chance_left": short.mean(1),
            "left_mean": left.mean(1),
            "left_p90": ranges.quantiles(left)[2] if len(left) else np.zeros(0),
        }
    )
    return frame[frame["used_mean"] > 0].reset_index(drop=True)


def _use(what, frame, left):
    season = left.sum(0) if what == "tanks" else left.max(0)
    top = frame.loc[frame["used_mean"].idxmax()] if len(frame) else None
    return Use(
        what=what,
        room=float(frame["room"].max()) if len(frame) else 0.0,
        chance_left=float((left > _NOTHING).any(0).mean()),
        left_mean=float(season.mean()),
        left_high=float(ranges.quantiles(season)[2]),
        fullest=None if top is None else top["day"],
        used=tuple(0.0 if top is None else float(top[f"used_{end}"]) for end in ranges.ENDINGS),
    )
