"""What frost, hail, thinning and the like took of a crop, each event once.

A measurement made after an event shows it. So it is first told as if nothing had happened, the
error of the share with it: that is what the components and the other blocks learn from. The coming
crop then bears every event of its season, and where a measurement has shown one, what it has shown
of it holds, not what was judged.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.random_streams import stream
from cropload.records.events import SHOWN_BY, Event, season_events
from cropload.vine.growth import COMPONENTS, STAGES
from cropload.vine.weather.kill import crop_index_after_kill
from cropload.vine.weather.settings import Spread, secondary_share

#: Less than this share left is a lost crop.
_NOTHING = 1e-3

#: Draws by which the middle and the spread of a share of shoots are found [1].
_DRAWS = 2000

_KEYS = ["block", "season"]


@dataclass(frozen=True, eq=False)
class Taken:
    """An event of which it is known how much it took.

    ``alike`` is as from ``vines_alike`` [1]; ``worth``, a Spread, the crop of a secondary shoot
    relative to a primary's [1].
    """

    event: Event
    worth: Spread
    alike: float

    def _killed(self, rng, draws):
        event = self.event
        if event.counted:
            # Jeffreys' prior on as many independent shoots as the vines' likeness leaves.
            dead, seen = sum(event.dead) / self.alike, sum(event.seen) / self.alike
            return rng.beta(dead + 0.5, seen - dead + 0.5, draws)
        error = self._judged_sd * rng.standard_normal(draws)
        return 1 - np.minimum((1 - event.share) * np.exp(error), 1.0)

    @property
    def _judged_sd(self):
        """Standard deviation of the log of a share left that was judged by eye [1]."""
        lost = self.event.share
        return handbook.value("forecast.lost_share_error") * lost / np.sqrt(max(1 - lost, 1e-4))

    def drawn(self, draws, seed):
        """Draw the share that was lost, and the share of it that was made up for, (draws,) [1].

        Shoots that die, other than by the grower's hand, are partly made up for by the secondary
        shoots that push after them.
        """
        rng = stream(seed, self.event.block, f"after {self.event.words}")
        worth = self.worth.at(rng.random(draws)) if self._made_up else np.zeros(draws)
        return self._killed(rng, draws), worth

    def left(self, draws, seed):
        """Draw the share of the crop that it left, (draws,) [1]."""
        return crop_index_after_kill(*self.drawn(draws, seed))

    @property
    def _made_up(self):
        return self.event.of == "shoots" and self.event.kind != "shoot thinning"

    @cached_property
    def _told(self):
        if not (self._made_up or self.event.counted):
            return float(np.log(max(1 - self.event.share, _NOTHING / 10))), self._judged_sd
        logs = np.log(np.maximum(self.left(_DRAWS, 0), _NOTHING / 10))
        return float(np.median(logs)), float(logs.std())

    @property
    def log_left(self):
        """Middle of the log of the share left [1]."""
        return self._told[0]

    @property
    def log_sd(self):
        """Standard deviation of that log [1]."""
        return self._told[1]


@dataclass(frozen=True, eq=False)
class Happened:
    """All that happened to the blocks of an estate: ``taken``, a tuple of Taken by their days, and
    ``untold``, those events of which nobody said how much they took."""

    taken: tuple = ()
    untold: tuple = ()

    def shown(self, rows, stage):
        """Return what rows of a stage show of each event.

        Parameters
        ----------
        rows : DataFrame
            With block, season and date.
        stage : str
            One of ``STAGES``.

        Returns
        -------
        list of (Taken, ndarray of bool, shape (rows,))
        """
        found = []
        for each in self.taken:
            event = each.event
            if stage in SHOWN_BY[event.takes]:
                here = (rows["block"] == event.block) & (rows["season"] == event.season)
                here &= event.before(rows["date"])
                if here.any():
                    found.append((each, here.to_numpy(bool)))
        return found

    def as_if_nothing(self, rows, columns, stage):
        """Return rows with what events took put back, and by how much less that is known.

        Returns
        -------
        DataFrame, Series or None
            The rows, and the variance that the events add by block and season [1].
        """
        shown = self.shown(rows, stage)
        if not shown:
            return rows, None
        logs, added = np.zeros(len(rows)), 0.0
        size = rows.groupby(_KEYS).size()
        for each, here in shown:
            logs += here * each.log_left
            share = rows[here].groupby(_KEYS).size().reindex(size.index, fill_value=0) / size
            added = added + (share * each.log_sd) ** 2
        whole = {column: rows[column].to_numpy(float) / np.exp(logs) for column in columns}
        return rows.assign(**whole), added

    def at_the_scale(self, harvest):
        """Return tonnes as they would have been, and by how much less they are known.

        Parameters
        ----------
        harvest : DataFrame
            Rows of table harvest.

        Returns
        -------
        ndarray, ndarray, shape (rows,)
            Tonnes [t], and the part of each row's variance that the events add [1].

        Notes
        -----
        A pick before the event shows nothing of it, except of fruit that was left at the end.
        """
        logs, variance = np.zeros(len(harvest)), np.zeros(len(harvest))
        for each in self.taken:
            event = each.event
            here = (harvest["block"] == event.block) & (harvest["season"] == event.season)
            if event.kind != "fruit left" and pd.notna(event.date):
                here &= ~(harvest["date"] < event.date)
            logs += here * each.log_left
            variance += here * each.log_sd**2
        left = np.exp(logs)
        whole = np.where(left > _NOTHING, harvest["tonnes"] / np.maximum(left, _NOTHING), 0.0)
        return whole, np.asarray(variance, float)

    def of_season(self, season, until=None):
        """Return the events of a season, those after a day left out."""
        kept = [
            each
            for each in self.taken
            if each.event.season == season
            and (until is None or pd.isna(each.event.date) or each.event.date <= until)
        ]
        return Happened(tuple(kept), tuple(e for e in self.untold if e.season == season))

    @property
    def blocks(self):
        """The blocks that were hit."""
        return list(dict.fromkeys(each.event.block for each in self.taken))

    def of_block(self, block):
        """Return what was taken of a block, a list of Taken."""
        return [each for each in self.taken if each.event.block == block]

    def words(self, block):
        """Return what befell a block, like ``hail of 2026-06-20, frost of 2026-05-03``."""
        return ", ".join(each.event.words for each in self.of_block(block))

    def log_left(self, names):
        """Return the middle of the log of the share of each block's crop that is left [1]."""
        return np.array([sum((e.log_left for e in self.of_block(name)), 0.0) for name in names])


#: An estate to which nothing happened.
NOTHING = Happened()


def happened(records, facts):
    """Return what happened to the blocks of an estate, as Happened."""
    events = season_events(records)
    if not events:
        return NOTHING
    varieties = dict(zip(facts.names, facts.varieties, strict=True))
    taken = tuple(
        Taken(event, secondary_share(varieties[event.block]), vines_alike(event.dead, event.seen))
        for event in events
        if event.told and event.block in varieties
    )
    return Happened(taken, tuple(event for event in events if not event.told))


def vines_alike(dead, seen):
    """Return how much wider the share of dead shoots is known than from shoots one by one.

    Parameters
    ----------
    dead, seen : sequence of int
        Dead shoots, and dead and living ones together: totals, or one number a vine [1].

    Returns
    -------
    float
        The variance of the share over that of shoots taken one by one [1]: the ratio estimator's
        between vines, or the handbook's ``frost.shoots_alike`` where fewer than three vines tell.
    """
    dead, seen = np.asarray(dead, float), np.asarray(seen, float)
    if dead.size < 3:
        return handbook.value("frost.shoots_alike")
    share = dead.sum() / seen.sum()
    left = dead - share * seen
    between = dead.size / (dead.size - 1) * (left @ left) / seen.sum() ** 2
    alone = share * (1 - share) / seen.sum()
    return max(between / alone, 1.0) if alone > 0 else 1.0


def shown_by(stage, growth, x):
    """Return the log of what a stage of the season would show, (blocks, draws), as ``STAGES``."""
    at = {name: place for place, name in enumerate(COMPONENTS)}
    weight = growth.log_cluster_weight_g
    return {
        "shoots": lambda: np.log(growth.shoots),
        "clusters": lambda: growth.log_clusters + x[at["counting_bias"]],
        "weight_lag": lambda: weight - x[at["increase_factor"]],
        "weight_veraison": lambda: weight - x[at["ripening_factor"]],
        "weight_harvest": lambda: weight,
    }[stage]()


def with_left(growth, left):
    """Return what grows with less of it: ``left`` is as ``left_by_events`` returns it."""
    clusters, weight, picked = (
        array.copy()
        for array in (growth.log_clusters, growth.log_cluster_weight_g, growth.log_kg_picked)
    )
    for at, taken in left.items():
        for word, log in taken.items():
            picked[at] += log
            if word in ("shoots", "clusters"):
                clusters[at] += log
            elif word == "weight":
                weight[at] += log
    return replace(growth, log_clusters=clusters, log_cluster_weight_g=weight, log_kg_picked=picked)


def left_by_events(happened, counts, estate, growth, x, seed):
    """Draw what the season's events leave of the crop of each block they hit.

    Parameters
    ----------
    happened : Happened
        Of the season, up to the day.
    counts : dict
        {stage: DataFrame of the season's rows}, from which follows what has shown an event.
    estate : Estate
        What is believed, as if nothing had happened.
    growth, x : Growth, ndarray
        The draws, of the same.
    seed : int

    Returns
    -------
    dict
        {place of a block: {what is taken from: log of the share left, (draws,) [1]}}.

    Notes
    -----
    An event that nothing has shown is drawn as it was judged. One that a measurement has shown is
    drawn given the measurement and the other draws: exact where the share left is log-normal.
    """
    names, draws = estate.facts.names, x.shape[-1]
    shown = {stage: happened.shown(rows, stage) for stage, rows in counts.items()}
    found = {}
    for block in happened.blocks:
        if block not in names:
            continue
        at, taken = names.index(block), happened.of_block(block)
        logs = np.array([np.log(np.maximum(each.left(draws, seed), 1e-12)) for each in taken])
        stages, parts = [], []
        for stage, hits in shown.items():
            rows = counts[stage]["block"].to_numpy() == block
            part = {id(e): here[rows].mean() for e, here in hits if e.event.block == block}
            if part and estate.precision[at, -1, STAGES.index(stage)] > 0:
                stages.append(stage)
                parts.append([part.get(id(each), 0.0) for each in taken])
        if stages:
            places = [STAGES.index(stage) for stage in stages]
            logs = _given_shown(
                taken,
                np.array(parts),
                np.array([shown_by(stage, growth, x)[at] for stage in stages]),
                estate.values[at, -1, places],
                1 / estate.precision[at, -1, places],
                logs,
                stream(seed, block, "what was shown"),
            )
        here = found.setdefault(at, {})
        for each, log in zip(taken, logs, strict=True):
            here[each.event.takes] = here.get(each.event.takes, 0.0) + log
    return found


def _given_shown(taken, parts, seen, values, noise, logs, rng):
    """Return logs of shares left, (events, draws), drawn given what measurements have shown.

    ``parts`` : (stages, events), share of each stage's rows that came after each event [1];
    ``seen`` : (stages, draws), logs of what each stage would show, had nothing happened;
    ``values``, ``noise`` : (stages,), the same as measured, and its whole variance [1].
    """
    variance = np.diag([max(each.log_sd, 1e-9) ** 2 for each in taken])
    through = parts @ variance
    noise = np.maximum(noise - np.einsum("me,me->m", through, parts), 1e-6)
    gain = np.linalg.solve(through @ parts.T + np.diag(noise), through).T
    middle = np.array([each.log_left for each in taken])[:, None]
    # What was measured is told as if nothing had happened, by the middles: the rest is the events'.
    missing = values[:, None] - seen
    drawn, error = logs - middle, np.sqrt(noise)[:, None] * rng.standard_normal(seen.shape)
    # A draw of the prior is turned into one of the posterior by what it would have shown.
    return logs + gain @ (missing - parts @ drawn - error)


def event_notes(happened, rows, names):
    """Return what is to be said of a season's events, a sentence each.

    Parameters
    ----------
    happened : Happened
        Of the season.
    rows : dict
        {stage: rows of the season}.
    names : sequence of str
        The blocks that are shown.
    """
    shown = {id(each): stage for stage in rows for each, _ in happened.shown(rows[stage], stage)}
    for each in happened.taken:
        event = each.event
        if event.block not in names:
            continue
        lost = 100 * -np.expm1(each.log_left)
        if id(each) in shown:
            stage = shown[id(each)].replace("_", " of ").replace("weight of ", "weights of ")
            yield (
                f"{event.block}: the {stage} since the {event.words} show it, so it is not taken "
                "off again."
            )
        else:
            yield f"{event.block}: the {event.words} takes about {lost:.0f} % of the crop."
    for event in happened.untold:
        if event.block in names:
            yield (
                f"{event.block}: how much the {event.words} took is not told, so nothing is taken "
                "off. Give its share_pct, or count dead and living shoots."
            )
