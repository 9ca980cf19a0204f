"""When the crop arrives: forecast draws laid over picking dates, by day or week, with ranges."""

from dataclasses import replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs.dates.harvest_dates import HarvestDates, undated
from cropload.errors import CroploadError
from cropload.random_streams import stream
from cropload.winery import periods as intake_periods
from cropload.winery.limits import closed_days
from cropload.winery.schedule import IntakeSchedule


def _portions(forecast, dates, tonnes):
    """Return portions, which of them may move, who picks them, and what has no date [t]."""
    draws = tonnes.shape[1]
    portions, movable, pickers = [], [], []
    apart = np.zeros_like(tonnes)
    place = {name: at for at, name in enumerate(forecast.blocks)}
    for block, day, known in dates.picked.itertuples(index=False):
        if np.isnan(day):
            apart[place[block]] += known
            continue
        one = np.full(draws, int(day), np.int32), np.full(draws, float(known))
        portions.append((place[block], *one))
        movable.append(False)
        pickers.append("")
    left = 1 - forecast.picked["share"].to_numpy(float)
    for at, name in enumerate(forecast.blocks):
        if left[at] <= 0:
            continue
        parts, held = dates.entered.get(name), dates.held.get(name, ())
        if parts is None and not dates.dated[at]:
            apart[at] += tonnes[at]
            continue
        if parts is not None:
            days = [(np.full(draws, day, np.int32), share) for day, share in parts]
            by = [held[0][3] if held else ""] * len(days)
        elif held:
            days = [(np.clip(dates.draws[at], low, high), s) for low, high, s, _ in held]
            by = [each[3] for each in held]
        else:
            days, by = [(dates.draws[at], 1.0)], [""]
        for day, share in days:
            portions.append((at, day, share * tonnes[at] if share < 1 else tonnes[at]))
            movable.append(True)
        pickers += by
    return tuple(portions), np.array(movable, bool), tuple(pickers), apart


def _notes(forecast, dates):
    notes = []
    shares = dict(zip(forecast.blocks, forecast.picked["share"], strict=True))
    done = [name for name in dates.entered if shares[name] >= 1]
    if done:
        notes.append(f"{', '.join(done)}: picked already, so the date entered is not used.")
    if forecast.as_of is not None:
        today = (forecast.as_of - pd.Timestamp(0)).days
        past = [
            name
            for name, parts in dates.entered.items()
            if name not in done and min(day for day, _ in parts) <= today
        ]
        if past:
            notes.append(
                f"{', '.join(past)}: a date entered is not after {forecast.as_of:%Y-%m-%d}, "
                "yet no tonnes of that pick are on record."
            )
    return notes


@arguments.check_arguments(
    forecast=arguments.forecast,
    independent=arguments.flag,
    blocks=arguments.optional(arguments.frame),
    capacity=arguments.optional(arguments.frame),
)
def intake_schedule(
    forecast,
    dates=None,
    *,
    period="week",
    week_starts="Monday",
    independent=False,
    blocks=None,
    capacity=None,
):
    """Lay a forecast over picking dates: tonnes by day or week, variety and block.

    Parameters
    ----------
    forecast : Forecast
        As from ``forecast``.
    dates : HarvestDates or dict, optional
        As from ``harvest_dates``; or picking dates entered alone, {block: date} or
        {block: [(date, share), ...]}. Blocks without a date are kept apart.
    period : str, DataFrame or list
        ``"week"``, ``"day"``, a table with period_start and period_end, or pairs of dates, first
        and last day.
    week_starts : str
        Day on which a week begins; Monday as in ISO 8601.
    independent : bool
        Draw every block by itself. Only to show how wrong that is; see Notes.
    blocks : DataFrame, optional
        Table blocks of the records, for the growers and sites it names.
    capacity : DataFrame, optional
        Table capacity of the records, for its closed days: no forecast date falls on one where
        an open day is near.

    Returns
    -------
    IntakeSchedule
        ``.frame`` and ``.frame_by(group)`` with the range of each period, ``.sums(by)`` and
        ``.draws`` (periods x blocks x draws) [t].

    Raises
    ------
    CroploadError
        For unknown blocks, dates or periods, or a forecast and dates that do not belong together.

    Notes
    -----
    Every sum is taken draw by draw, so what the blocks share (a good or a poor season, an early
    or a late one) stays in it. Were the blocks independent, the spread of a total of n like
    blocks would shrink with the square root of n: for correlation r between blocks the true
    spread is larger by the factor sqrt(1 + (n - 1) r). Ten blocks with r = 0.5 make it 2.3: a
    winery that planned for +-9 % would meet +-21 %. ``independent=True`` shows that wrong answer.
    Crop and picking date are taken as independent of each other.
    What is picked stands at its own date in every draw.
    Picks held to wanted days (table picking) come on the day of them that is nearest to the
    forecast one, pass by pass.
    Valid for blocks of one estate, picked once or in shares that are known.

    Examples
    --------
    >>> from cropload import example_records, forecast
    >>> from cropload.beliefs.dates.harvest_dates import harvest_dates
    >>> records = example_records()
    >>> now = forecast(records, 2026, "2026-08-31")
    >>> schedule = intake_schedule(now, harvest_dates(records, 2026, "2026-08-31"))
    >>> means = schedule.frame_by("estate")["tonnes_mean"].sum()
    >>> bool(abs(means - now.draws.sum(0).mean()) < 1e-6)
    True
    """
    if not isinstance(dates, HarvestDates):
        dates = undated(forecast).with_picks({} if dates is None else dates)
    if dates.blocks != forecast.blocks or dates.season != forecast.season:
        raise CroploadError(
            "The forecast and the picking dates are not of the same season and blocks. Make both "
            "from the same records."
        )
    known = forecast.picked["tonnes"].to_numpy(float)
    weighed = dates.picked.groupby("block")["tonnes"].sum().reindex(forecast.blocks).fillna(0)
    if not np.allclose(weighed.to_numpy(float), known, atol=1e-6):
        raise CroploadError(
            "The forecast and the picking dates do not know of the same picks. Make both with the "
            "same as_of."
        )
    if dates.draws.shape != forecast.draws.shape:
        raise CroploadError(
            f"The forecast has {forecast.draws.shape[1]} draws and the picking dates have "
            f"{dates.draws.shape[1]}. Make both with the same number."
        )
    left = forecast.draws - known[:, None]
    if independent:
        left = _shuffled(left, forecast, "crop")
        dates = replace(dates, draws=_shuffled(dates.draws, forecast, "date"))
    portions, movable, pickers, apart = _portions(forecast, dates, left)
    notes = [*forecast.notes, *dates.notes, *_notes(forecast, dates)]
    if independent:
        notes.append("Blocks are drawn by themselves, which makes every total look too sure.")
    schedule = IntakeSchedule(
        season=forecast.season,
        as_of="" if forecast.as_of is None else f"{forecast.as_of:%Y-%m-%d}",
        blocks=forecast.blocks,
        varieties=forecast.varieties,
        periods=pd.DataFrame(),
        portions=portions,
        movable=movable,
        pickers=pickers,
        held={
            forecast.blocks.index(name): tuple((low, high) for low, high, _, _ in passes)
            for name, passes in dates.held.items()
            if name not in dates.entered
        },
        undated=apart,
        owned=_owned(forecast, blocks),
        closed={} if capacity is None else closed_days(capacity, forecast.varieties),
        seed=forecast.seed,
        notes=tuple(dict.fromkeys(notes)),
    )
    schedule = _off_closed_days(schedule)
    return replace(schedule, periods=intake_periods.make(period, schedule.span, week_starts))


def _off_closed_days(schedule):
    """Return a schedule none of whose forecast dates falls on a closed day, where one is near."""
    if not schedule.closed:
        return schedule
    portions, moved = [], 0.0
    for (block, day, tonnes), movable in zip(schedule.portions, schedule.movable, strict=True):
        then = schedule.open_days(block, day) if movable else day
        moved += float((tonnes * (then != day)).mean())
        portions.append((block, then, tonnes))
    notes = schedule.notes
    if moved >= 0.05:
        notes += (
            f"About {moved:.1f} t are forecast for days that are closed, and are counted on the "
            "nearest open day.",
        )
    return replace(schedule, portions=tuple(portions), notes=notes, _kept={})


def _owned(forecast, blocks):
    """Return the grower and the site of every block of a forecast, blank where none is named."""
    if blocks is None:
        return {}
    if "block" not in blocks:
        raise CroploadError("The table of blocks has no column block. Give table blocks whole.")
    rows = blocks.drop_duplicates("block").set_index("block").reindex(forecast.blocks)
    return {name: tuple(rows[name].fillna("")) for name in ("grower", "site") if name in rows}


def _shuffled(draws, forecast, what):
    """Return draws with each block's order drawn anew, so that blocks no longer go together."""
    return np.stack(
        [
            stream(forecast.seed, f"{what} of {name} by itself").permutation(row)
            for name, row in zip(forecast.blocks, draws, strict=True)
        ]
    )
