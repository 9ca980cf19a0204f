"""Fruit over the limits, each tonne once, though limits lie within one another."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Rows:
    """Limits in the order in which they turn fruit away.

    starts, ends : first and last days, (rows) [d since 1970-01-01]; limit : (rows) [t]; member :
    (rows, blocks), whether a row counts a block's fruit; inside : for each row the earlier ones
    that lie within it.
    """

    starts: np.ndarray
    ends: np.ndarray
    limit: np.ndarray
    member: np.ndarray
    varieties: tuple
    inside: tuple

    def only(self, places):
        """Return some of the rows, with all that lie within them among them."""
        new = {int(place): at for at, place in enumerate(places)}
        return Rows(
            self.starts[places],
            self.ends[places],
            self.limit[places],
            self.member[places],
            tuple(self.varieties[place] for place in places),
            tuple(tuple(new[at] for at in self.inside[place]) for place in places),
        )


def rows_of(limits, ahead):
    """Return the limits ahead as rows that turn fruit away, from the narrowest to the widest.

    Parameters
    ----------
    limits : Limits
        As from ``limits_of``.
    ahead : ndarray of bool, shape (limits,)
        Which of them count.

    Notes
    -----
    Closed stretches are taken day by day, so that each lies within the periods around it.
    """
    found = []
    for at in np.flatnonzero(ahead & np.isfinite(limits.limit)):
        start, end, most = int(limits.starts[at]), int(limits.ends[at]), limits.limit[at]
        spans = [(day, day) for day in range(start, end + 1)] if most == 0 else [(start, end)]
        found += [(*span, float(most), limits.varieties[at], at) for span in spans]
    # Of a day, what is closed comes first, and a variety before all fruit.
    found.sort(key=lambda row: (row[1] - row[0], row[2] > 0, row[3] == "", row[0]))
    inside = []
    for at, (start, end, _, variety, _) in enumerate(found):
        inside.append(
            tuple(
                other
                for other, (low, high, _, theirs, _) in enumerate(found[:at])
                if start <= low and high <= end and variety in ("", theirs)
            )
        )
    columns = list(zip(*found, strict=True)) if found else [()] * 5
    return Rows(
        np.array(columns[0], int),
        np.array(columns[1], int),
        np.array(columns[2], float),
        limits.member[list(columns[4])].reshape(len(found), limits.member.shape[1]),
        columns[3],
        tuple(inside),
    )


def turned_by_row(sums, rows):
    """Return the fruit that each row turns away [t].

    Parameters
    ----------
    sums : ndarray, shape (..., rows, draws)
        What each row counts [t].
    rows : Rows
        As from ``rows_of``.

    Returns
    -------
    ndarray, shape (..., rows, draws)

    Notes
    -----
    What a row turns away does not count against the rows around it. Where rows overlap only in
    part, this is the most it can be.
    """
    less = np.empty(sums.shape)
    for at, within in enumerate(rows.inside):
        left = sums[..., at, :] - rows.limit[at]
        for other in within:
            left = left - less[..., other, :]
        np.maximum(left, 0.0, out=less[..., at, :])
    return less
