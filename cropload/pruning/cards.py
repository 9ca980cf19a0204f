"""Cards for the crew: a plan each in big numbers, with its vine drawn, in the crew's language."""

import math
from dataclasses import dataclass

from cropload import arguments, clock, handbook
from cropload.errors import CroploadError
from cropload.pruning.vine_drawing import vine_drawings
from cropload.show import wording
from cropload.show.languages import LANGUAGES, catalogue, day_words, number_words, template
from cropload.units import METRIC
from cropload.vine.plan import PruningPlan

#: Paper of a card: a page, or a pocket.
SIZES = ("A4", "A6")


@dataclass(frozen=True, kw_only=True)
class CardItem:
    """What one card is about.

    Attributes
    ----------
    plan : PruningPlan
        What is left on a vine.
    block, variety, training : str
        As in table blocks; variety and training may be empty.
    season : int
        Year of the harvest the pruning is for.
    canopy_length_m : float
        Canopy of a vine, all walls together [m/vine].
    canopies : int
        Canopy walls of a vine [1].
    part : str
        Vigour class of the block, as in table parts; empty for a whole block.
    vines : float or None
        Vines of the part [1].
    invented : bool
        Whether the records behind it are invented.
    """

    plan: PruningPlan
    block: str
    season: int
    canopy_length_m: float
    variety: str = ""
    training: str = ""
    canopies: int = 1
    part: str = ""
    vines: float | None = None
    invented: bool = False


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


def of_plan(records, block, plan, season, part="", vines=None):
    """Return what a card says of a plan for a block of the records.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    block : str
        Name of one of its blocks.
    plan : PruningPlan
        What is left on a vine.
    season : int
        Year of the harvest the pruning is for.
    part : str
        Vigour class of the block; empty for all of it.
    vines : float, optional
        Vines of the part [1].

    Returns
    -------
    CardItem
    """
    from cropload.beliefs.meant import check_block
    from cropload.records.example import is_sample
    from cropload.records.facts import block_facts

    facts = block_facts(records)
    at = facts.place(check_block(records, block))
    return CardItem(
        plan=plan,
        block=facts.names[at],
        season=season,
        canopy_length_m=float(facts.canopy_length_m[at]),
        variety=facts.varieties[at],
        training=facts.training[at],
        canopies=int(facts.canopies[at]),
        part=part,
        vines=vines,
        invented=is_sample(records),
    )


def of_records(records, blocks=None, season=None):
    """Return a card for each block, or for each of its parts, by the plans on record.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    blocks : iterable of str, optional
        Names of blocks; all of them when left out.
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.

    Returns
    -------
    (list of CardItem, list of str)
        And the blocks, or parts, without a plan of that season, which have no card.

    Notes
    -----
    A part without a plan of its own has that of its block.
    """
    from cropload.beliefs.meant import check_block, check_season

    season = check_season(records, season)
    here = records.pruning[(records.pruning["season"] == season) & (records.pruning["plan"] != "")]
    plans = dict(zip(here["block"], here["plan"], strict=True))
    names = list(records.blocks["block"]) if blocks is None else blocks
    items, without = [], []
    for name in (check_block(records, block) for block in names):
        parts = records.parts[records.parts["block"] == name]
        wanted = zip(parts["part"], parts["plan"], parts["vines"], strict=True)
        for part, own, vines in list(wanted) or [("", "", None)]:
            plan = own or plans.get(name, "")
            if plan:
                read = PruningPlan.parse(plan)
                items.append(of_plan(records, name, read, season, part, vines))
            else:
                without.append(f"{name}, {part}" if part else name)
    return items, without


def crew_cards(items, language="en", size="A4", units=METRIC):
    """Return cards for the crew as one HTML page that prints a card a sheet.

    Parameters
    ----------
    items : sequence of CardItem
        What each card is about.
    language : str
        One of ``LANGUAGES``.
    size : str
        ``"A4"``, or ``"A6"`` for a pocket.
    units : UnitSystem
        Units to show.

    Returns
    -------
    str
        HTML without outside addresses, with a button that prints it.

    Raises
    ------
    CroploadError
        For no item, another language or another size.

    Notes
    -----
    Valid as a picture of how much is left; where to cut is the pruner's to judge.
    """
    arguments.one_of(*SIZES)("size", size)
    if not items:
        raise CroploadError("There is no plan to make a card of. Save a plan for a block first.")
    return template("pruning/templates", "crew_card.html", language, "cards").render(
        cards=[card_parts(item, language, units) for item in items],
        language=language,
        size=size,
        today=day_words(clock.today(), language),
    )


def card_parts(item, language, units):
    """Return what is shown of one plan in a language: its drawing, tolerance and lengths.

    Parameters
    ----------
    item : CardItem
        What the card is about.
    language, units
        As in ``crew_cards``.

    Returns
    -------
    dict
    """
    plan, (low, high) = item.plan, bud_tolerance(item.plan.buds)

    def length(metres):
        shown = units.convert("length_m", metres)
        places = wording.decimals("length_m", units)
        return f"{number_words(shown, language, places)} {units.label('length_m')}"

    told = catalogue(language).gettext("One vine, pruned to %(plan)s: %(buds)s buds.") % {
        "plan": plan,
        "buds": plan.buds,
    }
    (drawn,) = vine_drawings(
        [plan],
        item.canopy_length_m,
        item.training,
        item.canopies,
        units,
        told=[told],
        length_words=length,
    )
    return {
        "item": item,
        "plan": plan,
        "low": low,
        "high": high,
        "renewal": bool(plan.canes) and plan.spurs <= plan.canes,
        "vines": "" if item.vines is None else number_words(item.vines, language),
        "apart": length(item.canopy_length_m / item.canopies),
        "drawing": drawn,
    }


__all__ = [
    "LANGUAGES",
    "SIZES",
    "CardItem",
    "bud_tolerance",
    "card_parts",
    "crew_cards",
    "of_plan",
    "of_records",
]
