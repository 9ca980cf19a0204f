"""Layouts of canes and spurs to search: the spans, the plans within them, the canes vines offer."""

import math

import numpy as np

from cropload import arguments, handbook
from cropload.errors import CroploadError
from cropload.vine.plan import MOST_BUDS, PruningPlan
from cropload.vine.training import HEDGE, fits_training, plan_of_buds

#: Layouts above this number are asked to be narrowed: it would take long and help nobody.
MOST_LAYOUTS = 5000
#: Most canes and spurs a vine that are searched [1].
MOST_CANES, MOST_SPURS = 60, 200
#: Buds a cane that are searched, fewest and most [1].
_CANE_BUDS = (6, 14)


def span(name, given, low, high):
    """Return a span as two whole numbers within bounds, least and most, or say what is wrong."""
    whole = arguments.whole()
    try:
        first, last = (whole(name, end) for end in given)
    except (TypeError, ValueError):
        raise CroploadError(
            f"{name} must be two whole numbers, least and most, not {arguments.shown(given)}."
        ) from None
    if not low <= first <= last <= high:
        raise CroploadError(
            f"{name} runs from {first} to {last}; it must lie within {low} to {high}, least first."
        )
    return first, last


def usual_layout(last_plan, training="", longest=math.inf, usual_buds=None):
    """Return the spans searched when the user sets none: the block's own way of pruning.

    Parameters
    ----------
    last_plan : PruningPlan or None
        What the block carries.
    training : str
        Column training of the block; an empty text where not said.
    longest : int
        Buds of the longest cane that fits [1].
    usual_buds : float, optional
        Buds taken as its usual load where no plan is on record [1/vine].

    Returns
    -------
    dict
        canes, buds_per_cane and spurs as (least, most) [1]; buds_per_spur [1].
    """
    if training and (last_plan is None or not fits_training(last_plan, training)):
        buds = usual_buds if last_plan is None else last_plan.buds
        last_plan = plan_of_buds(buds, training, longest)
    lengths = tuple(min(end, longest) for end in _CANE_BUDS)
    if last_plan is not None and not last_plan.canes:
        least, most = (2, 12) if training != HEDGE else (max(2, last_plan.spurs // 3), 2)
        return {
            "canes": (0, 0),
            "buds_per_cane": lengths,
            "spurs": (least, min(max(most, 2 * last_plan.spurs), MOST_SPURS)),
            "buds_per_spur": last_plan.buds_per_spur,
        }
    canes = last_plan.canes if last_plan is not None else 2
    return {
        "canes": (1, min(max(4, canes + 1), MOST_CANES)),
        "buds_per_cane": lengths,
        "spurs": (0, min(max(6, canes + 3), MOST_SPURS)),
        "buds_per_spur": (last_plan.buds_per_spur or 2) if last_plan is not None else 2,
    }


def same_layout(plan, carried):
    """Return whether a plan keeps what a block carries, and changes one number alone.

    With canes, their number and the spurs stay, and the buds per cane change; where none was
    written a renewal spur for each cane is as good. With spurs alone their length stays, and their
    number changes.
    """
    if carried is None:
        return False
    if not carried.canes:
        return not plan.canes and plan.buds_per_spur == carried.buds_per_spur
    if not carried.spurs and plan.spurs == plan.canes == carried.canes:
        return True
    spurs = (carried.spurs, carried.buds_per_spur if carried.spurs else 0)
    return plan.canes == carried.canes and spurs == (
        plan.spurs,
        plan.buds_per_spur if plan.spurs else 0,
    )


def apart(plan, carried):
    """Return by how many canes and spurs a plan differs from what a block carries [1].

    A plan without a renewal spur for each cane is taken to have them.
    """
    if carried is None:
        return 0
    spurs = carried.spurs or carried.canes
    return abs(plan.canes - carried.canes) + abs(plan.spurs - spurs)


def layouts(canes, buds_per_cane, spurs, buds_per_spur):
    """Return every plan within the spans, fewest buds first, each once."""
    found = set()
    for c in range(canes[0], canes[1] + 1):
        for length in range(buds_per_cane[0], buds_per_cane[1] + 1) if c else (0,):
            for s in range(spurs[0], spurs[1] + 1):
                if 0 < c * length + s * buds_per_spur <= MOST_BUDS:
                    found.add(PruningPlan(c, length, s, buds_per_spur))
                    if len(found) > MOST_LAYOUTS:
                        raise CroploadError(
                            f"More than {MOST_LAYOUTS} layouts lie within these limits. "
                            "Narrow the canes, the buds per cane or the spurs."
                        )
    return sorted(found, key=lambda plan: (plan.buds, plan))


def suitable_cane_limit(records, block, season):
    """Return the canes that enough sampled vines offer, the vines sampled, or (None, 0).

    Notes
    -----
    "Enough" is the share ``find.vines_with_canes`` of the handbook.
    Counts of this season are used; without any, the latest earlier season's are not, because
    canes do not keep.
    """
    counts = records.counts
    here = counts[
        (counts["block"] == block) & (counts["season"] == season) & counts["suitable_canes"].notna()
    ]["suitable_canes"].to_numpy(float)
    if not len(here):
        return None, 0
    share = handbook.value("find.vines_with_canes")
    offers = np.arange(0, int(here.max()) + 1)
    enough = [(here >= number).mean() >= share for number in offers]
    return int(offers[np.flatnonzero(enough)[-1]]), len(here)
