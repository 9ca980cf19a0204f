"""Compare scenarios, a pruning plan for each of some blocks: crop, balance, wood, frost, money."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.meant import check_season
from cropload.beliefs.origins import component_origins, seasons_seen
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.owner.costs import Costs
from cropload.owner.decision import Decision, decide, harvests
from cropload.owner.mix import Limits
from cropload.owner.money import crop_alone, money_frame, pay_for, scenario_draws
from cropload.owner.springs import FROST_COLUMNS, NO_SPRINGS, past_springs
from cropload.owner.why import Why
from cropload.pruning.compare import WIDEST_CHANGE, cane_notes, general_notes, load_notes
from cropload.pruning.plan_rows import RANGED, difference_columns, plan_ranges, wood_columns
from cropload.units import METRIC, unit_system
from cropload.vine import bands

#: Scenarios that can be read side by side [1].
FEWEST, MOST = 2, 5


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Scenarios(Answer):
    """Pruning scenarios side by side: everything that an owner's report tells, as numbers.

    Attributes
    ----------
    frame : DataFrame
        One row a block and scenario: block, scenario, variety, area_ha [ha], plan, and the
        columns of ``compare_plans`` and ``with_frost`` in their units. The words hold against
        the bands: density_word and balance_word the season, balance_settled_word the settled crop.
    names, block_names : tuple of str
        Scenarios, the first one held against by all others, and blocks.
    plans : dict
        {scenario: {block: PruningPlan}}.
    season, draws, seed : int
        Year of harvest; draws and their seed [1].
    totals : DataFrame
        One row a name of the decision: tonnes and tonnes_settled of all blocks as
        ``_p10 _p50 _p90``, and tonnes_settled_mean [t], with frost and lost crops.
    bands : dict
        {block: (Band of shoots per metre [1/m], Band of yield to pruning weight [kg/kg])}.
    costs : Costs
        As given.
    money_first, money_settled : DataFrame or None
        As from ``money_frame``, with frost and lost crops; None when a price is missing, and
        ``money_missing`` says so.
    currency : str
        Of the prices; empty when none is named.
    contracts : tuple of Contract
        Those that were counted.
    frost_asked : bool
        Whether past springs were to be counted.
    frost_missing : dict
        {block: why it has no frost figures}.
    frost_about : dict
        ``loss`` (loss that counts as heavy [1]), ``worst`` (what worst in ten stands for) and
        ``seasons`` [1] of the replay; empty when no block has one.
    frost_twice : dict
        {block: seasons whose harvest bears a frost that no event tells}: counted twice there.
    components : dict
        {block: list of dict} as from ``component_origins``.
    decision : Decision
        Which plan to take where, what it brings, and what if it goes wrong.
    why : Why
        What it hangs on: worked out when it is asked for.
    """

    names: tuple
    block_names: tuple
    plans: dict
    season: int
    draws: int
    seed: int
    totals: pd.DataFrame
    bands: dict
    costs: Costs
    money_first: pd.DataFrame | None
    money_settled: pd.DataFrame | None
    money_missing: str
    currency: str
    contracts: tuple
    frost_asked: bool
    frost_missing: dict
    frost_about: dict
    frost_twice: dict
    components: dict
    decision: Decision
    why: Why

    @property
    def blocks(self):
        """The frame: one row a block and scenario."""
        return self.frame

    @property
    def interval(self):
        """The range's name."""
        return ranges.label()

    def heading(self, units=METRIC):
        """Return the recommendation."""
        from cropload.owner.words import recommendation

        return " ".join(text for _, text in recommendation(self, unit_system(units)))

    def tables(self, units=METRIC):
        """Return every table there is: crop in total first, the handbook's figures last."""
        from cropload.owner.tables import scenario_tables

        return scenario_tables(self, unit_system(units))

    def plot(self, ax=None, units=METRIC):
        """Draw what each scenario brings beside the first one over the seasons followed."""
        from cropload.owner.charts import beside_rows

        return beside_rows(self, unit_system(units)).plot(ax)


@arguments.check_arguments(scenarios=arguments.by_block("plans"))
def check_scenarios(scenarios):
    """Check how many scenarios there are and how they are named.

    Raises
    ------
    CroploadError
        For fewer than two, more than five, or a name that is blank.
    """
    number = len(scenarios)
    if not FEWEST <= number <= MOST:
        raise CroploadError(
            f"A comparison takes {FEWEST} to {MOST} scenarios, not {number}. The first one is "
            "what the others are held against, such as today's plans."
        )
    if any(not str(name).strip() for name in scenarios):
        raise CroploadError("A scenario has no name. Give each one a name, like 'today'.")


def _totals(crops, decision):
    places = np.arange(decision.rows.shape[1])
    first, settled = (
        tonnes[decision.rows, places].sum(1) for tonnes in (crops.seasons[0], crops.settled)
    )
    return pd.DataFrame(
        {
            "scenario": name,
            **ranges.columns("tonnes", first[at]),
            **ranges.columns("tonnes_settled", settled[at]),
            "tonnes_settled_mean": float(settled[at].mean()),
        }
        for at, name in enumerate(decision.names)
    )


def _block_rows(found, density_band, ravaz_band, frost):
    drawn, facts, estate = found.drawn, found.estate.facts, found.estate
    spans = plan_ranges(drawn)
    held, rows = {}, []
    notes = [*load_notes(estate, found.blocks), *estate.young.notes(facts.names, drawn.blocks)]
    for at, block in enumerate(found.blocks):
        place = int(drawn.blocks[at])
        kind, length = facts.kind(place), float(facts.canopy_length_m[place])
        density = bands.density_band(density_band, **kind)
        balance = bands.ravaz_band(ravaz_band, **kind)
        held[block] = (density, balance)
        plans = tuple(found.plans[name][block] for name in found.names)
        here = replace(drawn, plans=plans)
        usual = float(np.exp(estate.log_reference[place]))
        far = [p for p in plans if not 1 / WIDEST_CHANGE <= p.buds / usual <= WIDEST_CHANGE]
        if far:
            notes.append(
                f"{block}: {', '.join(dict.fromkeys(map(str, far)))} is more than "
                f"{WIDEST_CHANGE:g} times away from the {usual:.0f} buds per vine the block has "
                "carried; no trial behind the load response reaches that far."
            )
        asked = cane_notes(plans, facts.vine_spacing_m(place))
        notes += [f"{block}, {note}" for note in asked]
        changes = difference_columns(here, at)
        for s, name in enumerate(found.names):
            row = {
                "block": block,
                "scenario": name,
                "variety": facts.varieties[place],
                "area_ha": float(facts.area_ha[place]),
                "plan": str(plans[s]),
                "buds_per_vine": plans[s].buds,
                "buds_per_m": plans[s].buds_per_metre(length),
                "canopy_length_m": length,
            }
            for column in RANGED:
                for end, values in zip(ranges.ENDINGS, spans[column], strict=True):
                    row[f"{column}_{end}"] = float(values[s, at])
            row["density_word"] = density.word(row["shoots_per_m_p50"])
            row["balance_word"] = balance.word(row["ravaz_p50"])
            row["balance_settled_word"] = balance.word(row["ravaz_settled_p50"])
            wood, wood_notes = wood_columns(estate, here, s, at)
            rows.append(
                row
                | changes[s]
                | wood
                | frost.get((block, plans[s]), dict.fromkeys(FROST_COLUMNS, np.nan))
            )
            notes += [note for note in wood_notes if note not in notes]
    return pd.DataFrame(rows), held, notes


@arguments.check_arguments(
    records=arguments.records,
    costs=arguments.optional(
        arguments.kind("Costs", "Make them first: cropload.owner.costs.Costs(...).")
    ),
    reference_plans=arguments.optional(arguments.by_block("plans")),
    frost=arguments.flag,
    limits=arguments.optional(
        arguments.kind("Limits", "Make them first: cropload.owner.mix.Limits(...).")
    ),
    discount=arguments.number(0, 1),
)
def compare_scenarios(
    records,
    scenarios,
    season=None,
    *,
    costs=None,
    draws=DEFAULT_DRAWS,
    seed=0,
    density_band=None,
    ravaz_band=None,
    reference_plans=None,
    frost=True,
    limits=None,
    discount=0.0,
):
    """Compare scenarios: what each would give and leave, and what speaks against it.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; its contracts (or prices) are used when every block has one.
    scenarios : dict
        {name: {block: plan}}, two to five, all over the same blocks; the first one is what the
        others are held against, such as today's plans. ``last`` as a plan is the one on record.
    season : int, optional
        Year of harvest the pruning is for; the next one when left out.
    costs : Costs, optional
        The user's own; none are counted when left out.
    draws, seed : int
        As in ``compare_plans`` [1].
    density_band, ravaz_band : str or (low, high), optional
        As in ``compare_plans`` [1/m], [kg/kg].
    reference_plans : dict, optional
        {block: plan} that blocks without any plan on record have carried.
    frost : bool
        Count past springs where a block has weather and budburst dates.
    limits : Limits, optional
        What the owner bears; when left out, only the area that may leave its bands is limited.
    discount : float
        By how much each season after the first counts less, 0 to 1 [1/year].

    Returns
    -------
    Scenarios
        ``.frame`` has a row a block and scenario; ``print`` says which plan to take where, and
        ``report`` makes the owner's page of it.

    Raises
    ------
    CroploadError
        For scenarios, blocks, plans, bands, a season or costs that cannot be, all faults of the
        scenarios together.

    Notes
    -----
    A block's own figures in the frame are those of ``compare_plans`` with the same seed, without
    frost and lost crops. Sums, differences and money have both in them, and keep the season
    effects that blocks share; each of the five seasons followed has weather of its own.
    Valid for loads within a third to three times what a block has carried.
    """
    check_scenarios(scenarios)
    costs = Costs() if costs is None else costs
    limits = Limits() if limits is None else limits
    season = check_season(records, season)
    found = scenario_draws(
        records, scenarios, season, draws=draws, seed=seed, reference_plans=reference_plans
    )
    springs = past_springs(records, found, season, draws, seed) if frost else NO_SPRINGS
    blocks, held, notes = _block_rows(found, density_band, ravaz_band, springs.columns(found))
    pay, money_missing = None, ""
    if len(records.prices) + len(records.contracts) == 0:
        money_missing = "No prices are on record, so there is no money in this report."
    else:
        try:
            pay = pay_for(records, found, costs, seed)
            notes += pay.notes
        except CroploadError as fault:
            money_missing = str(fault)
    crops = harvests(found, springs, seed)
    rows = {(row["block"], row["scenario"]): row for row in blocks.to_dict("records")}
    by = "crop" if pay is None else "margin"
    paid = crop_alone(found, costs) if pay is None else pay
    decision = decide(found, rows, held, crops, paid, by, limits, discount)
    first = settled = None
    if pay is not None:
        first, settled = (
            money_frame(pay, decision.names, tonnes, decision.rows)
            for tonnes in (crops.seasons[0], crops.settled)
        )
    notes += springs.notes()
    seen = seasons_seen(found.estate)
    components = {b: component_origins(found.estate, b, seen) for b in found.blocks}
    varieties = found.estate.facts.varieties
    for block in found.blocks:
        # One sentence a variety, with what the first of its blocks takes.
        variety = varieties[found.estate.facts.place(block)]
        if not any(f"no entry for {variety}:" in note for note in notes):
            notes += general_notes(variety, components[block])
    return Scenarios(
        frame=blocks,
        names=found.names,
        block_names=found.blocks,
        plans=found.plans,
        season=season,
        draws=int(draws),
        seed=int(seed),
        totals=_totals(crops, decision),
        bands=held,
        costs=costs,
        money_first=first,
        money_settled=settled,
        money_missing=money_missing,
        currency="" if pay is None else pay.currency,
        contracts=() if pay is None else pay.contracts,
        frost_asked=bool(frost),
        frost_missing=springs.missing,
        frost_about=springs.about,
        frost_twice=springs.learned_from,
        components=components,
        decision=decision,
        why=Why(records, costs, seed, found.without_growth(), springs, crops, paid, decision),
        notes=tuple(dict.fromkeys([*notes, *found.estate.accepted_notes])),
    )
