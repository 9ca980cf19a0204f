"""Plain words for results: numbers with their units, sentences for each level, cautions."""

import math
import re

from cropload.beliefs import ranges
from cropload.units import METRIC

#: Decimals shown of each quantity in metric and in US units.
DECIMALS = {
    "t_ha": (1, 1),
    "tonnes": (1, 1),
    "kg_per_vine": (2, 1),
    "cluster_weight_g": (0, 2),
    "per_m": (1, 1),
    "pruning_weight_kg": (2, 2),
    "length_m": (2, 1),
}

#: Cautions of the handbooks for anyone who prunes, a heading and a text each.
CAUTIONS = (
    ("Eyes", "Wear eye protection; canes under tension whip back when they are cut or pulled."),
    (
        "Hands",
        "Wear gloves, keep the other hand away from the cut, and keep tools sharp, and closed "
        "when they are not cutting. Powered shears cut fingers: follow their manual.",
    ),
    (
        "Footing",
        "Stand firmly on wet ground and slopes; mind wires, ladders and machines. Rest your hands "
        "and back.",
    ),
    (
        "Wounds",
        "Prune in dry weather with no rain due, late rather than early where trunk disease is "
        "about. Avoid large wounds, leave a short stub on old wood, clean tools between sick and "
        "healthy vines, and take prunings of sick vines away.",
    ),
)

#: Said wherever a first season stands beside the settled crop.
FIRST_SEASON_GAIN = (
    "A gain in the first season on a new load does not last: vines adjust over two to three "
    "seasons. Read it beside the settled crop (third season on)."
)

#: What every view of a forecast says of itself.
SUPPORT = (
    "A forecast is decision support, not a guarantee. Follow local codes, product labels and the "
    "advice of licensed practitioners; crop contracts need their own advice."
)


def levels(comparison):
    """Return the rows of a comparison as dicts, one a level.

    Parameters
    ----------
    comparison : DataFrame
        Rows of ``compare_plans``.
    """
    # Column by column: a frame of some fifty columns is slow to take apart by rows.
    columns = {name: comparison[name].tolist() for name in comparison.columns}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def decimals(quantity, units=METRIC):
    """Return the decimals shown of a quantity in a unit system [1]; 1 where none is set."""
    return DECIMALS.get(quantity, (1, 1))[units.name == "us"]


def figure(value, places=1):
    """Return a number as text with thousands separated, or ``not known`` when it is missing.

    Examples
    --------
    >>> figure(1234.56), figure(float("nan"))
    ('1,234.6', 'not known')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    text = f"{value:,.{places}f}"
    return text.removeprefix("-") if float(text.replace(",", "")) == 0 else text


def amount(quantity, value, units=METRIC, unit=True):
    """Return a metric value in a unit system as text, with its unit.

    Parameters
    ----------
    quantity : str
        As in ``UnitSystem.show``.
    value : float
        Metric value.
    units : UnitSystem
        Units to show.
    unit : bool
        Write the unit behind the number.

    Examples
    --------
    >>> amount("t_ha", 8.04)
    '8.0 t/ha'
    """
    text = figure(units.convert(quantity, value), decimals(quantity, units))
    label = units.label(quantity)
    plural = "s" if label == "short ton" and text != "1.0" else ""
    return f"{text} {label}{plural}" if unit and text != "not known" else text


def span(quantity, low, high, units=METRIC, unit=False):
    """Return a range of metric values as text, such as ``5.4 to 11.7``."""
    low = amount(quantity, low, units, unit=False)
    return f"{low} to {amount(quantity, high, units, unit=unit)}"


def years_of_ten():
    """Return the level of the range in words, such as ``8 years of 10``."""
    return f"{10 * ranges.level():g} years of 10"


def band_text(band, units=METRIC, quantity=None):
    """Return a band in a unit system, such as ``12 to 15 per m (undivided canopy)``.

    Parameters
    ----------
    band : Band
        Of ``cropload.vine.bands``, metric.
    units : UnitSystem
        Units to show.
    quantity : str, optional
        Quantity of the band; none for a bare number.
    """
    low, high, label = band.low, band.high, ""
    if quantity:
        low, high = units.convert(quantity, low), units.convert(quantity, high)
        label = f" {units.label(quantity)}"
    return f"{low:.3g} to {high:.3g}{label} ({band.name})"


def whole(text):
    """Return text for a table on a screen: dates and brackets are not broken over lines.

    Examples
    --------
    >>> whole("4.3 (0.0 to 15.3)").split(" ")
    ['4.3', '(0.0\\xa0to\\xa015.3)']
    """
    head, bracket, rest = str(text).partition(" (")
    if re.match(r"\d{4}-\d\d|\d\d-\d\d", head):
        head = head.replace(" ", "\u00a0").replace("-", "\u2011")
    return head + bracket + rest.replace(" ", "\u00a0")
