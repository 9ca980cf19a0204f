"""Checks that the arithmetic of vines shares: plain numbers in, one clear message when not."""

import numpy as np

from cropload import arguments
from cropload.errors import CroploadError


def numbers(name, given, unit, above_zero=False):
    """Return `given` as an array of floats; a missing value stays missing.

    Parameters
    ----------
    name : str
        What the user calls it.
    given : float or array
        What the user gave [unit].
    unit : str
        Unit for the message.
    above_zero : bool
        Whether 0 is a fault too.

    Raises
    ------
    CroploadError
        When something is no number, infinite, or negative.
    """
    rule = "a number above 0" if above_zero else "a number of 0 or more"
    try:
        # Text and truth values would pass as numbers.
        if np.asarray(given).dtype.kind in "USbcmM":
            raise TypeError
        values = np.asarray(given, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise arguments.fault(name, given, f"{rule} [{unit}]") from None
    bad = np.isinf(values) | (values <= 0 if above_zero else values < 0)
    if bad.any():
        raise CroploadError(f"{name} is {values[bad].flat[0]:g}; it must be {rule} [{unit}].")
    return values


def number(name, given, unit, above_zero=False):
    """Return one known number as a float; otherwise as `numbers`.

    Raises
    ------
    CroploadError
        When it is missing or more than one as well.
    """
    values = numbers(name, given, unit, above_zero)
    if values.ndim or np.isnan(values):
        raise CroploadError(f"{name} is {arguments.shown(given)}; it must be one number [{unit}].")
    return float(values)


def together(**given):
    """Return arrays broadcast against each other.

    Raises
    ------
    CroploadError
        When their lengths do not go together.
    """
    try:
        return np.broadcast_arrays(*given.values())
    except ValueError:
        sizes = " and ".join(f"{name} has {np.size(values)}" for name, values in given.items())
        raise CroploadError(f"{sizes} values. Give one of each for every vine or block.") from None


def plain(values):
    """Return a single number as a plain float, and an array as it is."""
    return float(values) if np.ndim(values) == 0 else values
