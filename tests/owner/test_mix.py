"""The mix of plans, against every choice there is."""

import itertools

import numpy as np
import pytest
from owner_cases import mix_question

from cropload.errors import CroploadError
from cropload.owner.mix import Limits, Rule


class Choices:
    """Every choice there is, what it brings and its worst year, added up contract by contract."""

    def __init__(self, question):
        scenarios, blocks = question.allowed.shape
        self.picks = np.array(list(itertools.product(range(scenarios), repeat=blocks)))
        seasons = zip(question.weights, question.seasons, strict=True)
        self.value = sum(weight * self.left(question, crop).mean(1) for weight, crop in seasons)
        ordered = np.sort(self.left(question, question.settled), axis=1)
        self.worst = ordered[:, : question.settled.shape[-1] // 10].mean(1)

    def left(self, question, tonnes):
        """Return what is left of a season, (choices, draws)."""
        pay, blocks = question.pay, range(self.picks.shape[1])
        left = 0.0
        for contract, members in zip(pay.contracts, pay.members, strict=True):
            fruit = sum(tonnes[self.picks[:, b], b] for b in members)
            terms = contract.terms
            below = np.minimum(fruit, terms.most)
            left = left + terms.beyond * (fruit - below)
            left = left - terms.shortfall * np.maximum(terms.least - fruit, 0)
            before = 0.0
            for start, price in terms.steps:
                left = left + (price - before) * np.maximum(below - start, 0)
                before = price
        crop = sum(tonnes[self.picks[:, b], b] for b in blocks)
        fixed = sum(pay.fixed[self.picks[:, b], b] for b in blocks)
        return left - pay.per_t[0] * crop - fixed

    def keep(self, rules=(), worst_year=None):
        """Return which choices hold limits."""
        held = np.ones(len(self.picks), bool)
        for rule in rules:
            used = sum(rule.use[self.picks[:, b], b] for b in range(self.picks.shape[1]))
            held &= used <= rule.most
        return held if worst_year is None else held & (self.worst >= worst_year)

    def best(self, rules=(), worst_year=None):
        """Return the most that a choice within limits brings."""
        return self.value[self.keep(rules, worst_year)].max()


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("above", [500.0, 2500.0], ids=["less above the cap", "more above it"])
def test_eight_blocks_and_three_plans_against_every_choice(seed, above):
    question, rules = mix_question(blocks=8, plans=3, draws=30, seed=seed, above=above)
    every = Choices(question)
    assert question.best().value == pytest.approx(every.best(), rel=1e-9)
    within = every.keep(rules)
    usual = every.worst[within][every.value[within].argmax()]
    least = (usual + every.worst[within].max()) / 2
    mix = question.best(rules, least)
    assert mix.held
    assert mix.gap == pytest.approx(0, abs=1e-6)
    assert mix.value == pytest.approx(every.best(rules, least), rel=1e-9)
    [at] = np.flatnonzero((every.picks == mix.picks).all(1))
    assert every.keep(rules, least - 1e-6 * abs(least))[at]


def test_each_limit_costs_what_the_best_without_it_brings_more():
    question, rules = mix_question(blocks=6, plans=3, draws=30, seed=1)
    every, mix = Choices(question), question.best(rules)
    assert dict(mix.costs)
    for name, more in mix.costs:
        without = [rule for rule in rules if rule.name != name]
        assert mix.value + more == pytest.approx(every.best(without), rel=1e-9)


def test_a_worst_year_that_binds_gives_up_money_for_it():
    question, _ = mix_question(blocks=6, plans=3, draws=40, seed=2, risky=True)
    every = Choices(question)
    free = every.value.argmax()
    assert every.worst.max() > every.worst[free]
    least = (every.worst.max() + every.worst[free]) / 2
    mix = question.best((), least)
    assert mix.value == pytest.approx(every.best((), least), rel=1e-9)
    assert mix.value < every.value[free]
    assert mix.costs == (("worst year", pytest.approx(every.value[free] - mix.value)),)


def test_what_no_choice_keeps_is_named_and_today_stays():
    question, rules = mix_question(blocks=4, plans=2, draws=30, seed=0)
    never = Rule("hours", np.ones((2, 4)), 3.0)
    mix = question.best([*rules, never])
    assert not mix.held
    assert mix.picks.tolist() == [0] * 4
    assert [name for name, _ in mix.costs] == ["hours"]


def test_what_compiled_code_prints_is_kept_off_the_output(capfd):
    import ctypes

    from cropload.owner.mix import without_words

    with without_words():
        ctypes.CDLL(None).printf(b"a stray line\n")
    print("after")
    assert capfd.readouterr().out == "after\n"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"hours": -1}, "hours must be a number of 0 or more"),
        ({"ceilings": {"Riesling": float("nan")}}, "ceiling of Riesling must be a number"),
        ({"worst_year": "much"}, "worst_year must be a number"),
        ({"area_out": True}, "area_out must be a number"),
    ],
)
def test_limits_that_cannot_be_are_refused(given, told):
    with pytest.raises(CroploadError, match=told):
        Limits(**given)
