"""Plain words for results: numbers with their units, sentences for each level, cautions."""

import math
import re

from cropload.beliefs import ranges
from cropload.beliefs.ranges import ENDINGS
from cropload.show.languages import marked, say, with_currency
from cropload.units import METRIC
from cropload.vine.bands import UNKNOWN

#: Decimals shown of each quantity in metric and in US units; 1 of any other.
DECIMALS = {
    "t_ha": (1, 1),
    "tonnes": (1, 1),
    "kg_per_vine": (2, 1),
    "cluster_weight_g": (0, 2),
    "per_m": (1, 1),
    "pruning_weight_kg": (2, 2),
    "length_m": (2, 1),
}

#: From this size on a number is shown without decimals, whatever its quantity.
_LARGE = 100

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


def decimals(quantity=None, units=METRIC, size=0.0):
    """Return the decimals shown of a number of some size [1]: none from 100 on."""
    return 0 if abs(size) >= _LARGE else DECIMALS.get(quantity, (1, 1))[units.name == "us"]


def number(value, places=None, quantity=None, units=METRIC, *, signed=False):
    """Return a number as every face shows it; a missing one as ``not known``.

    Parameters
    ----------
    value : float or None
        As it is to be shown, in the units of ``units``.
    places : int, optional
        Decimals [1]; those of the quantity when left out, and none from 100 on.
    quantity : str, optional
        As in ``UnitSystem.show``.
    units : UnitSystem
        Units of the value.
    signed : bool
        Write the plus of a change.

    Examples
    --------
    >>> number(1234.56), number(8.04), number(0.31, 2, signed=True), number(float("nan"))
    ('1,235', '8.0', '+0.31', 'not known')
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if places is None:
        places = decimals(quantity, units, value)
    text = f"{value:{'+' if signed else ''},.{places}f}"
    return marked(text.lstrip("+-") if float(text.replace(",", "")) == 0 else text)


def figure(value, places=1):
    """Return a number with fixed decimals; see :func:`number`."""
    return number(value, places)


def significant(value, digits=3):
    """Return a number to so many significant figures, thousands set apart.

    Examples
    --------
    >>> significant(0.08379), significant(5902.4), significant(12.0), significant(float("nan"))
    ('0.0838', '5,900', '12.0', '-')
    """
    if value is None or not math.isfinite(value):
        return "-"
    if value == 0:
        return "0"
    power = math.floor(math.log10(abs(value))) + 1 - digits
    return marked(f"{round(value, -power) + 0.0:,.{max(0, -power)}f}")


def ranged(triple, show=number):
    """Return a range as text: the middle, and its ends in brackets.

    Parameters
    ----------
    triple : (low, middle, high)
        In the unit shown; a middle that is None is left out, and so are ends that both are.
    show : callable
        Writes one number.

    Examples
    --------
    >>> ranged((5.38, 7.92, 11.87)), ranged((0.7, 1.2, 1.9), lambda x: number(x, signed=True))
    ('7.9 (5.4-11.9)', '+1.2 (+0.7 to +1.9)')
    >>> ranged((0.05, None, 0.2), percent)
    '5 to 20 %'
    """
    low, middle, high = triple
    if low is None and high is None:
        return show(middle)
    ends = [show(low), show(high)]
    plain = all(end[:1].isdigit() for end in ends)
    if all(end.endswith(" %") for end in ends) and plain:
        ends[0] = ends[0].removesuffix(" %")
    joined = ("-" if plain and middle is not None else f" {say('to')} ").join(ends)
    return joined if middle is None else f"{show(middle)} ({joined})"


def percent(share):
    """Return a share of what was seen or counted, in whole per cent.

    Examples
    --------
    >>> percent(0.7195), percent(0.003), percent(0.0), percent(1.0), percent(1.2)
    ('72 %', 'under 1 %', '0 %', '100 %', '120 %')
    """
    if share is None or not math.isfinite(share):
        return "-"
    return chance(share) if 0 < share < 1 else f"{100 * share:.0f} %"


def chance(share):
    """Return a chance told from draws, in whole per cent: draws make nothing sure or impossible.

    Examples
    --------
    >>> chance(0.842), chance(0.9958), chance(1.0), chance(0.002), chance(0.0)
    ('84 %', 'over 99 %', 'over 99 %', 'under 1 %', 'under 1 %')
    """
    if share is None or not math.isfinite(share):
        return "-"
    if share <= 0.005:
        return say("under 1 %")
    return say("over 99 %") if share >= 0.995 else f"{100 * share:.0f} %"


def money(value, step=0, currency="", signed=False):
    """Return an amount of money, rounded to a power of ten; a change with its sign.

    Examples
    --------
    >>> money(48231.0, 2, "EUR")
    'EUR 48,200'
    """
    rounded = None if value is None or not math.isfinite(value) else round(value, -step)
    return with_currency(number(rounded, 0, signed=signed), currency)


def amount(quantity, value, units=METRIC, unit=True, signed=False):
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
    signed : bool
        Write the plus of a change.

    Examples
    --------
    >>> amount("t_ha", 8.04)
    '8.0 t/ha'
    """
    text = number(units.convert(quantity, value), None, quantity, units, signed=signed)
    label = units.label(quantity)
    plural = "s" if label == "short ton" and text != marked("1.0") else ""
    return f"{text} {label}{plural}" if unit and text != "not known" else text


def range_of(row, name, quantity=None, units=METRIC, *, signed=False):
    """Return the range of a column of a row as every face shows it, such as ``7.9 (5.4-11.9)``.

    Parameters
    ----------
    row : mapping
        With ``name_p10``, ``name_p50`` and ``name_p90`` [metric].
    name : str
        Name of the column.
    quantity : str, optional
        As in ``UnitSystem.show``; none for a bare number.
    units : UnitSystem
        Units to show.
    signed : bool
        Write the plus of a change.
    """
    ends = [row[f"{name}_{end}"] for end in ENDINGS]
    if not all(math.isfinite(end) for end in ends):
        return "-"
    if quantity:
        ends = [units.convert(quantity, end) for end in ends]
    places = decimals(quantity, units, ends[1])
    return ranged(ends, lambda end: number(end, places, signed=signed))


def verdict(judged):
    """Return a verdict with the season it judges, such as ``above in 2027``.

    Parameters
    ----------
    judged : Verdict
        Of ``cropload.vine.bands``.
    """
    return str(judged)


def against_band(word):
    """Return the word of a verdict with what it is about, such as ``above the band``."""
    return word if word == UNKNOWN else f"{word} the band"


def season_words(season):
    """Return a season as a verdict or a crop is told for it: ``in 2027``, or ``once settled``."""
    return "once settled" if season == "settled" else f"in {season}"


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
    if not band.known:
        return band.name
    if quantity:
        low, high = units.convert(quantity, low), units.convert(quantity, high)
        label = f" {units.label(quantity)}"
        if label.strip() in band.name:
            return band.name  # it was given in these units, and is not rounded twice
    return f"{low:.3g} to {high:.3g}{label} ({band.name})"


def capital(text):
    """Return a sentence with its first letter large, and names inside it as they are."""
    return text[:1].upper() + text[1:]


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
