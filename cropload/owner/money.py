"""Money: what pruning scenarios leave over, with prices and costs that are the user's own."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.meant import check_block, check_draws, check_season
from cropload.beliefs.plan_draws import plan_draws
from cropload.beliefs.plans_by_part import carried_plans
from cropload.beliefs.ranges import DEFAULT_DRAWS, reach
from cropload.errors import CroploadError
from cropload.owner.costs import Span, Unsure
from cropload.records.tables import LAST
from cropload.show import wording
from cropload.vine.plan import PruningPlan
from cropload.winery.contracts import Terms, contract_book, contract_places, terms_of

#: Seasons that a plan is followed through [1].
SEASONS = 5


@dataclass(frozen=True)
class Contract:
    """What is paid for some blocks, by the terms of a contract for their fruit.

    ``price`` is that of its first tonne as told: a number [currency/t], or a Span.
    """

    name: str
    blocks: tuple
    terms: Terms
    price: float | Span = 0.0

    def revenue(self, tonnes):
        """Return what a crop of ``tonnes`` [t] earns, less what is owed [currency]."""
        return self.terms.pay(tonnes) - self.terms.penalty(tonnes)

    def bends(self):
        """Return what no crop earns, what its first tonne does, and where that changes.

        Returns
        -------
        (ndarray, ndarray, list of (float, ndarray))
            [currency], [currency/t], and (tonnes, change [currency/t]) of each bend; the arrays
            have a value a draw, or one where no price is told as a range.
        """
        terms = self.terms
        told = (terms.least, terms.most, terms.ceiling, *(start for start, _ in terms.steps))
        ends = sorted({0.0, *(each for each in told if 0 < each < np.inf)})
        places = np.array([*ends, ends[-1] + 1.0])
        earned = self.revenue(places[:, None])
        slopes = np.diff(earned, axis=0) / np.diff(places)[:, None]
        return earned[0], slopes[0], list(zip(ends[1:], np.diff(slopes, axis=0), strict=True))

    def of_draws(self, few):
        """Return the contract with the prices of some of the draws."""
        terms = self.terms
        steps = tuple((start, _of_draws(price, few)) for start, price in terms.steps)
        return replace(self, terms=replace(terms, steps=steps, beyond=_of_draws(terms.beyond, few)))


def _of_draws(amount, few):
    """Return some of the draws of an amount; one value stays."""
    return amount[..., few] if np.shape(amount)[-1:] > (1,) else amount


def contracts_for(records, blocks, facts, unsure):
    """Return the contracts that pay for some blocks, and notes on what was taken.

    ``unsure`` draws the prices that are told as ranges, those of one contract together.

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
            f"No price is on record for {', '.join(unpaid)}. Add a row to table contracts for the "
            f"block, or for {', '.join(varieties)}."
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
        first = rows.sort_values("from_t", kind="stable").iloc[0]

        def priced(middle, width, name=name):
            drawn = unsure.draw(middle, width / (2 * reach()), "price", name)
            return drawn if len(drawn) > 1 else float(drawn[0])

        terms = terms_of(rows, area, share, priced)
        if len(terms.steps) > 1 or terms.shortfall or terms.excess:
            notes.append(f"Price steps and what is owed under the contract {name} are counted.")
        contracts.append(Contract(name, members, terms, price_told(first)))
    return contracts, notes


def price_told(row):
    """Return the price of a row of a contract as it was told: a number or a Span."""
    price, width = row["price_per_t"], np.nan_to_num(row["price_per_t_range"])
    half = np.exp(width / 2)
    return Span(price / half, price * half) if width else float(price)


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
            f"The contracts name several currencies ({', '.join(named)}). Write all prices in one."
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
    """Scenarios on common draws, with lost crops and without spring frost."""

    names: tuple
    blocks: tuple
    plans: dict
    buds: np.ndarray
    drawn: object
    estate: object

    @property
    def draws(self):
        """How many draws there are [1]."""
        return self.drawn.log_components.shape[-1]

    def without_growth(self):
        """Return the scenarios without all that grows, which takes most of the memory."""
        return replace(self, drawn=replace(self.drawn, first=None, settled=None, later=()))

    @property
    def varieties(self):
        """What each of the blocks bears, a list."""
        return [self.estate.facts.varieties[place] for place in self.drawn.blocks]


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
        drawn=plan_draws(
            estate, places, layout, draws=draws, seed=seed, losses=True, later_seasons=SEASONS - 1
        ),
        estate=estate,
    )


@dataclass(frozen=True, eq=False)
class Pay:
    """What crops of some blocks earn and cost.

    Attributes
    ----------
    contracts : tuple of Contract
        Those that pay.
    members : tuple of ndarray
        Places of each one's blocks.
    fixed : ndarray, shape (scenarios, blocks, draws or 1)
        Cost of a season that no crop moves [currency].
    per_t : ndarray, shape (blocks, draws or 1)
        Cost of picking [currency/t].
    hours : ndarray, shape (scenarios, blocks)
        Time of pruning [h].
    currency : str
        Of the prices; empty when none is named, and where the crop itself is counted.
    notes : tuple of str
        What was taken, in sentences.
    """

    contracts: tuple
    members: tuple
    fixed: np.ndarray
    per_t: np.ndarray
    hours: np.ndarray
    currency: str = ""
    notes: tuple = ()

    def revenue(self, tonnes):
        """Return what crops earn [currency], (..., draws), from (..., blocks, draws) [t]."""
        return sum(
            contract.revenue(tonnes[..., members, :].sum(-2))
            for contract, members in zip(self.contracts, self.members, strict=True)
        )

    def cost(self, tonnes, picks):
        """Return what crops cost [currency], (rows, draws); ``picks`` as in `margin`."""
        fixed = self.fixed[picks, np.arange(picks.shape[1])].sum(1)
        return fixed + (self.per_t * tonnes).sum(1)

    def of_draws(self, few):
        """Return what some of the draws earn and cost; ``few`` says which."""
        return replace(
            self,
            contracts=tuple(contract.of_draws(few) for contract in self.contracts),
            fixed=_of_draws(self.fixed, few),
            per_t=_of_draws(self.per_t, few),
        )

    def margin(self, tonnes, picks):
        """Return what is left over when each block has the plan of some scenario.

        Parameters
        ----------
        tonnes : ndarray, shape (scenarios, blocks, draws)
            Crop [t].
        picks : ndarray of int, shape (rows, blocks)
            Scenario whose plan a block has.

        Returns
        -------
        ndarray, shape (rows, draws)
            [currency]
        """
        crop = tonnes[picks, np.arange(picks.shape[1])]
        return self.revenue(crop) - self.cost(crop, picks)

    def apart(self, tonnes):
        """Return what is left over more when one block alone leaves the first scenario.

        Parameters
        ----------
        tonnes : ndarray, shape (scenarios, blocks, draws)
            Crop [t].

        Returns
        -------
        ndarray, shape (scenarios, blocks, draws)
            [currency]; where blocks fill one contract the changes do not add up.
        """
        out = self.fixed[:1] - self.fixed - self.per_t * (tonnes - tonnes[:1])
        for contract, members in zip(self.contracts, self.members, strict=True):
            whole = tonnes[0, members].sum(0)
            moved = whole + tonnes[:, members] - tonnes[:1, members]
            out[:, members] += contract.revenue(moved) - contract.revenue(whole)
        return out


def pay_for(records, found, costs, seed=0, moved=None):
    """Return what crops of the blocks of a comparison earn and cost.

    Parameters
    ----------
    records, found : Records, ScenarioDraws
        Their prices, and their crops.
    costs : Costs
        The user's own.
    seed : int
        Of the draws [1].
    moved : tuple, optional
        As in ``Unsure``.

    Returns
    -------
    Pay

    Raises
    ------
    CroploadError
        When a block has no price, or prices name several currencies.
    """
    facts, places = found.estate.facts, found.drawn.blocks
    unsure = Unsure(seed, found.draws, *([moved] if moved else []))
    contracts, notes = contracts_for(records, found.blocks, facts, unsure)
    vines, area = facts.bearing[places], facts.area_ha[places]
    fixed, per_t = costs.of_season(found.blocks, found.varieties, found.buds, vines, area, unsure)
    return Pay(
        tuple(contracts),
        tuple(np.array([found.blocks.index(b) for b in each.blocks]) for each in contracts),
        fixed,
        per_t,
        costs.hours(found.blocks, found.varieties, found.buds, vines),
        currency_of(records),
        tuple(notes),
    )


def crop_alone(found, costs):
    """Return a Pay in tonnes, for scenarios whose blocks have no price: a tonne earns one."""
    every = np.arange(len(found.blocks))
    crop = Contract("crop", found.blocks, Terms(0.0, np.inf, np.inf, ((0.0, 1.0),)))
    vines = found.estate.facts.bearing[found.drawn.blocks]
    hours = costs.hours(found.blocks, found.varieties, found.buds, vines)
    free = np.zeros((*found.buds.shape, 1))
    return Pay((crop,), (every,), free, free[0], hours)


def money_frame(pay, names, tonnes, picks):
    """Return what each row of picks leaves over in a season, beside the first one.

    Parameters
    ----------
    pay : Pay
        Prices and costs.
    names : sequence of str
        One a row.
    tonnes, picks : ndarray
        As in ``Pay.margin``.

    Returns
    -------
    DataFrame
        One row a name: scenario, revenue, cost and margin as ``_p10 _p50 _p90``, ``margin_mean``
        and ``margin_worst``, the mean of the worst tenth of the years [currency], the chance that
        costs are higher than revenue, ``chance_loss`` [1], and ``above_cap_t``, the mean crop
        beyond the contracts' caps [t].
    """
    crop = tonnes[picks, np.arange(picks.shape[1])]
    earned, cost = pay.revenue(crop), pay.cost(crop, picks)
    margin = earned - cost
    above = sum(
        np.maximum(crop[:, members].sum(1) - contract.terms.most, 0).mean(-1)
        for contract, members in zip(pay.contracts, pay.members, strict=True)
    )
    return pd.DataFrame(
        {
            "scenario": name,
            **ranges.columns("revenue", earned[at]),
            **ranges.columns("cost", cost[at]),
            **ranges.columns("margin", margin[at]),
            "margin_mean": float(margin[at].mean()),
            "margin_worst": float(ranges.worst_tenth(margin[at])),
            "chance_loss": float((margin[at] < 0).mean()),
            "above_cap_t": float(above[at]),
        }
        for at, name in enumerate(names)
    )
