"""How much of a long test is run: all of it by ``pytest --long``, a part of it always.

A test that carries the marker ``long`` checks the same property in both forms; only the number of
its repeats differs, and with it what chance alone may do.
"""

from math import sqrt

#: Set by conftest.py, before any test is read, from the option ``--long``.
whole = False


def repeats(number, part):
    """Return how often to repeat: ``number`` times, in the short form a ``part``-th of that."""
    return number if whole else number // part


def widened(tolerance, part):
    """Return what chance may do, given the tolerance of the whole form.

    The standard error of a mean over n independent repeats falls as 1 / sqrt(n): with a
    ``part``-th of the repeats it is sqrt(part) times as wide.
    """
    return tolerance if whole else tolerance * sqrt(part)
