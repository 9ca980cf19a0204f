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
from cropload.frost.cover import frost_cover
from cropload.frost.years import block_frost_years, block_weather
from cropload.owner.money import Costs, scenario_draws, scenario_money
from cropload.owner.scenario_choice import Choice, choose_scenario
from cropload.pruning.compare import WIDEST_CHANGE, cane_notes, general_notes, load_notes
from cropload.pruning.plan_rows import RANGED, difference_columns, plan_ranges, wood_columns
from cropload.units import METRIC, unit_system
from cropload.vine import bands

#: Scenarios that can be read side by side [1].
FEWEST, MOST = 2, 5

#: Columns of the frost replay, left empty for a block without weather.
FROST_COLUMNS = (
    *(f"frost_mean_share_{end}" for end in ranges.ENDINGS),
    *(f"frost_worst_in_ten_{end}" for end in ranges.ENDINGS),
    "frost_loss_chance_low",
    "frost_loss_chance_high",
    *(f"t_ha_settled_with_frost_{end}" for end in ranges.ENDINGS),
)


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
        One row a scenario: tonnes and tonnes_settled of all blocks and change_settled, the
        settled crop less that of the first scenario in the same season, as ``_p10 _p50 _p90``
        [t]; tonnes_settled_mean [t]; chance_less and chance_less_settled, of a smaller crop than
        the first scenario's [1].
    bands : dict
        {block: (Band of shoots per metre [1/m], Band of yield to pruning weight [kg/kg])}.
    costs : Costs
        As given.
    money_first, money_settled : DataFrame or None
        ``Money.frame``, as from ``scenario_money``; None when a price is missing, and
        ``money_missing`` says so.
    currency : str
        Of the prices; empty when none is named.
    contracts : tuple of Contract
        Those that were counted.
    frost_asked : bool
        Whether past springs were to be replayed.
    frost_missing : dict
        {block: why it has no frost figures}.
    frost_about : dict
        ``loss`` (loss that counts as heavy [1]), ``worst`` (what worst in ten stands for),
        ``seasons`` and ``draws`` [1] of the replay; empty when no block has one.
    components : dict
        {block: list of dict} as from ``component_origins``.
    choice : Choice
        Which scenario holds up best.
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
    components: dict
    choice: Choice

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

        return " ".join(recommendation(self, unit_system(units)))

    def tables(self, units=METRIC):
        """Return every table there is: crop in total first, the handbook's figures last."""
        from cropload.owner.tables import scenario_tables

        return scenario_tables(self, unit_system(units))

    def plot(self, ax=None, units=METRIC):
        """Draw what each scenario leaves over, or its crop where money is not known."""
        from cropload.owner.charts import first_rows

        return first_rows(self, unit_system(units)).plot(ax)


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


def _totals(found):
    first, settled = found.drawn.tonnes(False).sum(1), found.drawn.tonnes(True).sum(1)
    change = settled - settled[0]
    rows = []
    for at, name in enumerate(found.names):
        rows.append(
            {
                "scenario": name,
                **ranges.columns("tonnes", first[at]),
                **ranges.columns("tonnes_settled", settled[at]),
                **ranges.columns("change_settled", change[at]),
                "tonnes_settled_mean": float(settled[at].mean()),
                "chance_less": float((first[at] < first[0]).mean()) if at else np.nan,
                "chance_less_settled": float((change[at] < 0).mean()) if at else np.nan,
            }
        )
    return pd.DataFrame(rows)


def _frost(records, found, season, frost_draws, seed, reference_plans):
    """Return {(block, plan): columns}, {block: why not} and what the columns rest on."""
    columns, missing, about = {}, {}, {}
    if len(records.weather) == 0:
        return columns, dict.fromkeys(found.blocks, "no weather is on record"), about
    for block in found.blocks:
        plans = list(dict.fromkeys(found.plans[name][block] for name in found.names))
        try:
            years = block_frost_years(
                block_weather(records, block), case="laid_down", draws=frost_draws, seed=seed
            )
            cover = frost_cover(
                records,
                block,
                plans,
                season,
                reference_plan=(reference_plans or {}).get(block),
                years=years,
                seed=seed,
            )
        except CroploadError as fault:
            missing[block] = str(fault)
            continue
        held = cover.columns()[list(FROST_COLUMNS)]
        for plan, row in zip(plans, held.to_dict("records"), strict=True):
            columns[block, plan] = row
        seen = len(cover.seasons)
        about.setdefault("loss", cover.heavy_loss)
        about.setdefault("worst", cover.worst)
        about["seasons"] = min(seen, about.get("seasons", seen))
        about["draws"] = frost_draws
    return columns, missing, about


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
        arguments.kind("Costs", "Make them first: cropload.owner.money.Costs(...).")
    ),
    reference_plans=arguments.optional(arguments.by_block("plans")),
    frost=arguments.flag,
    frost_draws=arguments.draws,
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
    frost_draws=400,
):
    """Compare scenarios: what each would give and leave, and what speaks against it.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; its contracts are used when every block has a price.
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
        Replay past springs where a block has weather and budburst dates.
    frost_draws : int
        Draws of that replay [1].

    Returns
    -------
    Scenarios
        ``.frame`` has a row a block and scenario; ``print`` recommends one, and ``report`` makes
        the owner's page of it.

    Raises
    ------
    CroploadError
        For scenarios, blocks, plans, bands, a season or costs that cannot be, all faults of the
        scenarios together.

    Notes
    -----
    A block's figures are those of ``compare_plans`` with the same seed. Sums over blocks keep the
    season effects that they share. Crop and money are without spring frost, which stands apart.
    Valid for loads within a third to three times what a block has carried.
    """
    check_scenarios(scenarios)
    costs = Costs() if costs is None else costs
    season = check_season(records, season)
    found = scenario_draws(
        records, scenarios, season, draws=draws, seed=seed, reference_plans=reference_plans
    )
    frosty, missing, about = {}, {}, {}
    if frost:
        frosty, missing, about = _frost(records, found, season, frost_draws, seed, reference_plans)
    totals = _totals(found)
    blocks, held, notes = _block_rows(found, density_band, ravaz_band, frosty)
    first = settled = None
    money_missing = ""
    if len(records.prices) + len(records.contracts) == 0:
        money_missing = "No prices are on record, so there is no money in this report."
    else:
        try:
            first = scenario_money(records, found, costs)
            settled = scenario_money(records, found, costs, settled=True)
        except CroploadError as fault:
            money_missing = str(fault)
    if settled is None:
        by, means = "crop", totals["tonnes_settled_mean"]
    else:
        by, means = "margin", settled.frame["margin_mean"]
        notes += settled.notes
    by_scenario = {name: [] for name in found.names}
    for row in blocks.to_dict("records"):
        by_scenario[row["scenario"]].append(row)
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
        totals=totals,
        bands=held,
        costs=costs,
        money_first=None if first is None else first.frame,
        money_settled=None if settled is None else settled.frame,
        money_missing=money_missing,
        currency="" if settled is None else settled.currency,
        contracts=() if settled is None else settled.contracts,
        frost_asked=bool(frost),
        frost_missing=missing,
        frost_about=about,
        components=components,
        choice=choose_scenario(
            found.names,
            by_scenario,
            dict(zip(found.names, means.tolist(), strict=True)),
            by,
            found.plans,
        ),
        notes=tuple(dict.fromkeys([*notes, *found.estate.accepted_notes])),
    )
