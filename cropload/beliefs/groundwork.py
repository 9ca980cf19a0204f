"""Groundwork: the records of an estate as arrays, from which any of its blocks can be believed."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.accepted import Accepted, accepted_before, accepted_notes
from cropload.beliefs.lag_days import lag_days
from cropload.beliefs.learn_spreads import learn_spreads, teachers
from cropload.beliefs.loads import filled_loads, grown_loads, planned_loads, usual_loads
from cropload.beliefs.loss import LossChance, loss_chance
from cropload.beliefs.measured import measurements, plans_by_season
from cropload.beliefs.measurements import Measurements
from cropload.beliefs.own import OwnPrior, own_prior
from cropload.beliefs.plans_by_part import plans_by_part
from cropload.beliefs.posterior import shared_posterior
from cropload.beliefs.spreads import Spreads, estate_spread, prior_logs, prior_spreads
from cropload.beliefs.young import YoungBlocks, young_blocks
from cropload.records.facts import BlockFacts, block_facts
from cropload.vine.growth import (
    COMPONENTS,
    OWN,
    STAGES,
    STATE,
    LoadState,
    answer_strength,
    carried_load,
    load_lines,
    load_shift,
    settled_move,
    stage_rows,
    trend_line,
)
from cropload.vine.mean_vine import mean_lines
from cropload.vine.plan import DividedPlan, PruningPlan
from cropload.vine.plan_shape import PlanShape, plan_shapes

#: Seasons of history used; older ones tell little of today's vines.
HISTORY_SEASONS = 12

#: Blocks from which spreads are learnt at first, before it is known which of them stray.
_FIRST_TEACHERS = 60


def _seasons(measured, plans, season):
    """Return the seasons measured, one after the other, the one forecast last.

    Seasons with a plan and no measurement belong to them: vines carry that load too. The season
    before is always there, so that the load carried is never the one about to be chosen.
    """
    spoken_of = [int(s) for s in measured["season"].unique()] + [planned for _, planned in plans]
    earlier = [s for s in spoken_of if season - HISTORY_SEASONS <= s < season]
    return list(range(min([*earlier, season - 1]), season + 1))


@dataclass(frozen=True, eq=False)
class Groundwork:
    """What the records say, before anything is believed: arrays by block and season.

    The seasons stand in order, the one forecast last. ``buds``, ``burst`` and ``fertility``:
    (blocks, seasons), logs of the load and of the plans' node profiles relative to the block's
    last one [1]; ``carried``: the load carried before each season; ``usual`` and
    ``usual_clusters``: (blocks,), what the components refer to; ``values`` and ``precision``:
    (blocks, seasons, stages), logs as measured and 1 / their sampling variance [1]. ``open_load``
    says in which of those seasons nobody wrote down the load; ``lag``: (blocks, seasons), days by
    which lag-phase weights came early [d]. ``ages`` says in which seasons the vines were young.
    """

    season: int
    facts: BlockFacts
    measured: pd.DataFrame
    plans: dict
    profiles: dict
    profile_shoots: dict
    last_plan: tuple
    load_known: np.ndarray
    open_load: np.ndarray
    lag: np.ndarray
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
    ages: YoungBlocks
    own: OwnPrior
    loss: LossChance
    accepted: Accepted
    accepted_notes: tuple

    def lines(self, places, about):
        """Return offsets and what was measured of some blocks, as the engine takes it.

        Parameters
        ----------
        places : ndarray of int
            Places of the blocks.
        about : ndarray, shape (blocks, components)
            Logs of their components about which the chain is made linear [1].
        """
        count = self.buds.shape[1]
        rows, offset, unknown, shift = self._linear(places, slice(None), about)
        for at, place in enumerate(places if self.divided else ()):
            if place in self.divided:
                cell, plan = at * count + count - 1, self.divided[place]
                here = [place] * len(plan.shares)
                apart = self._linear(here, slice(-1, None), about[[at] * len(here)], plan)
                mean = mean_lines(about[at], apart, plan.shares)
                rows[cell], offset[cell], unknown[cell], shift[cell] = mean
        values, precision = self.values[places], self.precision[places]
        # What a block has of its own: a stronger answer, a trend, a load nobody wrote down.
        since = self.since[places].ravel()
        own = [
            np.einsum("nsk,nk->ns", rows, shift @ answer_strength()),
            (rows @ trend_line()) * since[:, None],
            unknown * np.repeat(~self.load_known[places], count)[:, None],
        ]
        rows = np.concatenate([rows, np.stack(own, axis=-1)], axis=-1)
        cell = (len(places), count)
        shift = self._shifts(shift, places)
        shift = shift.reshape(*cell, *shift.shape[1:])
        offset = offset.reshape(values.shape)
        rows = rows.reshape(*values.shape, len(STATE))
        added = self.ages.onto(offset, places)
        mean = np.pad(self.mean[places], ((0, 0), (0, len(OWN))))
        variety = self.variety[places]
        lines = Measurements(rows, values - offset, precision, mean, variety, shift, added)
        return offset, self.own.of(lines, places)

    def _linear(self, places, seasons, about, plan=None):
        """Return lines of what is measured in cells of some blocks and seasons, before any mean.

        Parameters
        ----------
        places, about
            As in ``lines``.
        seasons : slice
            Of the seasons.
        plan : DividedPlan, optional
            Its plans instead of the block's, one for each of ``places``, in one season.

        Returns
        -------
        tuple of ndarray
            As ``mean_lines`` takes them.
        """
        shape = PlanShape(
            *(logs[places, seasons].ravel() for logs in (self.buds, self.burst, self.fertility))
        )
        if plan is not None:
            profile = self.profiles[self.facts.varieties[places[0]]]
            shape = plan_shapes(plan.plans, profile)
            burst, fertility = self.reference[:, places[0]]
            shape = PlanShape(
                shape.log_buds, shape.log_burst - burst, shape.log_fertility - fertility
            )
        age = self.ages.log_load[places, seasons]
        count = age.shape[1]
        age = age.ravel()

        def cells(array):
            return np.repeat(array[places], count, axis=0)

        state = LoadState(
            cells(self.usual) + age,
            self.carried[places, seasons].ravel(),
            cells(self.usual_clusters) + age,
            age,
        )
        about = np.repeat(about, count, axis=0)
        rows, offset = stage_rows(about, shape, state)
        unknown = load_lines(about, shape, state, self.open_load[places, seasons].ravel())
        return rows, offset, unknown, load_shift(cells(self.mean), shape, state)

    @cached_property
    def divided(self):
        """The plans of blocks in parts in the season forecast, {place: DividedPlan}."""
        plans = (
            (at, self.plans.get((name, self.season))) for at, name in enumerate(self.facts.names)
        )
        return {at: plan for at, plan in plans if isinstance(plan, DividedPlan)}

    @cached_property
    def since(self):
        """Years since the middle of a block's own measured seasons, (blocks, seasons) [years].

        A trend turns about that middle, so that it is no way to bring the coming crop nearer to
        what the handbook has.
        """
        return self._since((self.precision[:, :-1] > 0).any(2))

    @cached_property
    def estate_since(self):
        """The same of the estate's measured seasons, (seasons,) [years]."""
        return self._since((self.precision[:, :-1] > 0).any((0, 2))[None])[0]

    @staticmethod
    def _since(measured):
        years = np.arange(measured.shape[1] + 1.0)
        seen = measured.sum(1)
        middle = np.where(seen > 0, (measured * years[:-1]).sum(1) / np.maximum(seen, 1), years[-1])
        return years - middle[:, None]

    def _shifts(self, shift, places):
        """Return the shifts of the load responses, of the estate's trend and of the lag days."""
        since = np.tile(self.estate_since, len(places))
        trend = trend_line()[:, None] * (self.own.estate_trend * since)
        lag = np.zeros_like(trend)
        early = handbook.entry("lag_phase.growth_a_day").spread * self.lag[places].ravel()
        lag[COMPONENTS.index("increase_factor")] = early
        both = np.stack([trend.T, lag.T], axis=-1)
        return np.pad(np.concatenate([shift, both], axis=-1), ((0, 0), (0, len(OWN)), (0, 0)))

    def learn(self):
        """Return the spreads that these records teach."""
        places = teachers(self.precision)
        common = handbook.value("learning.common_seasons")
        prior = Spreads(*prior_spreads(), self.variety_spread, estate_spread(), common)
        widest = handbook.value("learning.widest_spread")
        _, lines = self.lines(places, self.mean[places])
        few = lines.part(teachers(lines.precision, _FIRST_TEACHERS))
        learned = learn_spreads(few, prior, widest=widest)
        if not len(places):
            return learned
        # Blocks that stray in a way of their own teach nothing of the others.
        posterior = shared_posterior(lines, learned, self.varieties)
        own = own_prior(lines, learned, posterior, self.own.part(places))
        _, lines = replace(self, own=own.laid(self.own, places)).lines(places, self.mean[places])
        return learn_spreads(lines, prior, widest=widest, start=learned.spreads)


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
    by_part = plans_by_part(records, int(season), plans, reference_plans or {})
    plans.update(
        {(block, int(season)): plan for block, plan in {**by_part, **(season_plans or {})}.items()}
    )
    buds = measured[measured["stage"] == "buds"]
    counted = dict(
        zip(zip(buds["block"], buds["season"], strict=True), buds["log_value"], strict=True)
    )
    profiles, shoots, shape, planned, reference, latest = planned_loads(
        records, facts, seasons, plans, counted, given, accepted
    )
    place = {name: b for b, name in enumerate(facts.names)}
    measured_in = np.zeros(planned.shape, bool)
    b = measured["block"].map(place).to_numpy(int)
    t = measured["season"].to_numpy(int) - seasons[0]
    measured_in[b, t] = True
    young = young_blocks(facts, seasons, measured)
    usual, on_record = usual_loads(
        grown_loads(shape[0], young.log_load, facts), measured_in, facts, latest
    )
    open_load = np.isnan(shape[0]) & ~on_record[:, None]
    # The forecast season's own plan is what a view varies, so it is set apart from the past.
    at_age = usual[:, None] + young.log_load
    filled = filled_loads(shape[0], at_age)
    # A vine that is still built up is held against the load of its age, not against last year's;
    # and a grown one against what its youth's plans come to in a grown vine's buds.
    grown = grown_loads(filled, young.log_load, facts)
    carried = np.where(young.log_load < 0, at_age, carried_load(grown))
    blocks, count = filled.shape

    priors = {name: prior_logs(name) for name in dict.fromkeys(facts.varieties)}
    means, spreads, keys = zip(*(priors[name] for name in facts.varieties), strict=True)
    # The handbook's figures belong to the load they were measured at, not to a block's habit.
    base = np.log(handbook.value("load.reference_buds_per_m") * facts.canopy_length_m)
    mean = np.array(means) + settled_move(usual - base)
    variety_names = list(dict.fromkeys(facts.varieties))
    variety = np.array([variety_names.index(v) for v in facts.varieties])

    # Cluster weight is stated at the clusters the block usually carries: the clusters counted, a
    # bud of those seasons, at the usual load.
    here = ((measured["stage"] == "clusters") & (measured["season"] < season)).to_numpy(bool)
    per_bud = measured["log_value"].to_numpy(float)[here] - filled[b, t][here]
    per_bud = per_bud - young.log_share[b, t][here]
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
    lag, late = lag_days(records, facts, measured, seasons)
    growth = handbook.entry("lag_phase.growth_a_day")
    at = STAGES.index("weight_lag")
    values[..., at] += growth.value * lag
    precision[..., at] /= 1 + precision[..., at] * (growth.value * late) ** 2
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
        open_load=open_load,
        lag=lag,
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
        ages=young,
        own=OwnPrior.nothing_seen(on_record),
        loss=loss_chance(records, facts, measured, int(season)),
        accepted=accepted,
        # Every answer tells what was accepted, and what is not read as it is written.
        accepted_notes=(
            *accepted_notes(
                accepted,
                set(facts.varieties),
                set(records.counts["counter"].astype(str).str.strip()),
            ),
            *records.not_as_written(season),
        ),
    )
