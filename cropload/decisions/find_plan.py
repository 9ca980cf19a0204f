"""The reverse question: which pruning plan gives the crop that is wanted?"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.decisions import bands
from cropload.decisions.compare import estate_for, plan_columns, wood_columns
from cropload.decisions.plan_draws import plan_draws
from cropload.errors import CroploadError
from cropload.forecasting import ranges
from cropload.forecasting.asked import check_block, check_draws, check_season
from cropload.vine.plan import MOST_BUDS, SPUR_MOST_BUDS, PruningPlan

#: A crop to aim at: what a hectare can bear [t/ha].
TARGET = arguments.number(
    0,
    200,
    unit="t/ha",
    above=True,
    below=True,
    mend="The target crop is that at the scale, above 0.",
)
#: Share of buds that winter has killed.
DEAD = arguments.number(0, 1, below=True, mend="For dead buds write 35 % as 0.35.")

#: Layouts above this number are asked to be narrowed: it would take long and help nobody.
MOST_LAYOUTS = 5000


@dataclass(frozen=True)
class _Limit:
    """One limit on layouts: the words for it, who keeps it, and how far the others are from it."""

    words: str
    keeps: np.ndarray
    needed: np.ndarray
    unit: str


def _span(name, given, low, high):
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


def usual_layout(last_plan):
    """Return the spans searched when the user sets none: the block's own way of pruning.

    Returns
    -------
    dict
        canes, buds_per_cane and spurs as (least, most) [1]; buds_per_spur [1].
    """
    if last_plan is not None and not last_plan.canes:
        return {
            "canes": (0, 0),
            "buds_per_cane": (6, 14),
            "spurs": (2, max(12, 2 * last_plan.spurs)),
            "buds_per_spur": last_plan.buds_per_spur,
        }
    canes = last_plan.canes if last_plan is not None else 2
    return {
        "canes": (1, max(4, canes + 1)),
        "buds_per_cane": (6, 14),
        "spurs": (0, max(6, canes + 3)),
        "buds_per_spur": (last_plan.buds_per_spur or 2) if last_plan is not None else 2,
    }


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


def _outside(values, low, high):
    """Return how far values lie outside a band; negative below it [unit of values]."""
    return np.where(values < low, values - low, np.where(values > high, values - high, 0.0))


def _limits(plans, shoots, ravaz, shoots_band, ravaz_limit, renewal_spur, most_canes, sampled):
    found = []
    canes = np.array([plan.canes for plan in plans])
    spurs = np.array([plan.spurs for plan in plans])
    if renewal_spur:
        lacking = np.where(canes > 0, np.maximum(canes - spurs, 0), 0)
        found.append(_Limit("a renewal spur for each cane", lacking == 0, lacking, "spur(s)"))
    if most_canes is not None:
        behind = f" (seen on {sampled} sampled vines)" if sampled else ""
        words = f"suitable canes: {most_canes} a vine{behind}"
        over = np.maximum(canes - most_canes, 0)
        found.append(_Limit(words, over == 0, over, "cane(s)"))
    for band, values, words, unit in (
        (shoots_band, shoots, "shoots per m", "per m"),
        (ravaz_limit, ravaz, "yield to pruning weight", "kg/kg"),
    ):
        if band is not None:
            away = _outside(values, band.low, band.high)
            found.append(_Limit(f"{words}: {band.text()}", away == 0, away, unit))
    return found


def _fault(limits, plans):
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


def _reason(row, target, last_plan):
    middle = row["t_ha_p50"] - target
    words = [
        "on target in the middle"
        if abs(middle) < 0.05 * target
        else f"middle {abs(middle):.1f} t/ha {'above' if middle > 0 else 'below'} the target"
    ]
    words.append(f"settled crop {row['t_ha_settled_p50']:.1f} t/ha")
    words.append(f"shoots per m {row['density_word']} its band")
    words.append(f"yield to pruning weight {row['balance_word']} its band")
    if last_plan is not None and row["plan"] == str(last_plan):
        words.append("the plan the block carries now")
    return "; ".join(words)


@arguments.takes(
    records=arguments.records,
    buds_per_spur=arguments.maybe(arguments.whole(1, SPUR_MOST_BUDS)),
    target_t_ha=TARGET,
    renewal_spur=arguments.flag,
    dead_buds=DEAD,
    tolerance=arguments.maybe(arguments.part),
    settled=arguments.flag,
    keep=arguments.whole(1),
)
def find_plans(
    records,
    block,
    *,
    target_t_ha,
    season=None,
    shoots_per_m=None,
    ravaz=None,
    canes=None,
    buds_per_cane=None,
    spurs=None,
    buds_per_spur=None,
    renewal_spur=True,
    suitable_canes="counts",
    dead_buds=0.0,
    tolerance=None,
    settled=False,
    draws=4000,
    seed=0,
    keep=10,
    reference_plan=None,
):
    """Rank all layouts within limits by their chance of landing on a target crop.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    block : str
        Name of the block.
    target_t_ha : float
        Wanted crop at the scale [t/ha].
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.
    shoots_per_m : (low, high), str or None
        Limits on shoots per metre of canopy [1/m], or a handbook band; None for no limit.
    ravaz : (low, high), str or None
        Limits on yield to pruning weight [kg/kg], or a handbook band; None for no limit.
    canes, buds_per_cane, spurs : (least, most), optional
        Spans to search per vine [1]; around the block's own way of pruning when left out.
    buds_per_spur : int, optional
        Buds on every spur [1].
    renewal_spur : bool
        Ask for a renewal spur for each cane.
    suitable_canes : "counts", int or None
        Most canes a vine offers [1]: from this season's counts when there are any, a number, or
        no such limit.
    dead_buds : float
        Share of buds killed by winter [1], 0 to below 1; layouts are judged by their live buds.
    tolerance : float, optional
        Half-width of "on target" relative to the target [1]; the handbook's 0.10 by default.
    settled : bool
        Judge the settled crop (third season on) instead of the first season's.
    draws, seed : int
        As in ``compare_plans`` [1].
    keep : int
        The most layouts returned [1].
    reference_plan : str or PruningPlan, optional
        As in ``compare_plans``.

    Returns
    -------
    DataFrame
        Best first: the columns of ``compare_plans`` with ``chance_in_target`` [1],
        ``t_ha_target_low`` and ``t_ha_target_high`` [t/ha] and ``reasons``. ``attrs`` holds
        ``considered``, ``dropped`` (limit -> layouts that break it), ``kept`` and ``message``.
        Empty when nothing fits; ``message`` then names the limit that binds.

    Raises
    ------
    CroploadError
        For a target, a span or a share that cannot be.

    Notes
    -----
    The middle (median) of shoots per metre and of yield to pruning weight is held against their
    limits, because their ranges are wider than any band.
    Layouts whose chances are alike within one in a hundred are ranked by how near their settled
    crop is to the target, so that a first-year gain is not bought with a later miss.
    Valid as ``compare_plans``.
    """
    block = check_block(records, block)
    check_draws(draws, seed)
    target = target_t_ha
    tolerance = handbook.value("target.tolerance") if tolerance is None else tolerance
    season = check_season(records, season)
    estate = estate_for(records, block, season, reference_plan)
    at = estate.facts.place(block)
    last_plan = estate.last_plan[at]
    usual = usual_layout(last_plan)
    pieces = usual["buds_per_spur"] if buds_per_spur is None else buds_per_spur
    plans = layouts(
        _span("canes", usual["canes"] if canes is None else canes, 0, 60),
        _span(
            "buds_per_cane",
            usual["buds_per_cane"] if buds_per_cane is None else buds_per_cane,
            4,
            60,
        ),
        _span("spurs", usual["spurs"] if spurs is None else spurs, 0, 200),
        pieces,
    )
    most_canes, sampled = None, 0
    if isinstance(suitable_canes, str) and suitable_canes == "counts":
        most_canes, sampled = suitable_cane_limit(records, block, season)
    elif suitable_canes is not None:
        most_canes = arguments.whole(
            0, MOST_BUDS, mend="Or write 'counts', or None for no such limit."
        )("suitable_canes", suitable_canes)
    canopies = int(estate.facts.canopies[at])
    density = bands.density_band(shoots_per_m, canopies)
    balance = bands.ravaz_band(ravaz, canopies)
    if not plans:
        raise CroploadError("No plan with a bud on it lies within these canes and spurs.")

    drawn = plan_draws(estate, [at], plans, draws=draws, seed=seed, dead_buds=dead_buds)
    crop = drawn.t_ha(settled)[:, 0]
    low, high = target * (1 - tolerance), target * (1 + tolerance)
    chance = ((crop >= low) & (crop <= high)).mean(-1)
    limits = _limits(
        plans,
        np.median(drawn.shoots_per_m()[:, 0], axis=-1),
        np.median(drawn.ravaz(settled)[:, 0], axis=-1),
        density if shoots_per_m is not None else None,
        balance if ravaz is not None else None,
        renewal_spur,
        most_canes,
        sampled,
    )
    fits = np.ones(len(plans), bool)
    for limit in limits:
        fits &= limit.keeps
    later = np.median(drawn.t_ha(True)[:, 0], axis=-1)
    order = sorted(
        np.flatnonzero(fits),
        key=lambda p: (
            -round(float(chance[p]), 2),
            abs(later[p] - target),
            plans[p].buds,
            plans[p],
        ),
    )[:keep]
    found = pd.DataFrame()
    if order:
        best = [plans[p] for p in order]
        drawn = plan_draws(estate, [at], best, draws=draws, seed=seed, dead_buds=dead_buds)
        rows = plan_columns(drawn, 0, float(estate.facts.canopy_length_m[at]))
        for place, row in enumerate(rows):
            row["chance_in_target"] = float(chance[order[place]])
            row["t_ha_target_low"], row["t_ha_target_high"] = low, high
            row["density_word"] = density.word(row["shoots_per_m_p50"])
            row["density_band"] = density.text()
            row["balance_word"] = balance.word(row["ravaz_p50"])
            row["balance_band"] = balance.text()
            row.update(wood_columns(estate, drawn, place, 0)[0])
            row["reasons"] = _reason(row, target, last_plan)
        found = pd.DataFrame(rows)
        message = (
            f"{int(fits.sum())} of {len(plans)} layouts fit; {best[0]} lands within "
            f"{tolerance:.0%} of {target:g} t/ha with a chance of {chance[order[0]]:.0%}."
        )
        middle = float(np.median(crop[order[0]]))
        if not low <= middle <= high:
            way = "more" if middle < low else "fewer"
            message += (
                f" None comes close: the best gives about {middle:.1f} t/ha. It would take {way} "
                "buds than these limits allow."
            )
    else:
        message = _fault(limits, plans)
    found.attrs = {
        "block": block,
        "season": season,
        "interval": ranges.label(),
        "target_t_ha": target,
        "considered": len(plans),
        "kept": int(fits.sum()),
        "dropped": {limit.words: int((~limit.keeps).sum()) for limit in limits},
        "message": message.replace("%", " %"),
        "seed": int(seed),
        "draws": int(draws),
        "suitable_canes": most_canes,
    }
    return found
