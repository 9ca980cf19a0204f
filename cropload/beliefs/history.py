"""Pooling: past seasons (and this season's counts) to beliefs about every block of the estate."""

import weakref
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload.beliefs.accepted import NOTHING, Accepted, accepted_before
from cropload.beliefs.estate import Beliefs, believe, centres
from cropload.beliefs.fingerprint import fingerprint
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.linearise import straight_about
from cropload.beliefs.posterior import shared_posterior
from cropload.beliefs.priors import prior_logs
from cropload.beliefs.young import YoungSeason
from cropload.records.as_of import records_until
from cropload.records.facts import BlockFacts
from cropload.vine.growth import LoadState, PlanShape


@dataclass(frozen=True, eq=False)
class Estate:
    """Everything a forecast needs of an estate in one season.

    Arrays are per block, in the order of ``facts.names``. ``log_reference``, ``log_carried`` and
    ``log_clusters_reference`` are natural logs of the loads the components refer to [1/vine];
    ``load_known`` says whether any load of the block is on record; ``last_plan`` is the latest
    plan on record before the season, or None. ``season_rows``, ``season_offset`` and
    ``season_shift`` are the straight lines of the season forecast, as from ``stage_rows`` and
    ``load_shift``, at ``season_log_buds``, the log of the load that is carried in it, about
    the log components ``straight_about``. ``young`` says which vines are young in the season.
    ``accepted`` is what was learned on the estate before
    and is used here, and ``accepted_notes`` says so.
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
    young: YoungSeason
    beliefs: Beliefs = field(repr=False)
    accepted: Accepted = NOTHING
    accepted_notes: tuple = ()

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


def build_estate(
    records,
    season,
    *,
    reference_plans=None,
    season_plans=None,
    this_season=None,
    learned=None,
    accepted=None,
    unsure_loads=False,
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
    accepted : Accepted, optional
        What was learned on the estate and accepted; that of the records' folder when left out.
    unsure_loads : bool
        Whether crops of a block without any load on record say less of it, as they must where
        plans are compared: a usual load stands in, and nobody knows how far it is off.

    Returns
    -------
    Estate

    Notes
    -----
    At most the last 12 seasons are used.
    """
    ground = lay_ground(
        records,
        season,
        reference_plans=reference_plans,
        season_plans=season_plans,
        this_season=this_season,
        accepted=accepted,
        unsure_loads=unsure_loads,
    )
    return next(estates(ground, ground.learn() if learned is None else learned))


class _Lines:
    """The straight lines of all blocks, so many at a time; the last lot is kept."""

    def __init__(self, ground, lots, about):
        self.ground, self.lots, self.about = ground, lots, about
        self.kept = (None, None)

    def of(self, places):
        if self.kept[0] is not places:
            self.kept = (places, self.ground.lines(places, self.about[places]))
        return self.kept[1]

    def grids(self, through=None):
        """Return the grids of all blocks, of them only what seasons up to one measured."""
        grids = (self.of(places)[1] for places in self.lots)
        if through is None:
            return grids
        early = (self.years() <= through)[:, None]
        return (replace(grid, precision=grid.precision * early) for grid in grids)

    def years(self):
        return self.ground.season - np.arange(self.ground.precision.shape[1])[::-1]

    def later(self, through):
        """Return whether anything was measured after a season."""
        return bool(self.ground.precision[:, self.years() > through].any())


def estates(ground, learned, size=None):
    """Yield what is believed of all the blocks, so many blocks at a time.

    Parameters
    ----------
    ground : Groundwork
        What the records say.
    learned : Learned
        Spreads of the effects.
    size : int, optional
        Most blocks at a time [1]; all at once when left out.

    Yields
    ------
    Estate
        Of the next blocks, in the order of the records. What they share is learnt from all.
    """
    everyone = np.arange(len(ground.facts.names))
    size = max(len(everyone), 1) if size is None else int(size)
    lots = [everyone[start : start + size] for start in range(0, len(everyone), size)]
    names = np.array(ground.facts.names, dtype=object)

    # The chain bends where many non-count shoots bear, so it is made straight once more about what
    # is then believed of them.
    lines = _Lines(ground, lots, ground.mean)
    posterior = shared_posterior(lines.grids(), learned, ground.varieties)
    first = np.concatenate([centres(grid, learned, posterior) for grid in lines.grids()])
    about = straight_about(ground.mean, first, ground.precision, ground.variety)
    lines = _Lines(ground, lots, about)
    posterior = shared_posterior(lines.grids(), learned, ground.varieties)

    def until(through):
        if not lines.later(through):
            return posterior
        return shared_posterior(lines.grids(through), learned, ground.varieties)

    means = {name: prior_logs(name)[0] for name in ground.varieties}
    held = ground.accepted.held(posterior, means, until)
    for places in lots:
        beliefs = believe(lines.of(places)[1], names[places], learned, held)
        yield _estate(ground, places, lines, beliefs)


def _estate(ground, places, lines, beliefs):
    offset, grid = lines.of(places)
    facts, measured = ground.facts, ground.measured
    if len(places) < len(facts.names):
        facts = facts.part(places)
        measured = measured[measured["block"].isin(set(facts.names))]
    return Estate(
        season=ground.season,
        facts=facts,
        measured=measured,
        plans=ground.plans,
        profiles=ground.profiles,
        profile_shoots=ground.profile_shoots,
        reference_shape=PlanShape(np.zeros(len(places)), *ground.reference[:, places]),
        log_reference=ground.usual[places],
        log_carried=ground.carried[places, -1],
        log_clusters_reference=ground.usual_clusters[places],
        load_known=ground.load_known[places],
        last_plan=tuple(ground.last_plan[at] for at in places),
        prior_keys=ground.prior_keys,
        straight_about=lines.about[places],
        season_rows=grid.rows[:, -1].copy(),
        season_offset=offset[:, -1].copy(),
        season_shift=grid.responses()[:, -1].copy(),
        season_log_buds=ground.buds[places, -1],
        season_burst=ground.burst[places, -1],
        season_fertility=ground.fertility[places, -1],
        young=ground.young.season(places),
        beliefs=beliefs,
        accepted=ground.accepted,
        accepted_notes=ground.accepted_notes,
    )


_KEPT = weakref.WeakKeyDictionary()

#: Spreads learnt lately by what the records said, the latest last, and how many are kept.
_LEARNED, _LEARNED_KEPT = {}, 16


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
        ("estate", int(season), plans, accepted_before(records, int(season))),
        lambda: build_estate(records, season, reference_plans=reference_plans, unsure_loads=True),
    )


def learned_before(records, season):
    """Return the spreads learnt from the seasons before one, once for all that was known then.

    Notes
    -----
    Counts of the season itself do not speak here, so a forecast on any day of it, made again
    later, uses nothing that was not known then, and a count entered teaches nothing anew.
    """
    accepted = accepted_before(records, int(season))

    def learn():
        before = records_until(records, f"{int(season)}-01-01")
        said = (int(season), accepted, fingerprint(before))
        found = _LEARNED.pop(said, None)
        if found is None:
            found = lay_ground(before, season, accepted=accepted).learn()
        _LEARNED[said] = found
        if len(_LEARNED) > _LEARNED_KEPT:
            del _LEARNED[next(iter(_LEARNED))]
        return found

    return _kept(records, ("learned", int(season), accepted), learn)
