"""Units: exact factors, the US twin of each metric column, and the two systems a view can show.

Inside the package every number is metric.  Conversion happens once when records are read and once
when a result is shown.
"""

from dataclasses import dataclass, field

from cropload.arguments import fault
from cropload.errors import CroploadError, shown

#: Exact lengths of the international foot and pound, and the acre of 1959 [m], [kg], [ha].
FOOT_M = 0.3048
POUND_KG = 0.45359237
ACRE_HA = 0.40468564224
#: The short ton of 2,000 lb [t].
SHORT_TON_T = 2000 * POUND_KG / 1000
#: Zero Celsius on the Fahrenheit scale [F], and the size of one degree Fahrenheit [C].
FREEZING_F = 32.0
DEGREE_F_C = 5 / 9

#: Metric suffix -> (US suffix, factor that multiplies the US value to give the metric one).
#: Longer suffixes come first, so that ``cap_t_ha`` is not taken for an area.
#: ``_c`` has a zero point as well: use :func:`to_metric`.
SUFFIXES = {
    "_t_ha": ("_ton_ac", SHORT_TON_T / ACRE_HA),
    "_per_t": ("_per_ton", 1 / SHORT_TON_T),
    "tonnes": ("tons", SHORT_TON_T),
    "_m2": ("_ft2", FOOT_M**2),
    "_kg": ("_lb", POUND_KG),
    "_ha": ("_ac", ACRE_HA),
    "_g": ("_lb", 1000 * POUND_KG),
    "_m": ("_ft", FOOT_M),
    "_t": ("_ton", SHORT_TON_T),
    "_c": ("_f", DEGREE_F_C),
}


def metric_suffix(name):
    """Return the metric suffix of a column name, or ``None`` when it carries no unit.

    Parameters
    ----------
    name : str
        A column name like ``row_spacing_m``.

    Examples
    --------
    >>> metric_suffix("cap_t_ha")
    '_t_ha'
    """
    return next((suffix for suffix in SUFFIXES if name.endswith(suffix)), None)


def us_name(name):
    """Return the US twin of a metric column name, or ``None`` when it carries no unit.

    Parameters
    ----------
    name : str
        A column name like ``row_spacing_m``.

    Examples
    --------
    >>> us_name("row_spacing_m"), us_name("tonnes"), us_name("variety")
    ('row_spacing_ft', 'tons', None)
    """
    suffix = metric_suffix(name)
    return None if suffix is None else name.removesuffix(suffix) + SUFFIXES[suffix][0]


def to_metric(values, suffix, difference=False):
    """Turn US values into metric ones.

    Parameters
    ----------
    values : float or array
        Values in the US unit of the suffix.
    suffix : str
        A key of ``SUFFIXES``.
    difference : bool
        For ``_c``: a difference between temperatures, which has no zero point.

    Returns
    -------
    float or array
        The same values in the metric unit.

    Examples
    --------
    >>> to_metric(10.0, "_m"), to_metric(32.0, "_c"), to_metric(9.0, "_c", True)
    (3.048, 0.0, 5.0)
    """
    zero = FREEZING_F if suffix == "_c" and not difference else 0.0
    return (values - zero) * SUFFIXES[suffix][1]


def from_metric(values, suffix, difference=False):
    """Turn metric values into US ones; the reverse of :func:`to_metric`.

    Parameters
    ----------
    values : float or array
        Values in the metric unit of the suffix.
    suffix, difference
        As in `to_metric`.

    Examples
    --------
    >>> from_metric(3.048, "_m"), from_metric(0.0, "_c")
    (10.0, 32.0)
    """
    zero = FREEZING_F if suffix == "_c" and not difference else 0.0
    return values / SUFFIXES[suffix][1] + zero


@dataclass(frozen=True)
class UnitSystem:
    """How a view shows each quantity.

    Attributes
    ----------
    name : str
        ``"metric"`` or ``"us"``.
    shown : dict
        Quantity -> (label of the unit, factor that multiplies the metric value to give the shown).
    """

    name: str
    shown: dict = field(repr=False)

    def show(self, quantity):
        """Return the label of the unit and the factor that multiplies the metric value.

        Parameters
        ----------
        quantity : str
            One of ``t_ha``, ``tonnes``, ``kg_per_vine``, ``cluster_weight_g``, ``per_m``,
            ``pruning_weight_kg``, ``pruning_weight_kg_per_m``, ``length_m``, ``area_ha``,
            ``temperature_c``.

        Returns
        -------
        (str, float)
            Label and factor.  A temperature has a zero point too: use :meth:`convert`.

        Raises
        ------
        CroploadError
            When the quantity is unknown.
        """
        try:
            return self.shown[quantity]
        except KeyError:
            from cropload.errors import near

            hint = near(quantity, self.shown)
            raise CroploadError(f"No unit is known for '{quantity}'. {hint}".strip()) from None

    def label(self, quantity):
        """Return the label of the unit of a quantity, like ``t/ha``."""
        return self.show(quantity)[0]

    def convert(self, quantity, values):
        """Turn metric values of a quantity into the values to show.

        Parameters
        ----------
        quantity : str
            As in :meth:`show`.
        values : float or array
            Metric values.
        """
        factor = self.show(quantity)[1]
        zero = FREEZING_F if quantity == "temperature_c" and self.name == "us" else 0.0
        return values * factor + zero

    def to_metric(self, quantity, values):
        """Turn values as shown back into metric ones; the reverse of :meth:`convert`."""
        factor = self.show(quantity)[1]
        zero = FREEZING_F if quantity == "temperature_c" and self.name == "us" else 0.0
        return (values - zero) / factor


METRIC = UnitSystem(
    "metric",
    {
        "t_ha": ("t/ha", 1.0),
        "tonnes": ("t", 1.0),
        "kg_per_vine": ("kg", 1.0),
        "cluster_weight_g": ("g", 1.0),
        "per_m": ("per m", 1.0),
        "pruning_weight_kg": ("kg", 1.0),
        "pruning_weight_kg_per_m": ("kg/m", 1.0),
        "length_m": ("m", 1.0),
        "area_ha": ("ha", 1.0),
        "temperature_c": ("°C", 1.0),
    },
)
US = UnitSystem(
    "us",
    {
        "t_ha": ("ton/ac", ACRE_HA / SHORT_TON_T),
        "tonnes": ("short ton", 1 / SHORT_TON_T),
        "kg_per_vine": ("lb", 1 / POUND_KG),
        "cluster_weight_g": ("lb", 1 / (1000 * POUND_KG)),
        "per_m": ("per ft", FOOT_M),
        "pruning_weight_kg": ("lb", 1 / POUND_KG),
        "pruning_weight_kg_per_m": ("lb/ft", FOOT_M / POUND_KG),
        "length_m": ("ft", 1 / FOOT_M),
        "area_ha": ("ac", 1 / ACRE_HA),
        "temperature_c": ("°F", 1 / DEGREE_F_C),
    },
)


def unit_system(name):
    """Return ``METRIC`` or ``US`` by name.

    Parameters
    ----------
    name : str or UnitSystem
        ``"metric"`` or ``"us"``, in any case.

    Raises
    ------
    CroploadError
        When the name is neither.

    Examples
    --------
    >>> unit_system("us").show("per_m")
    ('per ft', 0.3048)
    """
    if isinstance(name, UnitSystem):
        return name
    for system in (METRIC, US):
        if str(name).strip().lower() == system.name:
            return system
    raise CroploadError(f"The unit system {shown(name)} is not known. Write 'metric' or 'us'.")


def vines_per_hectare(row_spacing_m, vine_spacing_m):
    """Return the planted places on one hectare [1/ha].

    Parameters
    ----------
    row_spacing_m : float or array
        Distance between rows [m].
    vine_spacing_m : float or array
        Distance between vines within a row [m].

    Returns
    -------
    float or array
        Places per hectare [1/ha].

    Raises
    ------
    CroploadError
        When a spacing is not a positive, finite number.

    Notes
    -----
    Valid for a rectangular planting without roads and headlands.  10,000 m2 are shared out among
    places of row spacing times vine spacing; it gives the table of the BC Wine Grape Council's
    Best Practices Guide, chapter "Crop Estimation".

    Examples
    --------
    >>> round(vines_per_hectare(2.4, 1.2))
    3472
    """
    import numpy as np

    def spacing(name, given):
        try:
            values = np.asarray(given, dtype=float)
        except (TypeError, ValueError, OverflowError):
            values = np.array(np.nan)
        plain = np.asarray(given).dtype.kind not in "USb"
        if not plain or not values.size or not np.all(np.isfinite(values) & (values > 0)):
            raise fault(name, given, "a number above 0", "Write the distance in metres.")
        return values

    places = 10_000 / (
        spacing("row_spacing_m", row_spacing_m) * spacing("vine_spacing_m", vine_spacing_m)
    )
    return float(places) if places.ndim == 0 else places
