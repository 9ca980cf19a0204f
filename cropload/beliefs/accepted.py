"""What was learned on the estate and accepted, as a forecast takes it, and the notes that say so.

The same seasons must not speak twice. A figure that was learned from the seasons up to one is what
is known of it after them, whether or not their records are still read: it is held there in what
these records teach, and only what came later moves it on.
"""

from dataclasses import dataclass, replace
from itertools import groupby
from operator import attrgetter

import numpy as np

from cropload import clock, handbook
from cropload.beliefs.learned import COMPONENTS as LEARNABLE
from cropload.beliefs.learned import PROFILES, Entry, is_older, read_learned
from cropload.beliefs.node_profiles import node_profile
from cropload.beliefs.origins import WORDS
from cropload.beliefs.posterior import SharedPosterior
from cropload.beliefs.spreads import prior_logs
from cropload.vine.growth import COMPONENTS, RESPONSES
from cropload.vine.plan_shape import NodeProfile


@dataclass(frozen=True)
class Accepted:
    """What was accepted and holds in a season: all of it was learned in earlier ones.

    ``older`` says that there are lessons of an older model, of which none is used.
    """

    entries: tuple[Entry, ...] = ()
    older: bool = False

    def __bool__(self):
        return bool(self.entries)

    def _of(self, topic):
        return [entry for entry in self.entries if entry.topic == topic]

    def component(self, name, variety):
        """Return the entry of a component of a variety, or None."""
        for entry in self.entries:
            if (entry.topic, entry.name, entry.variety) == ("component", name, variety):
                return entry
        return None

    def named(self, topic, name):
        """Return the entry of a counter, a load response or a variety's profile, or None."""
        return next((entry for entry in self._of(topic) if entry.name == name), None)

    @property
    def counters(self):
        """{counter: (log of the bias, its spread)} [1]."""
        return {e.name: (float(np.log(e.value)), e.spread) for e in self._of("counter")}

    def profile(self, records, variety, facts):
        """Return the node profile of a variety and the shoots examined, as ``node_profile``.

        Fertility counted since the profile was learned moves it further.
        """
        entry = self.named("profile", variety)
        if entry is None:
            return node_profile(records, variety, facts)
        lists = (np.array(values) for values in entry.profile)
        base = NodeProfile(**dict(zip(PROFILES, lists, strict=True)))
        table = records.fertility
        later = replace(records, fertility=table[table["season"] > entry.through])
        return node_profile(later, variety, facts, base)

    def held(self, posterior, means, up_to):
        """Return the posterior of what blocks share with what was accepted held in it.

        Parameters
        ----------
        posterior : SharedPosterior
            From all the records.
        means : dict
            {variety: prior means of the log components} [1], in the order of the varieties.
        up_to : callable
            Season -> SharedPosterior from what was measured up to it.

        Returns
        -------
        SharedPosterior

        Notes
        -----
        After the seasons that taught it, what is known of a figure is what was accepted, and all
        else follows it as the records have it (Jeffrey's rule of conditioning; the correlations of
        the figures held together are those of the records). What that adds to the records, or
        takes from them, then stands beside those of later seasons too. So accepting what the same
        records teach changes nothing, and without them the figure accepted is what is known.
        """
        held = [e for e in self.entries if e.topic in ("component", "load")]
        held = [e for e in held if e.topic == "load" or e.variety in means]
        pulls = []
        for through, entries in groupby(sorted(held, key=_through), key=_through):
            pulls.append(_pull(_pulled(up_to(through), pulls), list(entries), means))
        return _pulled(posterior, pulls)


_through = attrgetter("through")


def _pull(taught, entries, means):
    """Return (sums, information, vector) that brings what was taught to what was accepted.

    ``sums``: which effects add up to each figure, (figures, shared effects) of 0 and 1.
    """
    sums, wanted, spread = np.zeros((len(entries), taught.shared.size)), [], []
    order = list(means)
    for line, entry in zip(sums, entries, strict=True):
        if entry.topic == "load":
            line[taught.shared.effects + RESPONSES.index(entry.name)] = 1.0
            wanted.append(entry.value)
        else:
            k = COMPONENTS.index(entry.name)
            line[taught.shared.of_variety(order.index(entry.variety), k)] = 1.0
            wanted.append(np.log(entry.value) - means[entry.variety][k])
        spread.append(entry.spread)
    wanted, root = np.array(wanted), sums @ taught.root
    now = root @ root.T
    scale = np.array(spread) / np.sqrt(np.diag(now))
    before, after = np.linalg.inv(now), np.linalg.inv(now * np.outer(scale, scale))
    return sums, after - before, after @ wanted - before @ (sums @ taught.mean)


def _pulled(posterior, pulls):
    """Return a posterior with more known of some of its effects, or less."""
    if not pulls:
        return posterior
    sizes = np.cumsum([0, *(len(sums) for sums, _, _ in pulls)])
    sums = np.concatenate([lines for lines, _, _ in pulls])
    information, vector = np.zeros((sizes[-1], sizes[-1])), np.concatenate([v for *_, v in pulls])
    for (_, more, _), start, end in zip(pulls, sizes[:-1], sizes[1:], strict=True):
        information[start:end, start:end] = more
    # cov = R (1 + G' I G)^-1 R' with G the rows of R concerned: only a few directions change.
    basis, triangle = np.linalg.qr((sums @ posterior.root).T)
    values, vectors = np.linalg.eigh(triangle @ information @ triangle.T)
    turned = basis @ vectors
    shrunk = 1 / np.sqrt(np.maximum(1 + values, 1e-9)) - 1
    root = posterior.root + (posterior.root @ turned * shrunk) @ turned.T
    pull = vector - information @ (sums @ posterior.mean)
    mean = posterior.mean + root @ ((sums @ root).T @ pull)
    return SharedPosterior(posterior.shared, mean, root, posterior.normals)


#: Nothing accepted: the handbook and the records alone.
NOTHING = Accepted()


def accepted_before(records, season):
    """Return what was accepted for these records and learned before a season.

    Parameters
    ----------
    records : Records
        Their folder may hold ``learned.toml``.
    season : int
        Year of the harvest that is forecast. What this or a later season taught does not speak.

    Raises
    ------
    RecordsError
        When ``learned.toml`` is not what it should be.
    """
    varieties = tuple(dict.fromkeys(records.blocks["variety"].astype(str)))
    # A lesson of a season that is still to come cannot have been learned.
    picked = [records.last_harvest, *records.harvest["season"].tolist()]
    latest = max([clock.today().year, *picked])
    entries = read_learned(records.path, varieties, int(latest))
    older = is_older(records.path)
    return Accepted(tuple(entry for entry in entries if entry.through < season), older)


_detail = attrgetter("detail")


def accepted_notes(accepted, varieties=(), counters=None):
    """Return sentences on what was learned here and accepted, every kind in force.

    Parameters
    ----------
    accepted : Accepted
        As from ``accepted_before``.
    varieties : collection of str
        Varieties at hand.
    counters : collection of str, optional
        Those whose counts are used; when given, a lesson of any other counter is doubted.

    Returns
    -------
    tuple of str
        Empty when nothing that was accepted matters here. Lessons of the same figure and the
        same seasons share a sentence.
    """
    notes, doubts = [], []
    of = {topic: [] for topic in ("component", "counter", "profile", "load")}
    for entry in accepted.entries:
        of[entry.topic].append(entry)
    for name in LEARNABLE:
        here = [e for e in of["component"] if e.name == name and e.variety in varieties]
        for words, entries in groupby(sorted(here, key=_detail), key=_detail):
            names = ", ".join(entry.variety for entry in entries)
            notes.append(f"{WORDS[name][0].upper()}{WORDS[name][1:]}, {names}: {words}.")
        doubts += [text for text in map(_far, here) if text]
    for entry in of["counter"]:
        if entry.name in (counters or ()):
            off = 100 * (entry.value - 1)
            word = "more" if off >= 0 else "fewer"
            notes.append(
                f"Clusters counted by {entry.name} are corrected: {abs(off):.1f} % {word} than "
                f"by all, {entry.detail}."
            )
        elif counters is not None:
            doubts.append(
                f"learned.toml holds a lesson of the counter {entry.name}, but no count on record "
                "is by that name, so it changes nothing: mend the name, or take the lesson out."
            )
    profiles = [e for e in of["profile"] if e.name in varieties]
    for words, entries in groupby(sorted(profiles, key=_detail), key=_detail):
        notes.append(f"Node profile of {', '.join(e.name for e in entries)}: {words}.")
    for words, entries in groupby(sorted(of["load"], key=_detail), key=_detail):
        notes.append(f"Response to the load ({', '.join(e.name for e in entries)}): {words}.")
    if accepted.older:
        doubts.append(
            "learned.toml holds lessons of an older way of forecasting, so none of it is used. "
            "Run `cropload learn` and accept again; the old file is kept."
        )
    return (*notes, *doubts)


def _far(entry):
    """Return that a component lies far from the handbook's, in a sentence, or nothing."""
    mean, spread, keys = prior_logs(entry.variety)
    k = COMPONENTS.index(entry.name)
    if abs(np.log(entry.value) - mean[k]) <= handbook.value("learning.far") * spread[k]:
        return ""
    return (
        f"{WORDS[entry.name][0].upper()}{WORDS[entry.name][1:]}, {entry.variety}: "
        f"{entry.value:.2f} in learned.toml lies far from the handbook's {np.exp(mean[k]):.2f} "
        f"({keys[k]}). Look at it again before you rely on this."
    )
