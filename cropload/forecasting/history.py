"""Pooling: past seasons (and this season's counts) to beliefs about every block of the estate."""

import weakref
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.forecasting import beliefs as engine
from cropload.forecasting.measured import (
    BlockFacts,
    block_facts,
    measurements,
    node_profile,
    plans_by_season,
    shape_of,
)
from cropload.records.until import records_until
from cropload.vine.growth import (
    COMPONENTS,
    STAGES,
    LoadState,
    PlanShape,
    response_shift,
    stage_rows,
)
from cropload.vine.load_response import carried_load, exponents
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
    entries = [
        [handbook.entry(f"sd.{name}.{group}") for name in COMPONENTS] for group in engine.GROUPS
    ]
    return (
        np.array([[e.value for e in row] for row in entries], float),
        np.array([[e.extra["dof"] for e in row] for row in entries], float),
    )


@dataclass(frozen=True, eq=False)
class Estate:
    """Everything a forecast needs of an estate in one season.

    Arrays are per block, in the order of ``facts.names``. ``log_reference``, ``log_carried`` and
    ``log_clusters_reference`` are natural logs of the loads the components refer to [1/vine];
    ``load_known`` says whether any load of the block is on record; ``last_plan`` is the latest
    plan on record before the season, or None. ``season_rows``, ``season_offset`` and
    ``season_shift`` are the straight lines of the season forecast, as from ``stage_rows`` and
    ``response_shift``, at ``season_log_buds``, the log of the load that is carried in it, about
    the log components ``straight_about``.
    """

    season: int
    facts: BlockFacts
    measured: pd.DataFrame
    plans: dict
    profiles: dict
    profile_shoots: dict
    reference_shape: PlanShape
    log_reference: np.ndarray
    log_carried: np.ndarray
    log_clusters_reference: np.ndarray
    load_known: np.ndarray
    last_plan: tuple
    prior_keys: dict
    straight_about: np.ndarray
    season_rows: np.ndarray
    season_offset: np.ndarray
    season_shift: np.ndarray
    season_log_buds: np.ndarray
    season_burst: np.ndarray
    season_fertility: np.ndarray
    beliefs: engine.Beliefs = field(repr=False)

    def load(self):
        """Return what the season's load rests on, one row a log and one column a block [1]."""
        now = (self.season_log_buds, self.season_burst, self.season_fertility)
        return np.stack([*now, self.log_reference, self.log_carried])

    def state(self, blocks):
        """Return the load state of some blocks, arrays of shape (blocks, 1)."""
        return LoadState(
            self.log_reference[blocks][:, None],
            self.log_carried[blocks][:, None],
            self.log_clusters_reference[blocks][:, None],
        )


def _loads(records, facts, seasons, plans, counted, reference_plans):
    """Return planned loads by block and season, with what stands in where none is on record."""
    profiles, shoots = {}, {}
    for variety in dict.fromkeys(facts.varieties):
        profiles[variety], shoots[variety] = node_profile(records, variety, facts)
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


def build_estate(
    records, season, *, reference_plans=None, season_plans=None, this_season=None, learned=None
):
    """Learn the components of every block from the records.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of the harvest that is forecast.
    reference_plans : dict, optional
        {block name: PruningPlan} that a block without any plan on record has carried.
    season_plans : dict, optional
        {block name: PruningPlan} of the season itself, instead of what is on record.
    this_season : DataFrame, optional
        Measurements of the season itself, as from ``measurements``; none by default, so only
        earlier seasons speak.
    learned : Learned, optional
        Spreads of the effects; learnt from the grid when left out.

    Returns
    -------
    Estate

    Notes
    -----
    At most the last 12 seasons are used.
    """
    facts = block_facts(records)
    given = {
        facts.place(block): PruningPlan.parse(plan)
        for block, plan in (reference_plans or {}).items()
    }
    measured = measurements(records, facts)
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
        records, facts, seasons, plans, counted, given
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

    means, spreads, keys = zip(*(prior_logs(v) for v in facts.varieties), strict=True)
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

    def cells(array):
        return np.repeat(array[:, None], count, axis=1).ravel()

    loads = (
        PlanShape(
            filled.ravel(),
            (shape[1] - reference[0][:, None]).ravel(),
            (shape[2] - reference[1][:, None]).ravel(),
        ),
        LoadState(cells(usual), carried.ravel(), cells(usual_clusters)),
        exponents(),
    )
    values = np.zeros((blocks, count, len(STAGES)))
    precision = np.zeros(values.shape)
    if len(measured):
        s = measured["stage"].map({name: i for i, name in enumerate(STAGES)}).to_numpy(int)
        values[b, t, s] = measured["log_value"].to_numpy(float)
        precision[b, t, s] = 1 / np.maximum(measured["log_variance"].to_numpy(float), 1e-8)
    # Buds counted stand in for a plan that was not written down: they cannot also judge it.
    precision[:, :, STAGES.index("buds")] *= planned

    def straight(about):
        chain = (np.repeat(about, count, axis=0), *loads)
        rows, offset = stage_rows(*chain)
        shift = response_shift(*chain).reshape(blocks, count, len(COMPONENTS), -1)
        offset = offset.reshape(values.shape)
        rows = rows.reshape(*values.shape, len(COMPONENTS))
        return offset, engine.Grid(rows, values - offset, precision, mean, variety, shift)

    _, grid = straight(mean)
    if learned is None:
        first_of = [facts.varieties.index(name) for name in variety_names]
        spreads = engine.Spreads(*prior_spreads(), np.array(spreads)[first_of])
        learned = engine.learn_spreads(grid, spreads)
    # The chain bends where many non-count shoots bear and where the load has changed, so it is
    # made straight once more about what is now believed of each block.
    about = engine.believe(grid, facts.names, learned).centre
    offset, grid = straight(about)
    return Estate(
        season=int(season),
        facts=facts,
        measured=measured,
        plans=plans,
        profiles=profiles,
        profile_shoots=shoots,
        reference_shape=PlanShape(np.zeros(blocks), reference[0], reference[1]),
        log_reference=usual,
        log_carried=carried[:, -1],
        log_clusters_reference=usual_clusters,
        load_known=on_record,
        last_plan=latest,
        prior_keys=dict(zip(facts.varieties, keys, strict=True)),
        straight_about=about,
        season_rows=grid.rows[:, -1],
        season_offset=offset[:, -1],
        season_shift=grid.response[:, -1],
        season_log_buds=filled[:, -1],
        season_burst=shape[1, :, -1] - reference[0],
        season_fertility=shape[2, :, -1] - reference[1],
        beliefs=engine.believe(grid, facts.names, learned),
    )


_KEPT = weakref.WeakKeyDictionary()


def _kept(records, key, make):
    """Return what was made for these records before, or make it now and keep it with them."""
    kept = _KEPT.setdefault(records, {})
    if key not in kept:
        kept[key] = make()
    return kept[key]


def estate_before_season(records, season, reference_plans=None):
    """Return the estate as known before the season, learnt once for each set of records."""
    plans = tuple(sorted((b, str(p)) for b, p in (reference_plans or {}).items()))
    return _kept(
        records,
        ("estate", int(season), plans),
        lambda: build_estate(records, season, reference_plans=reference_plans),
    )


def learned_before(records, season):
    """Return the spreads learnt from the seasons before one, once for each set of records.

    Notes
    -----
    Counts of the season itself do not speak here, so a forecast on any day of it, made again
    later, uses nothing that was not known then.
    """
    return _kept(
        records,
        ("learned", int(season)),
        lambda: build_estate(
            records_until(records, f"{int(season)}-01-01"), season
        ).beliefs.learned,
    )
