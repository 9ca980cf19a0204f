"""Limits on layouts: who keeps them, what binds when nothing fits, and who comes nearest."""

from dataclasses import dataclass

import numpy as np

from cropload.units import METRIC


@dataclass(frozen=True)
class Limit:
    """One limit on layouts, for each of them how far it is from keeping it.

    words : the limit in words; short : its name alone; needed : by how much it would have to give
    way, below 0 downwards [unit]; unit : unit of ``needed`` in words; size : what counts as one
    step of it [unit].
    """

    words: str
    short: str
    needed: np.ndarray
    unit: str
    size: float = 1.0

    @property
    def keeps(self):
        """Whether each layout keeps the limit."""
        return self.needed == 0

    def miss(self, at):
        """Return by how much one layout is outside, such as ``1.2 kg/kg too low``."""
        step = self.needed[at]
        return f"{abs(step):.3g} {self.unit} {'too low' if step < 0 else 'too high'}"


@dataclass(frozen=True)
class SpurLimit(Limit):
    """The limit that each cane has a renewal spur of its own."""

    def miss(self, at):
        """Return how many renewal spurs a layout lacks."""
        return f"{self.needed[at]:.0f} renewal spur(s) too few"


def outside(values, low, high):
    """Return how far values lie outside a band; negative below it [unit of values]."""
    return np.where(values < low, values - low, np.where(values > high, values - high, 0.0))


def limits_on(
    plans,
    *,
    shoots,
    ravaz,
    shoots_band,
    ravaz_band,
    renewal_spur,
    most_canes,
    sampled,
    settled=False,
    units=METRIC,
):
    """Return the limits asked for, each with how far every layout is from it.

    Parameters
    ----------
    plans : sequence of PruningPlan
        The layouts.
    shoots, ravaz : ndarray
        Middle of shoots per metre [1/m] and of yield to pruning weight [kg/kg] of each layout.
    shoots_band, ravaz_band : Band or None
        The bands they must keep; None for no limit.
    renewal_spur : bool
        Whether each cane needs a spur.
    most_canes, sampled : int or None, int
        Most canes a vine offers [1], and on how many sampled vines that was seen [1].
    settled : bool
        Whether the yield to pruning weight is the settled one.
    units : UnitSystem
        Units of the words.

    Returns
    -------
    list of Limit
    """
    found = []
    canes = np.array([plan.canes for plan in plans])
    spurs = np.array([plan.spurs for plan in plans])
    if renewal_spur:
        lacking = np.where(canes > 0, np.maximum(canes - spurs, 0), 0)
        words = "a renewal spur for each cane"
        found.append(SpurLimit(words, words, lacking, "spur(s)"))
    if most_canes is not None:
        behind = f" (seen on {sampled} sampled vines)" if sampled else ""
        words = f"suitable canes: {most_canes} a vine"
        over = np.maximum(canes - most_canes, 0)
        found.append(Limit(f"{words}{behind}", words, over, "cane(s)"))
    label, per_m = units.show("per_m")
    ratio = "yield to pruning weight" + (" once settled" if settled else "")
    for band, values, words, text, unit, factor in (
        (shoots_band, shoots, f"shoots {label}", _density(shoots_band, units), label, per_m),
        (ravaz_band, ravaz, ratio, _ratio(ravaz_band), _per(units), 1.0),
    ):
        if band is not None:
            away = outside(values, band.low, band.high) * factor
            size = (band.high - band.low) * factor
            found.append(Limit(f"{words}: {text}", words, away, unit, size))
    return found


def _per(units):
    label = units.label("pruning_weight_kg")
    return f"{label}/{label}"


def _density(band, units):
    return "" if band is None else band.text(units, "per_m")


def _ratio(band):
    return "" if band is None else band.text()


def cost_of_limits(limits, ranked, middle, target):
    """Return what each limit costs: how much nearer the best would come without it alone.

    Parameters
    ----------
    limits : sequence of Limit
        The limits, all of which some layout keeps.
    ranked : callable
        Takes which layouts are left; returns their places, best first.
    middle : ndarray
        Middle of each layout's crop [t/ha].
    target : float
        Wanted crop [t/ha].

    Returns
    -------
    list of (Limit, int, float)
        Each limit that costs something, the place of the best layout without it, and the crop it
        would bring [t/ha]; below 0 where the limit keeps the crop above the target.
    """
    keeps = np.array([limit.keeps for limit in limits])
    found = []
    for at, limit in enumerate(limits):
        here = ranked(keeps.all(0))[0]
        freed = ranked(np.delete(keeps, at, axis=0).all(0))[0]
        if abs(middle[freed] - target) < abs(middle[here] - target):
            found.append((limit, freed, float(middle[freed] - middle[here])))
    return found


def what_binds(limits, plans):
    """Say which limit binds when nothing fits, and what would have to give."""
    keeps = np.array([limit.keeps for limit in limits])
    for at, limit in sorted(enumerate(limits), key=lambda item: item[1].keeps.sum()):
        others = np.delete(keeps, at, axis=0).all(0)
        if others.any():
            away = np.abs(limit.needed[others])
            best = int(np.flatnonzero(others)[np.argmin(away)])
            step = limit.needed[best]
            return (
                f"Nothing fits. The limit that binds is {limit.words}: it would have to give way "
                f"by {abs(step):.3g} {limit.unit} {'downwards' if step < 0 else 'upwards'}, and "
                f"{plans[best]} would be the first plan to fit."
            )
    words = "; ".join(limit.words for limit in limits)
    return (
        f"Nothing fits, and giving up one limit is not enough. At odds with each other are: "
        f"{words}. Loosen two of them, or widen the canes, buds and spurs searched."
    )


def nearest(limits, chance, plans, keep):
    """Return the places of the layouts that break the limits least, nearest first.

    Parameters
    ----------
    limits : sequence of Limit
        The limits, none of which all layouts keep.
    chance : ndarray
        Chance of each layout of landing on the target [1].
    plans : sequence of PruningPlan
        The layouts.
    keep : int
        The most places returned [1].

    Notes
    -----
    A limit is missed by its distance over its own width (one cane or spur for the others); the
    misses are added up. Layouts within a tenth of each other go by their chance on the target.
    """
    missed = np.sum([np.abs(limit.needed) / limit.size for limit in limits], axis=0)
    return sorted(
        range(len(plans)), key=lambda p: (round(float(missed[p]), 1), -chance[p], plans[p])
    )[:keep]


def misses(limits, at):
    """Return which limits a layout breaks and by how much, in words."""
    return "; ".join(f"{limit.short}: {limit.miss(at)}" for limit in limits if limit.needed[at])
