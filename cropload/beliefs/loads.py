"""Loads: the buds each block carried in each season, and what stands in where none is known."""

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.beliefs.node_profiles import shape_of
from cropload.vine.training import HEDGE


def planned_loads(records, facts, seasons, plans, counted, reference_plans, accepted):
    """Return planned loads by block and season, with what stands in where none is on record.

    Parameters
    ----------
    records, facts, accepted
        As in ``Groundwork``.
    seasons : list of int
        One after the other, the one forecast last.
    plans : dict
        {(block, season): PruningPlan} on record.
    counted : dict
        {(block, season): log of the buds counted a vine} [1].
    reference_plans : dict
        {place of a block: PruningPlan} for blocks without any plan before the season.

    Returns
    -------
    profiles, shoots : dict
        Node profile of each variety, and the shoots examined for it [1].
    shape : ndarray, shape (3, blocks, seasons)
        Logs of buds, burst and fertility as in ``PlanShape`` [1]; buds are NaN where unknown.
    planned : ndarray of bool, shape (blocks, seasons)
        Where a plan is on record.
    reference : ndarray, shape (2, blocks)
        Logs of burst and fertility of the block's last plan [1].
    latest : tuple
        The last plan of each block before the season, or None.
    """
    profiles, shoots = {}, {}
    for variety in dict.fromkeys(facts.varieties):
        profiles[variety], shoots[variety] = accepted.profile(records, variety, facts)
    shape = np.full((3, len(facts.names), len(seasons)), np.nan)
    planned = np.zeros(shape.shape[1:], bool)
    cache, at = {}, {season: t for t, season in enumerate(seasons)}
    latest = [None] * len(facts.names)
    place = {name: b for b, name in enumerate(facts.names)}
    for (block, season), plan in sorted(plans.items(), key=lambda item: item[0][1]):
        b = place[block]
        if season < seasons[-1]:
            latest[b] = plan
        if season in at:
            shape[:, b, at[season]] = shape_of(plan, profiles[facts.varieties[b]], cache)
            planned[b, at[season]] = True
    for b, plan in (reference_plans or {}).items():
        if latest[b] is None:
            latest[b] = plan
    reference = np.zeros((2, len(facts.names)))
    for b, plan in enumerate(latest):
        if plan is not None:
            reference[:, b] = shape_of(plan, profiles[facts.varieties[b]], cache)[1:]
    # Where no plan was written down, the buds counted stand for it.
    log_buds = shape[0]
    for (block, season), value in counted.items():
        if season in at and np.isnan(log_buds[place[block], at[season]]):
            log_buds[place[block], at[season]] = value
    for what in (1, 2):
        blank = np.isnan(shape[what])
        shape[what] = np.where(blank, reference[what - 1][:, None], shape[what])
    return profiles, shoots, shape, planned, reference, tuple(latest)


def grown_loads(log_buds, log_age, facts):
    """Return what loads come to in a grown vine's buds, (blocks, seasons), logs [1].

    Parameters
    ----------
    log_buds, log_age : ndarray, shape (blocks, seasons)
        Logs of the buds a vine, NaN where unknown, and of the load usual at its age over a grown
        vine's [1].
    facts : BlockFacts
        Fixed facts of the blocks.

    Notes
    -----
    A young vine's plan is short for its age. One that would come to far more buds a metre than the
    handbook's usual load (``young.grown_above``) was written for the grown vine, and stands.
    """
    above = handbook.value("young.grown_above")
    most = np.array([handbook.band(_usual_key(training))[1] for training in facts.training])
    scaled = log_buds - log_age
    most = np.log(above * most * facts.canopy_length_m)[:, None]
    return np.where((log_age < 0) & (scaled > most), log_buds, scaled)


def _usual_key(training):
    """Return the handbook key of the load usual on a training; a hedge carries several times it."""
    return "load.hedge_buds_per_m" if training == HEDGE else "load.reference_buds_per_m"


def usual_loads(log_buds, measured_in, facts, latest):
    """Return the load each block's components refer to, and whether it is on record.

    Parameters
    ----------
    log_buds : ndarray, shape (blocks, seasons)
        Logs of the buds a vine, NaN where unknown [1].
    measured_in : ndarray of bool, shape (blocks, seasons)
        Where anything was measured.
    facts : BlockFacts
        Fixed facts of the blocks.
    latest : tuple
        As from ``planned_loads``.

    Returns
    -------
    usual : ndarray, shape (blocks,)
        Logs of buds a vine [1].
    on_record : ndarray of bool, shape (blocks,)

    Notes
    -----
    It is the mean over the seasons that were measured, for these are what the components come
    from; over all with a known load in a block where nothing was measured.
    """
    known = ~np.isnan(log_buds[:, :-1])
    both = known & measured_in[:, :-1]
    known = np.where(both.any(1)[:, None], both, known)
    total = np.where(known, log_buds[:, :-1], 0).sum(1)
    usual = np.where(known.any(1), total / np.maximum(known.sum(1), 1), np.nan)
    for b, plan in enumerate(latest):
        if np.isnan(usual[b]) and plan is not None:
            usual[b] = np.log(plan.buds)
    on_record = ~np.isnan(usual)
    per_metre = np.log(facts.canopy_length_m)
    varieties = np.array(facts.varieties, dtype=object)
    hedge = np.array([training == HEDGE for training in facts.training], dtype=bool)
    for b in np.flatnonzero(~on_record):
        alike = on_record & (hedge == hedge[b])
        sisters = alike & (varieties == varieties[b])
        pool = sisters if sisters.any() else alike
        key = _usual_key(facts.training[b])
        level = np.mean((usual - per_metre)[pool]) if pool.any() else np.log(handbook.value(key))
        usual[b] = level + per_metre[b]
    return usual, on_record


def load_spread():
    """Return the standard deviation of the log of a load that nobody wrote down [1].

    Notes
    -----
    It is read from the range of the handbook's usual load.
    """
    usual = handbook.entry("load.reference_buds_per_m")
    return np.log(usual.high / usual.low) / (2 * ranges.reach())


def filled_loads(log_buds, usual):
    """Fill unknown loads with the block's nearest earlier one, else its usual; logs of buds [1].

    ``usual``: (blocks, seasons), for a young vine that of its age.
    """
    filled, known = log_buds.copy(), np.zeros(len(log_buds), bool)
    for t in range(filled.shape[1]):
        blank = np.isnan(filled[:, t])
        filled[:, t] = np.where(blank, np.where(known, filled[:, t - 1], usual[:, t]), filled[:, t])
        known |= ~blank
    return filled
