"""Sentences that name every accepted lesson in force, for every view that uses it."""

from itertools import groupby

from cropload.forecasting.accepted import detail
from cropload.forecasting.origins import WORDS
from cropload.records.learned import COMPONENTS


def accepted_notes(accepted, varieties=(), counters=()):
    """Return sentences on what was learned here and accepted, every kind in force.

    Parameters
    ----------
    accepted : Accepted
        As from ``accepted_before``.
    varieties : collection of str
        Varieties at hand.
    counters : collection of str
        Those whose counts are used.

    Returns
    -------
    tuple of str
        Empty when nothing that was accepted matters here. Lessons of the same figure and the
        same seasons share a sentence.
    """
    notes = []
    of = {topic: [] for topic in ("component", "counter", "profile", "load")}
    for entry in accepted.entries:
        of[entry.topic].append(entry)
    for name in COMPONENTS:
        here = [e for e in of["component"] if e.name == name and e.variety in varieties]
        for words, entries in groupby(sorted(here, key=detail), key=detail):
            names = ", ".join(entry.variety for entry in entries)
            notes.append(f"{WORDS[name][0].upper()}{WORDS[name][1:]}, {names}: {words}.")
    for entry in of["counter"]:
        if entry.name in counters:
            off = 100 * (entry.value - 1)
            word = "more" if off >= 0 else "fewer"
            notes.append(
                f"Clusters counted by {entry.name} are corrected: {abs(off):.1f} % {word} than "
                f"by all, {detail(entry)}."
            )
    profiles = [e for e in of["profile"] if e.name in varieties]
    for words, entries in groupby(sorted(profiles, key=detail), key=detail):
        notes.append(f"Node profile of {', '.join(e.name for e in entries)}: {words}.")
    for words, entries in groupby(sorted(of["load"], key=detail), key=detail):
        notes.append(f"Response to the load ({', '.join(e.name for e in entries)}): {words}.")
    return tuple(notes)
