"""Sentences that name every accepted lesson in force, for every view that uses it."""

from itertools import groupby

import numpy as np

from cropload import handbook
from cropload.beliefs.accepted import detail
from cropload.beliefs.learned import COMPONENTS
from cropload.beliefs.origins import WORDS
from cropload.beliefs.priors import prior_logs
from cropload.vine.growth import COMPONENTS as VINE_COMPONENTS


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
    for name in COMPONENTS:
        here = [e for e in of["component"] if e.name == name and e.variety in varieties]
        for words, entries in groupby(sorted(here, key=detail), key=detail):
            names = ", ".join(entry.variety for entry in entries)
            notes.append(f"{WORDS[name][0].upper()}{WORDS[name][1:]}, {names}: {words}.")
        doubts += [text for text in map(_far, here) if text]
    for entry in of["counter"]:
        if entry.name in (counters or ()):
            off = 100 * (entry.value - 1)
            word = "more" if off >= 0 else "fewer"
            notes.append(
                f"Clusters counted by {entry.name} are corrected: {abs(off):.1f} % {word} than "
                f"by all, {detail(entry)}."
            )
        elif counters is not None:
            doubts.append(
                f"learned.toml holds a lesson of the counter {entry.name}, but no count on record "
                "is by that name, so it changes nothing: mend the name, or take the lesson out."
            )
    profiles = [e for e in of["profile"] if e.name in varieties]
    for words, entries in groupby(sorted(profiles, key=detail), key=detail):
        notes.append(f"Node profile of {', '.join(e.name for e in entries)}: {words}.")
    for words, entries in groupby(sorted(of["load"], key=detail), key=detail):
        notes.append(f"Response to the load ({', '.join(e.name for e in entries)}): {words}.")
    return (*notes, *doubts)


def _far(entry):
    """Return that a component lies far from the handbook's, in a sentence, or nothing."""
    mean, spread, keys = prior_logs(entry.variety)
    k = VINE_COMPONENTS.index(entry.name)
    if abs(np.log(entry.value) - mean[k]) <= handbook.value("learning.far") * spread[k]:
        return ""
    return (
        f"{WORDS[entry.name][0].upper()}{WORDS[entry.name][1:]}, {entry.variety}: "
        f"{entry.value:.2f} in learned.toml lies far from the handbook's {np.exp(mean[k]):.2f} "
        f"({keys[k]}). Look at it again before you rely on this."
    )
