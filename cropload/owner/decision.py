"""The decision: each plan beside today's, by block and together, and which to take where."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.errors import CroploadError, near
from cropload.owner.mix import SAMPLE, Limits, Mix, Question, Rule

DENSITY, BALANCE, WOOD, FROST = "density", "balance", "wood", "frost"

#: What a figure is -> its column, and the least that counts as a change, as it is shown.
MATTERS = {
    DENSITY: ("shoots_per_m_p50", 0.1),
    BALANCE: ("ravaz_settled_p50", 0.1),
    WOOD: ("places_short_5_winters", 0.1),
    FROST: ("frost_mean_share_p50", 0.01),
}

#: When a difference to the first scenario is told: in a season, or over all that are followed.
WHEN = ("first", "second", "settled", "all")

#: Limits that are no matter of the vines.
HOURS, CEILING = "hours", "ceiling of"

#: Row of the recommended plans where no scenario has just these.
MIX = "recommended"


@dataclass(frozen=True)
class Turn:
    """How one matter turns in a block with another plan: ``better`` or worse.

    ``before`` and ``after``: shoots [1/m], yield to pruning weight once settled [kg/kg], places
    short of wood after five winters [1/vine], or mean share of the crop that springs leave [1].
    """

    block: str
    area_ha: float
    about: str
    better: bool
    before: float
    after: float


@dataclass(frozen=True, eq=False)
class Harvests:
    """Crops of scenarios with past springs and lost crops in them, (scenarios, blocks, draws) [t].

    ``seasons`` holds the first one and those after it, each with weather of its own; ``settled``
    is the first one's had the vines long carried the plan.
    """

    seasons: np.ndarray
    settled: np.ndarray

    def at(self, when):
        """Return the crop of one of ``WHEN``; of all seasons their sum."""
        if when == "all":
            return self.seasons.sum(0)
        return self.settled if when == "settled" else self.seasons[("first", "second").index(when)]


def harvests(found, springs, seed):
    """Return the Harvests of scenarios drawn by ``scenario_draws``, with the Springs in them."""
    seasons = found.drawn.tonnes_by_season()
    shares = [springs.shares(found, seed, later) for later in range(len(seasons))]
    return Harvests(
        np.stack([crop * share for crop, share in zip(seasons, shares, strict=True)]),
        found.drawn.tonnes(True) * shares[0],
    )


@dataclass(frozen=True, eq=False)
class Decision:
    """What to do, what it brings beside the first scenario, and what if it goes wrong.

    Attributes
    ----------
    by : str
        ``margin`` when there are prices, else ``crop``.
    first : str
        The scenario all others are held against.
    picks : dict
        {block: scenario whose plan it is to have}.
    chosen : str
        The scenario that has just these plans, or ``MIX``.
    names : tuple of str
        Rows of ``estate``: the scenarios, and ``MIX`` where none has the plans recommended.
    rows : ndarray of int, shape (names, blocks)
        Scenario whose plan each block has in each row.
    estate, blocks : DataFrame
        A row a name, and a row a block and plan that is not the first scenario's. Beside the first
        scenario in the same seasons: ``crop_WHEN`` [t] and ``money_WHEN`` [currency] for each of
        ``WHEN``, as ``_p10 _p50 _p90`` and ``_mean``; over all seasons ``chance_worse`` [1] and
        ``cost_if_worse``, the mean of what is lost where it is worse [currency or t];
        ``worst_change``, the mean of the worst tenth of the changes of a settled season. Of
        ``blocks`` also block, scenario, plan, area_ha [ha] and whether it is ``chosen``.
    worst : dict
        {name: what is left in the worst year in ten, once settled} [currency or t].
    turns : tuple of Turn
        What gets better and worse with the plans recommended.
    mix : Mix
        How it was chosen.
    limits : Limits
        Within what.
    sample : int
        Draws it was sought on [1].
    discount : float
        By how much each later season counts less [1/year].
    same_as : dict
        {scenario: an earlier one with the same plan for every block}.
    """

    by: str
    first: str
    picks: dict
    chosen: str
    names: tuple
    rows: np.ndarray
    estate: pd.DataFrame
    blocks: pd.DataFrame
    worst: dict
    turns: tuple
    mix: Mix
    limits: Limits
    sample: int
    discount: float
    same_as: dict = field(default_factory=dict)

    @property
    def changed(self):
        """Rows of ``blocks`` of the plans recommended that are not the first scenario's."""
        return self.blocks[self.blocks["chosen"]]

    def row(self, name=None):
        """Return a row of ``estate``, that of the plans recommended when no name is given."""
        return self.estate.set_index("scenario").loc[self.chosen if name is None else name]


def same_plans(names, plans):
    """Return {scenario: the earliest one with the same plan for every block}.

    Parameters
    ----------
    names : sequence of str
        The scenarios.
    plans : dict
        {scenario: {block: plan}}.
    """
    found = {}
    for at, name in enumerate(names):
        earlier = next((other for other in names[:at] if plans[other] == plans[name]), None)
        if earlier is not None:
            found[name] = earlier
    return found


def turns_of(row, before, bands):
    """Return what gets better or worse in a block with another plan.

    Parameters
    ----------
    row, before : mapping
        Of ``compare_scenarios(...).blocks``: the other plan's and the first scenario's.
    bands : (Band, Band)
        Of shoot density and of yield to pruning weight.

    Returns
    -------
    list of Turn
        Density and balance are better where they come nearer to their band, wood where fewer
        places are short, frost where more crop is kept; less than the last figure shown is none.
    """
    found = []
    for about, (column, step) in MATTERS.items():
        was, now = before[column], row[column]
        if about == FROST:
            gain = now - was
        elif about == WOOD:
            gain = was - now
        else:
            band = bands[about == BALANCE]
            gain = _outside(was, band, step) - _outside(now, band, step)
        # NaN, as of a block without springs or a band, is neither.
        if abs(gain) >= step * (1 - 1e-9):
            found.append(Turn(row["block"], row["area_ha"], about, gain > 0, was, now))
    return found


def _outside(value, band, step):
    """Return how far a figure, rounded as it is shown, lies outside its band."""
    if not band.low <= value <= band.high:
        value = round(value / step) * step
    return max(band.low - value, value - band.high, 0.0)


def _beside(change, name):
    return {**ranges.columns(name, change), f"{name}_mean": float(change.mean())}


def _wrong(total, season):
    """Return what being wrong costs: of changes over all seasons, and of those of a season."""
    worse = total < 0
    return {
        "chance_worse": float(worse.mean()),
        "cost_if_worse": float(-total[worse].mean()) if worse.any() else 0.0,
        "worst_change": float(ranges.worst_tenth(season)),
    }


def decide(found, rows, bands, crops, pay, by, limits, discount):
    """Weigh the plans of scenarios against the first one's, and choose one for each block.

    Parameters
    ----------
    found : ScenarioDraws
        The scenarios.
    rows : dict
        {(block, scenario): dict} of ``compare_scenarios(...).blocks``.
    bands : dict
        {block: (Band of shoot density, Band of yield to pruning weight)}.
    crops : Harvests
        Their crops.
    pay : Pay
        Prices and costs, or the crop alone.
    by : str
        ``margin`` or ``crop``.
    limits : Limits
        What the owner bears.
    discount : float
        By how much each later season counts less [1/year].

    Returns
    -------
    Decision

    Notes
    -----
    The mix brings most over the seasons in the mean; the first scenario's plan is a candidate in
    every block like the others. Balance is weighed by area: a small block out of its band stops
    nothing. Valid as ``compare_scenarios``.
    """
    names, blocks = found.names, found.blocks
    later = np.arange(len(crops.seasons), dtype=float)
    weights = (1 + discount) ** -later if by == "margin" else later**0
    layout = [[found.plans[name][block] for block in blocks] for name in names]
    allowed = np.array([
        [plan not in (layout[earlier][at] for earlier in range(s)) for at, plan in enumerate(row)]
        for s, row in enumerate(layout)
    ])  # fmt: skip
    turns = {key: turns_of(row, rows[key[0], names[0]], bands[key[0]]) for key, row in rows.items()}
    sample = slice(SAMPLE)
    question = Question(
        pay.of_draws(sample), crops.seasons[..., sample], weights, crops.settled[..., sample],
        allowed,
    )  # fmt: skip
    mix = question.best(rules_of(found, turns, crops, limits, pay.hours), limits.worst_year)
    # The earliest scenario with the same plan stands for it, so equal plans are one pick.
    stands = np.array([
        [next(e for e in range(s + 1) if layout[e][at] == plan) for at, plan in enumerate(row)]
        for s, row in enumerate(layout)
    ])  # fmt: skip
    alike = [name for name, own in zip(names, stands, strict=True) if (own == mix.picks).all()]
    shown = names if alike else (*names, MIX)
    picks = stands if alike else np.vstack([stands, mix.picks])
    money = by == "margin"
    estate, worst = _estate(shown, picks, crops, pay, weights, money)
    return Decision(
        by=by,
        first=names[0],
        picks={block: names[at] for block, at in zip(blocks, mix.picks, strict=True)},
        chosen=alike[0] if alike else MIX,
        names=shown,
        rows=picks,
        estate=estate,
        blocks=_blocks(found, rows, crops, pay, weights, money, allowed, mix.picks),
        worst=worst,
        turns=tuple(
            turn
            for block, at in zip(blocks, mix.picks, strict=True)
            for turn in turns[block, names[at]]
        ),
        mix=mix,
        limits=limits,
        sample=min(SAMPLE, crops.settled.shape[-1]),
        discount=discount,
        same_as=same_plans(names, found.plans),
    )


def _estate(names, picks, crops, pay, weights, money):
    places = np.arange(picks.shape[1])
    crop = {when: crops.at(when)[picks, places].sum(1) for when in WHEN}
    left = {when: pay.margin(crops.at(when), picks) for when in WHEN[:3]}
    seasons = zip(weights, crops.seasons, strict=True)
    left["all"] = sum(weight * pay.margin(tonnes, picks) for weight, tonnes in seasons)
    found = []
    for at, name in enumerate(names):
        row = {"scenario": name}
        for when in WHEN:
            row |= _beside(crop[when][at] - crop[when][0], f"crop_{when}")
            if money:
                row |= _beside(left[when][at] - left[when][0], f"money_{when}")
        total, season = (left[when][at] - left[when][0] for when in ("all", "settled"))
        found.append(row | _wrong(total, season))
    worst = ranges.worst_tenth(left["settled"])
    return pd.DataFrame(found), dict(zip(names, worst.tolist(), strict=True))


def _blocks(found, rows, crops, pay, weights, money, allowed, picks):
    crop = {when: crops.at(when) - crops.at(when)[:1] for when in WHEN}
    left = {when: pay.apart(crops.at(when)) for when in WHEN[:3]}
    seasons = zip(weights, crops.seasons, strict=True)
    left["all"] = sum(weight * pay.apart(tonnes) for weight, tonnes in seasons)
    table = []
    for at, block in enumerate(found.blocks):
        for s in range(1, len(found.names)):
            if not allowed[s, at]:
                continue
            row = {"block": block, "scenario": found.names[s]}
            row |= {name: rows[block, found.names[s]][name] for name in ("plan", "area_ha")}
            row["plan_before"] = rows[block, found.names[0]]["plan"]
            row["chosen"] = bool(picks[at] == s)
            for when in WHEN:
                row |= _beside(crop[when][s, at], f"crop_{when}")
                if money:
                    row |= _beside(left[when][s, at], f"money_{when}")
            table.append(row | _wrong(left["all"][s, at], left["settled"][s, at]))
    columns = ["block", "scenario", "plan", "area_ha", "plan_before", "chosen"]
    return pd.DataFrame(table) if table else pd.DataFrame(columns=columns).astype({"chosen": bool})


def rules_of(found, turns, crops, limits, hours):
    """Return the limits that are sums over the blocks, a list of Rule.

    Parameters
    ----------
    found : ScenarioDraws
        The scenarios.
    turns : dict
        {(block, scenario): list of Turn}.
    crops : Harvests
        Their crops.
    limits : Limits
        What the owner bears.
    hours : ndarray, shape (scenarios, blocks)
        Time of pruning [h].

    Raises
    ------
    CroploadError
        For a ceiling of what is neither a block nor a variety, or hours of a pruning whose time is
        not told.
    """
    facts, places = found.estate.facts, found.drawn.blocks
    area = facts.area_ha[places]
    rules = []
    for about in (DENSITY, BALANCE):
        use = np.zeros(found.buds.shape)
        for s, name in enumerate(found.names):
            for at, block in enumerate(found.blocks):
                for turn in turns[block, name]:
                    if turn.about == about:
                        use[s, at] = -area[at] if turn.better else area[at]
        rules.append(Rule(about, use, limits.area_out * float(area.sum())))
    if limits.hours is not None:
        if not hours.any():
            raise CroploadError(
                "A limit on pruning hours needs how long pruning takes: the costs minutes_per_vine "
                "or minutes_per_bud."
            )
        rules.append(Rule(HOURS, hours, limits.hours))
    varieties = [facts.varieties[place] for place in places]
    mean = crops.settled.mean(-1)
    for name, most in limits.ceilings.items():
        under = np.array([name in pair for pair in zip(found.blocks, varieties, strict=True)])
        if not under.any():
            hint = near(name, [*found.blocks, *dict.fromkeys(varieties)])
            raise CroploadError(f"No block or variety compared is called '{name}'. {hint}".strip())
        rules.append(Rule(f"{CEILING} {name}", mean * under, most * float(area[under].sum())))
    return rules
