"""Scenarios of a small invented estate, with prices and awkward names, for tests of the report."""

import datetime

import pandas as pd
from helpers import block_row
from season_records import block_rows, small_estate

from cropload.owner.money import Costs
from cropload.owner.report import report
from cropload.owner.scenarios import compare_scenarios

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
