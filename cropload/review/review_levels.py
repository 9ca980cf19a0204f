"""Scores of a review by block, variety or estate, of one season or of several together."""

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS
from cropload.errors import CroploadError
from cropload.review.review import BASELINES, summary_row
from cropload.review.scores import weighted_miss

LEVELS = ("block", "variety", "estate")


def level_crops(found, level="block"):
    """Return each moment's crops of one level with its baselines, one row a crop.

    Parameters
    ----------
    found : SeasonReview
        As from ``review_season``.
    level : str
        ``"block"`` (blocks weighed together are one crop), ``"variety"`` or ``"estate"``.

    Returns
    -------
    DataFrame
        The columns of ``SeasonReview.blocks``. A baseline is NaN where it cannot guess a part.

    Raises
    ------
    CroploadError
        For another level.
    """
    if level not in LEVELS:
        raise CroploadError(f"Scores are by {', '.join(LEVELS)}; not by '{level}'.")
    if level == "block":
        return found.blocks
    kept = found.groups[found.groups["level"] == level]
    return kept.drop(columns="level").reset_index(drop=True)


def _row(crops):
    """Return the scores of some crops, with each baseline's over the crops it can guess."""
    row = summary_row(crops)
    for name in BASELINES:
        there = crops[crops[name].notna()]
        row[f"{name}_seen"] = len(there)
        off = (there[name] - there["picked_t"]).abs()
        row[f"{name}_miss"] = weighted_miss(there[name], there["picked_t"])
        row[f"{name}_crps_t"] = float(off.mean()) if len(there) else np.nan
        row[f"{name}_beside"] = weighted_miss(there["tonnes_p50"], there["picked_t"])
        row[f"{name}_beside_crps_t"] = float(there["crps_t"].mean()) if len(there) else np.nan
    return row


def level_scores(reviews, level="block"):
    """Return the scores of each moment over one season or several.

    Parameters
    ----------
    reviews : sequence of SeasonReview
        Seasons to score together.
    level : str
        As in ``level_crops``.

    Returns
    -------
    DataFrame
        One row a moment, in the order of the season: moment, words, seasons [1], the columns of
        ``summary_row``, and for each key of ``BASELINES``: ``_seen``, the crops it can guess [1],
        ``_miss`` [1] and ``_crps_t`` [t], and the forecast's own over the same crops, ``_beside``
        [1] and ``_beside_crps_t`` [t].

    Notes
    -----
    A guess without a range is scored by the same rule as the forecast: the CRPS of one number is
    its absolute error (Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359, from memory).
    Crops of one season share its weather, so several seasons say more than many blocks of one,
    and the Wilson range, which takes them as independent, is too narrow by that.
    Valid for one season or more.
    """
    parts = [level_crops(each, level).assign(season=each.season) for each in reviews]
    every = pd.concat(parts, ignore_index=True)
    known = list(MOMENTS)
    moments = list(dict.fromkeys(every["moment"]))
    moments.sort(key=lambda key: known.index(key) if key in known else len(known))
    rows = []
    for moment in moments:
        crops = every[every["moment"] == moment]
        head = {"moment": moment, "words": MOMENTS.get(moment, moment)}
        rows.append(head | {"seasons": int(crops["season"].nunique())} | _row(crops))
    table = pd.DataFrame(rows)
    seasons = [each.season for each in reviews]
    table.attrs = {"interval": ranges.label(), "seasons": seasons, "level": level}
    return table
