"""What moved since the last logged forecast, by block and component, adding up to the change."""

import numpy as np
import pandas as pd

from cropload.errors import CroploadError
from cropload.vine.growth import COMPONENTS, STAGES

_HARVEST = STAGES.index("harvest")
#: Parts of a change that are no component.
REST = ("plan and load", "picked", "block new or gone")


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
    DataFrame
        block, variety, component, change_t [t]. The changes of a block add up to the change of
        its centre, and all of them to ``attrs['change_t']``; ``attrs['was_t']``, ``['now_t']``
        [t], ``['since']`` (the day of the logged forecast) and ``['since_stage']`` name it.
        Empty, with a sentence in ``attrs['notes']``, when nothing was logged.

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
        found = pd.DataFrame(columns=columns)
        found.attrs = {
            "change_t": 0.0,
            "notes": (
                f"No forecast of season {forecast.season} is in the log yet, so nothing can be "
                "compared. Keep a forecast in the log, and the next one is held against it.",
            ),
        }
        return found
    missing = [f"{name}_centre" for name in COMPONENTS if f"{name}_centre" not in was]
    if missing:
        raise CroploadError(
            f"The forecast log has no column {missing[0]}, so it is of no use here."
        )
    was = was.set_index("block")
    estate = forecast.estate
    now_t = dict(zip(forecast.blocks, forecast.centre_tonnes(), strict=True))
    log_now = estate.beliefs.centre
    rows = estate.season_rows[:, _HARVEST]
    log_kg = np.einsum("bk,bk->b", rows, forecast.component_centres())
    hanging = np.exp(log_kg + estate.season_offset[:, _HARVEST]) * forecast.bearing / 1000.0
    varieties = dict(zip(forecast.blocks, forecast.varieties, strict=True))
    parts = []
    for at, block in enumerate(forecast.blocks):
        if block not in was.index:
            parts.append((block, REST[2], now_t[block]))
            continue
        then = was.loc[block]
        change, left = now_t[block] - then["tonnes_centre"], 1.0 - then["picked_share"]
        told = 0.0
        if left > 1e-9:
            before = max((then["tonnes_centre"] - then["picked_tonnes"]) / left, 1e-12)
            scale = float(_log_mean(before, hanging[at])) * left
            logs = np.log([then[f"{name}_centre"] for name in COMPONENTS])
            moves = rows[at] * (log_now[at] - logs) * scale
            parts += [(block, name, float(m)) for name, m in zip(COMPONENTS, moves, strict=True)]
            plan = (hanging[at] - before) * left - moves.sum()
            parts.append((block, REST[0], float(plan)))
            told = moves.sum() + plan
        parts.append((block, REST[1], float(change - told)))
    gone = [block for block in was.index if block not in varieties]
    parts += [(block, REST[2], -float(was.loc[block, "tonnes_centre"])) for block in gone]
    found = pd.DataFrame(parts, columns=["block", "component", "change_t"])
    found.insert(1, "variety", found["block"].map(varieties).fillna(""))
    first = was.iloc[0]
    found.attrs = {
        "was_t": float(was["tonnes_centre"].sum()),
        "now_t": float(sum(now_t.values())),
        "change_t": float(found["change_t"].sum()),
        "since": first["as_of"] or first["logged_at"][:10],
        "since_stage": first["stage"],
        "notes": (),
    }
    return found
