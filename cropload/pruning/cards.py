"""A card for the crew: one plan in big words, with its sketch, its tolerance and the cautions."""

import math
from functools import cache

from cropload import handbook
from cropload.pruning.vine_drawing import spur_word, vine_drawings
from cropload.show import wording
from cropload.units import METRIC


def bud_tolerance(buds):
    """Return the fewest and most buds at which a vine counts as pruned to plan [1/vine].

    Notes
    -----
    The handbook's ``sampling.crew_vine_tolerance``, rounded inwards, at least one bud either way.
    Valid for whole vines; the mean of a row is held tighter.

    Examples
    --------
    >>> bud_tolerance(30)
    (27, 33)
    """
    off = max(1, math.floor(buds * handbook.value("sampling.crew_vine_tolerance") + 1e-9))
    return buds - off, buds + off


def crew_card(
    plan,
    block,
    season,
    *,
    canopy_length_m,
    variety="",
    shoots_per_m=None,
    canopies=1,
    units=METRIC,
    invented=False,
):
    """Make the printed card of one plan.

    Parameters
    ----------
    plan : PruningPlan
        The chosen plan.
    block : str
        Name of the block; escaped.
    season : int
        Year of the harvest the pruning is for.
    canopy_length_m : float
        Canopy of a vine [m/vine].
    variety : str
        Printed where given; escaped.
    shoots_per_m : float, optional
        Shoots expected per metre of canopy [1/m].
    canopies : int
        Canopy walls of a vine [1].
    units : UnitSystem
        Units to show.
    invented : bool
        Say on the card that the records behind it are invented.

    Returns
    -------
    str
        One HTML page without outside addresses; it prints on A4 and on Letter.
    """
    low, high = bud_tolerance(plan.buds)
    steps = []
    if plan.canes:
        steps.append((plan.canes, "cane", plan.buds_per_cane))
    if plan.spurs:
        steps.append((plan.spurs, spur_word(plan), plan.buds_per_spur))
    return _template().render(
        plan=str(plan),
        block=block,
        season=season,
        variety=variety,
        buds=plan.buds,
        low=low,
        high=high,
        steps=steps,
        has_both=bool(plan.canes and plan.spurs),
        canopy=wording.amount("length_m", canopy_length_m, units),
        sketch=vine_drawings([plan], canopy_length_m, "", canopies, units)[0],
        cautions=wording.CAUTIONS,
        support=wording.SUPPORT,
        invented=invented,
    )


@cache
def _template():
    # Loaded late: only a printed card needs the template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("cropload", "pruning/templates")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined).get_template(
        "crew_card.html"
    )
