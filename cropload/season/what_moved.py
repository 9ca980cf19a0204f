"""What moved since an earlier forecast or the last one in the log, and how it is told."""

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs.result import Change
from cropload.errors import CroploadError
from cropload.season.forecast_log import MODEL, models
from cropload.season.tables import change_blocks, change_table
from cropload.season.words import change_sentence, change_steps
from cropload.units import METRIC
from cropload.vine.growth import COMPONENTS, STAGES

_HARVEST = STAGES.index("harvest")
#: Parts of a change that are no component.
REST = ("plan and load", "picked", "block new or gone")

LEAN = (
    "Upward lean of the ranges: each block's range reaches further up than down, so the middle of "
    "the total lies above the sum of the blocks' own middles; as counts narrow the ranges, the gap "
    "closes."
)


def heading(change, units=METRIC):
    """Return the change of the middle and its largest parts."""
    return change_sentence(change, units) if len(change) else ""


def tables(change, units=METRIC):
    """Return the change by component, and by block; the same in any units."""
    return [change_table(change), change_blocks(change)] if len(change) else [change_table(change)]


def plot(change, ax=None, units=METRIC):
    """Draw the steps from the earlier forecast to this one."""
    from cropload.season.charts import change_rows

    return change_rows(change, units).plot(ax)


def change_notes(change):
    """Return what must be known beside the steps of a change."""
    leans = any(name == "lean" for name, _ in change_steps(change))
    return (*change.notes, *([LEAN] if leans else []))


_OLDER = (
    "The forecast in the log was made by an older way of forecasting, so a part of what moved is "
    "the change of that."
)


def last_logged(log, forecast):
    """Return the rows of the forecast logged last before this one, or an empty frame.

    Parameters
    ----------
    log : DataFrame
        As from ``read_log``.
    forecast : Forecast
        The one to explain.

    Notes
    -----
    Of the same season. Those made as of an earlier day go first; where there is none, the last
    one logged at all is taken.
    """
    rows = log[log["season"] == forecast.season] if len(log) else log
    if rows.empty:
        return rows
    if forecast.as_of is not None:
        # One made with all records counts as of the day it was logged.
        day = rows["as_of"].where(rows["as_of"] != "", rows["logged_at"].str[:10])
        earlier = rows[day < str(forecast.as_of.date())]
        rows = earlier if len(earlier) else rows
    return rows[rows["logged_at"] == rows["logged_at"].max()].drop_duplicates("block", keep="last")


def _log_mean(one, other):
    """Return the logarithmic mean, which turns a sum of log changes into an exact sum."""
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (other - one) / np.log(other / one)
    return np.where(np.isclose(one, other, rtol=1e-9), other, mean)


@arguments.check_arguments(forecast=arguments.forecast, log=arguments.frame)
def what_moved(forecast, log):
    """Split the change since the last logged forecast by block and component.

    Parameters
    ----------
    forecast : Forecast
        As it stands now.
    log : DataFrame
        As from ``read_log``.

    Returns
    -------
    Change
        With ``variety`` beside the block. The log keeps blocks, not their total: ``was_t`` is the
        middle told now less all changes of the blocks. Empty, with a sentence in ``notes``, when
        nothing was logged.

    Raises
    ------
    CroploadError
        When the log lacks a column that it needs.

    Notes
    -----
    Components are those of the log: their centres then and now. ``plan and load`` is what is left
    of the change of the crop that hangs: another plan, another load carried, vines counted anew.
    ``picked`` is what the scale has said since then. The centre is the median, not the mean.
    Valid for a log written by this or an earlier version with the same components.
    """
    was = last_logged(log, forecast)
    columns = ["block", "variety", "component", "change_t"]
    if was.empty:
        note = (
            f"No forecast of season {forecast.season} is in the log yet, so nothing can be "
            "compared. Keep a forecast in the log, and the next one is held against it."
        )
        middle_t = forecast.middle_t()
        frame = pd.DataFrame({name: [] for name in columns}).astype({"change_t": float})
        return Change(frame, (note,), season=forecast.season, was_t=middle_t, now_t=middle_t)
    missing = [f"{name}_centre" for name in COMPONENTS if f"{name}_centre" not in was]
    if missing:
        raise CroploadError(
            f"The forecast log has no column {missing[0]}, so it is of no use here."
        )
    was = was.set_index("block")
    estate = forecast.estate
    now_t = dict(zip(forecast.blocks, forecast.centre_tonnes(), strict=True))
    # The log keeps the components; what a block has of its own is in what is left.
    rows, known = estate.season_rows[:, _HARVEST], len(COMPONENTS)
    log_kg = np.einsum("bk,bk->b", rows, estate.season_centre())
    log_now, rows = estate.centre()[:, :known], rows[:, :known]
    hanging = (
        np.exp(log_kg + estate.season_offset[:, _HARVEST] + forecast.log_left)
        * forecast.bearing
        / 1000.0
    )
    varieties = dict(zip(forecast.blocks, forecast.varieties, strict=True))
    parts = []
    for at, block in enumerate(forecast.blocks):
        if block not in was.index:
            parts.append((block, REST[2], now_t[block]))
            continue
        then = was.loc[block]
        change, left = now_t[block] - then["tonnes_centre"], 1.0 - then["picked_share"]
        explained = 0.0
        if left > 1e-9:
            before = max((then["tonnes_centre"] - then["picked_tonnes"]) / left, 1e-12)
            scale = float(_log_mean(before, hanging[at])) * left
            logs = np.log([then[f"{name}_centre"] for name in COMPONENTS])
            moves = rows[at] * (log_now[at] - logs) * scale
            parts += [(block, name, float(m)) for name, m in zip(COMPONENTS, moves, strict=True)]
            plan = (hanging[at] - before) * left - moves.sum()
            # Under the same plan it is what befell the crop that is not in its components.
            befell = forecast.log_left[at] != 0 and then["plan"] == forecast.plans[at]
            parts.append((block, "events" if befell else REST[0], float(plan)))
            explained = moves.sum() + plan
        parts.append((block, REST[1], float(change - explained)))
    gone = [block for block in was.index if block not in varieties]
    parts += [(block, REST[2], -float(was.loc[block, "tonnes_centre"])) for block in gone]
    frame = pd.DataFrame(parts, columns=["block", "component", "change_t"])
    frame.insert(1, "variety", frame["block"].map(varieties).fillna(""))
    first, middle_t = was.iloc[0], forecast.middle_t()
    older = models(was.reset_index()).min() < MODEL
    return Change(
        frame,
        (_OLDER,) if older else (),
        season=forecast.season,
        was_t=middle_t - float(frame["change_t"].sum()),
        now_t=middle_t,
        since=first["as_of"] or first["logged_at"][:10],
        since_stage=first["stage"],
    )
