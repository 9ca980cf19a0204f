"""Doubts about days that cannot be of their season: before its pruning, or far from the usual."""

from dataclasses import replace

import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.rules import tell
from cropload.records.doubts.season_means import dated

_GROWN = ["shoots", "noncount_shoots", "clusters"]


def days_out_of_season(usable):
    """Doubt crops, weights and counts dated before the season's pruning, or at an odd time of year.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable; ``blocks`` is among them.

    Returns
    -------
    (list of Fault, set of int)
        One for each table, block and season, and the rows of weights that they speak of.
    """
    found, weights = [], set()
    picked = _picked(usable)
    for name in ("weights", "counts", "harvest"):
        if name in usable:
            early, rows = _too_early(usable, name, picked)
            found += early
            weights |= rows if name == "weights" else set()
            if name != "counts":
                found += _odd_days(usable[name], name, rows)
    return found, weights


def picked_days(usable):
    """Return the first day that each block was picked in each season, from harvest and dates."""
    days = []
    for name in ("harvest", "dates"):
        if name in usable:
            frame = dated(usable[name].frame)
            frame = frame[frame["stage"] == "harvest"] if name == "dates" else frame
            days.append(frame.groupby(["block", "season"])["date"].min())
    return pd.concat(days).groupby(level=[0, 1]).min() if days else pd.Series(dtype="M8[ns]")


def _picked(usable):
    """Return the last day each block was picked in each season."""
    if "harvest" not in usable:
        return pd.Series(dtype="datetime64[ns]")
    frame = dated(usable["harvest"].frame)
    return frame.groupby(["block", "season"])["date"].max()


def _too_early(usable, name, picked):
    """Doubt rows before the pruning of their season, or before the crop of the last was picked."""
    table = usable[name]
    frame = dated(table.frame)
    if name == "counts":
        frame = frame[frame[_GROWN].notna().any(axis=1)]
    keys = pd.MultiIndex.from_arrays([frame["block"], frame["season"]])
    before = pd.MultiIndex.from_arrays([frame["block"], frame["season"] - 1])
    known = {}
    if "pruning" in usable:
        rows = dated(usable["pruning"].frame)
        known["pruning"] = rows.groupby(["block", "season"])["date"].min().reindex(keys)
    gap = pd.Timedelta(days=entry("plausible.days_between_crops").low)
    if not picked.empty:
        last = picked.reindex(before) + (gap if name == "harvest" else pd.Timedelta(0))
        known["picking"] = last
    found, told = [], set()
    for what, day in known.items():
        limit = pd.Series(day.to_numpy(), index=frame.index)
        wrong = frame[(frame["date"] < limit) & ~frame.index.isin(list(told))]
        told |= set(wrong.index)
        rule, mend = _RULES[what if what == "pruning" or name != "harvest" else "crop"]
        for (_, season), lot in wrong.groupby(["block", "season"]):
            row = lot.index[0]
            value = f"{table.text(row, 'date')} in season {season:.0f}"
            fault = tell(table, row, "date", rule, mend + _swap_told(table, row), value)
            found.append(replace(fault, more=len(lot) - 1))
    return found, told


_MEND = "Check the year of the date, and the season."
_RULES = {
    "pruning": ("lies before the pruning of the block for that season", _MEND),
    "picking": ("lies before the crop of the season before was picked", _MEND),
    "crop": ("lies too soon after the crop of the season before", _MEND),
}


def _odd_days(table, name, told):
    """Doubt days far from those of the other seasons, and look for day and month swapped."""
    limits = entry("plausible.days_from_usual")
    frame = dated(table.frame)
    frame = frame[~frame.index.isin(list(told)) & (frame["block"] != "")]
    if name == "weights":
        frame = frame[frame["stage"] != ""]
    start = pd.to_datetime(
        pd.DataFrame({"year": frame["season"], "month": 1, "day": 1}), errors="coerce"
    )
    frame = frame.assign(
        day=(frame["date"] - start).dt.days, stage=frame["stage"] if name == "weights" else ""
    )
    found = []
    for _, kind in frame.groupby("stage"):
        estate = kind.groupby(["block", "season"])["day"].median()
        for (block, season), lot in kind.groupby(["block", "season"]):
            own = estate[block].drop(season)
            rest = estate.drop((block, season))
            usual = own if len(own) >= limits.extra["seasons"] else rest
            if len(usual) < limits.extra["seasons"]:
                continue
            middle = float(usual.median())
            swapped = {row: _swapped(lot["date"][row]) for row in lot.index}
            close = [
                row
                for row, other in swapped.items()
                if other is not None
                and abs((other - start[row]).days - middle) <= limits.extra["swap_near"]
                and abs(lot["day"][row] - middle)
                # Other blocks may be of varieties picked two months apart.
                > (limits.extra["swap_away"] if usual is own else limits.high)
            ]
            away = lot.index[(lot["day"] - middle).abs() > limits.high]
            rows = close or list(away)
            if not rows:
                continue
            row = rows[0]
            rule = (
                f"is {abs(lot['day'][row] - middle):.0f} days from the usual day of "
                f"{'the block' if usual is own else 'the other blocks'}"
            )
            mend = "Check the date."
            if close:
                mend = f"Day and month may be swapped: {swapped[row]:%Y-%m-%d} would fit."
            fault = tell(table, row, "date", rule, mend)
            found.append(replace(fault, more=len(rows) - 1))
    return found


def _swapped(day):
    """Return a day with day and month changed over, or None where there is no such day."""
    if day.day > 12 or day.day == day.month:
        return None
    return day.replace(month=day.day, day=day.month)


def _swap_told(table, row):
    other = _swapped(table.frame["date"][row])
    return "" if other is None else f" Day and month may be swapped too: {other:%Y-%m-%d}."
