"""What an accepted figure reads like on the screen, written beside it in ``learned.toml``."""

from math import exp

from cropload import handbook
from cropload.beliefs import ranges


def shown_figure(entry):
    """Return what ``learn`` shows of an entry, with its range, as text; empty for a profile.

    Parameters
    ----------
    entry : Entry
        A lesson.

    Returns
    -------
    str

    Notes
    -----
    A load response is kept in spreads of the handbook's exponent, in which the forecast works, and
    shown as what 10 % more load changes.
    Valid for the range that the handbook's ``interval.level`` names.

    Examples
    --------
    >>> from cropload.records.learned import Entry
    >>> shown_figure(Entry("counter", "AB", 2025, 3, value=1.04, spread=0.02))
    'shown as 1.04 (1.01 to 1.07)'
    """
    if entry.topic == "profile":
        return ""
    reach = ranges.reach() * entry.spread
    if entry.topic != "load":
        low, high = entry.value * exp(-reach), entry.value * exp(reach)
        return f"shown as {entry.value:.2f} ({low:.2f} to {high:.2f})"
    settled = handbook.entry(f"load.{entry.name}.settled")
    exponents = [
        settled.value + settled.spread * (entry.value + off) for off in (-reach, 0.0, reach)
    ]
    low, middle, high = (100 * (1.1**exponent - 1) for exponent in exponents)
    return (
        f"shown as {middle:+.1f} % ({low:+.1f} to {high:+.1f}) for 10 % more load, once settled: "
        f"exponent {exponents[1]:.2f} ({exponents[0]:.2f} to {exponents[2]:.2f})"
    )
