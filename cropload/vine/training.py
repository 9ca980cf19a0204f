"""What the training of vines settles: the plans put forward, and the longest cane that fits."""

import math

from cropload import handbook
from cropload.vine.plan import SPUR_MOST_BUDS, PlanError, PruningPlan

CANE, CORDON, HEAD, HEDGE = "cane", "cordon", "head", "minimal hedge"
#: Words of column ``training``; nothing said is an empty text.
TRAININGS = (CANE, CORDON, HEAD, HEDGE)

#: Usual loads from here on are two canes; below, two would be stumps [1/vine].
_TWO_CANES = 20
#: Buds a cane, or spurs a vine, by which the levels put forward differ [1].
_STEP = 2
#: A hedge has so many spurs that its levels differ by a share of them [1].
_HEDGE_STEP = 0.2


def cane_length_m(buds):
    """Return how long a cane of so many buds is [m]: at short, middling and long internodes.

    Notes
    -----
    Source: internodes of a fruiting cane worth keeping, ``layout.internode_mm`` (Hellman).
    Valid for canes as they grow in the sun; shaded ones are longer.

    Examples
    --------
    >>> [round(metres, 2) for metres in cane_length_m(10)]
    [0.76, 0.89, 1.02]
    """
    low, high = handbook.band("layout.internode_mm")
    return tuple(buds * mm / 1000 for mm in (low, (low + high) / 2, high))


def longest_cane(vine_spacing_m):
    """Return the buds of the longest cane that fits between two vines [1], at least a cane's least.

    Parameters
    ----------
    vine_spacing_m : float
        Distance between vines in a row [m].

    Notes
    -----
    Taken at the shortest internodes, so that a longer cane fits on no ordinary vine; where canes
    are bent, cross the row or overlap, longer ones can be right.

    Examples
    --------
    >>> longest_cane(1.2), longest_cane(1.8)
    (15, 23)
    """
    return max(math.floor(vine_spacing_m / cane_length_m(1)[0] + 1e-9), SPUR_MOST_BUDS + 1)


def plan_of_buds(buds, training="", longest=math.inf):
    """Return an ordinary plan of about so many buds [1/vine]: one or two canes, or spurs alone.

    Parameters
    ----------
    buds : float
        Count buds of a vine [1].
    training : str
        One of ``TRAININGS``; canes when nothing is said.
    longest : int
        Buds of the longest cane that fits [1]; more canes are taken where two would be longer.

    Examples
    --------
    >>> str(plan_of_buds(24)), str(plan_of_buds(14)), str(plan_of_buds(5))
    ('2x10+2x2', '1x12+1x2', '2x2')
    >>> str(plan_of_buds(28, "cordon")), str(plan_of_buds(36, "cane", longest=13))
    ('14x2', '3x10+3x2')
    """
    canes = 2 if buds >= _TWO_CANES else 1
    if training in ("", CANE):
        while round(buds / canes - 2) > longest:
            canes += 1
        length = round(buds / canes - 2)
        if length > SPUR_MOST_BUDS:
            return PruningPlan(canes, length, canes, 2)
    return PruningPlan(0, 0, max(1, round(buds / 2)), 2)


def fits_training(plan, training):
    """Return whether a plan is of the kind of wood that a training lives on."""
    return training == "" or (plan.canes > 0) == (training == CANE)


def first_levels(last_plan, usual_buds, training="", longest=math.inf):
    """Return the levels to open with: last winter's, a lighter and a heavier one.

    Parameters
    ----------
    last_plan : PruningPlan or None
        What the block carries.
    usual_buds : float
        Buds per vine taken as its usual load when no plan is on record [1/vine].
    training : str
        One of ``TRAININGS``, or an empty text.
    longest : int
        Buds of the longest cane that fits [1].

    Returns
    -------
    (list of PruningPlan, list of str)
    """
    if last_plan is None:
        middle, name = plan_of_buds(usual_buds, training, longest), "a usual load"
    else:
        middle, name = last_plan, "as last winter"
    plans, names = [middle], [name]
    for sign, word in ((-1, "lighter"), (1, "heavier")):
        try:
            other = _stepped(middle, sign, training, longest)
        except PlanError:
            continue
        plans.append(other)
        names.append(word)
    return plans, names


def _stepped(plan, sign, training, longest):
    """Return a plan a step lighter or heavier; a cane more where longer ones would not fit."""
    if not plan.canes:
        step = _STEP if training != HEDGE else max(_STEP, round(_HEDGE_STEP * plan.spurs))
        return PruningPlan(0, 0, plan.spurs + sign * step, plan.buds_per_spur)
    each = plan.buds_per_spur or 2
    length = plan.buds_per_cane + sign * _STEP
    if sign < 0 or length <= longest:
        return PruningPlan(plan.canes, min(length, longest), plan.spurs, each)
    wanted, canes, spurs = plan.canes * length, plan.canes, plan.spurs
    while length > longest:
        canes, spurs = canes + 1, spurs + (plan.spurs > 0)
        length = math.ceil(wanted / canes)
    return PruningPlan(canes, length, spurs, each)
