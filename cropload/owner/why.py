"""Why: at which price, crop and frost chance a choice turns, and which input moves it most.

All of it rests on the draws and on the money of the decision itself: what is asked is at what the
mean of the paired difference over the seasons followed is nothing, and how it moves.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs import ranges
from cropload.beliefs.later_seasons import lasting_state
from cropload.beliefs.plan_draws import plan_draws, states_of
from cropload.owner.break_even import crop_break_even, line_break_even, pair_of
from cropload.owner.costs import Span, middle_of, spread_of
from cropload.owner.money import pay_for
from cropload.vine.growth import COMPONENTS, RESPONSES

#: Components of the crop that reaches the scale; those from old wood bear, but weigh little.
CROP = ("buds_left", "shoots_per_bud", "clusters_per_shoot", "cluster_weight_g", "recovery")
#: Values of blocks and draws from which on fewer draws are moved, and the fewest of them [1].
_MANY, _FEWEST_MOVED = 40_000, 400
#: Fewest draws with and without a frost in a season that a mean is told of [1].
_FEWEST = 10


@dataclass(frozen=True, eq=False)
class Why:
    """What a decision hangs on, worked out when it is asked for.

    Attributes
    ----------
    records, costs, seed : Records, Costs, int
        As of the comparison.
    found : ScenarioDraws
        The scenarios, what grows left apart.
    springs : Springs
        Their past springs.
    crops : Harvests
        Their crops.
    pay : Pay
        Prices and costs.
    decision : Decision
        What was decided of them.
    """

    records: object
    costs: object
    seed: int
    found: object
    springs: object
    crops: object
    pay: object
    decision: object
    _kept: dict = field(default_factory=dict)

    @property
    def weights(self):
        """What each season counts [1]."""
        later = np.arange(len(self.crops.seasons), dtype=float)
        money = self.decision.by == "margin"
        return (1 + self.decision.discount) ** -later if money else later**0

    @property
    def asked(self):
        """The choice beside the first scenario that is asked about when none is named."""
        decision = self.decision
        if decision.chosen != decision.first:
            return decision.chosen
        own = [name for name in decision.names[1:] if name not in decision.same_as]
        by = f"{'money' if decision.by == 'margin' else 'crop'}_all_mean"
        return max(own, key=lambda name: decision.row(name)[by], default=None)

    def choices(self):
        """Return {name: picks (blocks,)} of the rows of the decision that differ from the first."""
        decision = self.decision
        rows = zip(decision.names, decision.rows, strict=True)
        return {name: picks for name, picks in rows if picks.any()}

    def break_evens(self):
        """Return where each choice turns, a row a choice and then a row a block and plan.

        Returns
        -------
        list of dict
            block ("" for all together), scenario, plan, mean (the mean difference [currency or
            t]), and a BreakEven each, None where there is nothing to tell: price [currency/t], or
            as a share of all prices [1] where ``price_shared``; crop, of the plans' mean crop
            [t/ha], beside crop_before [t/ha]; frost, of the yearly chance [1].
        """
        if "break_evens" not in self._kept:
            rows = [
                {"block": "", "scenario": name, "plan": ""} | self._turns(picks)
                for name, picks in self.choices().items()
            ]
            for each in self.decision.blocks.itertuples():
                picks = np.zeros(len(self.found.blocks), int)
                picks[self.found.blocks.index(each.block)] = self.found.names.index(each.scenario)
                head = {"block": each.block, "scenario": each.scenario, "plan": each.plan}
                rows.append(head | self._turns(picks))
            single = len(self.found.blocks) == 1
            self._kept["break_evens"] = [row for row in rows if row["block"] or not single]
        return self._kept["break_evens"]

    def _turns(self, picks):
        pair = pair_of(self.pay, self.crops.seasons, self.weights, picks)
        gain = pair.gain()
        row = {"mean": pair.mean(gain), "price": None, "price_shared": len(pair.lots) > 1}
        row |= {"crop": None, "crop_before": None, "frost": self._frost_turn(pair, gain)}
        if self.decision.by != "margin":
            return row
        price = 1.0 if len(pair.lots) > 1 else middle_of(pair.lots[0][0].price)
        rest = -pair.mean(pair.owed() + pair.spent())
        if price:
            row["price"] = line_break_even(rest, pair.mean(pair.earned()) / price, price)
        area = self.found.estate.facts.area_ha[self.found.drawn.blocks[pair.changed]].sum()
        before, after = (np.mean(sum(lot[at] for lot in pair.lots)) / area for at in (2, 3))
        row["crop"] = crop_break_even(lambda times: pair.mean(pair.gain(times)), after)
        return row | {"crop_before": before}

    def _frost_years(self, changed):
        """Return whether a spring takes much of the first plans' crop of some blocks.

        Returns
        -------
        ndarray of bool, shape (seasons, draws), or None without springs.
        """
        about, blocks = self.springs.about, self.found.blocks
        if not about or all(blocks[at] in self.springs.missing for at in changed):
            return None
        weight = self.crops.seasons[:, 0, changed].mean((0, 2))
        left = [self._shares(later)[0, changed] for later in range(len(self.crops.seasons))]
        return np.array([weight @ each for each in left]) < weight.sum() * (1 - about["loss"])

    def _shares(self, later):
        key = ("shares", later)
        if key not in self._kept:
            self._kept[key] = self.springs.shares(self.found, self.seed, later)
        return self._kept[key]

    def _by_frost(self, pair, gain):
        """Return each season's mean without and with a frost, and its chance; None where unseen."""
        hit = self._frost_years(pair.changed)
        if hit is None or min(hit.sum(1).min(), (~hit).sum(1).min()) < _FEWEST:
            return None
        with_frost = (gain * hit).sum(1) / hit.sum(1)
        return (gain * ~hit).sum(1) / (~hit).sum(1), with_frost, hit

    def _frost_turn(self, pair, gain):
        seen = self._by_frost(pair, gain)
        if seen is None:
            return None
        without, with_frost, hit = seen
        share = hit.mean(1)
        # Each season's own chance among the draws, all moved alike, so that today's gives today's.
        slope = pair.weights @ (share * (with_frost - without)) / share.mean()
        return line_break_even(
            float(pair.weights @ without), float(slope), float(share.mean()), 1.0
        )

    def inputs(self, name=None):
        """Return how far each input moves what a choice brings, that which moves it most first.

        Parameters
        ----------
        name : str, optional
            A row of the decision; ``asked`` when left out.

        Returns
        -------
        DataFrame
            input (names), kind, low and high: its ends of eight in ten, in its own unit (of the
            season the crop beside the middle one's [1], of frost the share of springs [1]);
            money_low and money_high: the mean difference over the seasons with it there, all else
            as drawn [currency or t]; assumed: whether the range is the handbook's.

        Notes
        -----
        What lasts of the vines is moved in all seasons alike; the season is the mean weather of
        the seasons followed, which moves the components as they go together; frost is the share of
        these seasons with a spring that takes much. Lost crops stay as drawn. Of more than ten
        blocks the vines and the season are moved on the first of the draws.
        """
        name = self.asked if name is None else name
        if ("inputs", name) not in self._kept:
            rows = _Moves(self, self.choices()[name]).rows() if name else []
            columns = ["input", "kind", "low", "high", "money_low", "money_high", "assumed"]
            frame = pd.DataFrame(rows, columns=columns).astype({"assumed": bool})
            width = (frame["money_high"] - frame["money_low"]).abs()
            frame = frame[width > 1e-9 * max(width.max(), 1e-9)] if len(frame) else frame
            order = width.sort_values(ascending=False, kind="stable").index
            frame = frame.loc[[at for at in order if at in frame.index]].reset_index(drop=True)
            self._kept["inputs", name] = frame
        return self._kept["inputs", name]


class _Moves:
    """One choice of plans, worked out again with one input held at an end of its range."""

    def __init__(self, why, picks):
        self.why, self.picks = why, picks
        self.base = pair_of(why.pay, why.crops.seasons, why.weights, picks)
        self._unmoved = None
        found, changed = why.found, self.base.changed
        members = [m for m in why.pay.members if np.isin(m, changed).any()]
        self.here = np.sort(np.concatenate(members))
        self.places = found.drawn.blocks[self.here]
        layout = [found.names[0], *(found.names[at] for at in picks[self.here])]
        blocks = [found.blocks[at] for at in self.here]
        first = [found.plans[layout[0]][block] for block in blocks]
        new = [found.plans[n][block] for n, block in zip(layout[1:], blocks, strict=True)]
        self.plans = [first, new]
        self.later = len(why.crops.seasons) - 1
        self.draws = min(found.draws, max(_FEWEST_MOVED, _MANY // len(self.here)))
        few, more = slice(self.draws), {"draws": found.draws, "seed": why.seed}
        states = states_of(found.estate, self.places, later_seasons=self.later, **more)
        self.states = replace(
            states,
            first=states.first[..., few],
            responses=states.responses[:, few],
            strength=states.strength[:, few],
            later=tuple(each[..., few] for each in states.later),
        )
        self.lasting = lasting_state(found.estate, self.places, **more)[..., few]
        weight = why.crops.seasons[:, 0, self.here].mean((0, 2)) * np.isin(self.here, changed)
        self.weight = weight / weight.sum()
        rows = np.arange(len(self.here))
        self.shares = np.stack([
            why._shares(later)[:, self.here, few][[np.zeros_like(rows), picks[self.here]], rows]
            for later in range(self.later + 1)
        ])  # fmt: skip

    def rows(self):
        """Yield a row of `Why.inputs` for each input, as a dict."""
        yield from self._money()
        yield from self._vines()
        yield from self._answers()
        yield from self._season()
        yield from self._frost()

    def _row(self, name, kind, ends, values, assumed=False):
        low, high = values
        return {
            "input": name, "kind": kind, "low": ends[0], "high": ends[1],
            "money_low": low, "money_high": high, "assumed": assumed,
        }  # fmt: skip

    def _money(self):
        why = self.why
        if why.decision.by != "margin":
            return
        usual = handbook.entry("money.unsure")
        usual = Span(usual.low, usual.high)
        amounts = [(("price", lot[0].name), lot[0].price) for lot in self.base.lots]
        amounts += [(("cost", n, whose), amount) for whose, n, amount in why.costs.told()]
        for names, amount in amounts:
            middle, spread = middle_of(amount), spread_of(amount)
            ends = [self._with_pay((names, way * ranges.reach(), usual.spread)) for way in (-1, 1)]
            reach = ranges.reach() * (spread or usual.spread)
            shown = middle * np.exp([-reach, reach])
            yield self._row(names[1:], names[0], shown, ends, not spread)

    def _with_pay(self, moved):
        why = self.why
        pay = pay_for(why.records, why.found, why.costs, why.seed, moved)
        pair = pair_of(pay, why.crops.seasons, why.weights, self.picks)
        return pair.mean(pair.gain())

    def _mean(self, values):
        """Return values by block (..., blocks, draws) in the mean of the changed blocks' crop."""
        return np.einsum("b,...bd->...d", self.weight, values)

    def _with_states(self, states):
        """Return the mean difference with other states, as far as they move it."""
        if self._unmoved is None:
            self._unmoved = self._of_states(self.states)
        moved = self._of_states(states) - self._unmoved
        return self.base.mean(self.base.gain()) + moved

    def _of_states(self, states):
        why, found = self.why, self.why.found
        drawn = plan_draws(
            found.estate, self.places, self.plans, draws=self.draws, seed=why.seed, losses=True,
            later_seasons=self.later, states=states,
        )  # fmt: skip
        crops = np.stack(drawn.tonnes_by_season()) * self.shares
        seasons = np.zeros((self.later + 1, 2, len(found.blocks), self.draws))
        seasons[:, :, self.here] = crops
        every = np.arange(len(found.blocks))
        pay = why.pay.of_draws(slice(self.draws))
        fixed = np.stack([pay.fixed[0], pay.fixed[self.picks, every]])
        two = (self.picks > 0).astype(int)
        pair = pair_of(replace(pay, fixed=fixed), seasons, why.weights, two)
        return pair.mean(pair.gain())

    def _moved(self, deltas):
        """Return the states with so much added to each component, (components, draws) [1]."""
        full = np.zeros((len(self.states.first), 1, deltas.shape[-1]))
        full[: len(deltas), 0] = deltas
        later = tuple(each + full for each in self.states.later)
        return replace(self.states, first=self.states.first + full, later=later)

    def _vines(self):
        for name in (*CROP, "noncount_shoots"):
            at = COMPONENTS.index(name)
            level = self._mean(self.lasting[at])
            if np.ptp(level) < 1e-9:
                continue
            low, _, high = ranges.quantiles(level)
            values = []
            for end in (low, high):
                deltas = np.zeros((len(COMPONENTS), len(level)))
                deltas[at] = end - level
                values.append(self._with_states(self._moved(deltas)))
            yield self._row((name,), "vines", np.exp([low, high]), values)

    def _answers(self):
        estate, states = self.why.found.estate, self.states
        normals = self._mean(estate.answers(states.first, states.responses))
        for name in ("burst", "fertility", "weight", "noncount"):
            at = RESPONSES.index(name)
            entry = handbook.entry(f"load.{name}.settled")
            low, _, high = ranges.quantiles(normals[at])
            values = []
            for end in (low, high):
                responses = states.responses.copy()
                responses[at] += end - normals[at]
                values.append(self._with_states(replace(states, responses=responses)))
            ends = entry.value + entry.spread * np.array([low, high])
            yield self._row((name,), "answer", ends, values)
        strength = self._mean(states.strength)
        low, _, high = ranges.quantiles(strength)
        values = [
            self._with_states(replace(states, strength=states.strength + end - strength))
            for end in (low, high)
        ]
        yield self._row(("nodes",), "answer", (low, high), values)

    def _season(self):
        crop = [COMPONENTS.index(name) for name in CROP]
        every = np.stack([self.states.first, *self.states.later])[:, crop]
        parts = self._mean(every - self.lasting[crop]).mean(0)
        level = parts.sum(0)
        about = level - level.mean()
        if np.ptp(level) < 1e-9:
            return
        # By how much each component goes with the whole; together they are 1.
        along = parts @ about / (about @ about)
        low, middle, high = ranges.quantiles(level)
        values = []
        for end in (low, high):
            deltas = np.zeros((len(COMPONENTS), len(level)))
            deltas[crop] = np.outer(along, end - level)
            values.append(self._with_states(self._moved(deltas)))
        yield self._row(("season",), "season", np.exp([low - middle, high - middle]), values)

    def _frost(self):
        pair, why = self.base, self.why
        seen = why._by_frost(pair, pair.gain())
        if seen is None:
            return
        without, with_frost, hit = seen
        low, _, high = ranges.quantiles(hit.mean(0))
        values = [
            float(pair.weights @ (without + share * (with_frost - without)))
            for share in (low, high)
        ]
        yield self._row(("frost",), "frost", (low, high), values)
