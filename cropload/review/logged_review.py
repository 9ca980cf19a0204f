"""Forecasts of the log held against the harvest, exactly as they were logged."""

from pathlib import Path

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.review import scores
from cropload.season.forecast_log import read_log


def log_normal_of(low, high, level):
    """Return centre and spread of the log-normal whose equal-tailed range is this [1].

    Parameters
    ----------
    low, high : ndarray
        Ends of the range, above 0 [any unit].
    level : float
        Level of the range [1].
    """
    from scipy.special import ndtri

    low, high = np.log(low), np.log(high)
    return (low + high) / 2, (high - low) / (2 * ndtri((1 + level) / 2))


def _scored(lines, crops):
    """Return one row for each crop that is one block of the log."""
    single = {crop.blocks[0]: crop.tonnes for crop in crops if len(crop.blocks) == 1}
    lines = lines[lines["block"].isin(single) & (lines["tonnes_p10"] > 0)]
    picked = lines["block"].map(single).to_numpy(float)
    frame = lines[["block", "tonnes_p10", "tonnes_p50", "tonnes_p90"]].reset_index(drop=True)
    frame = frame.rename(columns={"block": "name"})
    low, middle, high = (frame[f"tonnes_{end}"].to_numpy(float) for end in ranges.ENDINGS)
    frame["picked_t"] = picked
    frame["error_t"] = middle - picked
    frame["error_share"] = middle / picked - 1
    frame["inside"] = (picked >= low) & (picked <= high)
    centre, spread = log_normal_of(low, high, ranges.level())
    sharp = spread < 1e-9
    score = scores.log_normal_crps(centre, np.where(sharp, 1.0, spread), picked)
    frame["crps_t"] = np.where(sharp, np.abs(middle - picked), score)
    return frame


def review_logged(records, season, crops, summary_row):
    """Score the forecasts of a season in the log.

    Parameters
    ----------
    records : Records
        Their folder holds the log.
    season : int
        Year of harvest.
    crops : sequence of Picked
        What the scale said.
    summary_row : callable
        Turns scored crops into one row.

    Returns
    -------
    summary, blocks : DataFrame
        One row a logged forecast, and one row of each and each block; empty when none was logged.
    notes : list of str
        Lines of the log that were skipped, crops that cannot be scored, and forecasts logged with
        hindsight.

    Notes
    -----
    A log holds ends and middle of each block's range, no draws: the score is that of the
    log-normal with the same range. Blocks weighed together are left out, because the range of
    their sum was not logged.
    A forecast that was kept after its day has seen no more than it says, yet somebody chose to
    keep it then: one kept after the first load is marked.
    """
    nothing = pd.DataFrame(), pd.DataFrame(), []
    # Records made in memory have no folder, and another one's log is none of theirs.
    if not Path(records.path).exists():
        return nothing
    log, faults = read_log(records.path)
    notes = [str(fault) for fault in faults]
    log = log[log["season"] == season] if len(log) else log
    if log.empty:
        return (*nothing[:2], notes)
    joint = [crop.name for crop in crops if len(crop.blocks) > 1]
    if joint:
        notes.append(
            f"The log does not score {', '.join(joint)}: they were weighed together, and the range "
            "of their sum was not logged."
        )
    single = {crop.blocks[0] for crop in crops if len(crop.blocks) == 1}
    nothing = log[log["block"].isin(single) & ~(log["tonnes_p10"] > 0)]["block"].unique()
    if len(nothing):
        notes.append(
            f"The log does not score forecasts of {', '.join(nothing)} whose range starts at "
            "nothing: such a range has no shape to score."
        )
    first_load = records.harvest.loc[records.harvest["season"] == season, "date"].min()
    rows, parts = [], []
    for (at, as_of, stage), lines in log.groupby(["logged_at", "as_of", "stage"], sort=False):
        # Kept twice within a second: the later line stands.
        crop = _scored(lines.drop_duplicates("block", keep="last"), crops)
        if crop.empty:
            continue
        kept = pd.to_datetime(at, errors="coerce", utc=True)
        seen = pd.to_datetime(as_of, errors="coerce") if as_of else kept.tz_localize(None)
        late = bool(pd.notna(first_load) and not seen < first_load)
        after = bool(pd.notna(first_load) and not kept.tz_localize(None) < first_load)
        head = {
            "logged_at": at,
            "as_of": as_of,
            "words": stage,
            "while_picking": late,
            "kept_after_first_load": after,
        }
        rows.append(head | summary_row(crop))
        parts.append(crop.assign(logged_at=at, as_of=as_of))
    if not rows:
        return (*nothing[:2], notes)
    summary = pd.DataFrame(rows)
    summary.attrs = {"season": season, "interval": ranges.label()}
    if summary["kept_after_first_load"].any():
        notes.append(
            f"{int(summary['kept_after_first_load'].sum())} forecasts of the log were kept after "
            "the first load: they are marked, for somebody chose to keep them then."
        )
    return summary, pd.concat(parts, ignore_index=True), notes
