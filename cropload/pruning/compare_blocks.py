"""Compare pruning levels over a whole estate: the ranges of every plan in every block."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.guard import guard_crops
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block, check_draws, check_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.pruning.compare import cane_notes, load_notes
from cropload.pruning.part_balance import part_balance_notes
from cropload.pruning.plan_rows import RANGED, plan_ranges
from cropload.units import METRIC
from cropload.vine import bands
from cropload.vine.plan import PruningPlan, parse_plans
from cropload.vine.training import longest_cane, plan_of_buds

#: Plans x blocks x draws worked at a time: few enough to stay in a processor's cache.
AT_ONCE = 100_000


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class BlockComparison(Answer):
    """What pruning plans would give in the blocks of an estate; a row a block and plan.

    Attributes
    ----------
    season : int
        Year of the harvest the pruning is for.
    interval : str
        The range's name.
    draws, seed : int
        Draws and their seed [1].
    usual : bool
        Whether each block was given the plan it carries, not the same plans as all others.
    """

    season: int
    interval: str
    draws: int
    seed: int
    usual: bool

    def heading(self, units=METRIC):
        """Return what is compared, in one or two sentences."""
        from cropload.pruning import words

        return words.blocks_heading(self)

    def tables(self, units=METRIC):
        """Return one table, a row a block and plan."""
        from cropload.pruning import tables

        return [tables.blocks_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw the crop of each row on axes, new ones when none are given, and return them."""
        from cropload.pruning.charts import crop_rows

        named = self.frame["block"].astype(str) + " " + self.frame["plan"].astype(str)
        return crop_rows(self.frame.assign(plan=named), units).plot(ax)


@arguments.check_arguments(
    records=arguments.records,
    blocks=arguments.optional(arguments.each(arguments.block)),
    reference_plans=arguments.optional(arguments.by_block("plans")),
)
def compare_blocks(
    records,
    plans=None,
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
    plans : str or iterable of str or PruningPlan or dict, optional
        Plans like ``"3x6+3x2,3x8+3x2"``, the same for every block; when left out, each block's
        own: those of its parts, summed, where table parts has some; the last one on record, or one
        of its usual load. As {block: plan} the plan of those blocks, and each other block's own.
    season : int, optional
        Year of the harvest the pruning is for; the next one when left out.
    blocks : iterable of str, optional
        Names of the blocks; all of them when left out.
    draws, seed : int
        Draws, 100 or more, and their seed [1].
    density_band, ravaz_band : str or (low, high), optional
        As in ``compare_plans``.
    reference_plans : dict, optional
        {block: plan} that blocks without any plan on record have carried.

    Returns
    -------
    BlockComparison
        Its frame has one row a block and plan: block, plan, buds_per_vine [1], buds_per_m [1/m],
        canopy_length_m [m/vine], the columns with a range of ``compare_plans`` in its units, and
        density_word and balance_word of the first season and balance_settled_word. Its notes say
        which blocks have no load on record, so that a usual one stands in.

    Raises
    ------
    CroploadError
        For a block, plan, band or season that cannot be, with the way to mend it.

    Notes
    -----
    A block's figures are those of ``compare_plans`` with the same seed, whatever its company.
    Valid for loads within a third to three times what a block has carried.

    Examples
    --------
    >>> from cropload import example_records
    >>> found = compare_blocks(example_records(), draws=100)
    >>> len(found), found["plan"].iloc[1]
    (8, '10x2')
    """
    usual = plans is None or isinstance(plans, dict)
    chosen = {
        check_block(records, block): PruningPlan.parse(plan)
        for block, plan in (plans or {} if usual else {}).items()
    }
    plans = [] if usual else parse_plans(plans)
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
    # A row of plans is one plan for every block; the usual ones are one row of a plan each.
    rows = [[plan] * len(here) for plan in plans]
    if usual:
        loads = np.exp(estate.log_reference)
        rows = [
            [
                chosen.get(facts.names[at])
                or estate.divided.get(at)
                or estate.last_plan[at]
                or plan_of_buds(
                    float(loads[at]), facts.training[at], longest_cane(facts.vine_spacing_m(at))
                )
                for at in here
            ]
        ]

    found = {name: np.empty((3, len(rows), len(here))) for name in RANGED}
    step = max(1, AT_ONCE // (len(rows) * draws))
    for start in range(0, len(here), step):
        chunk = slice(start, start + step)
        wanted = [row[chunk] for row in rows] if usual else plans
        drawn = plan_draws(estate, here[chunk], wanted, draws=draws, seed=seed)
        for name, values in plan_ranges(drawn).items():
            found[name][..., chunk] = values

    middle = found["t_ha"][1]
    notes = load_notes(estate, [facts.names[at] for at in here])
    if not usual and here:
        tightest = min(here, key=facts.vine_spacing_m)
        asked = cane_notes(plans, facts.vine_spacing_m(tightest))
        notes += [f"{facts.names[tightest]}, {note}" for note in asked]
    notes += estate.young.notes(facts.names, here)
    notes += estate.accepted_notes
    if usual:
        notes += part_balance_notes(
            records, estate, here, rows[0], draws=draws, seed=seed, band=ravaz_band
        )
    notes += guard_crops([facts.names[at] for at in here], middle.max(axis=0)) if here else []
    length = np.repeat(facts.canopy_length_m[here], len(rows))
    by_block = [plan for each in zip(*rows, strict=True) for plan in each]
    buds = np.array([plan.buds for plan in by_block], dtype=None if by_block else int)
    columns = {
        "block": np.repeat(np.array([facts.names[at] for at in here], dtype=object), len(rows)),
        "plan": np.array([str(plan) for plan in by_block], dtype=object),
        "buds_per_vine": buds,
        "buds_per_m": buds / length,
        "canopy_length_m": length,
    }
    for name in RANGED:
        for end, values in zip(ranges.ENDINGS, found[name], strict=True):
            columns[f"{name}_{end}"] = values.T.ravel()
    kinds = [tuple(facts.kind(at).items()) for at in here for _ in rows]
    for word, of, band, wanted in (
        ("density_word", "shoots_per_m_p50", bands.density_band, density_band),
        ("balance_word", "ravaz_p50", bands.ravaz_band, ravaz_band),
        ("balance_settled_word", "ravaz_settled_p50", bands.ravaz_band, ravaz_band),
    ):
        known = {kind: band(wanted, **dict(kind)) for kind in dict.fromkeys(kinds)}
        columns[word] = [
            known[kind].word(value) for kind, value in zip(kinds, columns[of], strict=True)
        ]
    return BlockComparison(
        pd.DataFrame(columns),
        tuple(notes),
        season=season,
        interval=ranges.label(),
        draws=int(draws),
        seed=int(seed),
        usual=usual,
    )
