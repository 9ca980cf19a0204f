"""Pooling: past seasons (and this season's counts) to beliefs about every block of the estate."""

import weakref
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np

from cropload.beliefs.accepted import accepted_before
from cropload.beliefs.estate import Beliefs, believe, centres
from cropload.beliefs.groundwork import Groundwork, lay_ground
from cropload.beliefs.own import own_prior
from cropload.beliefs.posterior import shared_posterior
from cropload.beliefs.spreads import prior_logs
from cropload.records.as_of import records_until
from cropload.records.content import Lately, fingerprint
from cropload.vine.growth import (
    COMPONENTS,
    RESPONSES,
    STAGES,
    STATE,
    LoadState,
    answer_strength,
    trend_line,
)

_TREND = STATE.index("trend")


@dataclass(frozen=True, eq=False)
class Estate(Groundwork):
    """Everything a forecast needs of an estate in one season: its records, and what is believed.

    Arrays are per block, in the order of ``facts.names``. ``season_rows``, ``season_offset`` and
    ``season_shift`` are the straight lines of the season forecast, as from ``stage_rows`` and
    ``load_shift``, about the log components ``linearised_about``.
    """

    linearised_about: np.ndarray
    season_rows: np.ndarray
    season_offset: np.ndarray
    season_shift: np.ndarray
    beliefs: Beliefs = field(repr=False)

    @property
    def log_reference(self):
        """Log of the load that the components refer to [1/vine]."""
        return self.usual

    @property
    def log_carried(self):
        """Log of the load carried before the season [1/vine]."""
        return self.carried[:, -1]

    @property
    def log_clusters_reference(self):
        """Log of the clusters that cluster weight refers to [1/vine]."""
        return self.usual_clusters

    @cached_property
    def young(self):
        """Which vines are young in the season, as YoungSeason."""
        return self.ages.season(np.arange(len(self.facts.names)))

    @cached_property
    def own_crops(self):
        """What each block's own crops on record say, two arrays of shape (blocks,).

        Mean of its crops of a bearing vine [kg/vine], lost ones apart, NaN where there is none; and
        how many they are [1].
        """
        past = self.measured[self.measured["season"] < self.season]
        crops = past[past["stage"] == "harvest"].groupby("block")["value"].agg(["mean", "size"])
        crops = crops.reindex(list(self.facts.names))
        return crops["mean"].to_numpy(float), crops["size"].fillna(0).to_numpy(int)

    def trended(self, blocks, state, responses):
        """Return the state of some blocks with what trends have come to in its components.

        state : (state, blocks[, draws]); responses : (responses[, draws]) [1].
        """
        out, since = state.copy(), self.since[blocks, -1].reshape(-1, *[1] * (state.ndim - 2))
        shared = self.estate_since[-1] * self.own.estate_trend * responses[len(RESPONSES)]
        out[: len(COMPONENTS)] += np.multiply.outer(trend_line(), since * state[_TREND] + shared)
        out[_TREND] = 0.0
        return out

    def centre(self):
        """Return the centre of each block's state in the season, trends in it, (blocks, state)."""
        everyone = np.arange(len(self.facts.names))
        return self.trended(everyone, self.beliefs.centre.T, self.beliefs.response_mean).T

    def spread(self, blocks=None):
        """Return the spread of each component of some blocks in the season, trends in it.

        Parameters
        ----------
        blocks : sequence of int, optional
            Their places; all of them by default.

        Returns
        -------
        ndarray, shape (blocks, components)
            Standard deviations of the logs [1].
        """
        blocks = np.arange(len(self.facts.names)) if blocks is None else np.asarray(blocks, int)
        beliefs, line, k = self.beliefs, trend_line(), len(COMPONENTS)
        turn = np.zeros((len(blocks), k, len(STATE)))
        turn[:, :, :k] = np.eye(k)
        turn[:, :, _TREND] = np.multiply.outer(self.since[blocks, -1], line)
        own = beliefs.own_covariance[blocks]
        variance = np.einsum("bki,bij,bkj->bk", turn, own, turn)
        common = beliefs.root[beliefs.shared.effects + len(RESPONSES)]
        common = np.multiply.outer(line * (self.estate_since[-1] * self.own.estate_trend), common)
        for v in np.unique(beliefs.variety[blocks]):
            at = np.flatnonzero(beliefs.variety[blocks] == v)
            load = turn[at] @ beliefs.load[blocks[at]]
            through = load @ beliefs.root[beliefs.shared.places(v)] + common
            variance[at] += np.einsum("bkq,bkq->bk", through, through)
        return np.sqrt(variance)

    def draw(self, blocks, draws, seed):
        """Draw the state of some blocks in the season, trends in it, and the responses.

        Returns
        -------
        state : ndarray, shape (state, blocks, draws)
        responses : ndarray, shape (responses, draws)
            Normals [1].
        """
        state = self.beliefs.draw(blocks, draws, seed)
        responses = self.beliefs.response_draws(draws, seed)
        return self.trended(blocks, state, responses), responses

    def season_centre(self):
        """Return the centre of each block's state as this season bears it, (blocks, state) [1].

        Trends, and what the vines answer to the load, the estate's and a block's own, are in the
        components.
        """
        centre = self.centre() + self.answered(*self.mean_answers())
        centre[:, STATE.index("answer")] = 0.0
        return centre

    def mean_answers(self):
        """Return the centres of the load responses, shared (responses,) and own (blocks,) [1]."""
        own = self.beliefs.centre[:, STATE.index("answer")]
        return self.beliefs.response_mean[: len(RESPONSES)], own

    def answered(self, shared, own):
        """Return how answers to the season's load move each block's state, (blocks, state) [1]."""
        shift = self.season_shift[..., : len(RESPONSES)]
        return shift @ shared + (shift @ answer_strength()) * own[:, None]

    def load(self):
        """Return what the season's load rests on, one row a log and one column a block [1]."""
        now = (logs[:, -1] for logs in (self.buds, self.burst, self.fertility))
        return np.stack([*now, self.log_reference, self.log_carried])

    def state(self, blocks, drawn=None, later=0):
        """Return the load state of some blocks, arrays of shape (blocks, 1) or (blocks, draws).

        ``drawn`` is their state as from ``Beliefs.draw``: a load that nobody wrote down is unknown.
        ``later``: so many seasons after this one, which matters to young vines.
        """
        age = self.young.later(later)[0] if later else self.young.log_load
        age = age[blocks][:, None]
        carried = self.log_carried[blocks][:, None]
        if drawn is not None:
            carried = carried + self.drawn_load(blocks, drawn)
        return LoadState(
            self.log_reference[blocks][:, None] + age,
            carried,
            self.log_clusters_reference[blocks][:, None] + age,
            age,
        )

    def drawn_load(self, blocks, drawn):
        """Return how far the loads of some blocks lie from those taken, (blocks, draws) [1]."""
        return np.where(self.load_known[blocks][:, None], 0.0, drawn[STATE.index("load")])

    def answers(self, drawn, responses):
        """Return the load responses' normals as each block bears them, (responses, blocks, draws).

        ``drawn`` is the blocks' state and ``responses`` what they share, as drawn by ``Beliefs``.
        """
        own = drawn[STATE.index("answer")]
        shared = responses[: len(RESPONSES), None]
        return shared + answer_strength()[:, None, None] * own


def build_estate(
    records,
    season,
    *,
    reference_plans=None,
    season_plans=None,
    this_season=None,
    learned=None,
    accepted=None,
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
        Spreads of the effects; learnt from the records when left out.
    accepted : Accepted, optional
        What was learned on the estate and accepted; that of the records' folder when left out.

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
    )
    return estate_of(ground, ground.learn() if learned is None else learned)


def line_centres(mean, centre, precision, variety):
    """Return the logs about which the chain is made linear in each block.

    Parameters
    ----------
    mean, centre : ndarray, shape (blocks, components)
        Logs of the components: prior means, and what is believed at first [1].
    precision : ndarray, shape (blocks, seasons, stages)
        1 / sampling variance of what was measured [1]; 0 = absent.
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
    about, centre = mean.copy(), centre[:, : mean.shape[1]]
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


def estate_of(ground, learned):
    """Return what is believed of all the blocks.

    Parameters
    ----------
    ground : Groundwork
        What the records say.
    learned : Learned
        Spreads of the effects.

    Returns
    -------
    Estate
    """

    def shared(measured):
        return shared_posterior(measured, learned, ground.varieties)

    # The chain bends where many non-count shoots bear, so it is made linear once more about what
    # is then believed of them.
    everyone = np.arange(len(ground.facts.names))
    _, measured = ground.lines(everyone, ground.mean)
    posterior = shared(measured)
    first = centres(measured, learned, posterior)
    about = line_centres(ground.mean, first, ground.precision, ground.variety)
    ground = replace(ground, own=own_prior(measured, learned, posterior, ground.own))
    offset, measured = ground.lines(everyone, about)
    posterior = shared(measured)
    years = ground.season - np.arange(measured.precision.shape[1])[::-1]

    def up_to(through):
        early = years <= through
        if not measured.precision[:, ~early].any():
            return posterior
        return shared(replace(measured, precision=measured.precision * early[:, None]))

    means = {name: prior_logs(name)[0] for name in ground.varieties}
    held = ground.accepted.held(posterior, means, up_to)
    return Estate(
        **{part.name: getattr(ground, part.name) for part in fields(ground)},
        linearised_about=about,
        season_rows=measured.rows[:, -1].copy(),
        season_offset=offset[:, -1].copy(),
        season_shift=measured.responses()[:, -1].copy(),
        beliefs=believe(measured, ground.facts.names, learned, held),
    )


_KEPT = weakref.WeakKeyDictionary()

#: Spreads learnt, by what the records said.
_LEARNED = Lately(16)


def _kept(records, key, make):
    """Return what was made for these records before, or make it now and keep it with them."""
    kept = _KEPT.setdefault(records, {})
    if key not in kept:
        kept[key] = make()
    return kept[key]


def _learned(records, season, accepted, plans=(), ground=None):
    """Return the spreads that records teach, once for the same content."""

    def learn():
        laid = lay_ground(records, season, accepted=accepted) if ground is None else ground
        return laid.learn()

    return _LEARNED.get((season, accepted, fingerprint(records), plans), learn)


def estate_before_season(records, season, reference_plans=None):
    """Return the estate as known before the season, learnt once for each set of records."""
    season, given = int(season), reference_plans or {}
    plans = tuple(sorted((b, str(p)) for b, p in given.items()))
    accepted = accepted_before(records, season)

    def make():
        ground = lay_ground(records, season, reference_plans=given, accepted=accepted)
        return estate_of(ground, _learned(records, season, accepted, plans, ground))

    return _kept(records, ("estate", season, plans, accepted), make)


def learned_before(records, season):
    """Return the spreads learnt from the seasons before one, once for all that was known then.

    Notes
    -----
    Counts of the season itself do not speak here, so a forecast on any day of it, made again
    later, uses nothing that was not known then, and a count entered teaches nothing anew.
    """
    season = int(season)
    accepted = accepted_before(records, season)

    def learn():
        return _learned(records_until(records, f"{season}-01-01"), season, accepted)

    return _kept(records, ("learned", season, accepted), learn)
