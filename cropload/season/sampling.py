"""How many vines to count, and how much the vines of a block differ.

The split between counting and weighing is in ``two_step``, the picking of vines in
``vine_picking``.  A sample size for a mean and one for a proportion are two functions, because
they answer two questions: see :func:`sample_size_for_proportion`.
"""

import math
from dataclasses import dataclass

import numpy as np

from cropload import arguments, handbook
from cropload.beliefs.counting import checked_confidence
from cropload.beliefs.log_means import expected_cv_key
from cropload.errors import CroploadError, near
from cropload.season.vine_picking import block_of, pick_vines

__all__ = [
    "VineSpread",
    "cv_of_counts",
    "pick_vines",
    "sample_size",
    "sample_size_for_proportion",
]


def sample_size(cv, error, confidence=0.95, population=None, *, quantile="t"):
    """Vines to count for the mean of a block to be within a wanted error.

    Parameters
    ----------
    cv : float
        Coefficient of variation between vines [1]: 0.4 for 40 %.
    error : float
        Wanted half range, relative to the mean [1]: 0.1 for +-10 %.
    confidence : float
        Level of the range [1].
    population : int, optional
        Bearing vines of the block [1].
    quantile : {"t", "normal"}
        Student's t (the default), or the normal quantile that printed tables often use.

    Returns
    -------
    int
        The smallest n, two or more, with ``t(n-1) cv / sqrt(n) sqrt(1 - n/N) <= error`` [1];
        the whole population where nothing less will do.

    Raises
    ------
    CroploadError
        A negative CV, an error or population that is not above zero, a wrong confidence.

    Notes
    -----
    Valid for vines picked at random over the block; picked by row, the same number does better.
    A few clusters more or fewer a vine are not what limits it: missing vines, counting by eye and
    the walk to the far rows are, so count the missing vines apart.

    Examples
    --------
    >>> sample_size(0.40, 0.10)
    64
    >>> sample_size(0.40, 0.10, quantile="normal")
    62
    """
    cv = above(cv, "The coefficient of variation", zero=True)
    error = above(error, "The wanted error")
    confidence = checked_confidence(confidence)
    most = math.inf if population is None else int(above(population, "The number of vines"))
    if not isinstance(quantile, str) or quantile not in ("t", "normal"):
        raise CroploadError(f"The quantile is 't' or 'normal', not {arguments.shown(quantile)}.")

    def reached(n):
        left = 1.0 if population is None else max(0.0, 1 - n / most)
        half = quantile_of(confidence, n - 1 if quantile == "t" else math.inf)
        return half * cv / math.sqrt(n) * math.sqrt(left) <= error * (1 + 1e-12)

    high = 2
    while high < most and not reached(high):
        high *= 2
    high = int(min(high, most))
    low = min(2, high)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) else (middle + 1, high)
    return int(high)


def sample_size_for_proportion(margin, proportion=0.5, confidence=0.95, population=None):
    """Places to look at for a share (missing vines, dead buds) to be within a wanted margin.

    Parameters
    ----------
    margin : float
        Wanted half range, in share points [1]: 0.05 for +-5 points.
    proportion : float
        The share expected [1]; 0.5 is the widest case.
    confidence : float
        Level of the range [1].
    population : int, optional
        Places in the block [1].

    Returns
    -------
    int
        ``n0 / (1 + (n0 - 1)/N)`` rounded up, ``n0 = z**2 p (1-p) / margin**2`` [1].

    Raises
    ------
    CroploadError
        A margin, share, confidence or population out of range.

    Notes
    -----
    This is the wrong formula for a mean.  It knows only yes and no, so its answer does not depend
    on how much vines differ: it asks for 260 of 800 vines for "5 %" (a published advice,
    Washington State University 2006) whether clusters per vine vary by 15 % or by 60 %.  And its
    5 % are points of a share, not a part of the mean.  For clusters, shoots, buds or kilograms a
    vine use :func:`sample_size`; for missing vines or dead buds use this one.
    Valid for ``n p`` and ``n (1-p)`` above about five.

    Examples
    --------
    >>> sample_size_for_proportion(0.05, population=800)
    260
    """
    margin = above(margin, "The wanted margin")
    share = above(proportion, "The share")
    if share >= 1:
        raise CroploadError(
            f"A share lies between 0 and 1, but {share:g} was given; write 0.05 for 5 %."
        )
    z = quantile_of(checked_confidence(confidence), math.inf)
    n = z**2 * share * (1 - share) / margin**2
    if population is not None:
        most = above(population, "The number of places")
        n = min(n / (1 + (n - 1) / most), most)
    return max(1, math.ceil(n - 1e-9))


@dataclass(frozen=True)
class VineSpread:
    """How much vines of a block differ, and where that number came from."""

    cv: float
    vines: int
    came_from: str
    detail: str


@arguments.check_arguments(records=arguments.records, block=arguments.block, column=arguments.text)
def cv_of_counts(records, block, column):
    """Coefficient of variation between the vines of a block.

    Parameters
    ----------
    records, block : Records, str
        The season folder, and a block of it.
    column : str
        A column of ``counts``, such as ``clusters``.

    Returns
    -------
    VineSpread
        cv [1], the vines it rests on [1], and where it came from: the block's own counts, the
        variety's counts on this estate, or the handbook.

    Raises
    ------
    CroploadError
        An unknown block or column.

    Notes
    -----
    Pooled within visits (block, season and date), so a change between seasons or dates is not
    taken for a difference between vines.  Counts of fewer vines than the handbook's
    ``sampling.own_cv_vines`` are passed over as too few to tell a spread.
    Valid for vines picked at random or by row, not for vines picked because they looked typical.
    """
    row = block_of(records, block)
    key = expected_cv_key(column)
    counts = records.counts
    if column not in counts.columns:
        raise CroploadError(
            f"The counts have no column {column!r}. {near(column, counts.columns)}".rstrip()
        )
    enough = handbook.value("sampling.own_cv_vines")
    alike = records.blocks.loc[records.blocks["variety"] == row["variety"], "block"]
    for came_from, blocks in (
        (f"block {block}, own counts", [block]),
        (f"variety {row['variety']}, counts on this estate", list(alike)),
    ):
        mine = counts[counts["block"].isin(blocks)]
        visits = mine.groupby(["block", "season", "date"], dropna=False)[column]
        table = visits.agg(["mean", "count", "std"])
        table = table[(table["count"] > 1) & (table["mean"] > 0)]
        vines, dof = int(table["count"].sum()), (table["count"] - 1).sum()
        if vines >= enough:
            squared = ((table["count"] - 1) * (table["std"] / table["mean"]) ** 2).sum() / dof
            visits_word = "visit" if len(table) == 1 else "visits"
            detail = f"{vines} vines in {len(table)} {visits_word}"
            return VineSpread(float(np.sqrt(squared)), vines, came_from, detail)
    entry = handbook.entry(key)
    sources = ", ".join(entry.sources) or "no source"
    return VineSpread(
        float(entry.value), 0, f"handbook {key}", f"grade: {entry.grade}; source: {sources}"
    )


def above(number, what, zero=False):
    """Return a number above zero (or, with ``zero``, not below it) as a float, or say what it is.

    Raises
    ------
    CroploadError
        Anything else.
    """
    value = arguments.plain_number(number)
    if not math.isfinite(value) or value < 0 or (value == 0 and not zero):
        limit = "zero or more" if zero else "above zero"
        raise CroploadError(f"{what} must be a number {limit}, not {arguments.shown(number)}.")
    return value


def quantile_of(confidence, df):
    """Half width of an equal-tailed range in standard errors [1]: t, or normal for infinite df."""
    # Loaded late: scipy is slow to import and a picker of vines does not need it.
    from scipy.special import ndtri, stdtrit

    tail = 0.5 + confidence / 2
    if np.ndim(df) == 0 and math.isinf(df):
        return float(ndtri(tail))
    found = stdtrit(df, tail)
    return float(found) if np.ndim(found) == 0 else found
