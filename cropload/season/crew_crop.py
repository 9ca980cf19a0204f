"""What buds left too many or too few mean for the crop of a block."""

import numpy as np

from cropload import arguments, handbook
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.vine.plan import PruningPlan


@arguments.check_arguments(
    records=arguments.records,
    season=arguments.season,
    draws=arguments.draws,
    seed=arguments.seed,
)
def crop_of_extra_buds(records, block, plan, season, *, draws=DEFAULT_DRAWS, seed=0):
    """Return a function from buds more than planned to the change of the crop.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    block : str
        Name of the block.
    plan : PruningPlan or str
        What was to be left.
    season : int
        Year of the harvest the pruning is for.
    draws, seed : int
        Draws [1] and their seed [1].

    Returns
    -------
    callable
        Takes buds a vine more than planned [1/vine], negative for fewer, and returns the middle
        of the change of the crop in the coming season [t/ha]; made for ``t_ha_per_bud`` of
        ``crew_check``.

    Raises
    ------
    CroploadError
        For a block or plan that cannot be.

    Notes
    -----
    Plan and what was left are computed on the same draws, with the load response of a first
    season, so the change is smaller than in proportion to the buds.
    Valid for buds more or fewer spread over the vine as the plan spreads them.
    """
    block = check_block(records, block)
    plan = PruningPlan.parse(plan)
    if not plan.buds:
        raise CroploadError("A plan without buds bears no crop to compare with.")
    estate = estate_before_season(records, int(season))
    at = estate.facts.place(block)

    def crop(extra):
        # Buds more than planned are dead buds with the sign turned round.
        share = -float(extra) / plan.buds
        return plan_draws(
            estate, [at], [plan], draws=draws, seed=seed, dead_buds=min(share, _MOST_LOST)
        ).t_ha()[0, 0]

    planned = crop(0.0)

    def change(extra):
        """Return the middle of the change of the crop [t/ha]."""
        return float(np.median(crop(extra) - planned))

    return change


#: A block of which no bud is left bears nothing; the log needs a hair.
_MOST_LOST = 1 - 1e-9


def crew_tolerances():
    """Return the handbook's tolerances of the mean and of one vine, relative to the plan [1]."""
    return (
        handbook.value("sampling.crew_mean_tolerance"),
        handbook.value("sampling.crew_vine_tolerance"),
    )
