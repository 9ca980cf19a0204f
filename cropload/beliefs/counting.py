"""From a sample of vines to a mean with its error, and to an observation of a logarithm.

Three designs: vines picked at random over the block (``simple``), vines picked row by row
(``stratified``), and whole stretches of vines in a few rows (``row-cluster``).  A blank is a vine
that was not counted; it is dropped and never becomes a zero.  Missing vines are counted apart.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.errors import CroploadError, near

DESIGNS = ("simple", "stratified", "row-cluster")


@dataclass(frozen=True)
class SampleMean:
    """The mean of a sample of vines, in the unit of the values, with its error."""

    mean: float
    standard_error: float
    low: float
    high: float
    n: int
    population: float | None
    design: str
    cv: float
    df: float
    confidence: float = 0.95

    def __str__(self):
        """Say the mean and its range in one line."""
        if np.isnan(self.low):
            return f"{self.mean:.3g} from {self.n} vine; one vine gives no range"
        return (
            f"{self.mean:.3g} ({self.low:.3g} to {self.high:.3g}, {100 * self.confidence:g} % "
            f"range of a mean of {self.n} vines, {self.design})"
        )


def mean_from_sample(
    values,
    population=None,
    *,
    design="simple",
    strata=None,
    clusters=None,
    weights=None,
    confidence=0.95,
):
    """Estimate the mean of all vines from a sample of them.

    Parameters
    ----------
    values : array_like
        One number a vine [any unit]; a blank is a vine not counted and is dropped.
    population : float or mapping, optional
        Bearing vines the sample stands for [1]; the error shrinks as the sample nears it.
        For ``stratified`` a mapping ``row -> bearing vines`` gives each row its weight; with a
        single number, or none, rows count as equally long.
    design : {"simple", "stratified", "row-cluster"}
        How the vines were picked.
    strata : array_like, optional
        The row of each vine; needed by ``stratified``.
    clusters : array_like, optional
        The row, or stretch of a row, of each vine; needed by ``row-cluster``.
    weights : array_like, optional
        How many vines each value stands for [1]; for ``simple`` and ``row-cluster``.
    confidence : float
        Level of the range [1].

    Returns
    -------
    SampleMean
        mean, standard_error, low, high [unit of values], n, population, cv, df [1].

    Raises
    ------
    CroploadError
        No value, a negative or infinite value, text, more vines than the population, an unknown
        design, or a design without its rows.

    Notes
    -----
    Simple: ``s / sqrt(n) * sqrt(1 - n/N)``, Student's t with n - 1 degrees of freedom.
    Stratified: Cochran (1977), sections 5.3-5.4, with vines - rows degrees of freedom; a row with
    fewer than two vines is joined with the next one (collapsed strata, section 5A.12).
    Row-cluster: the ratio of the rows' totals to their numbers of vines (Cochran 1977, section
    6.3), with rows - 1 degrees of freedom; the share ``n/N`` corrects for the finite block, which
    is exact when whole rows were counted and errs on the wide side otherwise.
    The low end is never below zero.  One vine gives a mean and no range (NaN).
    Valid for samples of about ten vines or more: with few vines and a skewed block the range of
    any t method covers somewhat less than it says.
    """
    if not isinstance(design, str) or design not in DESIGNS:
        raise CroploadError(
            f"The sampling design {arguments.shown(design)} is not known; use one of "
            f"{', '.join(DESIGNS)}. "
            f"{near(str(design), DESIGNS)}".rstrip()
        )
    confidence = checked_confidence(confidence)
    y = _numbers(values, "values")
    keep = ~np.isnan(y)
    y = y[keep]
    n = y.size
    if n == 0:
        raise CroploadError(
            "The sample holds no counted vine, so it has no mean; enter at least one count."
        )
    if (y < 0).any():
        raise CroploadError(f"A count or weight cannot be below zero, but {y.min():g} was given.")
    w = np.ones(n) if weights is None else _matched(weights, keep, "weights")
    if np.isnan(w).any() or (w <= 0).any():
        raise CroploadError("Every weight must be above zero: the vines a value stands for.")
    by_row = population if isinstance(population, Mapping | pd.Series) else None
    total = _population_total(population, n)
    fpc = 1.0 if total is None else 1.0 - n / total

    if design == "stratified":
        if weights is not None:
            raise CroploadError(
                "A sample by row takes its weights from the vines of each row; give population "
                "as a mapping of row to vines and leave weights out."
            )
        labels = _row_labels(strata, keep, "stratified", "strata")
        mean, error, df = _stratified(y, labels, total, by_row)
    elif design == "row-cluster":
        labels = _row_labels(clusters, keep, "row-cluster", "clusters")
        mean, error, df = _row_cluster(y, w, labels, fpc)
    else:
        mean, error, df = _simple(y, w, fpc)

    cv = np.nan
    if n > 1 and mean > 0:
        cv = np.sqrt(np.sum(w * (y - mean) ** 2) / w.sum() * n / (n - 1)) / mean
    if total is not None and n == total:
        error = 0.0
    if error == 0:
        low = high = mean
    elif df >= 1 and np.isfinite(error):
        half = _t_quantile(confidence, df) * error
        low, high = max(0.0, mean - half), mean + half
    else:
        low = high = np.nan
    return SampleMean(
        float(mean), float(error), float(low), float(high), int(n), total, design, float(cv),
        float(df), confidence,
    )  # fmt: skip


def checked_confidence(confidence):
    """Return a level of confidence as a float [1], or say why it cannot be one.

    Raises
    ------
    CroploadError
        A level that is not between 0 and 1.
    """
    level = arguments.plain_number(confidence)
    if not 0 < level < 1:
        raise CroploadError(
            f"Confidence must lie between 0 and 1, but {arguments.shown(confidence)} was given; "
            "write 0.95 for 95 %."
        )
    return level


def _t_quantile(confidence, df):
    # Loaded late: scipy.stats is slow to import, and most of the package does not need it.
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.5 + confidence / 2))


def _numbers(values, name):
    try:
        y = np.ravel(values)
        if y.dtype.kind in "bcmM" or values is None:
            raise TypeError(f"{arguments.shown(values)} was given")
        if y.dtype.kind not in "iuf":
            y = pd.to_numeric(pd.Series(y)).to_numpy(dtype=float)
        y = y.astype(float)
    except (TypeError, ValueError, OverflowError) as fault:
        raise CroploadError(f"The {name} must be numbers or blanks: {fault}.") from None
    if np.isinf(y).any():
        raise CroploadError(f"The {name} hold an infinite number; leave a blank instead.")
    return y


def _matched(part, keep, name):
    y = _numbers(part, name)
    if y.size != keep.size:
        raise CroploadError(f"There are {keep.size} values but {y.size} {name}; give one a value.")
    return y[keep]


def _population_total(population, n):
    if population is None:
        return None
    if isinstance(population, Mapping | pd.Series):
        population = sum(arguments.plain_number(size) for size in dict(population).values())
    total = arguments.plain_number(population)
    if np.isnan(total):
        raise CroploadError(
            f"The population is {arguments.shown(population)}; it must be a number of bearing "
            "vines, or one for each row."
        )
    if not np.isfinite(total) or total < n:
        raise CroploadError(
            f"The sample has {n} vines but the block {total:g}; a sample cannot be larger than "
            "what it stands for. Check the number of bearing vines."
        )
    return total


def _simple(y, w, fpc):
    """Vines picked at random: values, weights [1] and the finite population correction [1]."""
    n = y.size
    mean = np.sum(w * y) / w.sum()
    if n == 1:
        return mean, np.nan, 0.0
    variance = n / (n - 1) * np.sum((w * (y - mean)) ** 2) / w.sum() ** 2
    return mean, np.sqrt(variance * fpc), n - 1.0


def _row_cluster(y, w, labels, fpc):
    """A few rows standing for all: the ratio of their totals to their weights."""
    row = np.unique(labels, return_inverse=True)[1]
    total, weight = np.bincount(row, w * y), np.bincount(row, w)
    rows, mean = total.size, total.sum() / weight.sum()
    if rows == 1:
        return mean, np.nan, 0.0
    variance = rows / (rows - 1) * np.sum((total - mean * weight) ** 2) / weight.sum() ** 2
    return mean, np.sqrt(variance * fpc), rows - 1.0


def _stratified(y, labels, total, by_row):
    """Vines picked row by row; ``by_row`` maps a row to its bearing vines [1], or is None."""
    sampled, row = np.unique(labels, return_inverse=True)
    if by_row is None:
        names = sampled
        size = np.full(sampled.size, 1.0 if total is None else total / sampled.size)
    else:
        names, size, sampled = _listed_rows(by_row, sampled)
        row = np.searchsorted(names, sampled)[row]
    group = _joined(np.bincount(row, minlength=names.size))
    size = np.bincount(group, size)
    group = group[row]
    n = np.bincount(group, minlength=size.size)
    if y.size == 1:
        return y[0], np.nan, 0.0
    means = np.bincount(group, y, size.size) / n
    variance = np.bincount(group, (y - means[group]) ** 2, size.size) / (n - 1)
    if total is not None and (n > size + 1e-9).any():
        if by_row is not None:
            raise CroploadError("More vines were counted in a row than population says it has.")
        # Rows of unequal length taken as equal: the correction stops at a full count.
        size = np.maximum(size, n)
    share = size / size.sum()
    left = 1.0 if total is None else 1 - n / size
    error = np.sqrt(np.sum(share**2 * variance / n * left))
    return np.sum(share * means), error, float(y.size - size.size)


def _row_labels(part, keep, design, name):
    """Return the rows of the counted vines.

    Raises
    ------
    CroploadError
        No rows, another number of rows than of values, or a counted vine without one.
    """
    if part is None:
        raise CroploadError(f"A {design} sample needs the row of each vine; give {name}.")
    labels = np.ravel(part)
    if labels.size != keep.size:
        raise CroploadError(f"There are {keep.size} values but {labels.size} {name}.")
    labels = labels[keep]
    if pd.isna(labels).any() or (labels.dtype.kind not in "iuf" and (labels == "").any()):
        raise CroploadError(
            f"A counted vine has no row, so the sample cannot be read as {design}; enter its row."
        )
    return _row_order(labels)


def _row_order(labels):
    """Turn row labels such as "2" and "10" into numbers, so that neighbours stay neighbours."""
    if labels.dtype.kind in "iuf":
        return labels.astype(float)
    numbers = pd.to_numeric(pd.Series(labels), errors="coerce").to_numpy(dtype=float)
    return labels.astype(str) if np.isnan(numbers).any() else numbers


def _listed_rows(by_row, sampled):
    rows = {row: float(size) for row, size in dict(by_row).items() if float(size) > 0}
    names = _row_order(np.array(list(rows)))
    if names.dtype.kind != sampled.dtype.kind:
        names, sampled = _as_text(names), _as_text(sampled)
    missing = np.setdiff1d(sampled, names)
    if missing.size:
        raise CroploadError(
            f"The sample has vines in row {missing[0]!s}, which population does not list."
        )
    order = np.argsort(names)
    return names[order], np.array(list(rows.values()))[order], sampled


def _as_text(labels):
    return np.array([f"{label:g}" for label in labels]) if labels.dtype.kind == "f" else labels


def _joined(counted):
    """Number the rows so that every group holds two counted vines, joining neighbours."""
    if (counted >= 2).all():
        return np.arange(counted.size)
    group, number, held = [], 0, 0
    for count in counted:
        if held >= 2:
            number, held = number + 1, 0
        group.append(number)
        held += count
    if held < 2 and number > 0:  # the last group is too small: it joins the one before
        group = [min(part, number - 1) for part in group]
    return np.asarray(group)
