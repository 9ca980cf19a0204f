"""Next winter's wood: will each cane and spur find the shoots that take its place?

A cane that bears this year is cut away next winter. On the renewal spur below it, the uppermost
shoot becomes the new cane and the one below it the new spur. What the spur does not offer, the
pruner takes from the base of the old cane.
"""

from dataclasses import dataclass, field

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError
from cropload.vine.checking import number, numbers, plain, together

_ASSUMED = "(our assumption; see '{}' in the handbook)"

#: What a place may carry: a cane (or a spur bearing alone) and all it needs to be renewed from,
#: a cane with no spur below it, a spur that is to grow a cane again, or nothing.
FULL, BARE, SPUR, LOST = range(4)


@dataclass(frozen=True)
class ReplacementWood:
    """What a plan leaves to prune to in the winters to come.

    Every array has the shape of the burst probability it was made from (one value, or draws);
    the two by winter have the winters before it.

    Attributes
    ----------
    both, one, none : float or ndarray
        Chance that a spur carries two or more shoots, just one, or none [1]. Missing for a plan
        without spurs.
    climbs : float or ndarray
        Chance that a spur bears, but not on its basal bud, so that its place moves outwards [1].
    places : int
        Places to refill per vine: canes, or spurs for a plan of spurs alone [1/vine].
    places_lost_per_vine, places_lost_block : float or ndarray
        Places expected to find nothing next winter if nothing but the renewal spur is used
        [1/vine], and in all bearing vines [1]. A cane without a spur counts with its base.
    places_lost_base_used_per_vine, places_lost_base_used_block : float or ndarray
        The same with the base of the old cane used too.
    places_short_by_winter, places_lost_by_winter : ndarray, (winters, ...)
        With the base of the old cane used too, places expected after each winter to be short of
        their cane (or spur), and those of them that are lost: no wood at all [1/vine].
    places_short_spur_only_by_winter : ndarray, (winters, ...)
        Places short if nothing but the renewal spur is used [1/vine].
    notes : tuple of str
        What was assumed, a sentence each.
    """

    both: float | np.ndarray
    one: float | np.ndarray
    none: float | np.ndarray
    climbs: float | np.ndarray
    places: int
    places_lost_per_vine: float | np.ndarray
    places_lost_block: float | np.ndarray
    places_lost_base_used_per_vine: float | np.ndarray
    places_lost_base_used_block: float | np.ndarray
    places_short_by_winter: np.ndarray
    places_lost_by_winter: np.ndarray
    places_short_spur_only_by_winter: np.ndarray
    notes: tuple = field(default=())


def spur_shoots(burst_probability, buds_per_spur, spur_profile=None):
    """Return the chance that a spur carries two or more shoots, just one, or none [1].

    Parameters
    ----------
    burst_probability : float or ndarray
        Mean chance that a bud of a spur gives a shoot [1]; capped at 1 a bud.
    buds_per_spur : int
        Count buds of a spur [1].
    spur_profile : list of float, optional
        Relative burst by node from the base [1], the last value carrying on; all alike when not
        given. It is used as it stands, not brought to a mean of 1.

    Returns
    -------
    (both, one, none, climbs) : tuple of float or ndarray
        The three chances [1], and the chance of a shoot but none from the basal bud [1].

    Raises
    ------
    CroploadError
        When a probability or a profile is negative or no number, or there is no bud.

    Notes
    -----
    Valid for buds that burst independently of each other; buds of a weak or frozen spur fail
    together, so the chance of none is then higher. A bud with two shoots counts as one here,
    because both stand at the same place: that is why the chance is capped at 1.

    Examples
    --------
    >>> spur_shoots(0.75, 2)
    (0.5625, 0.375, 0.0625, 0.1875)
    """
    buds = _count("buds_per_spur", buds_per_spur, least=1)
    chance = numbers("burst_probability", burst_probability, "1")
    shape = [1.0] if spur_profile is None else numbers("spur_profile", spur_profile, "1").ravel()
    if len(shape) == 0:
        raise CroploadError("spur_profile is empty; give one relative burst a node.")
    none, one = np.ones_like(chance), np.zeros_like(chance)
    above = np.ones_like(chance)
    for node in range(buds):
        grows = np.minimum(chance * shape[min(node, len(shape) - 1)], 1.0)
        one = one * (1 - grows) + none * grows
        none = none * (1 - grows)
        if node == 0:
            basal = grows
        else:
            above = above * (1 - grows)
    # The rest of three chances that add up to 1; rounding must not take it below 0.
    both = np.clip(1 - one - none, 0.0, 1.0)
    climbs = (1 - basal) * (1 - above)
    return tuple(plain(each) for each in (both, one, none, climbs))


def _count(name, given, least=0):
    """Return a whole number of at least `least`."""
    count = number(name, given, "1")
    if count != int(count) or count < least:
        raise CroploadError(f"{name} is {given!r}; it must be a whole number of {least} or more.")
    return int(count)


def _chance(name, given, key):
    """Return a chance from 0 to 1, the handbook's when not given."""
    chance = numbers(name, handbook.value(key) if given is None else given, "1")
    if np.any(chance > 1):
        raise CroploadError(f"{name} is {np.nanmax(chance):g}; it must be a chance from 0 to 1.")
    return chance


def replacement_wood(
    plan_canes,
    plan_spurs,
    buds_per_spur,
    burst_probability,
    bearing_vines=1,
    winters=None,
    *,
    spur_profile=None,
    rebuild_chance=None,
    basal_shoot_usable=None,
):
    """Say what a plan leaves to prune to next winter, and over several winters.

    Parameters
    ----------
    plan_canes : int
        Canes per vine [1/vine].
    plan_spurs : int
        Spurs per vine [1/vine]. With canes, the first ones are the canes' renewal spurs.
    buds_per_spur : int
        Count buds of a spur [1]; not used where there are no spurs.
    burst_probability : float or ndarray
        Chance that a bud of a spur gives a shoot [1], one value, draws, or blocks and draws; capped
        at 1 a bud. The chance of a draw holds for all its winters.
    bearing_vines : float or ndarray
        Vines of the block that bear [1]; one for each block when the burst probability has blocks.
    winters : int, optional
        Winters to look ahead [1]; five from the handbook when not given.
    spur_profile : list of float, optional
        Relative burst by node from the base [1], as for `spur_shoots`.
    rebuild_chance : float or ndarray, optional
        Chance per winter that a lost place is started again from a watershoot [1].
    basal_shoot_usable : float or ndarray, optional
        Chance that a shoot at the base of an old cane, once grown, is fit to be a cane [1].

    Returns
    -------
    ReplacementWood

    Raises
    ------
    CroploadError
        When the plan has neither canes nor spurs, a number is not whole or negative, or a chance
        is not from 0 to 1 (a burst probability may exceed 1).

    Notes
    -----
    Each cane has a renewal spur as far as the spurs go; spurs beyond the canes bear only.

    - A cane place with a renewal spur takes the next cane and the next spur from the shoots of the
      spur and, where these are too few, from the base of the old cane: its lowest buds, as many as
      a renewal spur has at most, each with a fit shoot of `basal_shoot_usable` once it grew. One
      shoot in all becomes a cane with no spur below it; none, and the place is lost.
    - A cane with no spur below it finds the next cane, and a spur when there is a second shoot, at
      its own base alone. Where the plan leaves no spur there, none is cut.
    - If nothing but the spur is used, one shoot is kept as a spur, so the place goes a year without
      a cane. That is the bleakest reading, told beside the other.
    - A place of a plan of spurs alone is the spur itself. It renews from its own basal shoot, or,
      when that is missing, from one further out (`climbs`); it is lost when nothing grew.
    - A lost place comes back with `rebuild_chance` a winter: as a spur under canes, so that a cane
      can follow a winter later; at once as a full place elsewhere.

    A place is short when it carries no cane (for a plan of spurs: no spur), and lost when it
    carries nothing.
    Valid for vines that are tended as planned and stay healthy; trunk disease and winter-killed
    trunks are not in it, nor that a grower may lay down a shoot from a neighbouring place.
    Renewal spurs of one or two buds below the cane: Hellman, Cane pruning of grapevines,
    eXtension. The chances of rebuilding and of a fit basal shoot are assumptions.

    Examples
    --------
    >>> wood = replacement_wood(2, 2, 2, 0.75, bearing_vines=1000)
    >>> wood.both, wood.one, wood.none
    (0.5625, 0.375, 0.0625)
    >>> wood.places_lost_per_vine, wood.places_lost_block
    (0.125, 125.0)
    >>> wood = replacement_wood(1, 1, 2, 0.8, basal_shoot_usable=0.5)
    >>> wood.places_lost_per_vine, wood.places_lost_base_used_per_vine
    (0.04, 0.0144)
    """
    canes, spurs = _count("plan_canes", plan_canes), _count("plan_spurs", plan_spurs)
    if canes + spurs == 0:
        raise CroploadError("The plan has neither canes nor spurs. Leave at least one of them.")
    winters = _count("winters", handbook.value("wood.winters") if winters is None else winters, 1)
    vines = numbers("bearing_vines", bearing_vines, "1")
    rebuild = _chance("rebuild_chance", rebuild_chance, "wood.rebuild_chance")
    usable = _chance("basal_shoot_usable", basal_shoot_usable, "wood.basal_shoot_usable")
    chance = numbers("burst_probability", burst_probability, "1")
    together(burst_probability=chance, bearing_vines=vines)

    # The buds at a cane's own base are taken to burst as a spur's do: no profile is asked for here.
    base_buds = int(handbook.band("layout.renewal_spur_buds")[1])
    *base, _ = (np.asarray(part) for part in spur_shoots(np.minimum(chance, 1) * usable, base_buds))
    if spurs:
        both, one, none, climbs = spur_shoots(chance, buds_per_spur, spur_profile)
    else:
        both = one = none = climbs = plain(np.full_like(base[2], np.nan))
    zero = np.zeros_like(base[2])

    with_spur = min(canes, spurs)
    without_spur = canes - with_spur
    spurs_alone = spurs if canes == 0 else 0
    base_used, spur_only, no_spur, alone = place_chains((both, one, none), base, rebuild)
    lost_next, lost_base_used = zero, zero
    short_by = lost_by = short_spur_only = np.zeros((winters, *zero.shape))
    for places, likely, bleakest in (
        (with_spur, base_used, spur_only),
        (without_spur, no_spur, no_spur),
        (spurs_alone, alone, alone),
    ):
        if not places:
            continue
        short, lost = winters_on(*likely, winters)
        bleak_short, bleak_lost = winters_on(*bleakest, winters)
        lost_next = lost_next + places * bleak_lost[0]
        lost_base_used = lost_base_used + places * lost[0]
        short_by, lost_by = short_by + places * short, lost_by + places * lost
        short_spur_only = short_spur_only + places * bleak_short
    return ReplacementWood(
        both=both,
        one=one,
        none=none,
        climbs=climbs,
        places=canes or spurs,
        places_lost_per_vine=plain(lost_next),
        places_lost_block=plain(lost_next * vines),
        places_lost_base_used_per_vine=plain(lost_base_used),
        places_lost_base_used_block=plain(lost_base_used * vines),
        places_short_by_winter=short_by,
        places_lost_by_winter=lost_by,
        places_short_spur_only_by_winter=short_spur_only,
        notes=tuple(_notes(with_spur, without_spur, spurs_alone, buds_per_spur, canes, spurs)),
    )


def _notes(with_spur, without_spur, spurs_alone, buds_per_spur, canes, spurs):
    """Yield what was assumed for this plan, a sentence each."""
    usable = _ASSUMED.format("wood.basal_shoot_usable")
    if with_spur:
        yield (
            "Where the renewal spur has fewer than two shoots, the cane or the spur comes from the "
            f"base of the old cane, when a shoot there grew and is fit {usable}. If nothing but "
            "the spur is used, one shoot is kept as a spur, so its place goes a year without a "
            "cane, and with no shoot the place is lost."
        )
        if buds_per_spur == 1:
            yield "A one-bud renewal spur cannot by itself give both a cane and a spur."
    if without_spur:
        has = "has" if without_spur == 1 else "have"
        yield f"{without_spur} of {canes} canes per vine {has} no renewal spur."
        yield (
            "Where a cane has no renewal spur the next one is a shoot at the base of the old one, "
            f"when it grew and is fit {usable}. The places lost rest on that chance, and are no "
            "losses seen: a vine may offer wood near its head. Leave a renewal spur below each "
            "cane, or mark a good shoot there before you prune."
        )
    if spurs_alone:
        yield "A spur renews itself from its own basal shoot, or from one further out."
    elif spurs > canes:
        beyond = spurs - canes
        yield f"{beyond} spurs per vine stand beyond the canes; they bear, and renew nothing."
    yield (
        "A lost place is started again from a watershoot with a set chance a winter "
        f"{_ASSUMED.format('wood.rebuild_chance')}."
    )


def winters_on(rows, start, winters):
    """Return the expected share of places short, and lost, after each winter.

    Parameters
    ----------
    rows : dict
        State -> chances of the four states one winter later [1], None for never. States that are
        not reached may be left out.
    start : int
        State in which every place begins.
    winters : int
        Winters to follow [1].

    Returns
    -------
    short, lost : ndarray, (winters, ...)
        Share of places that carry no cane (or no spur, for a place of spurs alone), and of those
        that carry nothing [1].

    Notes
    -----
    Valid where a winter depends on what the last one left and on nothing before it.
    """
    shape = np.shape(rows[LOST][LOST])
    share = [np.ones(shape) if state == start else np.zeros(shape) for state in range(4)]
    short_by, lost_by = [], []
    for _ in range(winters):
        after = [np.zeros(shape) for _ in range(4)]
        for here, row in rows.items():
            for to, chance in enumerate(row):
                if chance is not None:
                    after[to] = after[to] + share[here] * chance
        share = after
        short_by.append(share[SPUR] + share[LOST])
        lost_by.append(share[LOST])
    return np.stack(short_by), np.stack(lost_by)


def place_chains(spur, base, rebuild):
    """Return the chains of the four kinds of place, each as (rows, start) for ``winters_on``.

    Parameters
    ----------
    spur, base : tuple of ndarray
        Chances that the spur, and that the base of the old cane, offer two fit shoots or more, just
        one, or none [1].
    rebuild : ndarray
        Chance a winter that a lost place is started again [1].

    Returns
    -------
    base_used, spur_only, no_spur, alone : tuple
        A cane place with a renewal spur, with the base of the old cane used too, or with nothing
        but the spur used; a cane place without a renewal spur; a spur alone.

    Notes
    -----
    Valid for shoots of the spur and of the base that grow independently of each other.
    """
    (both, one, none), (base_both, base_one, base_none) = spur, base
    never = None
    back = rebuild + np.zeros_like(base_none)
    stays = 1 - back
    pool_none = none * base_none
    pool_one = one * base_none + none * base_one
    base_used = {
        FULL: (1 - pool_one - pool_none, pool_one, never, pool_none),
        BARE: (base_both, base_one, never, base_none),
        # There is no old cane above a spur alone, and so no base to help out.
        SPUR: (both, one, never, none),
        LOST: (never, never, back, stays),
    }
    kept_as_spur = (both, never, one, none)
    spur_only = {FULL: kept_as_spur, SPUR: kept_as_spur, LOST: base_used[LOST]}
    no_spur = {
        BARE: (never, base_both + base_one, never, base_none),
        LOST: (never, back, never, stays),
    }
    alone = {FULL: (both + one, never, never, none), LOST: (back, never, never, stays)}
    return (base_used, FULL), (spur_only, FULL), (no_spur, BARE), (alone, FULL)
