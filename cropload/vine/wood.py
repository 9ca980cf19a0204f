"""Next winter's wood: will each cane and spur find the shoots that take its place?

A cane that bears this year is cut away next winter. On the renewal spur below it, the uppermost
shoot becomes the new cane and the one below it the new spur.
"""

from dataclasses import dataclass, field

import numpy as np

from cropload import handbook
from cropload.errors import CroploadError
from cropload.vine.checking import number, numbers, plain, together

_ASSUMED = "(our assumption; see '{}' in the handbook)"


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
    from_cane_base : float or ndarray
        Chance that a cane without a renewal spur finds a cane at its own base [1].
    climbs : float or ndarray
        Chance that a spur bears, but not on its basal bud, so that its place moves outwards [1].
    places : int
        Places to refill per vine: canes, or spurs for a plan of spurs alone [1/vine].
    places_without_spur : int
        Cane places that have no renewal spur [1/vine].
    extra_spurs : int
        Spurs beyond the canes; they bear, and renew nothing [1/vine].
    places_lost_per_vine, places_lost_block : float or ndarray
        Places expected to find nothing next winter [1/vine], and in all bearing vines [1].
    places_short_by_winter : ndarray, (winters, ...)
        Places expected not to carry their cane (or spur) after each winter [1/vine].
    places_lost_by_winter : ndarray, (winters, ...)
        Those of them with no wood at all [1/vine].
    notes : tuple of str
        What was assumed, a sentence each.
    """

    both: float | np.ndarray
    one: float | np.ndarray
    none: float | np.ndarray
    from_cane_base: float | np.ndarray
    climbs: float | np.ndarray
    places: int
    places_without_spur: int
    extra_spurs: int
    places_lost_per_vine: float | np.ndarray
    places_lost_block: float | np.ndarray
    places_short_by_winter: np.ndarray
    places_lost_by_winter: np.ndarray
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
    found = number(name, given, "1")
    if found != int(found) or found < least:
        raise CroploadError(f"{name} is {given!r}; it must be a whole number of {least} or more.")
    return int(found)


def _chance(name, given, key):
    """Return a chance from 0 to 1, the handbook's when not given."""
    found = numbers(name, handbook.value(key) if given is None else given, "1")
    if np.any(found > 1):
        raise CroploadError(f"{name} is {np.nanmax(found):g}; it must be a chance from 0 to 1.")
    return found


def _winters_on(full_row, spur_row, rebuild, winters, back_as_spur):
    """Return the expected share of places short, and lost, after each winter.

    A place is full, has a spur only, or is lost. `full_row` and `spur_row` are the chances of
    (full, spur only, lost) after one more winter; a lost place comes back with chance `rebuild`,
    as a spur or at once as a full place.
    """
    full = np.ones_like(full_row[0])
    spur = np.zeros_like(full)
    lost = np.zeros_like(full)
    short_by, lost_by = [], []
    for _ in range(winters):
        back = lost * rebuild
        full, spur, lost = (
            full * full_row[0] + spur * spur_row[0] + (0.0 if back_as_spur else back),
            full * full_row[1] + spur * spur_row[1] + (back if back_as_spur else 0.0),
            full * full_row[2] + spur * spur_row[2] + lost - back,
        )
        short_by.append(spur + lost)
        lost_by.append(lost)
    return np.stack(short_by), np.stack(lost_by)


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
        Chance that the basal shoot of an old cane, once grown, is fit to be a cane [1].

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

    - A cane place with a renewal spur: two shoots or more refill it (uppermost the cane, the next
      the spur); one shoot is kept as a spur, so the place goes a year without a cane and can
      recover; no shoot, and the place is lost.
    - A cane place without one takes its next cane from the basal shoot of the old cane, when that
      grew and is fit. A lost one counts as lost until a watershoot there can be laid down.
    - A place of a plan of spurs alone is the spur itself. It renews from its own basal shoot, or,
      when that is missing, from one further out (`climbs`); it is lost when nothing grew.
    - A lost place comes back with `rebuild_chance` a winter: as a spur under canes, so that a cane
      can follow a winter later; at once as a full place elsewhere.

    Valid for vines that are tended as planned and stay healthy; trunk disease and winter-killed
    trunks are not in it, nor that a grower may lay down a shoot from a neighbouring place.
    One-bud renewal spurs never carry both shoots, so every place is then short of a cane.
    Renewal spurs of one or two buds below the cane: Hellman, Cane pruning of grapevines,
    eXtension. The chances of rebuilding and of a fit basal shoot are assumptions.

    Examples
    --------
    >>> wood = replacement_wood(2, 2, 2, 0.75, bearing_vines=1000)
    >>> wood.both, wood.one, wood.none
    (0.5625, 0.375, 0.0625)
    >>> wood.places_lost_per_vine, wood.places_lost_block
    (0.125, 125.0)
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

    # A cane's own basal bud is taken to burst as a spur's bud does: no profile is asked for here.
    base = np.minimum(chance, 1.0) * usable
    if spurs:
        both, one, none, climbs = spur_shoots(chance, buds_per_spur, spur_profile)
    else:
        both = one = none = climbs = plain(np.full_like(base, np.nan))
    zero = np.zeros_like(base)

    with_spur = min(canes, spurs)
    without_spur = canes - with_spur
    spurs_alone = spurs if canes == 0 else 0
    groups = (
        (with_spur, (both, one, none), (both, one, none), True),
        (without_spur, (base, zero, 1 - base), (zero, zero, zero), False),
        (spurs_alone, (both + one, zero, none), (zero, zero, zero), False),
    )
    lost_next = zero
    short_by = lost_by = np.zeros((winters, *base.shape))
    for places, full_row, spur_row, back_as_spur in groups:
        if not places:
            continue
        short, lost = _winters_on(full_row, spur_row, rebuild, winters, back_as_spur)
        lost_next = lost_next + places * full_row[2]
        short_by = short_by + places * short
        lost_by = lost_by + places * lost
    return ReplacementWood(
        both=both,
        one=one,
        none=none,
        from_cane_base=plain(base),
        climbs=climbs,
        places=canes or spurs,
        places_without_spur=without_spur,
        extra_spurs=spurs - with_spur if canes else 0,
        places_lost_per_vine=plain(lost_next),
        places_lost_block=plain(lost_next * vines),
        places_short_by_winter=short_by,
        places_lost_by_winter=lost_by,
        notes=tuple(_notes(with_spur, without_spur, spurs_alone, buds_per_spur, canes, spurs)),
    )


def _notes(with_spur, without_spur, spurs_alone, buds_per_spur, canes, spurs):
    """Yield what was assumed for this plan, a sentence each."""
    if with_spur:
        yield (
            "A renewal spur with one shoot keeps it as a spur, so its place goes a year without "
            "a cane; with no shoot the place is lost."
        )
        if buds_per_spur == 1:
            yield "A one-bud renewal spur cannot give both a cane and a spur."
    if without_spur:
        usable = _ASSUMED.format("wood.basal_shoot_usable")
        yield (
            f"{without_spur} of {canes} canes per vine have no renewal spur; the next cane is the "
            f"basal shoot of the old one, when it grew and is fit {usable}. The places lost "
            "rest on that chance, and are no losses seen: a vine may offer wood near its head. "
            "Leave a renewal spur below each cane, or mark a good shoot there before you prune."
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
