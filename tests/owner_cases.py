"""Scenarios of a small invented estate, with prices and awkward names, for tests of the report."""

import datetime

import numpy as np
import pandas as pd
from helpers import block_row
from season_records import block_rows, small_estate

from cropload.owner.costs import Costs
from cropload.owner.mix import Question, Rule
from cropload.owner.money import Contract, Pay
from cropload.owner.report import report
from cropload.owner.scenarios import compare_scenarios
from cropload.winery.contracts import Terms

DAY = datetime.date(2026, 1, 15)
SCRIPT, FORMULA, EMOJI = "<script>alert(1)</script>", "=1+1", "Grape 🍇 hill"
COSTS = Costs(pruning_per_vine=0.5, pruning_per_bud=0.01, picking_per_t=100)


def prices(price=1000, **more):
    return [
        {"variety": variety, "price_per_t": price, "currency": "EUR"} | more
        for variety in ("Riesling", "Pinot noir")
    ]


def odd_estate():
    """Return records whose blocks are named to break a page or a spreadsheet."""
    rows = [block_row(name, "Riesling") for name in (SCRIPT, FORMULA, EMOJI)]
    return small_estate(blocks=[*block_rows(), *rows], prices=prices())


def weather(seasons=range(2012, 2026)):
    """Return a made-up station: cold nights in April of every third year."""
    days = pd.date_range(f"{min(seasons)}-01-01", f"{max(seasons)}-12-31")
    low = 4.0 + 9.0 * ((days.day_of_year - 15) / 182.5 - 1).map(lambda x: 1 - abs(x))
    cold = (days.month == 4) & (days.day > 20) & (days.year % 3 == 0)
    tmin = low.where(~cold, -3.5)
    return [
        {"station": "Hill", "date": day, "tmin_c": float(lo), "tmax_c": float(hi)}
        for day, lo, hi in zip(days, tmin, low + 11.0, strict=True)
    ]


def scenarios(blocks=("Alder", "Fir"), plans=("2x10+2x2", "2x12+2x2", "2x8+2x2")):
    names = ("today", "longer", "shorter", "four", "five")
    return {name: dict.fromkeys(blocks, plan) for name, plan in zip(names, plans, strict=False)}


def compared(records=None, given=None, **more):
    records = small_estate(prices=prices()) if records is None else records
    more = {"draws": 400, "costs": COSTS} | more
    return compare_scenarios(records, scenarios() if given is None else given, 2026, **more)


def reported(records=None, given=None, units="metric", **more):
    records = small_estate(prices=prices()) if records is None else records
    return report(records, compared(records, given, **more), units, DAY)


def one_price(price, most=np.inf, beyond=0.0):
    """Return the terms of a contract of one price, and another beyond the most it takes."""
    return Terms(0.0, most, np.inf, ((0.0, price),), beyond)


def mix_question(blocks, plans, draws, seed, above=500.0, risky=False, seasons=5):
    """Return an invented question of which plan to give each block, and two limits.

    Blocks rise and fall together from year to year, some years bring frost, and two of three
    contracts have a cap; ``risky`` plans bring more, and lose more in a frost.
    """
    rng = np.random.default_rng(seed)
    area = rng.uniform(0.2, 3, blocks)
    shape = (seasons + 1, plans, blocks, draws)
    effect = 1 + np.concatenate([np.zeros((1, blocks)), rng.normal(0.05, 0.1, (plans - 1, blocks))])
    if risky:
        effect = 1 + 0.15 * np.arange(plans)[:, None] * rng.uniform(0.5, 1, blocks)
    year = rng.normal(0, 0.2, (seasons + 1, 1, 1, draws))
    logs = year + rng.normal(0, 0.15, (seasons + 1, 1, blocks, draws)) + rng.normal(0, 0.05, shape)
    tonnes = 8 * np.exp(logs) * (area * effect)[..., None]
    left = 0.4 / (effect**6 if risky else 1)
    frost = rng.random((seasons + 1, 1, 1, draws)) < 0.15
    tonnes = np.where(frost, tonnes * np.broadcast_to(left, effect.shape)[..., None], tonnes)
    members = [np.arange(at, blocks, 3) for at in range(min(3, blocks))]
    full = [1.05 * tonnes[0, 0, each].sum(0).mean() for each in members]
    terms = (
        one_price(1500.0, full[0], above),
        one_price(2000.0),
        # A second price from half of it on, and something owed for what is missing of the least.
        Terms(
            0.9 * full[-1],
            full[-1],
            np.inf,
            ((0.0, 1200.0), (0.5 * full[-1], 1000.0)),
            300.0,
            400.0,
        ),
    )
    contracts = (Contract(str(at), (), each) for at, each in enumerate(terms[: len(members)]))
    fixed = (area * 1500 * (0.95 + 0.1 * effect))[..., None]
    per_t = np.full((blocks, 1), 150.0)
    pay = Pay(tuple(contracts), tuple(members), fixed, per_t, np.zeros((plans, blocks)))
    weights = 0.96 ** np.arange(seasons)
    allowed = np.ones((plans, blocks), bool)
    question = Question(pay, tonnes[:seasons], weights, tonnes[seasons], allowed)
    nearer = np.concatenate([np.zeros((1, blocks)), rng.integers(-1, 2, (plans - 1, blocks))])
    hours = 60 * area * (0.8 + 0.2 * effect)
    rules = [
        Rule("density", nearer * area, 0.05 * area.sum()),
        Rule("hours", hours, 1.005 * hours[0].sum()),
    ]
    return question, rules
