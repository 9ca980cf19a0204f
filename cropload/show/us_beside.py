"""Metric figures in a sentence with the US ones in brackets behind them."""

import re
from dataclasses import replace

from cropload.units import US

_QUANTITY = {
    "t/ha": "t_ha",
    "kg/m": "pruning_weight_kg_per_m",
    "per m": "per_m",
    "t": "tonnes",
    "kg": "pruning_weight_kg",
    "g": "cluster_weight_g",
    "m": "length_m",
    "ha": "area_ha",
}
_NUMBER = r"\d[\d,]*(?:\.\d+)?"
_FIGURE = re.compile(
    rf"(?<![\w.,])(?:({_NUMBER}) to )?({_NUMBER}) (t/ha|kg/m|per m|kg|ha|t|g|m)(?![\w/]| \()"
)


def faults_with_us(faults):
    """Return faults or doubts of records whose words hold the US figures as well."""
    return [replace(each, rule=us_beside(each.rule), mend=us_beside(each.mend)) for each in faults]


def us_beside(text):
    """Return a text with the US figure behind each metric one.

    Notes
    -----
    Valid for the units of ``UnitSystem``; a figure of any other unit stays as it is.

    Examples
    --------
    >>> us_beside("comes to a crop above 200 t/ha; rows 2.5 m apart")
    'comes to a crop above 200 t/ha (89.2 ton/ac); rows 2.5 m (8.2 ft) apart'
    """

    def both(found):
        quantity = _QUANTITY[found[3]]
        ends = [float(end.replace(",", "")) for end in found.groups()[:2] if end]
        shown = " to ".join(f"{US.convert(quantity, end):.3g}" for end in ends)
        return f"{found[0]} ({shown} {US.label(quantity)})"

    return _FIGURE.sub(both, text)
