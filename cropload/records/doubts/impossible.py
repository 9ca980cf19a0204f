"""Faults of values that nothing in a vineyard can have: another unit, or a thousands sign."""

import numpy as np

from cropload.handbook import entry
from cropload.records.doubts.rules import tell, value_told
from cropload.records.reading.faults import some_faults


def impossible_values(usable):
    """Return faults of single values, or of what two of them come to, that cannot be.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there.

    Returns
    -------
    list of Fault

    Notes
    -----
    Valid for grapevines of every kind: each end lies a few times beyond the smallest or largest
    berry, cluster or vine.  What is only rare is a doubt.
    """
    found = []
    if "weights" in usable:
        table, frame = usable["weights"], usable["weights"].frame
        seen = set()
        for key, part in (("cluster_weight_g", "clusters"), ("berry_weight_g", "berries")):
            each = frame["weight_g"] / frame[part].where(frame[part] > 0)
            what = f"the weight of a {_ONE[part]} comes to"
            mend = _weight_mend(table, part)
            faults = _beyond(table, "weight_g", key, each.drop(sorted(seen)), what, mend)
            seen |= {fault.row for fault in faults}
            found += faults
    for name in ("pruning", "counts"):
        if name in usable:
            table = usable[name]
            column = "pruning_weight_kg"
            mend = _prunings_mend(table, column)
            values = table.frame[column]
            found += _beyond(
                table, column, column, values, "the prunings of one vine come to", mend
            )
    if "blocks" in usable:
        table = usable["blocks"]
        for column in ("row_spacing_m", "vine_spacing_m"):
            unit = "feet, not inches" if table.us(table.table[column]) else "metres, not cm"
            mend = f"Write {unit}: a dot is the decimal sign, and none stands between thousands."
            found += _beyond(table, column, column, table.frame[column], "the distance is", mend)
    return found


def _beyond(table, column, key, values, what, mend):
    """Return the faults of values beyond what the handbook says can be."""
    limits = entry(f"plausible.{key}")
    low = limits.extra.get("refused_below", -np.inf)
    high = limits.extra.get("refused_above", np.inf)
    if limits.value is not None:
        high = limits.value
    found = {}
    for row, number in values[(values < low) | (values > high)].items():
        if number < low:
            found[row] = number, f"{what} less than {low:,g} {limits.unit}, which cannot be"
        elif number > high:
            found[row] = number, f"{what} more than {high:,g} {limits.unit}, which cannot be"
    return some_faults(
        sorted(found),
        lambda row: tell(
            table, row, column, found[row][1], mend, value_told(table, row, column, found[row][0])
        ),
    )


_ONE = {"clusters": "cluster", "berries": "berry"}


def _weight_mend(table, part):
    check = f" Check the {part} too."
    if table.us(table.table["weight_g"]):
        return "Write the weight of the whole lot in pounds, as the header says." + check
    return (
        "Write the weight of the whole lot in grams, not in kg (2045 for 2.045 kg), and no dot "
        "between thousands (2045, not 2.045)." + check
    )


def _prunings_mend(table, column):
    if table.us(table.table[column]):
        return "Write pounds for one vine, not ounces, and not the weight of a row."
    return "Write kg for one vine (0.289, not 289 g), and not the weight of a row."
