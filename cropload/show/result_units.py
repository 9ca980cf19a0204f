"""Turn the columns of a result into the units its reader works in."""

import re

from cropload.units import unit_system

#: Column of a result -> (its US name, quantity of the unit system).
COLUMNS = {
    "buds_per_m": ("buds_per_ft", "per_m"),
    "shoots_per_m": ("shoots_per_ft", "per_m"),
    "canopy_length_m": ("canopy_length_ft", "length_m"),
    "cluster_weight_g": ("cluster_weight_lb", "cluster_weight_g"),
    "kg_per_vine": ("lb_per_vine", "kg_per_vine"),
    "t_ha": ("ton_ac", "t_ha"),
    "tonnes": ("tons", "tonnes"),
}
_ENDING = r"((?:_settled|_target)?(?:_change)?(?:_with_frost)?(?:_p\d\d|_low|_high)?)"
_NAME = re.compile(f"({'|'.join(COLUMNS)}){_ENDING}")


def in_units(frame, units):
    """Return a result in the units of a system, its column names with them.

    Parameters
    ----------
    frame : DataFrame
        A result in metric units, with columns such as ``t_ha_p50``.
    units : str or UnitSystem
        ``"metric"`` or ``"us"``.

    Returns
    -------
    DataFrame
        A copy; ``t_ha_p50`` [t/ha] becomes ``ton_ac_p50`` [short ton/ac], and so on for every
        column named in ``COLUMNS``.  A bare number such as ``ravaz_p50`` stays.

    Examples
    --------
    >>> import pandas as pd
    >>> shown = in_units(pd.DataFrame({"shoots_per_m_p50": [12.0], "plan": ["3x8"]}), "us")
    >>> shown.columns.tolist(), shown["shoots_per_ft_p50"].round(2).tolist()
    (['shoots_per_ft_p50', 'plan'], [3.66])
    """
    system = unit_system(units)
    frame = frame.copy()
    if system.name == "metric":
        return frame
    names = {}
    for name in frame.columns:
        found = _NAME.fullmatch(str(name))
        if found:
            us_name, quantity = COLUMNS[found[1]]
            frame[name] = system.convert(quantity, frame[name])
            names[name] = us_name + found[2]
    return frame.rename(columns=names)
