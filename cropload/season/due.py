"""What is due: what can be measured this week, what later and when, and what it is worth."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments, clock, handbook
from cropload.answer import Answer
from cropload.beliefs.dates.season_stages import season_stages
from cropload.beliefs.forecast import forecast
from cropload.beliefs.meant import check_season
from cropload.beliefs.measured import plans_by_season
from cropload.beliefs.result import Forecast
from cropload.records.as_of import records_until
from cropload.records.events import season_events
from cropload.season.narrowing import Narrowing, still_counts, vine_minutes, vines_measured
from cropload.season.next_counts import COUNTABLE
from cropload.season.tables import due_tables
from cropload.season.words import due_sentence
from cropload.units import METRIC

#: Task -> words for it, in the order of the season.
TASKS = {
    "prunings": "weigh prunings",
    "plan": "choose a plan",
    "buds": COUNTABLE["buds"],
    "frost": "count dead and living shoots",
    **{what: words for what, words in COUNTABLE.items() if what != "buds"},
    "harvest": "enter what the scale said",
}
#: Task -> stage its days are counted from, and the handbook's entry of the days.
_WINDOWS = {
    "prunings": ("budburst", "due.plan"),
    "plan": ("budburst", "due.plan"),
    "buds": ("budburst", "due.buds"),
    "shoots": ("budburst", "due.shoots"),
    "clusters": ("flowering", "due.clusters"),
    "weight_lag": ("flowering", "lag_phase.day"),
    "weight_veraison": ("veraison", "due.weight_veraison"),
    "weight_harvest": ("harvest", "due.weight_harvest"),
    "harvest": ("harvest", "due.harvest"),
}
#: Days of a week after the day itself [d].
_WEEK = pd.Timedelta(days=6)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Due(Answer):
    """What is due in each block, when, and how far each count narrows a total.

    Attributes
    ----------
    frame : DataFrame
        A row a task in the order of the season: block, what (a key of ``TASKS``), words, state
        (``now``, this week; ``later``; ``done``; ``missed``), starts and until (its first and last
        day), vines still to measure [1], minutes [min], vines_done [1], removed_t, what the task
        alone takes off the total's range now [t], NaN where it takes off nothing or is not open.
    groups : DataFrame
        Open tasks with their blocks put together: words, state, blocks (tuple), starts, until,
        vines [1], minutes [min], removed_t, taken off by all of them together [t], and
        range_after_t, left after them and all before them [t].
    plan : DataFrame or None
        With hours: what to do this week, best first: block, what, words, vines [1], hours [h],
        removed_t, taken off beyond all before it, and range_after_t, left after it [t].
    forecast : Forecast
        The forecast as it stands.
    day : Timestamp
        The day it is.
    hours : float or None
        Crew hours there are [h].
    of : str
        The total whose range matters.
    range_now_t, range_after_t : float
        Its range as it stands, and after the whole plan [t].
    """

    groups: pd.DataFrame = field(repr=False)
    plan: pd.DataFrame | None
    forecast: Forecast
    day: pd.Timestamp
    hours: float | None
    of: str
    range_now_t: float
    range_after_t: float

    @property
    def printed(self):
        """Tables that are printed: the plan for the hours first, where there is one."""
        return 1 if self.plan is None else 2

    def heading(self, units=METRIC):
        """Return what is due now, and what comes next, in one sentence."""
        return due_sentence(self, units)

    def tables(self, units=METRIC):
        """Return the plan for the hours, what is due, and every task; the same in any units."""
        return due_tables(self)

    def plot(self, ax=None, units=METRIC):
        """Draw what all blocks' counts of each kind would take off the range."""
        from cropload.season.charts import due_rows

        return due_rows(self, units).plot(ax)


@arguments.check_arguments(
    records=arguments.records,
    day=arguments.optional(arguments.day),
    hours=arguments.optional(arguments.number(0, above=True, unit="h")),
    of=arguments.text,
    made=arguments.optional(arguments.forecast),
)
def due(records, day=None, *, hours=None, season=None, of="estate", made=None):
    """Say what is due: what can be measured this week, what later and about when.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    day : str or date, optional
        The day it is; rows dated later are not used. Today when left out.
    hours : float, optional
        Crew hours of this week [h], to plan what to do with them.
    season : int, optional
        Year of harvest; the next one when left out.
    of : str
        The total whose range matters: ``"estate"``, or the name of a variety.
    made : Forecast, optional
        The forecast of the season on that day, where it is there already; ``season`` is its own.

    Returns
    -------
    Due

    Raises
    ------
    CroploadError
        For a day, hours, season or total that cannot be, and dates of two hemispheres.

    Notes
    -----
    Days follow ``season_stages`` and the windows of the handbook (``due.*``, ``lag_phase.day``); a
    stage that is measured anywhere on the estate can be measured everywhere.
    A block is done from ``due.enough_vines`` vines on, or with all that bear; it is measured on
    ``sampling.vines_for_a_block``. What a count narrows is that of ``next_counts``; hours go to
    what takes most off for its time, each beyond what was chosen before.
    Valid as ``forecast``.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = due(example_records(), "2027-05-20", hours=6)
    >>> sorted(set(found.frame.query("state == 'now'")["what"]))
    ['plan', 'shoots']
    >>> off = found.range_now_t - found.range_after_t
    >>> bool(abs(found.plan["removed_t"].sum() - off) < 1e-9)
    True
    """
    day = clock.day(clock.today() if day is None else day)
    records = records_until(records, day)
    if made is None:
        made = forecast(records, check_season(records, season, day), day)
    stages, notes = season_stages(records, made.season)
    frame = pd.DataFrame(_tasks(made, records, stages, day))
    counted = frame["what"].isin(COUNTABLE)
    rows = frame.index[counted & frame["state"].isin(("now", "later")) & (frame["vines"] > 0)]
    tasks = zip(frame.loc[rows, "block"], frame.loc[rows, "what"], strict=True)
    narrowing = Narrowing(made, tasks, of)
    if len(rows):
        notes.append(
            "What a count takes off is told from the range as it stands; one after another, counts "
            "take off less than one by one."
        )
    vines = frame.loc[rows, "vines"].to_numpy(float)
    frame["removed_t"] = np.nan
    frame.loc[rows, "removed_t"] = narrowing.now - narrowing.alone(vines)
    groups = _groups(frame, rows, narrowing)
    plan, after = None, float(narrowing.now)
    if hours is not None:
        plan = _plan(frame.loc[rows], narrowing, hours)
        after = float(plan["range_after_t"].iloc[-1]) if len(plan) else after
    return Due(
        frame,
        tuple(notes),
        sources=tuple(dict.fromkeys(key for _, key in _WINDOWS.values())),
        groups=groups,
        plan=plan,
        forecast=made,
        day=day,
        hours=hours,
        of=of,
        range_now_t=float(narrowing.now),
        range_after_t=after,
    )


def _tasks(made, records, stages, day):
    """Yield a row for each task of each block, in the order of the season."""
    season, measured = made.season, vines_measured(made)
    full = int(handbook.value("sampling.vines_for_a_block"))
    enough = handbook.value("due.enough_vines")
    pruning = records.pruning[records.pruning["season"] == season]
    weighed = set(pruning["block"][pruning["pruning_weight_kg"].notna()])
    pruned = (
        pruning[pruning["date"].notna() & (pruning["plan"] != "")].groupby("block")["date"].min()
    )
    plans = {block for block, year in plans_by_season(records) if year == season}
    here = made.estate.measured
    opened = here[here["season"] == season].groupby("stage")["date"].min()
    barren = np.asarray(made.estate.young.barren)
    events = [e for e in season_events(records) if e.season == season and e.kind == "frost"]
    bears = dict(zip(made.blocks, ~barren, strict=True))
    hangs = dict(zip(made.blocks, still_counts(made), strict=True))
    bearing = dict(zip(made.blocks, np.asarray(made.bearing), strict=True))

    def row(block, what, starts, until, done, vines=0, minutes=0.0, seen=0.0, words=None):
        # What can still be written down when its days are over.
        lasts = {"plan": stages.loc[block, "harvest"], "harvest": pd.Timestamp.max}
        if done:
            state, vines, minutes = "done", 0, 0.0
        elif starts <= day + _WEEK:
            last = max(until, lasts.get(what, until))
            state = "now" if day <= last else "missed"
        else:
            state = "later"
        found = {"block": block, "what": what, "words": words or TASKS[what], "state": state}
        found |= {"starts": starts, "until": until, "vines": vines, "minutes": float(minutes)}
        return found | {"vines_done": round(seen)}

    for what in TASKS:
        if what == "frost":
            low, high = handbook.band("due.frost")
            for e in events:
                each = int(min(full, bearing[e.block]))
                yield row(
                    e.block, what, e.date + pd.Timedelta(days=low),
                    e.date + pd.Timedelta(days=high), e.told or not hangs[e.block], each,
                    each * handbook.value("due.minutes_frost"),
                    words=f"{TASKS[what]} ({e.words})",
                )  # fmt: skip
            continue
        stage, key = _WINDOWS[what]
        low, high = handbook.band(key)
        for block in made.blocks:
            starts, until = (stages.loc[block, stage] + pd.Timedelta(days=d) for d in (low, high))
            if what in ("plan", "prunings"):
                done = block in (plans if what == "plan" else weighed)
                vines = 0 if what == "plan" else int(min(full, bearing[block]) or full)
                minutes = handbook.value("due.minutes_plan")
                if vines:
                    minutes = vines * handbook.value("sampling.minutes_pruning_weight_kg")
                # Once the vines are pruned, what was chosen can only be written down.
                late = "write down the plan" if what == "plan" and day > until else None
                yield row(block, what, starts, until, done, vines, minutes, words=late)
            elif not bears[block]:
                continue
            elif what == "harvest":
                yield row(
                    block, what, starts, until, not hangs[block],
                    minutes=handbook.value("due.minutes_harvest"),
                )  # fmt: skip
            else:
                if what == "buds" and block in pruned.index:
                    starts = min(pruned[block], until)
                # What was measured in one block is there to be measured in the others.
                first = opened.get(what)
                starts = starts if first is None or pd.isna(first) else min(starts, first)
                seen = measured.get((block, what), 0.0)
                done = seen >= min(enough, bearing[block])
                vines = int(max(min(full, bearing[block]) - round(seen), 1))
                if hangs[block] or done:
                    yield row(
                        block, what, starts, until, done, vines, vines * vine_minutes(what), seen
                    )


def _groups(frame, rows, narrowing):
    """Return the open tasks with their blocks put together, in the order of their days."""
    place = {row: at for at, row in enumerate(rows)}
    vines, found = frame.loc[rows, "vines"].to_numpy(float), []
    open_ones = frame[frame["state"].isin(("now", "later"))]
    for (words, state), part in open_ones.groupby(["words", "state"], sort=False):
        inside = np.zeros(len(rows))
        taken = [place[row] for row in part.index if row in place]
        inside[taken] = vines[taken]
        found.append(
            {
                "words": words,
                "state": state,
                "blocks": tuple(part["block"]),
                "starts": part["starts"].min(),
                "until": part["until"].max(),
                "vines": int(part["vines"].sum()),
                "minutes": part["minutes"].sum(),
                "removed_t": narrowing.now - narrowing.together(inside) if taken else np.nan,
                "inside": inside,
            }
        )
    columns = ["words", "state", "blocks", "starts", "until", "vines", "minutes", "removed_t"]
    found = pd.DataFrame(found, columns=[*columns, "inside"])
    found = found.assign(later=found["state"] == "later")
    found = found.sort_values(["later", "starts"], kind="stable", ignore_index=True)
    until_then = np.zeros(len(rows))
    left = []
    for inside in found["inside"]:
        until_then = np.maximum(until_then, inside)
        left.append(float(narrowing.together(until_then)))
    return found[columns].assign(range_after_t=np.array(left, float))


def _plan(tasks, narrowing, hours):
    """Return what to do with the hours of this week, best first; what is left adds up."""
    now = np.flatnonzero(tasks["state"] == "now")
    week = Narrowing(narrowing.forecast, [narrowing.tasks[at] for at in now], narrowing.of)
    each = np.array([vine_minutes(what) for what in tasks["what"].iloc[now]])
    vines = tasks["vines"].to_numpy(float)[now]
    steps, before = [], week.now
    for at, number, after in week.best_first(vines, each, hours * 60):
        task = tasks.iloc[now[at]]
        steps.append(
            {
                "block": task["block"],
                "what": task["what"],
                "words": task["words"],
                "vines": number,
                "hours": number * each[at] / 60,
                "removed_t": before - after,
                "range_after_t": after,
            }
        )
        before = after
    columns = ["block", "what", "words", "vines", "hours", "removed_t", "range_after_t"]
    return pd.DataFrame(steps, columns=columns)
