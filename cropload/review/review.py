"""After harvest: how far each forecast of the season was off, and what a grower's guess was."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS, forecast_days
from cropload.beliefs.forecast import forecast
from cropload.beliefs.meant import check_draws
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.clock import day
from cropload.errors import CroploadError, near
from cropload.review import scores
from cropload.review.baselines import BASELINES, baselines, joint_notes
from cropload.review.logged_review import review_logged
from cropload.review.picked import on_the_scale, sums
from cropload.vine.bud_damage import wilson_interval


@dataclass(frozen=True, eq=False)
class SeasonReview:
    """What the forecasts of a season were worth.

    season : year of harvest.
    days : {key of the moment: day}.
    blocks : one row a moment and crop: tonnes_p10, tonnes_p50, tonnes_p90, picked_t and error_t
        [t], error_share [1], inside (the range held it), crps_t [t], and one column a baseline
        [t]. Blocks weighed together are one crop.
    groups : the same by variety and for the estate (column ``level``).
    summary : one row a moment: bias [1], weighted_miss [1], inside, seen, inside_low and
        inside_high (Wilson, 95 %) [1], width_share, mean width of the range relative to the crop
        [1], crps_t [t], and the weighted miss of each baseline [1] over the crops it can guess,
        beside the forecast's own over the same crops.
    logged, logged_blocks : the same of the forecasts in the log, as they were logged.
    forecasts : {key of the moment: Forecast}.
    notes : sentences about what was left out.
    """

    season: int
    days: dict
    blocks: pd.DataFrame
    groups: pd.DataFrame
    summary: pd.DataFrame
    logged: pd.DataFrame
    logged_blocks: pd.DataFrame
    forecasts: dict
    notes: tuple


def _scored(picked, names, draws):
    """Return rows of one moment for some crops: range, miss, inside, score."""
    low, middle, high = ranges.quantiles(draws)
    return pd.DataFrame(
        {
            "name": names,
            "tonnes_p10": low,
            "tonnes_p50": middle,
            "tonnes_p90": high,
            "picked_t": picked,
            "error_t": middle - picked,
            "error_share": middle / picked - 1,
            "inside": (picked >= low) & (picked <= high),
            "crps_t": scores.crps(draws, picked),
        }
    )


def summary_row(crops):
    """Return bias, weighted miss, coverage, width and score of some crops, as a dict."""
    picked = crops["picked_t"].to_numpy(float)
    inside, seen = int(crops["inside"].sum()), len(crops)
    low, high = wilson_interval(inside, seen)
    return {
        "bias": scores.bias(crops["tonnes_p50"], picked),
        "weighted_miss": scores.weighted_miss(crops["tonnes_p50"], picked),
        "inside": inside,
        "seen": seen,
        "inside_share": inside / seen,
        "inside_low": float(low),
        "inside_high": float(high),
        "width_share": float((crops["tonnes_p90"] - crops["tonnes_p10"]).sum() / picked.sum()),
        "crps_t": float(crops["crps_t"].mean()),
    }


def _baseline_columns(crops):
    """Return each guess's weighted miss, and the forecast's own over the crops it can guess."""
    row = {}
    for name in BASELINES:
        there = crops[crops[name].notna()]
        row[f"{name}_miss"] = scores.weighted_miss(there[name], there["picked_t"])
        row[f"{name}_beside"] = scores.weighted_miss(there["tonnes_p50"], there["picked_t"])
        row[f"{name}_seen"] = len(there)
    return row


def _days(records, season, moments, as_of):
    days = forecast_days(records, season)
    if moments is not None:
        for key in moments:
            if key not in MOMENTS:
                raise CroploadError(
                    f"'{key}' is no moment of the season. {near(key, MOMENTS)} "
                    f"Choose from: {', '.join(MOMENTS)}.".replace("  ", " ")
                )
        days = {key: when for key, when in days.items() if key in moments}
    loads = records.harvest.loc[records.harvest["season"] == season, "date"]
    # Undated loads count as known from the end of the year.
    first_load = loads.fillna(pd.Timestamp(int(season), 12, 31)).min()
    for label, when in (as_of or {}).items():
        limit = day(when)
        if limit is None:
            raise CroploadError(f"'{label}' needs a day to look back from, like 2026-07-15.")
        if limit >= first_load:
            raise CroploadError(
                f"'{label}', {limit:%Y-%m-%d}, is no day to forecast {season} from: the first load "
                f"was on the scale on {first_load:%Y-%m-%d}. Choose an earlier day."
            )
        days[str(label)] = limit
    if not days:
        raise CroploadError(f"None of these moments is on record for {season}.")
    return days


def _of_varieties(crops, found):
    variety = dict(zip(found.blocks, found.varieties, strict=True))
    return [" + ".join(dict.fromkeys(variety[block] for block in crop.blocks)) for crop in crops]


@arguments.check_arguments(
    records=arguments.records,
    season=arguments.season,
    moments=arguments.optional(arguments.each(arguments.text)),
    as_of=arguments.optional(arguments.by_block("days")),
    progress=arguments.optional(arguments.calling),
)
def review_season(
    records, season, *, moments=None, as_of=None, draws=DEFAULT_DRAWS, seed=0, progress=None
):
    """Hold every forecast of a season against its harvest, beside a grower's own guesses.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest, of a season on the scale.
    moments : sequence of str, optional
        Keys of ``MOMENTS``; all that the records allow when left out.
    as_of : dict, optional
        {label: day} of further days to review, each before the first load.
    draws, seed : int
        As in ``forecast`` [1].
    progress : callable, optional
        Called as progress(done, total) after each forecast.

    Returns
    -------
    SeasonReview

    Raises
    ------
    CroploadError
        When the season has no harvest on record, a moment is not known, or a day is not before
        the first load.

    Notes
    -----
    Each forecast is made again from what was dated up to its day, nothing later. Forecasts that
    were kept in the log are scored as they were logged.
    Several picks of a block are summed. Blocks on one ticket were weighed together and are scored
    as one crop. What cannot be scored is named in the notes.
    Valid for a season with at least one block picked whole; few blocks say little, which the
    Wilson range of the coverage shows.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = review_season(example_records(), 2026, moments=["pruning", "picking"], draws=500)
    >>> [str(key) for key in found.summary["moment"]]
    ['pruning', 'picking']
    >>> bool(found.summary["weighted_miss"].iloc[1] < found.summary["weighted_miss"].iloc[0])
    True
    """
    check_draws(draws, seed)
    scale = on_the_scale(records, season)
    if not scale.crops:
        raise CroploadError(
            f"No block of {season} was picked whole, so there is nothing to score. "
            + " ".join(scale.notes)
        )
    days = _days(records, season, moments, as_of)
    parts, groups, rows, kept = [], [], [], {}
    for done, (key, when) in enumerate(days.items(), start=1):
        found = forecast(records, season, when, draws=draws, seed=seed)
        kept[key] = found
        matrix, there = sums(scale.crops, found.blocks)
        crops = [crop for crop, here in zip(scale.crops, there, strict=True) if here]
        matrix = matrix[there]
        picked = np.array([crop.tonnes for crop in crops])
        lots = [("block", [crop.name for crop in crops], np.eye(len(crops)))]
        for level, labels in (
            ("variety", _of_varieties(crops, found)),
            ("estate", ["estate"] * len(crops)),
        ):
            unique = list(dict.fromkeys(labels))
            member = np.array([[label == each for label in labels] for each in unique], float)
            lots.append((level, unique, member))
        blocks = np.array(found.blocks, dtype=object)
        members = [member @ matrix for _, _, member in lots]
        whole = [blocks[row > 0].tolist() for row in np.concatenate(members)]
        guess = baselines(records, season, when, whole).reset_index(drop=True)
        start = 0
        for (level, names, member), summed in zip(lots, members, strict=True):
            lot = _scored(member @ picked, names, summed @ found.draws).assign(moment=key)
            mine = guess.iloc[start : start + len(names)].reset_index(drop=True)
            lot = lot.join(mine)
            start += len(names)
            if level == "block":
                block = lot
                parts.append(lot)
            else:
                groups.append(lot.assign(level=level))
        rows.append(
            {"moment": key, "words": MOMENTS.get(key, key), "day": when}
            | summary_row(block)
            | _baseline_columns(block)
        )
        if progress is not None:
            progress(done, len(days))
    summary = pd.DataFrame(rows)
    summary.attrs = {"season": season, "interval": ranges.label(), "seed": seed, "draws": draws}
    logged, logged_blocks, log_notes = review_logged(records, season, scale.crops, summary_row)
    return SeasonReview(
        season=season,
        days=days,
        blocks=pd.concat(parts, ignore_index=True),
        groups=pd.concat(groups, ignore_index=True),
        summary=summary,
        logged=logged,
        logged_blocks=logged_blocks,
        forecasts=kept,
        notes=(*scale.notes, *joint_notes(records, season), *log_notes),
    )
