"""Dead shoots counted on sampled vines: read, checked and added up."""

import re

import numpy as np

from cropload import arguments, handbook
from cropload.errors import CroploadError


def read_vine_counts(text):
    """Return dead and seen shoots a vine from text like ``3/14, 5/12``.

    Parameters
    ----------
    text : str
        Dead and all shoots of each vine with a stroke between, vines with commas or spaces.

    Returns
    -------
    (list of int, list of int)
        Dead shoots and all shoots seen, one a vine [1].

    Raises
    ------
    CroploadError
        For a piece that is not two whole numbers with a stroke between.

    Examples
    --------
    >>> read_vine_counts("3/14, 5/12")
    ([3, 5], [14, 12])
    """
    pieces = [piece for piece in re.split(r"[\s,;]+", text.strip()) if piece]
    found = [re.fullmatch(r"(\d{1,6})/(\d{1,6})", piece) for piece in pieces]
    for piece, match in zip(pieces, found, strict=True):
        if match is None:
            raise CroploadError(
                f"'{piece}' is no count of a vine: write dead/all shoots, like 3/14, with a comma "
                "or space between vines."
            )
    return [int(match[1]) for match in found], [int(match[2]) for match in found]


def _whole(name, given):
    """Return counts as whole numbers, 0 or more, one or one a vine."""
    try:
        members = [given] if np.ndim(given) == 0 else list(given)
        found = np.array([arguments.plain_number(member) for member in members])
    except (TypeError, ValueError):
        found = np.array([np.nan])
    if found.ndim != 1 or not np.isfinite(found).all() or (found < 0).any() or (found % 1).any():
        raise CroploadError(
            f"{name} is a count of shoots, a whole number of 0 or more, or one for each vine; "
            f"got {arguments.shown(given)}."
        )
    return found


def dead_of_seen(shoots_killed, shoots_seen):
    """Return totals of dead and seen shoots, and how much wider than one by one they are known.

    Parameters
    ----------
    shoots_killed, shoots_seen : int or sequence of int
        As in ``after_frost`` [1].

    Returns
    -------
    (float, float, float)
        Dead shoots, all shoots seen, and the variance of their share over that of shoots taken
        one by one [1].

    Raises
    ------
    CroploadError
        For counts that cannot be.
    """
    dead, seen = _whole("shoots_killed", shoots_killed), _whole("shoots_seen", shoots_seen)
    if dead.size != seen.size:
        raise CroploadError(
            f"There are {dead.size} counts of dead shoots and {seen.size} of all shoots seen: give "
            "both for each vine."
        )
    if (dead > seen).any():
        at = int(np.flatnonzero(dead > seen)[0])
        vine = f" on vine {at + 1}" if dead.size > 1 else ""
        raise CroploadError(
            f"{dead[at]:.0f} dead shoots of {seen[at]:.0f} seen{vine}: all seen are dead and "
            "living ones together, so there cannot be more dead ones."
        )
    if seen.sum() == 0:
        raise CroploadError("No shoot was seen: count dead and living shoots on some vines.")
    share = dead.sum() / seen.sum()
    if dead.size < 3:
        return dead.sum(), seen.sum(), handbook.value("frost.shoots_alike")
    # The ratio estimator's variance between vines over that of shoots taken one by one.
    left = dead - share * seen
    between = dead.size / (dead.size - 1) * (left @ left) / seen.sum() ** 2
    alone = share * (1 - share) / seen.sum()
    return dead.sum(), seen.sum(), max(between / alone, 1.0) if alone > 0 else 1.0
