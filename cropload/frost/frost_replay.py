"""What past springs would have done to each pruning plan, and what longer wood is worth there."""

import numpy as np

from cropload import arguments, handbook
from cropload.errors import CroploadError
from cropload.frost.frost_result import FrostReplay
from cropload.frost.frost_years import FrostYears, frost_years
from cropload.frost.survival import as_cases, as_plans, rung_weights
from cropload.vine.checking import numbers
from cropload.vine.weather.settings import CASES


def _frost_free(crop, count, draws, unit, notes):
    """Return the frost-free crop as (plans, draws)."""
    if crop is None:
        notes.append(
            "no frost-free crop was given: every plan counts as 1, so longer wood is not "
            "credited or charged for its load"
        )
        return np.ones((count, draws)), "of a frost-free crop"
    crop = numbers("crop", crop, unit)
    crop = crop[:, None] if crop.ndim == 1 else crop
    if crop.ndim != 2 or crop.shape[0] != count or crop.shape[1] not in (1, draws):
        raise CroploadError(
            f"the frost-free crop has shape {crop.shape}; it needs one row for "
            f"each of {count} plans and {draws} draws (or one column)."
        )
    if not np.isfinite(crop).all() or (crop < 0).any():
        raise CroploadError("the frost-free crop must be 0 or more, with no value missing.")
    return np.broadcast_to(crop, (count, draws)), unit


@arguments.check_arguments(
    unit=arguments.text,
    heavy_loss=arguments.optional(arguments.part),
    profile=arguments.optional(arguments.kind("NodeProfile")),
)
def replay_frost(
    weather,
    plans,
    budburst=None,
    *,
    crop=None,
    unit="t/ha",
    cases="laid_down",
    heavy_loss=None,
    profile=None,
    **options,
):
    """Replay the springs of a weather record for several plans.

    Parameters
    ----------
    weather : DataFrame or FrostYears
        Daily date, tmin_c, tmax_c [C], or seasons already worked out by `frost_years`, with which
        another plan costs next to nothing.
    plans : sequence of PruningPlan or str
        Up to any number of plans.
    budburst : mapping, DataFrame, BudburstSum or float
        Dates by season, or the heat sum [C d], as in `frost_years`; not needed when ``weather`` is
        a FrostYears.
    crop : array_like, optional
        Crop in a year without frost with the load response in it, (plans, draws) or (plans,), in
        ``unit``; 1 for every plan when not given.
    unit : str
        Unit of ``crop``.
    cases : str or sequence of str
        ``laid_down`` or ``upright_until_final_cut``, one for all plans or one each.
    heavy_loss : float, optional
        Loss above which a year is a frost year [1]; the handbook's when not given.
    profile : NodeProfile, optional
        Burst and fertility by node.
    **options
        Passed to `frost_years`: hemisphere, settings, variety, offset, seasons, draws, seed,
        block, method.

    Returns
    -------
    FrostReplay

    Raises
    ------
    CroploadError
        For weather, plans, dates, sums or crops that cannot be used.

    Notes
    -----
    Valid for the climate of the record; a few years of weather show what may happen, not how often.
    The late final cut bears its yield cost in every year, and is credited with the published delay
    and no more.
    The load response is the caller's: what survives is not taken to make up for what died.
    """
    plans = as_plans(plans)
    cases = as_cases(cases, len(plans))
    if isinstance(weather, FrostYears):
        if options or budburst is not None:
            raise CroploadError(
                "these seasons are worked out already: give budburst, draws and "
                "the like to frost_years."
            )
        years = weather
    else:
        if crop is not None and np.ndim(crop) == 2 and np.shape(crop)[1] > 1:
            options.setdefault("draws", np.shape(crop)[1])
        years = frost_years(weather, budburst, cases=sorted(set(cases)), **options)
    notes = list(years.notes)
    heavy = handbook.value("frost.heavy_loss") if heavy_loss is None else float(heavy_loss)
    if not 0 < heavy < 1:
        raise CroploadError(f"heavy_loss is a share between 0 and 1, such as 0.3; got {heavy}.")
    weights = rung_weights(plans, cases, years.settings, profile)
    lacking = [
        case for case in set(cases) if np.isnan(years.seasons[0].primary[CASES.index(case)]).all()
    ]
    if lacking:
        raise CroploadError(
            f"these seasons were worked out without the case {lacking[0]}: name it "
            "in the cases of frost_years."
        )
    left = np.stack([nodes.crop_left(weights) for nodes in years.seasons], axis=1)
    free, unit = _frost_free(crop, len(plans), left.shape[2], unit, notes)
    cost = np.array([case != "laid_down" for case in cases])[:, None]
    free = free * (1 - cost * years.seasons[0].late_cut_cost)
    count = len(years.seasons)
    if count == 1:
        notes.append("one season only: its nights say nothing about how often frost comes")
    elif count < handbook.value("frost.few_years"):
        notes.append(
            f"{count} seasons only: chances are wide ranges, and the worst year seen "
            "stands for the worst in ten"
        )
    return FrostReplay(
        tuple(map(str, plans)),
        tuple(cases),
        tuple(nodes.season for nodes in years.seasons),
        left,
        left * free[:, None, :],
        free,
        unit,
        heavy,
        years,
        weights,
        tuple(notes),
    )
