"""The three designs of a sample of vines: mean, standard error and degrees of freedom of each."""

import numpy as np
import pandas as pd

from cropload.errors import CroploadError


def simple(y, w, fpc):
    """Vines picked at random: values, weights [1] and the finite population correction [1]."""
    n = y.size
    mean = np.sum(w * y) / w.sum()
    if n == 1:
        return mean, np.nan, 0.0
    variance = n / (n - 1) * np.sum((w * (y - mean)) ** 2) / w.sum() ** 2
    return mean, np.sqrt(variance * fpc), n - 1.0


def row_cluster(y, w, labels, fpc):
    """A few rows standing for all: the ratio of their totals to their weights."""
    row = np.unique(labels, return_inverse=True)[1]
    total, weight = np.bincount(row, w * y), np.bincount(row, w)
    rows, mean = total.size, total.sum() / weight.sum()
    if rows == 1:
        return mean, np.nan, 0.0
    variance = rows / (rows - 1) * np.sum((total - mean * weight) ** 2) / weight.sum() ** 2
    return mean, np.sqrt(variance * fpc), rows - 1.0


def stratified(y, labels, total, by_row):
    """Vines picked row by row; ``by_row`` maps a row to its bearing vines [1], or is None."""
    found, row = np.unique(labels, return_inverse=True)
    if by_row is None:
        names = found
        size = np.full(found.size, 1.0 if total is None else total / found.size)
    else:
        names, size, found = _listed_rows(by_row, found)
        row = np.searchsorted(names, found)[row]
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


def row_labels(part, keep, design, name):
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


def _listed_rows(by_row, found):
    rows = {row: float(size) for row, size in dict(by_row).items() if float(size) > 0}
    names = _row_order(np.array(list(rows)))
    if names.dtype.kind != found.dtype.kind:
        names, found = _as_text(names), _as_text(found)
    missing = np.setdiff1d(found, names)
    if missing.size:
        raise CroploadError(
            f"The sample has vines in row {missing[0]!s}, which population does not list."
        )
    order = np.argsort(names)
    return names[order], np.array(list(rows.values()))[order], found


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
