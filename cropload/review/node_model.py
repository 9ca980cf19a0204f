"""Counts or shares as a generalized linear model: least squares, weighted anew until it settles."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

_LEAST = np.finfo(float).eps
_MOST_STEPS, _SETTLED = 100, 1e-8


@dataclass(frozen=True, eq=False)
class NodeModel:
    """A model fitted by the greatest likelihood, of counts (Poisson, log) or shares (logit).

    params : Series, coefficient by column of the design [1]. covariance : DataFrame, theirs.
    mean : (rows,), what is expected of each row. variance : (rows,), that of the family there.
    deviance : twice the log likelihood missed, rows weighed [1].
    seen, weights : (rows,), what was fitted, and what each row weighs [1].
    """

    params: pd.Series
    covariance: pd.DataFrame
    mean: np.ndarray
    variance: np.ndarray
    deviance: float
    seen: np.ndarray
    weights: np.ndarray

    @cached_property
    def pearson(self):
        """What was seen less what is expected, over the sd that its weight leaves it [1]."""
        return (self.seen - self.mean) * np.sqrt(self.weights) / np.sqrt(self.variance)


def fit_model(seen, design, weights, exposure=None):
    """Fit counts on an exposure, or shares where there is none.

    Parameters
    ----------
    seen : array (rows,)
        Counts, or shares from 0 to 1 [1].
    design : DataFrame (rows, effects)
        An effect a column.
    weights : array (rows,)
        What each row weighs: of a share, the trials behind it [1].
    exposure : array (rows,), optional
        What counts are counted on [1].

    Returns
    -------
    NodeModel

    Notes
    -----
    Iteratively reweighted least squares (Nelder and Wedderburn 1972, J. R. Stat. Soc. A 135:370,
    from memory), until the deviance stays.  Valid where every effect has rows of its own.
    """
    family = _Shares if exposure is None else _Counts
    offset = 0.0 if exposure is None else np.log(np.asarray(exposure, float))
    seen, effects = np.asarray(seen, float), design.to_numpy(float)
    mean = family.start(seen)
    line, last = family.link(mean), np.inf
    for _ in range(_MOST_STEPS):
        slope = family.slope(mean)
        root = np.sqrt(weights * (1.0 / (slope**2 * family.variance(mean))))
        wanted, weighed = root * (line + slope * (seen - mean) - offset), root[:, None] * effects
        line = effects @ np.linalg.lstsq(weighed, wanted, rcond=-1)[0] + offset
        mean = family.mean(line)
        deviance = float(np.sum(family.lost(seen, mean) * weights))
        if abs(last - deviance) <= _SETTLED:
            break
        last = deviance
    inverse = np.linalg.pinv(weighed, rcond=1e-15)
    names = design.columns
    return NodeModel(
        pd.Series(inverse @ wanted, names),
        pd.DataFrame(inverse @ inverse.T, names, names),
        mean,
        family.variance(mean),
        deviance,
        seen,
        np.asarray(weights, float),
    )


class _Counts:
    """Poisson counts, their mean on the log scale."""

    start = staticmethod(lambda seen: (seen + seen.mean()) / 2.0)
    link = staticmethod(lambda mean: np.log(np.maximum(mean, _LEAST)))
    mean = staticmethod(np.exp)
    slope = staticmethod(lambda mean: 1.0 / np.maximum(mean, _LEAST))
    variance = staticmethod(np.abs)

    @staticmethod
    def lost(seen, mean):
        return 2 * (seen * np.log(np.maximum(seen / mean, _LEAST)) - (seen - mean))


class _Shares:
    """Shares of some trials, their mean on the logit scale."""

    start = staticmethod(lambda seen: (seen + 0.5) / 2)
    mean = staticmethod(lambda line: 1.0 / (1.0 + np.exp(-line)))
    slope = staticmethod(lambda mean: 1.0 / _Shares.variance(mean))

    @staticmethod
    def link(mean):
        share = np.clip(mean, _LEAST, 1 - _LEAST)
        return np.log(share / (1.0 - share))

    @staticmethod
    def variance(mean):
        share = np.clip(mean, _LEAST, 1 - _LEAST)
        return share * (1 - share)

    @staticmethod
    def lost(seen, mean):
        hit = np.maximum(seen / (mean + 1e-20), _LEAST)
        missed = np.maximum((1.0 - seen) / (1.0 - mean + 1e-20), _LEAST)
        return 2 * (seen * np.log(hit) + (1 - seen) * np.log(missed))
