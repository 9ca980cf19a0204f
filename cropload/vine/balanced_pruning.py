"""Balanced pruning: the buds to leave on a vine by the prunings just cut from it."""

import re
from dataclasses import dataclass

import numpy as np

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.errors import CroploadError, near
from cropload.units import FOOT_M, POUND_KG, unit_system
from cropload.vine.checking import number, numbers, plain


@dataclass(frozen=True)
class BalancedFormula:
    """Balanced pruning: buds for the first unit of prunings, and for each further one.

    Attributes
    ----------
    first, further : float
        Buds for the first and for each further unit of prunings [1].
    unit_kg : float
        The unit of prunings [kg].
    """

    first: float
    further: float
    unit_kg: float

    def __post_init__(self):
        for name in ("first", "further"):
            number(name, getattr(self, name), "1")
        number("unit_kg", self.unit_kg, "kg", above_zero=True)

    def __str__(self):
        pounds = self.unit_kg / POUND_KG
        if abs(pounds - round(pounds, 3)) < 1e-9:
            unit = "lb" if round(pounds, 3) == 1 else f"{pounds:g} lb"
        else:
            unit = "kg" if self.unit_kg == 1 else f"{1000 * self.unit_kg:g} g"
        return f"{self.first:g}+{self.further:g} per {unit}"

    def buds(self, pruning_weight_kg):
        """Return the buds to leave on a vine with these prunings; see `balanced_buds`."""
        return balanced_buds(pruning_weight_kg, self.first, self.further, self.unit_kg)


def usual_formula(variety):
    """Return the formula of the handbook to start from for a variety.

    Parameters
    ----------
    variety : str
        Name of the variety.

    Returns
    -------
    str
        Key such as ``"balanced.vinifera"``, which is also that of a variety no formula names.

    Notes
    -----
    Valid as a start only: a formula belongs to the vines it was made for.  Which varieties are
    American or hybrids is common practice, no source.

    Examples
    --------
    >>> usual_formula("Cabernet Franc"), usual_formula("concord")
    ('balanced.vinifera', 'balanced.american')
    """
    usual = ""
    for key in handbook.keys("balanced."):
        extra = handbook.entry(key).extra
        if any(handbook.same_variety(variety, name) for name in extra.get("varieties", ())):
            return key
        if extra.get("usual"):
            usual = key
    return usual


_NUMBER = r"(\d+(?:[.,]\d+)?)"
_FORMULA = re.compile(
    rf"{_NUMBER}\s*\+\s*{_NUMBER}(?:\s*(?:per|/)\s*{_NUMBER}?\s*(kg|g|lb|lbs))?", re.IGNORECASE
)
_KILOGRAMS = {"kg": 1.0, "g": 0.001, "lb": POUND_KG, "lbs": POUND_KG}


def _float(text):
    return float(text.replace(",", "."))


def parse_formula(text):
    """Read a balanced-pruning formula.

    Parameters
    ----------
    text : str
        ``"30+10"`` (per lb, as the trade writes it), ``"33+11 per 500 g"``, ``"60+20 per kg"``,
        or the name of a formula of the handbook such as ``"american"``.

    Returns
    -------
    BalancedFormula

    Raises
    ------
    CroploadError
        When the text is neither.

    Examples
    --------
    >>> parse_formula("33+11 per 500 g")
    BalancedFormula(first=33.0, further=11.0, unit_kg=0.5)
    >>> str(parse_formula("american"))
    '30+10 per lb'
    """
    if isinstance(text, BalancedFormula):
        return text
    words = text.strip() if isinstance(text, str) else arguments.shown(text)
    match = _FORMULA.fullmatch(words)
    if match:
        first, further, count, unit = match.groups()
        unit_kg = _KILOGRAMS[(unit or "lb").lower()] * (_float(count) if count else 1.0)
        return BalancedFormula(_float(first), _float(further), unit_kg)
    named = {key.removeprefix("balanced."): key for key in handbook.keys("balanced.")}
    key = named.get(words.lower().removeprefix("balanced.").replace(" ", "_"))
    if key is None:
        raise CroploadError(
            f"'{words}' is not a balanced-pruning formula. Write it like '30+10' (per lb) or "
            f"'33+11 per 500 g', or use one of: {', '.join(named)}. {near(words, named)}".strip()
        )
    fields = handbook.entry(key).extra
    unit_kg = fields["unit_kg"] if "unit_kg" in fields else fields["unit_lb"] * POUND_KG
    return BalancedFormula(fields["first"], fields["further"], unit_kg)


@arguments.check_arguments(pruning_weight_kg=arguments.present)
def balanced_buds(pruning_weight_kg, first, further, unit_kg):
    """Return the buds to leave on a vine by its prunings (balanced pruning) [1/vine].

    Parameters
    ----------
    pruning_weight_kg : float or array
        Prunings of this vine [kg].
    first : float
        Buds for the first unit of prunings [1].
    further : float
        Buds for each further unit of prunings [1].
    unit_kg : float
        The unit of prunings [kg].

    Returns
    -------
    float or array
        Buds to leave, not rounded [1/vine].

    Raises
    ------
    CroploadError
        When a value is negative, infinite, or the unit is 0.

    Notes
    -----
    Valid for vines that fill their space and are of the kind the formula was made for (see
    ``balanced`` in the handbook).  The sources do not say what to do with a part of a unit, nor
    below the first unit: both are taken proportionally here, so half of the first unit gives half
    of its buds.  A weak vine therefore gets few buds, which is what the rule is for.

    Examples
    --------
    >>> balanced_buds([0.25, 0.5, 0.75], 33, 11, 0.5)
    array([16.5, 33. , 38.5])
    """
    formula = BalancedFormula(first, further, unit_kg)
    units = numbers("pruning_weight_kg", pruning_weight_kg, "kg") / formula.unit_kg
    beyond = np.maximum(units - 1.0, 0.0)
    return plain(np.minimum(units, 1.0) * formula.first + beyond * formula.further)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class BalancedLookup(Answer):
    """Buds to leave by the prunings of a vine; its frame has a line a weight.

    Attributes
    ----------
    formula : BalancedFormula
        What it was made by.
    cap_buds : (int, int) or None
        Fewest and most buds that the space of the vine holds [1/vine].
    """

    formula: BalancedFormula
    cap_buds: tuple | None = None


_whether_number = arguments.optional(arguments.number(0))


@arguments.check_arguments(
    start=_whether_number,
    stop=_whether_number,
    step=_whether_number,
    cap=arguments.optional(
        arguments.any_of(
            arguments.number(0, above=True), arguments.pair(arguments.number(0, above=True))
        )
    ),
)
def balanced_table(
    formula, units="metric", start=None, stop=None, step=None, *, vine_spacing_m=None, cap=None
):
    """Return a table to print and take to the vines: prunings of this vine, buds to leave.

    Parameters
    ----------
    formula : str or BalancedFormula
        As `parse_formula` reads it.
    units : {"metric", "us"}
        Prunings in kg or in lb.
    start, stop, step : float, optional
        First and last line and the step between lines [kg or lb]; the handbook's when not given.
    vine_spacing_m : float, optional
        Distance between vines in the row [m]; with it a cap is shown as well.
    cap : float or (float, float), optional
        Most buds per m of vine spacing [1/m], one figure or a range; the handbook's 4 to 6 per ft
        when not given.

    Returns
    -------
    BalancedLookup
        Its frame: ``pruning_weight_kg`` or ``pruning_weight_lb``, ``buds`` (whole), and with a
        vine spacing ``buds_low_cap`` and ``buds_high_cap``: the same, cut off at either end of the
        cap. Its notes say how it was worked out.

    Raises
    ------
    CroploadError
        When a figure cannot be used, or the lines would run backwards or be too many to print.

    Notes
    -----
    Valid as `balanced_buds`; part units are taken proportionally.  Buds are rounded to the nearest
    whole one, half a bud upwards; a cap is rounded down.

    Examples
    --------
    >>> balanced_table("30+10", "us", 1, 3, 1).frame
       pruning_weight_lb  buds
    0                1.0    30
    1                2.0    40
    2                3.0    50
    """
    import pandas as pd

    formula = parse_formula(formula)
    label, per_kg = unit_system(units).show("pruning_weight_kg")
    usual = handbook.entry(f"lookup.pruning_weight_{label}")
    start, stop, step = (
        fallback if given is None else given
        for given, fallback in zip(
            (start, stop, step), (usual.low, usual.high, usual.extra["step"]), strict=True
        )
    )
    start, stop = number("start", start, label), number("stop", stop, label)
    step = number("step", step, label, above_zero=True)
    # A hair's grace, so that 0.1, 0.2 ... 2.0 reaches 2.0 in spite of binary fractions.
    lines = np.floor((stop - start) / step + 1e-9) + 1
    if not 1 <= lines <= 1000:
        raise CroploadError(
            f"A table from {start:g} to {stop:g} {label} in steps of {step:g} has {lines:g} lines; "
            "it must have 1 to 1000. Let it start below its end and choose a larger step."
        )
    weights = np.round(start + step * np.arange(int(lines)), 9)
    buds = np.floor(formula.buds(weights / per_kg) + 0.5 + 1e-9).astype("int64")
    table = pd.DataFrame({f"pruning_weight_{label}": weights, "buds": buds})
    notes = ["Parts of a unit are taken proportionally."]
    if vine_spacing_m is None:
        return BalancedLookup(table, tuple(notes), formula=formula)
    spacing = number("vine_spacing_m", vine_spacing_m, "m", above_zero=True)
    cap = handbook.band("band.buds_per_m.ohio") if cap is None else cap
    cap = np.sort([number("cap", each, "1/m", above_zero=True) for each in np.ravel(cap)])
    low, high = (int(np.floor(each * spacing + 1e-9)) for each in (cap[0], cap[-1]))
    table["buds_low_cap"] = np.minimum(buds, low)
    table["buds_high_cap"] = np.minimum(buds, high)
    notes.append(
        f"Cap {cap[0]:.3g} to {cap[-1]:.3g} buds per m of vine spacing "
        f"({cap[0] * FOOT_M:.3g} to {cap[-1] * FOOT_M:.3g} per ft)."
    )
    return BalancedLookup(table, tuple(notes), formula=formula, cap_buds=(low, high))
