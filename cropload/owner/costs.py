"""Costs of a season as the user tells them: a value or a range, for all blocks or for some."""

from dataclasses import dataclass, field, fields

import numpy as np

from cropload.beliefs.ranges import reach
from cropload.errors import CroploadError, near
from cropload.random_streams import stream
from cropload.records.reading.spans import span_of
from cropload.units import ACRE_HA, SHORT_TON_T


@dataclass(frozen=True)
class Cost:
    """What a cost is: in words, per what in metric and in US units, and the factor between them.

    ``paid``: whether it is money; the time that pruning takes is not.
    """

    words: str
    per: tuple = ("", "")
    factor: float = 1.0
    paid: bool = True

    def unit(self, currency, us):
        """Return its unit as text."""
        return f"{currency if self.paid else 'min'}/{self.per[us]}"


_AREA, _WEIGHT = ("ha", "ac"), ("t", "short ton")
#: What costs there are, by name.
COSTS = {
    "pruning_per_vine": Cost("pruning, for each vine", ("vine", "vine")),
    "pruning_per_bud": Cost("pruning, for each bud left", ("bud", "bud")),
    "minutes_per_vine": Cost("time of pruning a vine", ("vine", "vine"), paid=False),
    "minutes_per_bud": Cost("time of each bud left", ("bud", "bud"), paid=False),
    "rate_per_hour": Cost("an hour of pruning", ("h", "h")),
    "thinning_per_ha": Cost("thinning", _AREA, ACRE_HA),
    "picking_per_t": Cost("picking, by weight", _WEIGHT, SHORT_TON_T),
    "picking_per_ha": Cost("picking, by area", _AREA, ACRE_HA),
    "other_per_ha": Cost("all else", _AREA, ACRE_HA),
}


#: Largest price and cost that is taken, in its own unit: no currency has larger ones.
MOST = 10**12


@dataclass(frozen=True)
class Span:
    """An amount that is not known exactly: positive, with a log-normal range.

    low, high : the ends of eight in ten of what it may be, in its own unit.
    """

    low: float
    high: float

    def __post_init__(self):
        if not (_real(self.low) and _real(self.high) and 0 < self.low <= self.high):
            raise CroploadError(
                f"A range runs from a low end above 0 to a high end, not from {self.low!r} to "
                f"{self.high!r}."
            )

    def __str__(self):
        return f"{self.low:g}-{self.high:g}"

    @property
    def middle(self):
        """The middle: as much above the low end, in shares, as below the high one."""
        return self.low if self.low == self.high else float(np.sqrt(self.low * self.high))

    @property
    def spread(self):
        """Standard deviation of its log [1]."""
        return float(np.log(self.high / self.low)) / (2 * reach())

    def times(self, factor):
        """Return the range in another unit."""
        return Span(self.low * factor, self.high * factor)


def middle_of(amount):
    """Return the middle of a value or a Span."""
    return amount.middle if isinstance(amount, Span) else float(amount)


def spread_of(amount):
    """Return the spread of the log of a value or a Span [1]; 0 for a value."""
    return amount.spread if isinstance(amount, Span) else 0.0


def written(amount, factor=1.0):
    """Return a value or a Span as text, in the unit that a factor leads to."""
    ends = (amount.low, amount.high) if isinstance(amount, Span) else (amount,)
    return "-".join(f"{round(end * factor, 6):.12g}" for end in ends)


def read_amount(text, number):
    """Return a value, or a Span where a range like ``0.9-1.3`` is written.

    Parameters
    ----------
    text : str
        As written.
    number : callable
        Reads one number; fails for what is none.

    Raises
    ------
    CroploadError
        For neither, with what to write.
    """
    ends = span_of(text.strip())
    try:
        read = [number(end) for end in ends or (text.strip(),)]
    except Exception:
        rule = "is neither a number nor a range like 0.9-1.3"
        raise CroploadError(f"'{text.strip()}' {rule}") from None
    return read[0] if len(read) == 1 or read[0] == read[1] else Span(*read)


def _real(value):
    kinds = (int, float, np.number)
    return isinstance(value, kinds) and not isinstance(value, bool) and bool(np.isfinite(value))


@dataclass(frozen=True)
class Unsure:
    """Draws of prices and costs that are told as ranges, each from a stream of its own.

    Attributes
    ----------
    seed, draws : int
        Of the crops [1].
    moved : tuple
        (names, normal, spread): what is held at one place instead of drawn, how many standard
        deviations from its middle, and the spread of what is told as a single value [1].
    """

    seed: int
    draws: int
    moved: tuple = ((), 0.0, 0.0)

    def draw(self, middle, spread, *names):
        """Return draws of an amount, shape (draws,), or (1,) where it is one value.

        Notes
        -----
        One draw holds for all the seasons followed: what is not known is where the amount lies.
        """
        held, normal, usual = self.moved
        if held == names:
            return np.array([middle * np.exp((spread or usual) * normal)])
        if not spread:
            return np.array([middle], float)
        return middle * np.exp(spread * stream(self.seed, *names).standard_normal(self.draws))


@dataclass(frozen=True)
class Costs:
    """Costs of a season, all in the currency of the prices; what is left at 0 is not counted.

    pruning_per_vine [currency/vine], pruning_per_bud [currency/bud left], minutes_per_vine and
    minutes_per_bud [min] of pruning paid at rate_per_hour [currency/h], thinning_per_ha
    [currency/ha], picking_per_t [currency/t], picking_per_ha and other_per_ha [currency/ha]: each a
    number, or a Span where it is not known exactly. ``of``: {block or variety: {cost: amount}} of
    blocks that differ; what is told of a block goes before what is told of its variety.
    """

    pruning_per_vine: float | Span = 0.0
    pruning_per_bud: float | Span = 0.0
    thinning_per_ha: float | Span = 0.0
    picking_per_t: float | Span = 0.0
    picking_per_ha: float | Span = 0.0
    other_per_ha: float | Span = 0.0
    minutes_per_vine: float | Span = 0.0
    minutes_per_bud: float | Span = 0.0
    rate_per_hour: float | Span = 0.0
    of: dict = field(default_factory=dict)

    def __post_init__(self):
        faults = []
        for whose, name, amount in self.told(all_of_them=True):
            where = f"{name} of {whose}" if whose else name
            if name not in COSTS:
                faults.append(f"There is no cost '{name}'. {near(name, COSTS)}".strip())
            elif not isinstance(amount, Span) and not (_real(amount) and amount >= 0):
                faults.append(f"The cost {where} must be a number of 0 or more, not {amount!r}.")
            elif (amount.high if isinstance(amount, Span) else amount) > MOST:
                faults.append(f"The cost {where} is above {MOST:,}. Check the digits.")
        if faults:
            raise CroploadError("\n".join(faults))

    def told(self, all_of_them=False):
        """Yield (block or variety, cost, amount) of what is counted; "" stands for all blocks."""
        own = {each.name: getattr(self, each.name) for each in fields(self) if each.name != "of"}
        for whose, costs in {"": own, **self.of}.items():
            for name, amount in costs.items():
                if all_of_them or whose or amount != 0:
                    yield whose, name, amount

    def holding(self, name, block, variety):
        """Return for whom the amount of a cost that holds in a block was told, and the amount."""
        for whose in (block, variety):
            if name in self.of.get(whose, {}):
                return whose, self.of[whose][name]
        return "", getattr(self, name)

    def laid_out(self, blocks, varieties, unsure=None):
        """Return each cost in each block, {cost: array (blocks, draws or 1)}.

        Parameters
        ----------
        blocks, varieties : sequence of str
            The blocks, and what they bear.
        unsure : Unsure, optional
            Draws what is told as a range; its middle when left out.

        Raises
        ------
        CroploadError
            For costs of what is neither a block nor a variety.
        """
        known = dict.fromkeys([*blocks, *varieties])
        for whose in self.of:
            if whose not in known:
                hint = near(whose, known)
                raise CroploadError(
                    f"No block or variety compared is called '{whose}', which costs name. {hint}"
                    .strip()
                )  # fmt: skip
        found = {}
        for name in COSTS:
            rows = []
            for block, variety in zip(blocks, varieties, strict=True):
                whose, amount = self.holding(name, block, variety)
                middle, spread = middle_of(amount), spread_of(amount)
                if unsure is None:
                    rows.append(np.array([middle]))
                else:
                    rows.append(unsure.draw(middle, spread, "cost", name, whose))
            found[name] = np.array(np.broadcast_arrays(*rows))
        return found

    def hours(self, blocks, varieties, buds, vines):
        """Return the hours of pruning each block in each scenario, (scenarios, blocks) [h]."""
        at = self.laid_out(blocks, varieties)
        each = at["minutes_per_vine"][:, 0] + at["minutes_per_bud"][:, 0] * buds
        return vines * each / 60

    def of_season(self, blocks, varieties, buds, vines, area_ha, unsure):
        """Return what a season costs.

        Parameters
        ----------
        blocks, varieties : sequence of str
            As in `laid_out`.
        buds : ndarray, shape (scenarios, blocks)
            Buds left [1/vine].
        vines, area_ha : ndarray, shape (blocks,)
            Bearing vines [1], area [ha].
        unsure : Unsure
            As in `laid_out`.

        Returns
        -------
        fixed : ndarray, shape (scenarios, blocks, draws or 1)
            What no crop moves [currency].
        per_t : ndarray, shape (blocks, draws or 1)
            Picking [currency/t].
        """
        at = self.laid_out(blocks, varieties, unsure)
        buds = buds[..., None]
        minutes = at["minutes_per_vine"] + at["minutes_per_bud"] * buds
        vine = at["pruning_per_vine"] + at["pruning_per_bud"] * buds
        vine = vine + minutes / 60 * at["rate_per_hour"]
        land = at["thinning_per_ha"] + at["picking_per_ha"] + at["other_per_ha"]
        return vines[:, None] * vine + area_ha[:, None] * land, at["picking_per_t"]

    def lines(self):
        """Return the costs as they are read by `read_costs`, a list of str."""
        named = ((f"{whose}:{name}" if whose else name, a) for whose, name, a in self.told())
        return [f"{name}={written(amount)}" for name, amount in named]


def _known():
    """Return every name that a cost may be written by: its own and what leads to it."""
    known = {name: (name, 1.0) for name in COSTS}
    for name, cost in COSTS.items():
        for ending, us_ending in (("_per_ha", "_per_ac"), ("_per_t", "_per_ton")):
            if name.endswith(ending):
                known[name.removesuffix(ending) + us_ending] = (name, 1 / cost.factor)
    return known


def read_costs(lines, number=float):
    """Return the Costs of lines like ``picking_per_t=90-140`` or ``Long Acre:thinning_per_ha=300``.

    Parameters
    ----------
    lines : sequence of str
        One a cost; ``..._per_ac`` and ``..._per_ton`` are understood too.
    number : callable
        Reads one number; fails for what is none.

    Raises
    ------
    CroploadError
        With every fault of every line.
    """
    known, found, faults = _known(), {}, []
    for text in lines:
        whose, sign, amount = text.partition("=")
        whose, _, name = whose.rpartition(":")
        whose, name = whose.strip(), name.strip().lower().replace("-", "_")
        if name not in known:
            hint = near(name, known) or f"The costs are: {', '.join(known)}."
            faults.append(f"There is no cost '{name}'. {hint}")
            continue
        try:
            value = read_amount(amount, number)
        except CroploadError as fault:
            shown = str(fault).rstrip(".") if sign else "there is no amount"
            faults.append(f"Cost {name}: {shown}. Write it like {name}=0.8.")
            continue
        own, factor = known[name]
        mine = found.setdefault(whose, {})
        if own in mine:
            where = f" of {whose}" if whose else ""
            faults.append(f"The cost {own}{where} is given twice. Keep one.")
        mine[own] = value.times(factor) if isinstance(value, Span) else value * factor
    try:
        costs = Costs(**found.pop("", {}), of=found)
    except CroploadError as fault:
        faults.append(str(fault))
    if faults:
        raise CroploadError("\n".join(faults))
    return costs
