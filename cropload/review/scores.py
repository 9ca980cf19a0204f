"""Scores of a forecast that has met its harvest: bias, miss, coverage, sharpness, CRPS."""

import numpy as np


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
