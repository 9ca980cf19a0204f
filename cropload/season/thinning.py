"""Thinning: how many clusters to leave for a target crop or balance, in whole clusters."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.meant import check_block
from cropload.errors import CroploadError
from cropload.random_streams import stream
from cropload.season.tables import choices_table
from cropload.season.words import thinning_sentence
from cropload.units import METRIC
from cropload.vine import bands

CAUTIONS = (
    "Thin late enough that set is over and weak shoots can be told apart; before lag phase the "
    "clusters left grow heavier and take back part of what was dropped.",
    "Check the contract first: some set a least crop, a sugar or a date, and some forbid thinning "
    "without a word to the winery.",
    "Ask the local advisory service about rot, sunburn and timing on your site. Dropped fruit "
    "cannot be put back, and a forecast is not a guarantee.",
)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Thinning(Answer):
    """What to leave on each vine, and what it is worth.

    Attributes
    ----------
    frame : DataFrame
        Every whole number tried: keep, drop [1/vine], share_dropped and chance of ending on
        target [1], ranges of t_ha [t/ha] and ravaz [kg/kg], labour_h [h].
    block : str
        Name of the block.
    keep : int
        Most clusters to leave on a vine [1].
    drop : float
        Clusters dropped per vine on average [1]; 0 where the fruit is best left.
    clusters_now : (low, middle, high)
        Clusters on a vine [1].
    chance_now, chance_after : float
        Chance of ending on target [1].
    labour_h : float
        Crew hours [h].
    hanging : dict
        The columns of ``frame`` for leaving all fruit.
    light : bool
        Whether the crop is below the target or the band as it hangs.
    target_t_ha, tolerance : float or None
        The target crop [t/ha], and how near is on target [1].
    band : Band
        What is on target [t/ha or kg/kg].
    ratio_now : float
        Middle of yield to pruning weight as it hangs [kg/kg].
    """

    block: str
    keep: int
    drop: float
    clusters_now: tuple
    chance_now: float
    chance_after: float
    labour_h: float
    hanging: dict
    light: bool
    target_t_ha: float | None
    tolerance: float
    band: bands.Band
    ratio_now: float

    def heading(self, units=METRIC):
        """Return what to leave on a vine."""
        return thinning_sentence(self, units)

    def tables(self, units=METRIC):
        """Return the choices around the one advised; none where the fruit is best left."""
        return [choices_table(self, units)]

    def plot(self, ax=None, units=METRIC):
        """Draw the chance of ending on target by clusters left."""
        from cropload.season.charts import thinning_panels

        return thinning_panels(self, units)[0].plot(ax)


def _clipped_mean(mean, cv, most):
    """Return the mean of a log-normal over vines, none above ``most`` [unit of mean]."""
    from scipy.special import ndtr

    spread = np.sqrt(np.log1p(cv**2))
    log_mean = np.log(mean) - spread**2 / 2
    z = (np.log(most) - log_mean) / spread
    return mean * ndtr(z - spread) + most * (1 - ndtr(z))


def _number(name, given, key, most):
    """Return a number above 0 and below ``most``, the handbook's where none is given."""
    found = float(handbook.value(key)) if given is None else arguments.plain_number(given)
    if not 0 < found < most:
        raise CroploadError(
            f"{name} must be a number above 0 and below {most:g}, not {arguments.shown(given)}."
        )
    return found


@arguments.check_arguments(forecast=arguments.forecast)
def thin_to(forecast, block, *, target_t_ha=None, ravaz=None, tolerance=None, cv_vines=None):
    """Say how many clusters to leave on each vine of a block.

    Parameters
    ----------
    forecast : Forecast
        As it stands, best after clusters have been counted.
    block : str
        Name of the block.
    target_t_ha : float, optional
        Wanted crop at the scale [t/ha].
    ravaz : (low, high) or str, optional
        Wanted band of yield to pruning weight [kg/kg], or a handbook band. Give one of the two.
    tolerance : float, optional
        Half-width of "on target" relative to the target [1]; 0.10 by default (handbook).
    cv_vines : float, optional
        Spread of clusters between vines relative to their mean [1]; the handbook's by default.

    Returns
    -------
    Thinning

    Raises
    ------
    CroploadError
        When neither or both aims are given, or a number cannot be.

    Notes
    -----
    The rule for the crew is "leave at most so many": a vine with fewer keeps what it has, so the
    mean that is left follows from the spread between vines (taken as log-normal).
    The clusters left grow heavier: weight rises as the share left to the power of
    ``thin.weight_response``, drawn with its spread.
    Valid from fruit set to veraison; the response is smaller the later it is done.
    """
    block = check_block(forecast, block)
    if (target_t_ha is None) == (ravaz is None):
        raise CroploadError("Give either a target crop in t/ha or a band of yield to prunings.")
    at = forecast.blocks.index(block)
    if forecast.estate.young.barren[at]:
        young = forecast.estate.young
        mend = (
            "Take off what it sets, or count its clusters if it is to bear."
            if young.leaves[at] >= 1
            else "If its vines stand already, correct year_planted in table blocks."
        )
        raise CroploadError(f"{block} {young.standing(at)}: no crop is expected of it. {mend}")
    if forecast.picked["share"].iloc[at] > 0:
        raise CroploadError(f"Block '{block}' is picked or lost already; it is too late to thin.")
    tolerance = _number("tolerance", tolerance, "target.tolerance", 1.0)
    cv = _number("cv_vines", cv_vines, "sampling.cv_clusters", 3.0)
    growth, facts = forecast.growth, forecast.estate.facts
    clusters, kg = growth.clusters[at], growth.kg_picked[at]
    prunings = growth.pruning_weight_kg_per_m[at] * facts.canopy_length_m[at]
    per_ha = facts.bearing[at] / 1000.0 / facts.area_ha[at]
    if target_t_ha is not None:
        target_t_ha = _number("target_t_ha", target_t_ha, None, 200.0)
        band = bands.Band(
            target_t_ha * (1 - tolerance), target_t_ha * (1 + tolerance), "around the target"
        )
        scale = per_ha
    else:
        band = bands.ravaz_band(ravaz, int(facts.canopies[at]))
        scale = 1 / prunings
    entry = handbook.entry("thin.weight_response")
    normals = stream(forecast.seed, f"thinning {block}").standard_normal(len(kg))
    response = np.minimum(entry.value + entry.spread * normals, 0.0)

    def choice(keep, left):
        crop = kg * (left / clusters) ** (1 + response)
        dropped = float(np.mean(clusters - left))
        on_target = (crop * scale >= band.low) & (crop * scale <= band.high)
        minutes = handbook.value("thin.minutes_cluster") * dropped
        minutes += handbook.value("thin.minutes_vine")
        return {
            "keep": keep,
            "drop": dropped,
            "share_dropped": float(np.mean(1 - left / clusters)),
            "chance": float(np.mean(on_target)),
            **ranges.columns("t_ha", crop * per_ha),
            **ranges.columns("ravaz", crop / prunings),
            "labour_h": facts.bearing[at] * minutes / 60.0,
        }

    most = int(np.ceil(np.quantile(clusters, 0.99) * (1 + 2 * cv)))
    whole = range(1, most + 1)
    options = pd.DataFrame([choice(keep, _clipped_mean(clusters, cv, keep)) for keep in whole])
    hanging = choice(np.nan, clusters) | {"labour_h": 0.0}
    chance_now = hanging["chance"]
    best = options.iloc[int(options["chance"].to_numpy().argmax())]
    middle = tuple(float(v) for v in ranges.quantiles(clusters))
    light = bool(np.median(kg * scale) < band.low)
    too_few = best["drop"] < handbook.value("thin.least_drop")
    if light or too_few or best["chance"] <= chance_now + 0.01:
        keep, drop, labour, after = int(options["keep"].max()), 0.0, 0.0, chance_now
    else:
        keep, drop = int(best["keep"]), float(best["drop"])
        labour, after = float(best["labour_h"]), float(best["chance"])
    return Thinning(
        options,
        (*CAUTIONS, *forecast.estate.accepted_notes),
        sources=("target.tolerance", "sampling.cv_clusters", "thin.weight_response"),
        block=block,
        keep=keep,
        drop=drop,
        clusters_now=middle,
        chance_now=chance_now,
        chance_after=after,
        labour_h=labour,
        hanging=hanging,
        light=light,
        target_t_ha=target_t_ha,
        tolerance=tolerance,
        band=band,
        ratio_now=float(np.median(kg / prunings)),
    )
