"""Groundwork: the records of an estate as arrays, from which any of its blocks can be believed."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.forecasting.accepted import NOTHING, Accepted, accepted_before
from cropload.forecasting.grid import Grid
from cropload.forecasting.learn_spreads import learn_spreads, teachers
from cropload.forecasting.measured import (
    BlockFacts,
    block_facts,
    measurements,
    plans_by_season,
    shape_of,
)
from cropload.forecasting.spreads import GROUPS, Spreads
from cropload.vine.growth import (
    COMPONENTS,
    STAGES,
    LoadState,
    PlanShape,
    response_shift,
    stage_rows,
)
from cropload.vine.load_response import RESPONSES, carried_load, exponents
from cropload.vine.plan import PruningPlan

#: Seasons of history used; older ones tell little of today's vines.
HISTORY_SEASONS = 12


def prior_logs(variety):
    """Return prior means and spreads of the log components for a variety, with their keys.

    Returns
    -------
    mean, spread : ndarray, shape (components,) [1]
    keys : list of str
        The handbook key behind each.
    """
    own = handbook.variety(variety)
    mean, spread, keys = [], [], []
    for name in COMPONENTS:
        entry = own.get(name)
        if entry is None or entry.value is None or entry.spread is None:
            entry = handbook.entry(f"prior.{name}")
        mean.append(np.log(entry.value))
        spread.append(entry.spread)
        keys.append(entry.key)
    return np.array(mean), np.array(spread), keys


def prior_spreads():
    """Return the handbook's spreads of blocks, seasons and residuals, as the engine takes them."""
    entries = [[handbook.entry(f"sd.{name}.{group}") for name in COMPONENTS] for group in GROUPS]
    return (
        np.array([[e.value for e in row] for row in entries], float),
        np.array([[e.extra["dof"] for e in row] for row in entries], float),
    )


def _loads(records, facts, seasons, plans, counted, reference_plans, accepted):
    """Return planned loads by block and season, with what stands in where none is on record."""
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


def _seasons(measured, plans, season):
    """Return the seasons of the grid, one after the other, the one forecast last.

    Seasons with a plan and no measurement belong to them: vines carry that load too. The season
    before is always there, so that the load carried is never the one about to be chosen.
    """
    found = [int(s) for s in measured["season"].unique()] + [planned for _, planned in plans]
    earlier = [s for s in found if season - HISTORY_SEASONS <= s < season]
    return list(range(min([*earlier, season - 1]), season + 1))


def _usual_loads(log_buds, measured_in, facts, latest):
    """Return the load each block's components refer to, and whether it is on record.

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
    for b in np.flatnonzero(~on_record):
        sisters = on_record & (varieties == varieties[b])
        pool = sisters if sisters.any() else on_record
        level = (
            np.mean((usual - per_metre)[pool])
            if pool.any()
            else np.log(handbook.value("load.reference_buds_per_m"))
        )
        usual[b] = level + per_metre[b]
    return usual, on_record


def _fill(log_buds, usual):
    """Fill unknown loads of past seasons with the block's nearest earlier one, else its usual."""
    filled = log_buds.copy()
    for t in range(filled.shape[1]):
        before = filled[:, t - 1] if t else usual
        filled[:, t] = np.where(np.isnan(filled[:, t]), before, filled[:, t])
    return filled


def load_shift(mean, shape, state):
    """Return how what is not known of the load response moves each component, by the load alone.

    Parameters
    ----------
    mean : ndarray, shape (n, components)
        Prior means of the logs [1].
    shape, state
        As in ``stage_rows``.

    Returns
    -------
    ndarray, shape (n, components, responses)
        As from ``response_shift`` [1].

    Notes
    -----
    The clusters that weight answers to are those of the plan, against those of the usual load.
    Were they the clusters counted, their sampling error would stand on both sides, and thousands
    of blocks would seem to know a response that none of them has shown.
    """
    usual = state.log_reference
    flat = PlanShape(usual, np.zeros_like(usual), np.zeros_like(usual))
    rows, offset = stage_rows(mean, flat, LoadState(usual, usual, usual), exponents())
    stage = STAGES.index("clusters")
    counted = np.einsum("nk,nk->n", rows[:, stage], mean) + offset[:, stage]
    clusters = counted - mean[:, COMPONENTS.index("counting_bias")]
    return response_shift(mean, shape, LoadState(usual, state.log_carried, clusters), exponents())


def straight_about(mean, centre, precision, variety):
    """Return where the chain is made straight for each block.

    Parameters
    ----------
    mean, centre : ndarray, shape (blocks, components)
        Logs of the components: prior means, and what is believed at first [1].
    precision : ndarray, shape (blocks, seasons, stages)
        As in ``Grid``.
    variety : ndarray of int, shape (blocks,)
        Index of the variety.

    Returns
    -------
    ndarray, shape (blocks, components)

    Notes
    -----
    Only the share of the clusters on non-count shoots bends, so only shoots and non-count shoots
    matter. Where a block's were counted its own are taken, elsewhere the mean over the blocks of
    its variety with any record: a point of its own for every block would let each one's errors in,
    thousands of times.
    """
    about = mean.copy()
    measured = (precision > 0).any((1, 2))
    members = [np.flatnonzero(variety == v) for v in range(int(variety.max()) + 1)]
    for name, stage in (("shoots_per_bud", "shoots"), ("noncount_shoots", "noncount_shoots")):
        at = COMPONENTS.index(name)
        for places in members:
            if len(places):
                some = places[measured[places]]
                about[places, at] = centre[some if len(some) else places, at].mean()
        seen = (precision[:, :, STAGES.index(stage)] > 0).any(1)
        about[seen, at] = centre[seen, at]
    return about


@dataclass(frozen=True, eq=False)
class Groundwork:
    """What the records say, before anything is believed: arrays by block and season.

    The seasons stand in order, the one forecast last. ``buds``, ``burst`` and ``fertility``:
    (blocks, seasons), logs of the load and of the plans' node profiles relative to the block's
    last one [1]; ``carried``: the load carried before each season; ``usual`` and
    ``usual_clusters``: (blocks,), what the components refer to; ``values`` and ``precision``:
    (blocks, seasons, stages), logs as measured and 1 / their sampling variance [1].
    """

    season: int
    facts: BlockFacts
    measured: pd.DataFrame
    plans: dict
    profiles: dict
    profile_shoots: dict
    last_plan: tuple
    load_known: np.ndarray
    reference: np.ndarray
    buds: np.ndarray
    burst: np.ndarray
    fertility: np.ndarray
    carried: np.ndarray
    usual: np.ndarray
    usual_clusters: np.ndarray
    values: np.ndarray
    precision: np.ndarray
    mean: np.ndarray
    variety: np.ndarray
    varieties: tuple
    variety_spread: np.ndarray
    prior_keys: dict
    accepted: Accepted = NOTHING
    accepted_notes: tuple = ()

    def lines(self, places, about):
        """Return offsets and the engine's grid of some blocks.

        Parameters
        ----------
        places : ndarray of int
            Places of the blocks.
        about : ndarray, shape (blocks, components)
            Logs of their components about which the chain is made straight [1].
        """
        count = self.buds.shape[1]

        def cells(array):
            return np.repeat(array[places][:, None], count, axis=1).ravel()

        shape = PlanShape(
            self.buds[places].ravel(), self.burst[places].ravel(), self.fertility[places].ravel()
        )
        state = LoadState(
            cells(self.usual), self.carried[places].ravel(), cells(self.usual_clusters)
        )
        rows, offset = stage_rows(np.repeat(about, count, axis=0), shape, state, exponents())
        values, precision = self.values[places], self.precision[places]
        shift = load_shift(np.repeat(self.mean[places], count, axis=0), shape, state)
        shift = shift.reshape(*values.shape[:2], len(COMPONENTS), len(RESPONSES))
        offset = offset.reshape(values.shape)
        rows = rows.reshape(*values.shape, len(COMPONENTS))
        mean, variety = self.mean[places], self.variety[places]
        return offset, Grid(rows, values - offset, precision, mean, variety, shift)

    def learn(self):
        """Return the spreads that these records teach."""
        places = teachers(self.precision)
        _, grid = self.lines(places, self.mean[places])
        return learn_spreads(grid, Spreads(*prior_spreads(), self.variety_spread))


def lay_ground(
    records,
    season,
    *,
    reference_plans=None,
    season_plans=None,
    this_season=None,
    measured=None,
    accepted=None,
):
    """Read from the records all that the beliefs about any block rest on.

    Parameters
    ----------
    records, season, reference_plans, season_plans, this_season, accepted
        As in ``build_estate``.
    measured : DataFrame, optional
        All that ``measurements`` makes of the records, where it is at hand.

    Returns
    -------
    Groundwork

    Notes
    -----
    At most the last 12 seasons are used.
    """
    facts = block_facts(records)
    accepted = accepted_before(records, int(season)) if accepted is None else accepted
    given = {
        facts.place(block): PruningPlan.parse(plan)
        for block, plan in (reference_plans or {}).items()
    }
    if measured is None:
        measured = measurements(records, facts, accepted.counters)
    measured = measured[measured["season"] < season]
    measured = measured[measured["season"] >= season - HISTORY_SEASONS]
    plans = plans_by_season(records)
    seasons = _seasons(measured, plans, int(season))
    if this_season is not None and len(this_season):
        measured = pd.concat([measured, this_season], ignore_index=True)
    plans.update({(block, int(season)): plan for block, plan in (season_plans or {}).items()})
    buds = measured[measured["stage"] == "buds"]
    counted = dict(
        zip(zip(buds["block"], buds["season"], strict=True), buds["log_value"], strict=True)
    )
    profiles, shoots, shape, planned, reference, latest = _loads(
        records, facts, seasons, plans, counted, given, accepted
    )
    place = {name: b for b, name in enumerate(facts.names)}
    measured_in = np.zeros(planned.shape, bool)
    b = measured["block"].map(place).to_numpy(int)
    t = measured["season"].to_numpy(int) - seasons[0]
    measured_in[b, t] = True
    usual, on_record = _usual_loads(shape[0], measured_in, facts, latest)
    # The forecast season's own plan is what a view varies, so it is set apart from the past.
    filled = _fill(shape[0], usual)
    carried = carried_load(filled)
    blocks, count = filled.shape

    priors = {name: prior_logs(name) for name in dict.fromkeys(facts.varieties)}
    means, spreads, keys = zip(*(priors[name] for name in facts.varieties), strict=True)
    mean = np.array(means)
    variety_names = list(dict.fromkeys(facts.varieties))
    variety = np.array([variety_names.index(v) for v in facts.varieties])

    # Cluster weight is stated at the clusters the block usually carries: the clusters counted, a
    # bud of those seasons, at the usual load.
    here = ((measured["stage"] == "clusters") & (measured["season"] < season)).to_numpy(bool)
    per_bud = measured["log_value"].to_numpy(float)[here] - filled[b, t][here]
    counted_in = np.bincount(b[here], minlength=blocks)
    per_bud = np.bincount(b[here], per_bud, minlength=blocks) / np.maximum(counted_in, 1)
    usual_clusters = usual + np.where(
        counted_in > 0,
        per_bud - mean[:, COMPONENTS.index("counting_bias")],
        mean[:, COMPONENTS.index("shoots_per_bud")]
        + mean[:, COMPONENTS.index("clusters_per_shoot")],
    )

    values = np.zeros((blocks, count, len(STAGES)))
    precision = np.zeros(values.shape)
    if len(measured):
        s = measured["stage"].map({name: i for i, name in enumerate(STAGES)}).to_numpy(int)
        values[b, t, s] = measured["log_value"].to_numpy(float)
        precision[b, t, s] = 1 / np.maximum(measured["log_variance"].to_numpy(float), 1e-8)
    # Buds counted stand in for a plan that was not written down: they cannot also judge it.
    precision[:, :, STAGES.index("buds")] *= planned
    first_of = [facts.varieties.index(name) for name in variety_names]
    return Groundwork(
        season=int(season),
        facts=facts,
        measured=measured,
        plans=plans,
        profiles=profiles,
        profile_shoots=shoots,
        last_plan=latest,
        load_known=on_record,
        reference=reference,
        buds=filled,
        burst=shape[1] - reference[0][:, None],
        fertility=shape[2] - reference[1][:, None],
        carried=carried,
        usual=usual,
        usual_clusters=usual_clusters,
        values=values,
        precision=precision,
        mean=mean,
        variety=variety,
        varieties=tuple(variety_names),
        variety_spread=np.array(spreads)[first_of],
        prior_keys=dict(zip(facts.varieties, keys, strict=True)),
        accepted=accepted,
        accepted_notes=accepted.notes(
            set(facts.varieties), set(records.counts["counter"].astype(str).str.strip())
        ),
    )
