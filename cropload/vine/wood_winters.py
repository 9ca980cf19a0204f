"""A place for a cane or a spur from winter to winter, as an exact chain of what it may carry."""

import numpy as np

#: What a place may carry: a cane (or a spur bearing alone) and all it needs to be renewed from,
#: a cane with no spur below it, a spur that is to grow a cane again, or nothing.
FULL, BARE, SPUR, LOST = range(4)


def winters_on(rows, start, winters):
    """Return the expected share of places short, and lost, after each winter.

    Parameters
    ----------
    rows : dict
        State -> chances of the four states one winter later [1], None for never. States that are
        not reached may be left out.
    start : int
        State in which every place begins.
    winters : int
        Winters to follow [1].

    Returns
    -------
    short, lost : ndarray, (winters, ...)
        Share of places that carry no cane (or no spur, for a place of spurs alone), and of those
        that carry nothing [1].

    Notes
    -----
    Valid where a winter depends on what the last one left and on nothing before it.
    """
    shape = np.shape(rows[LOST][LOST])
    share = [np.ones(shape) if state == start else np.zeros(shape) for state in range(4)]
    short_by, lost_by = [], []
    for _ in range(winters):
        after = [np.zeros(shape) for _ in range(4)]
        for here, row in rows.items():
            for to, chance in enumerate(row):
                if chance is not None:
                    after[to] = after[to] + share[here] * chance
        share = after
        short_by.append(share[SPUR] + share[LOST])
        lost_by.append(share[LOST])
    return np.stack(short_by), np.stack(lost_by)


def place_chains(spur, base, rebuild):
    """Return the chains of the four kinds of place, each as (rows, start) for ``winters_on``.

    Parameters
    ----------
    spur, base : tuple of ndarray
        Chances that the spur, and that the base of the old cane, offer two fit shoots or more, just
        one, or none [1].
    rebuild : ndarray
        Chance a winter that a lost place is started again [1].

    Returns
    -------
    base_used, spur_only, no_spur, alone : tuple
        A cane place with a renewal spur, with the base of the old cane used too, or with nothing
        but the spur used; a cane place without a renewal spur; a spur alone.

    Notes
    -----
    Valid for shoots of the spur and of the base that grow independently of each other.
    """
    (both, one, none), (base_both, base_one, base_none) = spur, base
    never = None
    back = rebuild + np.zeros_like(base_none)
    stays = 1 - back
    pool_none = none * base_none
    pool_one = one * base_none + none * base_one
    base_used = {
        FULL: (1 - pool_one - pool_none, pool_one, never, pool_none),
        BARE: (base_both, base_one, never, base_none),
        # There is no old cane above a spur alone, and so no base to help out.
        SPUR: (both, one, never, none),
        LOST: (never, never, back, stays),
    }
    kept_as_spur = (both, never, one, none)
    spur_only = {FULL: kept_as_spur, SPUR: kept_as_spur, LOST: base_used[LOST]}
    no_spur = {
        BARE: (never, base_both + base_one, never, base_none),
        LOST: (never, back, never, stays),
    }
    alone = {FULL: (both + one, never, never, none), LOST: (back, never, never, stays)}
    return (base_used, FULL), (spur_only, FULL), (no_spur, BARE), (alone, FULL)
