"""Money: what pruning scenarios leave over, with prices and costs that are the user's own."""

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block, check_draws, check_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.plans_by_part import carried_plans
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError
from cropload.records.tables import LAST
from cropload.show import wording
from cropload.units import ACRE_HA, SHORT_TON_T
from cropload.vine.plan import PruningPlan
from cropload.winery.contracts import Terms, contract_book, contract_places, terms_of

#: Cost -> what it is, per what in metric and in US units, and the factor from the one to the other.
COSTS = {
    "pruning_per_vine": ("pruning, for each vine", ("vine", "vine"), 1.0),
    "pruning_per_bud": ("pruning, for each bud left", ("bud", "bud"), 1.0),
    "thinning_per_ha": ("thinning", ("ha", "ac"), ACRE_HA),
    "picking_per_t": ("picking, by weight", ("t", "short ton"), SHORT_TON_T),
    "picking_per_ha": ("picking, by area", ("ha", "ac"), ACRE_HA),
    "other_per_ha": ("all else", ("ha", "ac"), ACRE_HA),
}


@dataclass(frozen=True)
class Costs:
    """Costs of a season, all in the currency of the prices; what is left at 0 is not counted.

    pruning_per_vine [currency/vine], pruning_per_bud [currency/bud left], thinning_per_ha
    [currency/ha], picking_per_t [currency/t], picking_per_ha and other_per_ha [currency/ha].
    """

    pruning_per_vine: float = 0.0
    pruning_per_bud: float = 0.0
    thinning_per_ha: float = 0.0
    picking_per_t: float = 0.0
    picking_per_ha: float = 0.0
    other_per_ha: float = 0.0

    def __post_init__(self):
        faults = []
        for each in fields(self):
            number = getattr(self, each.name)
            real = isinstance(number, (int, float, np.number)) and not isinstance(number, bool)
            if not real or not np.isfinite(number) or number < 0:
                faults.append(
                    f"The cost {each.name} must be a number of 0 or more, not {number!r}."
                )
        if faults:
            raise CroploadError("\n".join(faults))

    def of(self, buds, vines, area_ha, tonnes):
        """Return the cost of blocks [currency]; arrays broadcast, ``tonnes`` are draws [t]."""
        fixed = vines * (self.pruning_per_vine + self.pruning_per_bud * buds) + area_ha * (
            self.thinning_per_ha + self.picking_per_ha + self.other_per_ha
        )
        return fixed + self.picking_per_t * tonnes


@dataclass(frozen=True)
class Contract:
    """What is paid for some blocks, by the terms of a contract for their fruit."""

    name: str
    blocks: tuple
    terms: Terms

    def revenue(self, tonnes):
        """Return what a crop of ``tonnes`` [t] earns, less what is owed [currency]."""
        return self.terms.pay(tonnes) - self.terms.penalty(tonnes)


def contracts_for(records, blocks, facts):
    """Return the contracts that pay for some blocks, and notes on what was taken.

    Notes
    -----
    Which contract takes a block: as ``contract_places``. Where a contract's terms in tonnes cover
    more blocks than are looked at, these get a share of them by area.

    Raises
    ------
    CroploadError
        When a block has no price.
    """
    book = contract_book(records)
    places, _ = contract_places(book, records.blocks)
    mine = {block: facts.place(block) for block in blocks}
    unpaid = [block for block in mine if block not in places]
    if unpaid:
        varieties = dict.fromkeys(facts.varieties[mine[block]] for block in unpaid)
        raise CroploadError(
            f"No price is on record for {', '.join(unpaid)}. Add a row to table prices for the "
            f"block, or for {', '.join(varieties)}; or to table contracts, where that is used."
        )
    contracts, notes = [], []
    for name in dict.fromkeys(places[block] for block in mine):
        members = tuple(block for block in mine if places[block] == name)
        covered = np.array([places.get(block) == name for block in facts.names])
        area = sum(facts.area_ha[mine[block]] for block in members)
        share = area / facts.area_ha[covered].sum()
        rows = book[book["contract"] == name]
        told = [
            f"takes {rows['most_t'].max():g} t" if rows["most_t"].notna().any() else "",
            f"needs {rows['least_t'].max():g} t" if rows["least_t"].notna().any() else "",
            f"has price steps from {rows['from_t'].max():g} t" if rows["from_t"].any() else "",
        ]
        if any(told) and covered.sum() > len(members):
            notes.append(
                f"The contract for {name} {' and '.join(filter(None, told))} from more blocks than "
                f"these; {wording.percent(share)} of it is counted here, by area."
            )
        terms = terms_of(rows, area, share)
        if len(terms.steps) > 1 or terms.shortfall or terms.excess:
            notes.append(f"Price steps and what is owed under the contract {name} are counted.")
        contracts.append(Contract(name, members, terms))
    return contracts, notes


def currency_of(records):
    """Return the one currency of the contracts, or an empty text.

    Raises
    ------
    CroploadError
        When there are several: sums of them mean nothing.
    """
    named = sorted({str(c).strip() for c in contract_book(records)["currency"] if str(c).strip()})
    if len(named) > 1:
        raise CroploadError(
            f"Table prices names several currencies ({', '.join(named)}). Write all prices in one."
        )
    return named[0] if named else ""


def scenario_plan(records, block, text, carried):
    """Return a block's name and the plan told for it; ``last`` is what ``carried_plans`` has.

    Raises
    ------
    CroploadError
        For an unknown block, an unreadable plan, or no plan on record.
    """
    named = check_block(records, block)
    if str(text).strip().casefold() != LAST:
        return named, PruningPlan.parse(text)
    if named not in carried:
        raise CroploadError(
            f"Block '{named}' has no plan on record, so '{LAST}' means nothing. Write the plan."
        )
    return named, carried[named]


def read_scenarios(records, scenarios, season=None):
    """Return {name: {block: plan}}, every scenario over the same blocks; season as for ``last``.

    Raises
    ------
    CroploadError
        For no scenario, an unknown block, an unreadable plan, a block named twice, or blocks that
        differ.
    """
    if not scenarios:
        raise CroploadError("No scenario was given. Give at least one, {name: {block: plan}}.")
    found, faults = {}, []
    carried = carried_plans(records, check_season(records, season))
    for name, plans in scenarios.items():
        found[name] = {}
        if not hasattr(plans, "items"):
            faults.append(f"Scenario '{name}' must be a dict of blocks and plans, {{block: plan}}.")
            continue
        for block, plan in plans.items():
            try:
                named, read = scenario_plan(records, block, plan, carried)
            except CroploadError as error:
                faults.append(f"Scenario '{name}', block '{block}': {error}")
                continue
            if named in found[name]:
                faults.append(f"Scenario '{name}' names block '{named}' twice. Keep one plan.")
            found[name][named] = read
    if not faults:
        first = next(iter(found))
        wanted = set(found[first])
        for name, plans in found.items():
            odd = sorted(wanted ^ set(plans))
            if odd:
                faults.append(
                    f"Scenario '{name}' and scenario '{first}' differ in the blocks they cover: "
                    f"{', '.join(odd)}. Give every scenario a plan for the same blocks."
                )
        if not wanted:
            faults.append(f"Scenario '{first}' has no block.")
    if faults:
        raise CroploadError("\n".join(faults))
    return found


@dataclass(frozen=True, eq=False)
class ScenarioDraws:
    """Scenarios on common draws: arrays of shape (scenarios, blocks, draws), first and settled."""

    names: tuple
    blocks: tuple
    plans: dict
    buds: np.ndarray
    drawn: object
    estate: object


def scenario_draws(
    records, scenarios, season=None, *, draws=DEFAULT_DRAWS, seed=0, reference_plans=None
):
    """Draw what scenarios (a plan for each block) would give.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    scenarios : dict
        {name: {block: plan}}, all over the same blocks; ``last`` is the plan on record.
    season : int, optional
        Year of harvest; the next one when left out.
    draws, seed : int
        As in ``compare_plans`` [1].
    reference_plans : dict, optional
        As in ``forecast``.

    Returns
    -------
    ScenarioDraws

    Raises
    ------
    CroploadError
        When a scenario cannot be.
    """
    check_draws(draws, seed)
    season = check_season(records, season)
    plans = read_scenarios(records, scenarios, season)
    given = {
        check_block(records, block): PruningPlan.parse(plan)
        for block, plan in (reference_plans or {}).items()
    }
    estate = estate_before_season(records, season, given)
    names, blocks = tuple(plans), tuple(next(iter(plans.values())))
    places = [estate.facts.place(block) for block in blocks]
    layout = [[plans[name][block] for block in blocks] for name in names]
    return ScenarioDraws(
        names=names,
        blocks=blocks,
        plans=plans,
        buds=np.array([[plan.buds for plan in row] for row in layout], float),
        drawn=plan_draws(estate, places, layout, draws=draws, seed=seed, losses=True),
        estate=estate,
    )


@dataclass(frozen=True, eq=False)
class Money:
    """What scenarios leave over.

    Attributes
    ----------
    frame : DataFrame
        One row a scenario: scenario, revenue, cost and margin as ``_p10 _p50 _p90`` and
        ``margin_mean`` [currency], the chances that costs are higher than revenue,
        ``chance_loss``, and of leaving less than the first scenario in the same season,
        ``chance_worse`` [1], and ``above_cap_t``, the mean crop beyond the contracts' caps [t].
    currency : str
        The one currency of the prices; empty when none is named.
    contracts : tuple of Contract
        Those that pay.
    notes : tuple of str
        What was taken, in sentences.
    """

    frame: pd.DataFrame
    currency: str
    contracts: tuple
    notes: tuple


def scenario_money(records, found, costs, *, settled=False):
    """Say what each scenario would leave over, beside the first one.

    Parameters
    ----------
    records : Records
        Its tables contracts and prices are used.
    found : ScenarioDraws
        As from ``scenario_draws``; the first scenario is the one the others are held against.
    costs : Costs
        The user's costs.
    settled : bool
        Take the settled crop (third season on) instead of the first season's.

    Returns
    -------
    Money

    Raises
    ------
    CroploadError
        When a block has no price.

    Notes
    -----
    Scenarios are compared on the same draws: in a heavy year all of them are heavy.
    """
    facts = found.estate.facts
    tonnes = found.drawn.tonnes(settled)
    contracts, notes = contracts_for(records, found.blocks, facts)
    earned = np.zeros((tonnes.shape[0], tonnes.shape[2]))
    above = np.zeros(len(found.names))
    for contract in contracts:
        members = [found.blocks.index(block) for block in contract.blocks]
        crop = tonnes[:, members].sum(1)
        earned += contract.revenue(crop)
        above += np.maximum(crop - contract.terms.most, 0).mean(-1)
    places = found.drawn.blocks
    cost = costs.of(
        found.buds[:, :, None],
        facts.bearing[places][:, None],
        facts.area_ha[places][:, None],
        tonnes,
    ).sum(1)
    margin = earned - cost
    rows = []
    for at, name in enumerate(found.names):
        rows.append(
            {
                "scenario": name,
                **ranges.columns("revenue", earned[at]),
                **ranges.columns("cost", cost[at]),
                **ranges.columns("margin", margin[at]),
                **ranges.columns("change", margin[at] - margin[0]),
                "margin_mean": float(margin[at].mean()),
                "chance_loss": float((margin[at] < 0).mean()),
                "chance_worse": float((margin[at] < margin[0]).mean()) if at else np.nan,
                "above_cap_t": float(above[at]),
            }
        )
    return Money(pd.DataFrame(rows), currency_of(records), tuple(contracts), tuple(notes))
