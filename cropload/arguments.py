"""Checks of what the public functions are given: one clear message before any work is done.

``check_arguments(name=rule, ...)`` puts a rule on each argument.  A rule takes the argument's
name and value, and returns the value to work with, or says what it is, what it must be, and how
to mend it.
"""

import functools
import inspect
import math
import numbers
from collections.abc import Mapping

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.clock import day as read_day
from cropload.errors import CroploadError, near, shown


def fault(name, given, rule, mend=""):
    """Return the error for a wrong argument: what, value, rule and mend."""
    return CroploadError(f"{name} is {shown(given)}; it must be {rule}. {mend}".rstrip())


def check_arguments(**rules):
    """Return a decorator that checks arguments by name before the function runs.

    Parameters
    ----------
    **rules
        Argument name -> rule; an argument left out keeps its default, unchecked.
    """

    def decorate(function):
        signature = inspect.signature(function)

        @functools.wraps(function)
        def checked(*given, **named):
            bound = signature.bind(*given, **named)
            for name, rule in rules.items():
                if name in bound.arguments:
                    bound.arguments[name] = rule(name, bound.arguments[name])
            return function(*bound.args, **bound.kwargs)

        return checked

    return decorate


def optional(rule):
    """Return a rule that lets None pass, for an argument that may be left out."""

    def check(name, given):
        return None if given is None else rule(name, given)

    return check


def any_of(*rules):
    """Return a rule that one of several keeps; the last one's fault is told when none does."""

    def check(name, given):
        for rule in rules[:-1]:
            try:
                return rule(name, given)
            except CroploadError:
                continue
        return rules[-1](name, given)

    return check


def plain_number(given):
    """Return a plain number as a float, NaN for a text, a truth value or anything else."""
    return _float(given)


def _float(given):
    """Return a plain number as a float, or NaN for anything else (text and truth too)."""
    if isinstance(given, bool) or type(given).__name__ == "bool_":
        return math.nan
    if getattr(given, "ndim", None) == 0 and hasattr(given, "item"):
        given = given.item()
    if not isinstance(given, numbers.Real) or isinstance(given, bool):
        return math.nan
    try:
        return float(given)
    except OverflowError:
        return math.inf


def number(low=-math.inf, high=math.inf, *, unit="", above=False, below=False, mend=""):
    """Return a rule for one finite number.

    Parameters
    ----------
    low, high : float
        Bounds, in the unit of the number.
    unit : str
        Unit for the message.
    above, below : bool
        Leave out the low, or the high bound itself.
    mend : str
        A sentence on how to write it.
    """
    both = math.isfinite(low) and math.isfinite(high)
    if both and above:
        bounds = f"between {low:g} and {high:g}" if below else f"above {low:g}, at most {high:g}"
    elif both:
        bounds = f"from {low:g} to {'below ' if below else ''}{high:g}"
    elif math.isfinite(low):
        bounds = f"above {low:g}" if above else f"of {low:g} or more"
    else:
        bounds = ""
    rule = " ".join(filter(None, ["a number", bounds, f"[{unit}]" if unit else ""]))

    def check(name, given):
        value = _float(given)
        good = math.isfinite(value) and low <= value <= high
        if not good or (above and value == low) or (below and value == high):
            raise fault(name, given, rule, mend)
        return value

    return check


def whole(low=0, high=None, *, mend=""):
    """Return a rule for a whole number from ``low`` to ``high`` [1]."""
    rule = f"a whole number of {low} or more"
    if high is not None:
        rule = f"a whole number from {low} to {high}"

    def check(name, given):
        value = _float(given)
        if not math.isfinite(value) or value % 1 or value < low:
            raise fault(name, given, rule, mend)
        if high is not None and value > high:
            raise fault(name, given, rule, mend)
        return int(value)

    return check


def flag(name, given):
    """Return True or False, or raise the fault for anything else."""
    if isinstance(given, bool) or type(given).__name__ in ("bool", "bool_"):
        return bool(given)
    raise fault(name, given, "True or False")


def text(name, given):
    """Return a text that is not blank, or raise the fault for anything else."""
    if not isinstance(given, str) or not given.strip() or "\0" in given:
        raise fault(name, given, "a text that is not blank")
    return given


def label(name, given):
    """Return a text, which may be blank, or raise the fault for anything else."""
    if not isinstance(given, str):
        raise fault(name, given, "a text")
    return given


def one_of(*words):
    """Return a rule for one of some words."""
    two = " or ".join(map(repr, words))

    def check(name, given):
        if not isinstance(given, str) or given not in words:
            listed = f"one of {', '.join(map(repr, words))}" if len(words) > 2 else two
            hint = near(given, words) if isinstance(given, str) else ""
            raise fault(name, given, listed, hint)
        return given

    return check


def each(rule, what="a list", least=1):
    """Return a rule for a sequence whose members each keep a rule; one member may stand alone."""

    def check(name, given):
        alone = isinstance(given, (str, bytes, Mapping)) or not hasattr(given, "__iter__")
        if not alone and getattr(given, "ndim", 1) != 1:
            raise fault(name, given, what)
        members = [given] if alone else list(given)
        if len(members) < least:
            raise fault(name, given, f"{what} with something in it")
        return [rule(name, member) for member in members]

    return check


def pair(rule, what="two numbers, low and high"):
    """Return a rule for two members, low and high, that each keep a rule."""

    def check(name, given):
        alone = isinstance(given, (str, bytes, Mapping)) or not hasattr(given, "__iter__")
        members = [] if alone else list(given)
        if len(members) != 2:
            raise fault(name, given, what)
        return tuple(rule(name, member) for member in members)

    return check


def by_block(what):
    """Return a rule for a mapping of block names to something, such as ``{"Long Acre": "3x8"}``."""

    def check(name, given):
        if not isinstance(given, Mapping) and type(given).__name__ != "Series":
            raise fault(name, given, f"a dict of block names and {what}")
        return dict(given)

    return check


def kind(wanted, mend=""):
    """Return a rule for an object of a class, told by its name so that nothing is loaded for it.

    Parameters
    ----------
    wanted : str
        Name of the class; one derived from it will do.
    mend : str
        A sentence on where to get one; may hold ``{path}`` for a text given in its place.
    """

    def check(name, given):
        if wanted not in {parent.__name__ for parent in type(given).__mro__}:
            raise fault(name, given, f"a {wanted}", mend)
        return given

    return check


def records(name, given):
    """Return records as read, or say how to read them; a path is not read unasked."""
    if hasattr(getattr(given, "blocks", None), "columns"):
        return given
    mend = "Give what read_records(path) returns, or example_records()."
    if isinstance(given, str) or hasattr(given, "__fspath__"):
        path = str(given)
        mend = f"Read them first: read_records({path!r})."
        given = path
    raise fault(name, given, "records that were read", mend)


def forecast(name, given):
    """Return a forecast, or say how to make one."""
    if all(hasattr(given, part) for part in ("picked", "area_ha", "draws")):
        return given
    raise fault(name, given, "a Forecast", "Make one first: forecast(records, season).")


def present(name, given):
    """Return anything but None."""
    if given is None:
        raise fault(name, given, "a number, or one for each vine or block")
    return given


#: A share from 0 to below 1.
share = number(0, 1, below=True, mend="Write 35 % as 0.35.")

#: A share between 0 and 1, neither of them.
part = number(0, 1, above=True, below=True, mend="Write 10 % as 0.1.")

#: A seed of draws.
seed = whole(0, 2**63)

#: How many draws.
draws = whole(100, 1_000_000)


def season(name, given):
    """Return a year of harvest as a whole number, or raise the fault for anything else."""
    value = math.nan if isinstance(given, float) else _float(given)
    if not FIRST_YEAR <= value <= LAST_YEAR or value % 1:
        raise CroploadError(
            f"The season is the year of a harvest, from {FIRST_YEAR} to {LAST_YEAR}, "
            f"not {shown(given)}."
        )
    return int(value)


def day(name, given):
    """Return a day at midnight, or raise the fault for anything that is no date."""
    try:
        return read_day("" if given is None else given)
    except CroploadError:
        raise fault(name, given, "a date", "Write it like 2026-07-15.") from None


def block(name, given):
    """Return the name of a block as text; a block may be called by a number."""
    if isinstance(given, numbers.Integral) and not isinstance(given, bool):
        return str(given)
    return text(name, given)


def path(name, given):
    """Return a place in the file system that can be one, or raise the fault for anything else."""
    import os

    try:
        place = os.fspath(given)
    except TypeError:
        place = b""
    if not isinstance(place, str) or not place.strip() or "\0" in place:
        raise fault(name, given, "the name of a file or folder")
    return given


def frame(name, given):
    """Return a table, or raise the fault for anything else."""
    if type(given).__name__ != "DataFrame":
        raise fault(name, given, "a table (DataFrame)")
    return given


def row(name, given):
    """Return a row as a dict of column names and values, or raise the fault for anything else."""
    if not isinstance(given, Mapping) or not all(isinstance(column, str) for column in given):
        raise fault(name, given, "rows, each a dict of column names and values")
    return dict(given)


def calling(name, given):
    """Return something that can be called, or raise the fault for anything else."""
    if not callable(given):
        raise fault(name, given, "a function")
    return given


#: Where vines stand.
hemisphere = one_of("north", "south")
