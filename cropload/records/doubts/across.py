"""Doubts where records contradict each other: all of them, from one call."""

import numpy as np

from cropload.records.doubts.count_means import count_means, typed_zeros
from cropload.records.doubts.picks import ended_below_whole, entered_twice
from cropload.records.doubts.plan_counts import plans_against_buds
from cropload.records.doubts.scale import crops_of_variety, scale_against_counts
from cropload.records.doubts.season_days import days_out_of_season
from cropload.records.doubts.season_means import season_means
from cropload.records.doubts.twins import alike_names, total_rows
from cropload.records.doubts.weights import harvest_lots_too_early, odd_lots, odd_weights


@np.errstate(all="ignore")
def contradictions(usable):
    """Return doubts about records that are each possible, and do not fit each other.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there; ``blocks`` is among them.

    Returns
    -------
    list of Fault
        One for a block, or for a block and season, and not one for each row.
    """
    means = season_means(usable)
    found = [*total_rows(usable["blocks"]), *alike_names(usable["blocks"])]
    if "harvest" in usable:
        twice, doubled = entered_twice(usable["harvest"])
        found += [*twice, *ended_below_whole(usable)]
        scale, told = scale_against_counts(usable, means, doubled)
        found += scale
        found += crops_of_variety(usable, means, told)
        # Tonnes that are doubted themselves cannot speak for or against counts and weights.
        doubted = means.index.get_level_values("block").isin(list(told))
        means = means.assign(tonnes=means["tonnes"].mask(doubted))
    odd, misdated = days_out_of_season(usable)
    found += odd
    if "weights" in usable:
        early, misnamed = harvest_lots_too_early(usable, misdated)
        found += [*early, *odd_weights(usable, means, misnamed), *odd_lots(usable["weights"])]
    if "counts" in usable:
        shifted, misplanned = plans_against_buds(usable, means)
        found += [*shifted, *count_means(usable, means, misplanned)]
        found += typed_zeros(usable["counts"])
    return found
