"""Picking dates that are known: entered by the user, or already on record at the scale."""

import numbers
from types import SimpleNamespace

import numpy as np
import pandas as pd

from cropload.beliefs.meant import check_block
from cropload.errors import CroploadError

#: Days a pick may run past the end of its season's calendar year (fruit left to freeze) [d].
_PAST_YEAR_DAYS = 31


def _day(value, block, season):
    """Return a picking date as days since 1970-01-01, or say why it cannot be one."""
    try:
        if isinstance(value, numbers.Number):
            raise ValueError
        date = pd.Timestamp(value)
    except (ValueError, TypeError):
        date = pd.NaT
    if date is pd.NaT:
        raise CroploadError(
            f"The picking date '{value}' of block '{block}' is not a date. Write it like "
            f"{season}-09-15."
        )
    date = date.tz_localize(None).normalize()
    last = pd.Timestamp(season, 12, 31) + pd.Timedelta(days=_PAST_YEAR_DAYS)
    if not pd.Timestamp(season, 1, 1) <= date <= last:
        raise CroploadError(
            f"The picking date {date:%Y-%m-%d} of block '{block}' is not in season {season}, "
            "which is the calendar year of harvest. Correct the date or the season."
        )
    return (date - pd.Timestamp(0)).days


def _share(value, block):
    try:
        share = float(value)
    except (TypeError, ValueError):
        share = np.nan
    if not 0 < share <= 1:
        raise CroploadError(
            f"The share '{value}' of block '{block}' picked on a day must be above 0 and at most "
            "1; write 0.6 for 60 %."
        )
    return share


def read(picks, blocks, season):
    """Check picking dates that a user entered.

    Parameters
    ----------
    picks : dict
        {block: date}, {block: [(date, share), ...]} or {block: None}.
    blocks : sequence of str
        Names of the blocks.
    season : int
        Year of harvest.

    Returns
    -------
    dict
        {block: ((day since 1970-01-01, share), ...)} with None kept; shares are of what is still
        to be picked and add up to 1.

    Raises
    ------
    CroploadError
        For an unknown block, a date outside the season, or shares that do not add up to 1.

    Examples
    --------
    >>> read({"North": [("2026-09-14", 0.6), ("2026-09-21", 0.4)]}, ["North"], 2026)
    {'North': ((20710, 0.6), (20717, 0.4))}
    """
    if not hasattr(picks, "items") or hasattr(picks, "columns"):
        raise CroploadError("Picking dates are given as {block: date}, one entry a block.")
    known, entered = SimpleNamespace(blocks=tuple(blocks)), {}
    for block, value in picks.items():
        block = check_block(known, block)
        if value is None:
            entered[block] = None
            continue
        if not isinstance(value, (list, tuple)):
            value = [(value, 1.0)]
        try:
            parts = [(day, share) for day, share in value]
        except (TypeError, ValueError):
            raise CroploadError(
                f"The picks of block '{block}' must be pairs of a date and a share, like "
                f"[('{season}-09-14', 0.6), ('{season}-09-21', 0.4)]."
            ) from None
        parts = tuple((_day(day, block, season), _share(share, block)) for day, share in parts)
        total = sum(share for _, share in parts)
        if not abs(total - 1) < 1e-6:
            raise CroploadError(
                f"The shares of block '{block}' add up to {total:.4g}, not to 1. They are shares "
                "of what is still to be picked."
            )
        entered[block] = parts
    return entered


def so_far(records, season, names, stages):
    """Return what is picked already in a season, and which blocks still have a rest.

    Parameters
    ----------
    records : Records
        As known on the day.
    season : int
        Year of harvest.
    names : sequence of str
        Names of the blocks.
    stages : DataFrame
        As from ``stage_dates``; its harvest date stands where a pick has none.

    Returns
    -------
    picked : DataFrame
        block, day (days since 1970-01-01, NaN where no date is on record), tonnes [t].
    rest : dict
        {block: day of the last pick} for blocks picked in part only.
    done : dict
        {block: day of the last pick, NaN where no date is on record} for blocks picked whole.
    """
    rows = records.harvest[records.harvest["season"] == season]
    rows = rows[rows["block"].isin(names)].sort_values("date", kind="stable")
    first = stages[(stages["season"] == season) & (stages["stage"] == "harvest")]
    first = first.set_index("block")["date"]
    # Mapping an empty series gives it a type of its own, so dates are made of it again.
    date = rows["date"].fillna(pd.to_datetime(rows["block"].map(first.to_dict())))
    days = (date - pd.Timestamp(0)).dt.days.astype(float)
    picked = pd.DataFrame(
        {
            "block": rows["block"].astype(str).to_numpy(),
            "day": days.to_numpy(),
            "tonnes": rows["tonnes"].to_numpy(float),
        }
    )
    rest, done = {}, {}
    for block, part in rows.groupby("block"):
        if part["picked_pct"].isna().any() or part["picked_pct"].max() >= 100:
            done[block] = days[part.index].max()
        else:
            day = days[part.index].max()
            if not np.isnan(day):
                rest[block] = day
    return picked, rest, done


def wanted(records, season, names, picked, limit=None):
    """Return the days to which the picks of blocks are held.

    Parameters
    ----------
    records : Records
        Its table picking.
    season : int
        Year of harvest.
    names : sequence of str
        Names of the blocks.
    picked : iterable of str
        Blocks that are picked whole.
    limit : int, optional
        Day up to which records are used [d since 1970-01-01]; passes that are over by then are
        left out, and others begin after it.

    Returns
    -------
    held : dict
        {block: ((first day, last day [d since 1970-01-01], share [1], picker), ...)}.
    over : list of str
        Blocks none of whose wanted days is left.
    """
    rows = records.picking[records.picking["season"] == season]
    held, over = {}, []
    for block, passes in rows.sort_values("first_day", kind="stable").groupby("block", sort=False):
        if block not in names or block in picked:
            continue
        share = passes["share_pct"] / 100
        share = share.fillna(1 - share.sum())
        days = [(passes[name] - pd.Timestamp(0)).dt.days for name in ("first_day", "last_day")]
        first, last = days[0], days[1].fillna(days[0])
        left = last > (-np.inf if limit is None else limit)
        if not left.any():
            over.append(block)
            continue
        if limit is not None:
            first = first.clip(lower=limit + 1)
        share = share[left] / share[left].sum()
        each = zip(first[left], last[left], share, passes["picker"][left], strict=True)
        held[block] = tuple((int(a), int(z), float(s), str(by)) for a, z, s, by in each)
    return held, over


def parse(text):
    """Read picking dates as a person writes them: one date, or dates with their shares.

    Parameters
    ----------
    text : str
        Like ``2026-09-14``, or ``2026-09-14 60 %, 2026-09-21 40 %``.

    Returns
    -------
    str or list of (str, float)
        As ``read`` takes it.

    Raises
    ------
    CroploadError
        When a part is no date with a share.

    Examples
    --------
    >>> parse("2026-09-14 60 %, 2026-09-21 40 %")
    [('2026-09-14', 0.6), ('2026-09-21', 0.4)]
    """
    parts = [part.strip() for part in str(text).replace(";", ",").split(",") if part.strip()]
    if len(parts) == 1 and len(parts[0].split()) == 1:
        return parts[0]
    picks = []
    for part in parts:
        date, _, share = part.partition(" ")
        try:
            picks.append((date, float(share.replace("%", "").strip()) / 100))
        except ValueError:
            raise CroploadError(
                f"'{part}' is not a picking date with a share. Write one date like 2026-09-14, or "
                "several with their shares like 2026-09-14 60 %, 2026-09-21 40 %."
            ) from None
    if not picks:
        raise CroploadError("No picking date is given. Write it like 2026-09-14.")
    return picks
