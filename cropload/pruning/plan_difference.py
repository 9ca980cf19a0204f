"""What one plan bears beyond another: the difference on common draws, with a range of its own."""

import numpy as np

from cropload.beliefs import ranges

#: Ending of the columns -> whether they are of the settled crop.
WHEN = {"": False, "_settled": True}


def difference_columns(draws, at):
    """Return what each plan bears beyond the first one in one block of the draws.

    Parameters
    ----------
    draws : PlanDraws
        Of two plans or more; of one, its difference to itself is nothing.
    at : int
        Place of the block in the draws.

    Returns
    -------
    list of dict
        One a plan: ``t_ha_change`` [t/ha] and ``tonnes_change`` [t] as ``_p10 _p50 _p90``, and
        ``chance_more``, the chance of bearing more than the first plan [1]; the same of the
        settled crop with ``_settled`` before ``_change`` or at the end.

    Notes
    -----
    Both plans are drawn in the same seasons on the same vines, so what they share falls out: the
    range of the difference is that of the difference, and cannot be read off the ranges of the
    two plans, which is far wider. The middle of the difference is not quite the difference of the
    middles.
    """
    rows = [{} for _ in draws.plans]
    tonnes_per_kg = draws.bearing[at] / 1000.0
    for ending, settled in WHEN.items():
        growth = draws.settled if settled else draws.first
        kg = np.exp(growth.log_kg_picked[:, at])
        change = kg - kg[:1]
        ends = ranges.quantiles(change)
        chance = (change > 0).mean(-1)
        for place, row in enumerate(rows):
            for name, scale in (
                ("t_ha", tonnes_per_kg / draws.area_ha[at]),
                ("tonnes", tonnes_per_kg),
            ):
                for end, values in zip(ranges.ENDINGS, ends, strict=True):
                    row[f"{name}{ending}_change_{end}"] = float(values[place] * scale)
            row[f"chance_more{ending}"] = float(chance[place]) if place else float("nan")
    return rows
