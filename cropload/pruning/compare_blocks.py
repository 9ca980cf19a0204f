"""Compare pruning levels over a whole estate: the ranges of every plan in every block."""

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.beliefs.guard import guard_crops
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block, check_draws, check_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.pruning.compare import RANGED, load_notes, plan_ranges
from cropload.vine import bands
from cropload.vine.plan import PruningPlan, parse_plans

#: Plans x blocks x draws worked at a time: few enough to stay in a processor's cache.
AT_ONCE = 100_000


@arguments.check_arguments(
    records=arguments.records,
    blocks=arguments.optional(arguments.each(arguments.block)),
    reference_plans=arguments.optional(arguments.by_block("plans")),
)
def compare_blocks(
    records,
    plans,
    season=None,
    *,
    blocks=None,
    draws=DEFAULT_DRAWS,
    seed=0,
    density_band=None,
    ravaz_band=None,
    reference_plans=None,
):
    """Say what each pruning plan would give in each block.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    plans : str or iterable of str or PruningPlan
        Plans like ``"3x6+3x2,3x8+3x2"``, the same for every block.
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.
    blocks : iterable of str, optional
        Names of the blocks; all of them when left out.
    draws : int
        Draws [1]; 100 or more.
    seed : int
        Seed of the draws [1].
    density_band, ravaz_band : str or (low, high), optional
        As in ``compare_plans``.
    reference_plans : dict, optional
        {block: plan} that blocks without any plan on record have carried.

    Returns
    -------
    DataFrame
        One row a block and plan: block, plan, buds_per_vine [1], buds_per_m [1/m],
        canopy_length_m [m/vine], the columns with a range of ``compare_plans`` in its units, and
        density_word and balance_word. ``attrs["notes"]`` says which blocks have no load on record,
        so that a usual one stands in.

    Raises
    ------
    CroploadError
        For a block, plan, band or season that cannot be, with the way to mend it.

    Notes
    -----
    A block's figures are those of ``compare_plans`` with the same seed, whatever its company.
    Valid for loads within a third to three times what a block has carried.
    """
    plans = parse_plans(plans)
    check_draws(draws, seed)
    season = check_season(records, season)
    given = {
        check_block(records, block): PruningPlan.parse(plan)
        for block, plan in (reference_plans or {}).items()
    }
    estate = estate_before_season(records, season, given)
    facts = estate.facts
    names = facts.names if blocks is None else [check_block(records, block) for block in blocks]
    here = [facts.place(name) for name in dict.fromkeys(names)]

    found = {name: np.empty((3, len(plans), len(here))) for name in RANGED}
    step = max(1, AT_ONCE // (len(plans) * draws))
    for start in range(0, len(here), step):
        chunk = slice(start, start + step)
        drawn = plan_draws(estate, here[chunk], plans, draws=draws, seed=seed)
        for name, values in plan_ranges(drawn).items():
            found[name][..., chunk] = values

    middle = found["t_ha"][1]
    notes = load_notes(estate, [facts.names[at] for at in here])
    notes += estate.young.notes(facts.names, here)
    notes += estate.accepted_notes
    notes += guard_crops([facts.names[at] for at in here], middle.max(axis=0)) if here else []
    length = np.repeat(facts.canopy_length_m[here], len(plans))
    buds = np.tile([plan.buds for plan in plans], len(here))
    columns = {
        "block": np.repeat(np.array([facts.names[at] for at in here], dtype=object), len(plans)),
        "plan": np.tile(np.array([str(plan) for plan in plans], dtype=object), len(here)),
        "buds_per_vine": buds,
        "buds_per_m": buds / length,
        "canopy_length_m": length,
    }
    for name in RANGED:
        for end, values in zip(ranges.ENDINGS, found[name], strict=True):
            columns[f"{name}_{end}"] = values.T.ravel()
    canopies = np.repeat(facts.canopies[here].astype(int), len(plans))
    for word, of, band, wanted in (
        ("density_word", "shoots_per_m_p50", bands.density_band, density_band),
        ("balance_word", "ravaz_p50", bands.ravaz_band, ravaz_band),
    ):
        known = {walls: band(wanted, walls) for walls in {1, *canopies.tolist()}}
        columns[word] = [
            known[walls].word(value)
            for walls, value in zip(canopies.tolist(), columns[of], strict=True)
        ]
    table = pd.DataFrame(columns)
    table.attrs = {
        "season": season,
        "interval": ranges.label(),
        "draws": int(draws),
        "seed": int(seed),
        "notes": tuple(notes),
    }
    return table
