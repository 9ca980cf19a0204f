"""Two blocks and two plans whose money can be worked out by hand, for tests of the decision."""

from types import SimpleNamespace

import numpy as np
from owner_cases import one_price

from cropload.owner.costs import Costs
from cropload.owner.decision import Harvests, decide
from cropload.owner.mix import Limits
from cropload.owner.money import Contract, Pay
from cropload.owner.why import Why
from cropload.vine.bands import Band

DENSITY, BALANCE = Band(12.0, 15.0, "density"), Band(4.0, 10.0, "balance")
BANDS = {"A": (DENSITY, BALANCE), "B": (DENSITY, BALANCE)}
INSIDE = {
    "shoots_per_m_p50": 13.0,
    "ravaz_settled_p50": 7.0,
    "places_short_5_winters": 1.0,
    "frost_mean_share_p50": float("nan"),
}
PLANS = {"today": {"A": "2x10", "B": "2x10"}, "longer": {"A": "2x12", "B": "2x12"}}


def row(block="A", **figures):
    plan = figures.pop("plan", "2x10")
    return (
        INSIDE | {"block": block, "area_ha": 1.0 if block == "A" else 3.0, "plan": plan} | figures
    )


def by_hand(**more):
    """Return the decision of `hand_case`."""
    return hand_case(**more).decision


def hand_case(
    longer=None, limits=None, discount=0.25, plans=PLANS, minutes=(0.0, 0.0), times=1, above=None
):
    """Return what a decision hangs on, on ten draws (each so many times), the last a bad one.

    Block A (1 ha) bears 10 t, and with longer wood 12, 11.5 and from the third season on 11 t, in
    the bad draw 9 t; B (3 ha) 20 t, and 21 t with longer wood, in the bad draw 16 t. A tonne earns
    1000 and its picking costs 100; a season costs 1000 in A and 3000 in B, with longer wood 200
    and 1000 more. In a bad draw the spring takes half. ``above``: the price beyond 30 t.
    """
    seasons = np.zeros((5, 2, 2, 10))
    seasons[:, 0, 0], seasons[:, 0, 1] = 10, 20
    seasons[:, 1, 0] = np.array([12, 11.5, 11, 11, 11])[:, None]
    seasons[:, 1, 1] = 21
    seasons[:, 1, 0, 9], seasons[:, 1, 1, 9] = 9, 16
    seasons = np.repeat(seasons, times, axis=-1)
    terms = one_price(1000.0) if above is None else one_price(1000.0, 30.0, above)
    pay = Pay(
        (Contract("all", ("A", "B"), terms, 1000.0),),
        (np.array([0, 1]),),
        np.array([[1000.0, 3000.0], [1200.0, 4000.0]])[..., None],
        np.full((2, 1), 100.0),
        np.array([1000.0, 3000.0]) * (minutes[0] + minutes[1] * np.array([[20.0], [24.0]])) / 60,
    )
    facts = SimpleNamespace(
        area_ha=np.array([1.0, 3.0]),
        bearing=np.array([1000.0, 3000.0]),
        varieties=("Riesling", "Pinot noir"),
    )
    found = SimpleNamespace(
        names=tuple(plans),
        blocks=("A", "B"),
        plans=plans,
        buds=np.array([[20.0, 20.0], [24.0, 24.0]]),
        drawn=SimpleNamespace(blocks=np.array([0, 1])),
        estate=SimpleNamespace(facts=facts),
    )
    rows = {(block, "today"): row(block) for block in "AB"}
    rows |= {(block, "longer"): row(block, plan="2x12", **(longer or {})) for block in "AB"}
    crops = Harvests(seasons, seasons[2])
    decision = decide(found, rows, BANDS, crops, pay, "margin", limits or Limits(), discount)
    left = np.where(np.arange(10) == 9, 0.5, 1.0).repeat(times) * np.ones((2, 2, 1))
    springs = SimpleNamespace(about={"loss": 0.3}, missing={}, shares=lambda *_: left)
    return Why(None, Costs(), 0, found, springs, crops, pay, decision)
