"""From sample means to observations of the logarithm of the true means."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.errors import CroploadError, near


def log_mean_and_variance(mean, n, sd=None, population=None, *, cv=None, dof=0.0, unit=1.0):
    """Turn sample means into observations of the logarithm of the true means.

    Parameters
    ----------
    mean : array_like
        Sample means, shape (k,) [unit of the count].
    n : array_like
        Vines counted [1].
    sd : array_like, optional
        Sample standard deviations [unit of the count]; NaN where only one vine was counted.
    population : array_like, optional
        Bearing vines of each block [1]; NaN or none where unknown.
    cv : array_like, optional
        Coefficient of variation between vines expected before looking [1].
    dof : array_like
        How many degrees of freedom that expectation is worth [1].
    unit : float
        The smallest amount that can be recorded [unit of the count]: 1 for counts.

    Returns
    -------
    log_mean, log_variance : ndarray
        Centre and sampling variance of ``ln x``, for a Gaussian observation [1].
        No vine counted gives NaN and an infinite variance: no observation.

    Raises
    ------
    CroploadError
        Neither a sample spread with two vines or more nor an expected one.

    Notes
    -----
    The CV is shrunk: ``cv**2 = (dof cv0**2 + (n-1) (sd/mean)**2) / (dof + n - 1)``.
    With ``c = cv/sqrt(n) sqrt(1 - n/N)`` the variance is ``v = ln(1 + c**2)`` and the centre
    ``ln(mean) + v/2``: the mean is unbiased, so its logarithm lies low by half the variance
    (moments of the log-normal).
    Whole numbers with a mean below one unit cannot vary less than yes and no do, so there
    ``c**2`` is at least ``(1 - p)/(p n)`` with ``p = mean/unit``.
    All zeros, as after hail: the sample is taken to hold half a unit in all (handbook
    ``sampling.zero_sample``), centre ``ln(unit/2/n)``, variance ``1 / (1/2) = 2``, whatever the
    population: never minus infinity.  Such a block is an event of its own: do not average it with
    a narrow prior as if it were an ordinary season, and do not let it move blocks beside it.
    Valid for sampling errors up to about 50 %.  A census (n = N) has variance zero.
    """
    mean, n, unit = (np.asarray(part, dtype=float) for part in (mean, n, unit))
    sd = np.full_like(mean, np.nan) if sd is None else np.asarray(sd, dtype=float)
    expected = np.nan if cv is None else np.asarray(cv, dtype=float)
    dof = np.asarray(0.0 if cv is None else dof, dtype=float)
    counted = n > 0
    zero = counted & (mean <= 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        own_dof = np.where((n > 1) & ~np.isnan(sd) & ~zero, n - 1, 0.0)
        own = np.where(own_dof > 0, (sd / mean) ** 2, 0.0)
        prior = np.where(dof > 0, dof * expected**2, 0.0)
        squared = (prior + own_dof * own) / (dof + own_dof)
        if np.any(np.isnan(squared) & counted & ~zero):
            raise CroploadError(
                "One vine alone tells nothing about how vines differ; give an expected "
                "coefficient of variation (cv) and what it is worth (dof)."
            )
        share = mean / unit
        least = np.where(share < 1, (1 - share) / share, 0.0)
        left = 1.0 if population is None else 1 - n / np.asarray(population, dtype=float)
        left = np.clip(np.where(np.isnan(left), 1.0, left), 0.0, 1.0)
        log_variance = np.log1p(np.maximum(squared, least) / n * left)
        log_mean = np.log(mean) + log_variance / 2
        half = handbook.value("sampling.zero_sample")
        log_mean = np.where(zero, np.log(half * unit / n), log_mean)
    log_variance = np.where(zero, 1 / half, log_variance)
    return np.where(counted, log_mean, np.nan), np.where(counted, log_variance, np.inf)


def grouped_log_means(frame, by, value, population=None):
    """Reduce many vine counts to one observation a group, for 200,000 rows at a time.

    Parameters
    ----------
    frame : DataFrame
        One row a vine visited, such as ``records.counts``.
    by : str or list of str
        Columns that make a group, the block first, such as ``["block", "season"]``.
    value : str
        The column to average [its own unit]; blanks are vines not counted.
    population : mapping, Series or float, optional
        Bearing vines by block (the first of ``by``), or one number for all [1].

    Returns
    -------
    DataFrame
        Indexed by group, groups without a count left out: mean, sd [unit of value], n,
        population, cv (shrunk), log_mean, log_variance [1], all_zero and event (True or False).

    Raises
    ------
    CroploadError
        A column that is not there, or a column without an expected CV in the handbook.

    Notes
    -----
    The spread between vines is pooled over all groups and shrunk to the handbook's
    (``sampling.cv_VALUE``, worth its ``dof``); each group's own spread is then shrunk to the
    pooled one with the same weight, so one to five vines do not pretend to know a spread.
    ``event`` marks groups of enough vines (handbook ``sampling.zero_event_vines``) that are all
    zero: the crop is gone, and the group must be treated apart from an ordinary season.
    Valid for vines picked at random over a block; vines picked by row do a little better.
    """
    keys = [by] if isinstance(by, str) else list(by)
    for column in [*keys, value]:
        if column not in frame.columns:
            raise CroploadError(
                f"The counts have no column {column!r}. {near(column, frame.columns)}".rstrip()
            )
    groups = frame.groupby(keys, sort=True, observed=True)
    index = groups.size().index
    first = index.get_level_values(0)
    if population is None:
        sizes = np.full(len(index), np.nan)
    elif isinstance(population, Mapping | pd.Series):
        sizes = population if isinstance(population, pd.Series) else pd.Series(population)
        sizes = sizes.reindex(first).to_numpy(dtype=float)
    else:
        sizes = np.full(len(index), float(population))
    values = frame[value].to_numpy(float)
    found = log_means(groups.ngroup().to_numpy(), values, len(index), value, sizes)
    table = pd.DataFrame(found, index)
    return table[table["n"] > 0].copy()


def log_means(group, values, count, column, population):
    """Reduce vine counts to one observation a group, as ``grouped_log_means`` does.

    Parameters
    ----------
    group : ndarray of int, shape (rows,)
        The group of each row, from 0.
    values : ndarray, shape (rows,)
        What was counted [unit of the column]; NaN is not counted.
    count : int
        How many groups there are [1].
    column : str
        Its name, of which the handbook has an expected spread.
    population : ndarray, shape (count,)
        Bearing vines [1].

    Returns
    -------
    dict
        {name: ndarray, shape (count,)}, the columns of ``grouped_log_means``; n is 0 where nothing
        was counted.
    """
    expected = handbook.entry(expected_cv_key(column))
    dof, unit = expected.extra["dof"], expected.extra["smallest"]
    counted = ~np.isnan(values)
    group, values = group[counted], values[counted]
    n = np.bincount(group, minlength=count)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = np.bincount(group, values, minlength=count) / n
        square = np.bincount(group, (values - mean[group]) ** 2, minlength=count)
        sd = np.sqrt(np.where(n > 1, square / (n - 1.0), np.nan))
        own_dof = np.where((n > 1) & (mean > 0), n - 1, 0.0)
        own = np.where(own_dof > 0, (sd / mean) ** 2, 0.0)
    pooled = (dof * expected.value**2 + np.sum(own_dof * own)) / (dof + own_dof.sum())
    log_mean, log_variance = log_mean_and_variance(
        mean, n, sd, population, cv=np.sqrt(pooled), dof=dof, unit=unit
    )
    bare = mean <= 0
    return {
        "mean": mean,
        "n": n,
        "sd": sd,
        "population": population,
        "cv": np.sqrt((dof * pooled + own_dof * own) / (dof + own_dof)),
        "log_mean": log_mean,
        "log_variance": log_variance,
        "all_zero": bare,
        "event": bare & (n >= handbook.value("sampling.zero_event_vines")),
    }


def expected_cv_key(column):
    """Return the handbook key of the spread between vines expected for a column of counts.

    Raises
    ------
    CroploadError
        The handbook has no such spread; the near names are given.
    """
    key = f"sampling.cv_{column}"
    known = handbook.keys("sampling.cv_")
    if key not in known:
        columns = [name.removeprefix("sampling.cv_") for name in known]
        raise CroploadError(
            f"The handbook has no spread between vines for {column!r}; it has "
            f"{', '.join(sorted(columns))}. {near(column, columns)}".rstrip()
        )
    return key
