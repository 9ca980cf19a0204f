"""Scores of forecasts that have met their harvest: bias, miss, coverage, sharpness, CRPS."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs.calendar import MOMENTS
from cropload.review.picked import BASELINES
from cropload.units import METRIC
from cropload.vine.bud_damage import wilson_interval

#: What the scores can be told by.
LEVELS = ("block", "variety", "grower", "estate")


@dataclass(frozen=True, eq=False, repr=False)
class Scores(Answer):
    """The scores of each moment over one season or several, one row a moment.

    Attributes
    ----------
    frame : DataFrame
        moment, words, seasons [1], the columns of ``summary_row``, and for each key of
        ``BASELINES``: ``_seen``, the crops it can guess [1], ``_miss`` [1] and ``_crps_t`` [t],
        and the forecast's own over the same crops, ``_beside`` [1] and ``_beside_crps_t`` [t].
    seasons : list of int
        Years of harvest.
    days : dict
        {key of the moment: day}; empty for several seasons.
    """

    seasons: list = field(kw_only=True)
    days: dict = field(kw_only=True)

    def heading(self, units=METRIC):
        """Return what the forecasts of the first moment were worth, in a sentence."""
        from cropload.review.words import score_sentence

        return score_sentence(self.frame.iloc[0], self.seasons)

    def tables(self, units=METRIC):
        """Return the scores by moment, and a grower's own guesses beside them."""
        from cropload.review.tables import guesses_table, scores_table

        return scores_table(self), guesses_table(self, units)

    def plot(self, ax=None, units=METRIC):
        """Draw the miss of each moment's forecast beside a grower's own guesses."""
        from cropload.review.charts import misses_panel

        return misses_panel(self.frame).plot(ax)


def crps(draws, truth):
    """Return the continuous ranked probability score of draws against what came.

    Parameters
    ----------
    draws : ndarray, shape (..., draws)
        Draws of the forecast [unit of the truth].
    truth : ndarray, shape (...)
        What came.

    Returns
    -------
    ndarray, shape (...)
        Score [unit of the truth]; smaller is better, and 0 is a sure and right forecast. For a
        single number as the forecast it is the absolute error.

    Notes
    -----
    Mean |x - y| less half the mean |x - x'|, exact for the draws as a distribution of their own.
    Valid for any number of draws; with few it is a little high.
    """
    draws = np.sort(np.asarray(draws, float), axis=-1)
    count = draws.shape[-1]
    rank = (2 * np.arange(1, count + 1) - count - 1) / count**2
    miss = np.abs(draws - np.asarray(truth, float)[..., None]).mean(-1)
    return miss - draws @ rank


def log_normal_crps(centre, spread, truth):
    """Return the closed form of the score for a log-normal forecast [unit of the truth].

    Parameters
    ----------
    centre, spread : float or ndarray
        Mean and standard deviation of the log [1].
    truth : float or ndarray
        What came, above 0.

    Notes
    -----
    Baran and Lerch 2015, Q. J. R. Meteorol. Soc. 141:2289 (from memory; checked in the tests
    against numerical integration).
    Valid for a spread above 0.
    """
    from scipy.special import ndtr

    z = (np.log(truth) - centre) / spread
    return truth * (2 * ndtr(z) - 1) - 2 * np.exp(centre + spread**2 / 2) * (
        ndtr(z - spread) + ndtr(spread / np.sqrt(2)) - 1
    )


def weighted_miss(forecast, truth):
    """Return the mean absolute percentage error weighted by tonnes: sum |miss| / sum of crop [1].

    Notes
    -----
    Blocks of a few tonnes cannot rule it, as they rule a plain mean of percentages.
    Valid when some crop came.
    """
    forecast, truth = np.asarray(forecast, float), np.asarray(truth, float)
    return float(np.abs(forecast - truth).sum() / truth.sum()) if truth.sum() > 0 else np.nan


def bias(forecast, truth):
    """Return how far the sum was too high (above 0) or too low, relative to what came [1]."""
    forecast, truth = np.asarray(forecast, float), np.asarray(truth, float)
    return float(forecast.sum() / truth.sum() - 1) if truth.sum() > 0 else np.nan


def summary_row(crops):
    """Return bias, weighted miss, coverage, width and score of some crops, as a dict."""
    picked = crops["picked_t"].to_numpy(float)
    inside, seen = int(crops["inside"].sum()), len(crops)
    low, high = wilson_interval(inside, seen)
    return {
        "bias": bias(crops["tonnes_p50"], picked),
        "weighted_miss": weighted_miss(crops["tonnes_p50"], picked),
        "inside": inside,
        "seen": seen,
        "inside_share": inside / seen,
        "inside_low": float(low),
        "inside_high": float(high),
        "width_share": float((crops["tonnes_p90"] - crops["tonnes_p10"]).sum() / picked.sum()),
        "crps_t": float(crops["crps_t"].mean()),
    }


def inside_counts(reviews):
    """Return how many crops came inside their range, by season and moment.

    Parameters
    ----------
    reviews : sequence of SeasonReview
        A season each.

    Returns
    -------
    DataFrame
        season, moment, words, inside and seen [1], seasons and moments in their order.
    """
    parts = [moment_scores(each.blocks.assign(season=each.season)) for each in reviews]
    found = [part.assign(season=each.season) for part, each in zip(parts, reviews, strict=True)]
    columns = ["season", "moment", "words", "inside", "seen"]
    return pd.concat(found, ignore_index=True)[columns]


def moment_scores(crops):
    """Return the scores of each moment over some crops, in the order of the season.

    Parameters
    ----------
    crops : DataFrame
        Of ``SeasonReview.frame_by``, with the season.
    """
    known = list(MOMENTS)
    moments = list(dict.fromkeys(crops["moment"]))
    moments.sort(key=lambda key: known.index(key) if key in known else len(known))
    rows = []
    for moment in moments:
        mine = crops[crops["moment"] == moment]
        head = {"moment": moment, "words": MOMENTS.get(moment, moment)}
        rows.append(head | {"seasons": int(mine["season"].nunique())} | _row(mine))
    return pd.DataFrame(rows)


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


@arguments.check_arguments(
    reviews=arguments.each(
        arguments.kind("SeasonReview", "Make one first: review_season(records, season).")
    ),
    level=arguments.one_of(*LEVELS),
)
def level_scores(reviews, level="block"):
    """Return the scores of each moment over one season or several.

    Parameters
    ----------
    reviews : sequence of SeasonReview
        Seasons to score together.
    level : str
        As in ``SeasonReview.frame_by``.

    Returns
    -------
    Scores

    Notes
    -----
    A guess without a range is scored by the same rule as the forecast: the CRPS of one number is
    its absolute error (Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359, from memory).
    Crops of one season share its weather, so several seasons say more than many blocks of one,
    and the Wilson range, which takes them as independent, is too narrow by that.
    Valid for one season or more.
    """
    parts = [each.frame_by(level).assign(season=each.season) for each in reviews]
    return Scores(
        moment_scores(pd.concat(parts, ignore_index=True)),
        seasons=[each.season for each in reviews],
        days=reviews[0].days if len(reviews) == 1 else {},
    )
