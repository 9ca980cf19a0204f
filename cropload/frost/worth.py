"""What longer wood and a late final cut gain and cost over past springs, plan by plan."""

from dataclasses import replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.frost.words import CASE_WORDS
from cropload.vine.weather.settings import CASES


def wood_worth(replay):
    """Return what each plan brings beyond the first of its case, parted into its two causes.

    Parameters
    ----------
    replay : FrostReplay
        As from ``frost_cover`` [t/ha].

    Returns
    -------
    DataFrame
        plan, case; change of the mean crop over the springs, of it ``buds`` (its other crop in a
        year without frost) and ``kept`` (what frost leaves more of it), as ``_p10 _p50 _p90``
        [t/ha].

    Notes
    -----
    With crop c and share left s in each spring and draw, c s less c0 s0 is (c - c0) s0 plus
    c (s - s0); the two parts add up in every draw, and their middles nearly.
    Valid as ``frost_cover``.
    """
    first = {case: replay.cases.index(case) for case in dict.fromkeys(replay.cases)}
    left, free = replay.crop_left.mean(axis=1), replay.frost_free
    rows = []
    for at, (plan, case) in enumerate(zip(replay.plans, replay.cases, strict=True)):
        beside = first[case]
        buds = (free[at] - free[beside]) * left[beside]
        kept = free[at] * (left[at] - left[beside])
        parts = {"change": buds + kept, "buds": buds, "kept": kept}
        row = {"plan": plan, "case": case}
        for name, values in parts.items():
            row |= ranges.columns(name, values)
        rows.append(row)
    return pd.DataFrame(rows)


@arguments.check_arguments(
    replay=arguments.kind("FrostReplay"), price_t_ha=arguments.number(0, unit="t/ha")
)
def late_cut_worth(replay, price_t_ha=0.0):
    """Return what leaving the same wood upright until a late final cut gains and costs.

    Parameters
    ----------
    replay : FrostReplay
        As from ``frost_cover`` with both cases [t/ha].
    price_t_ha : float
        What the late cut costs in work or money every year, in crop of the same worth [t/ha].

    Returns
    -------
    DataFrame
        A row a plan: plan; ``kept`` from frost, ``cost`` in crop in a year as the record has them,
        ``net`` of both and of the price, as ``_p10 _p50 _p90`` [t/ha]; chance_pays, of a net
        above 0 [1]; break_even_p10 _p50 _p90, the yearly chance of a frost year above which it
        pays [1]; never and always, shares of the draws in which it pays at no or at any chance
        [1]; chance_low and chance_high of a frost year by the record [1].

    Raises
    ------
    CroploadError
        When the replay lacks one of the two cases, or for a price below 0.

    Notes
    -----
    A frost year is one in which the plan laid down loses more than ``replay.heavy_loss``.
    Valid for the climate of the record and a price that is the same every year.
    """
    count = len(replay.plans) // len(CASES)
    if replay.cases != tuple(np.repeat(CASES, count)):
        told = " and ".join(CASE_WORDS[case] for case in CASES)
        raise CroploadError(f"A late cut is weighed with wood {told}: replay both cases.")
    late = np.array([case != CASES[0] for case in replay.cases])
    charged = replace(
        replay,
        crop=replay.crop - price_t_ha * late[:, None, None],
        frost_free=replay.frost_free - price_t_ha * late[:, None],
    )
    left = replay.crop_left.mean(axis=1)
    rows = []
    for at in range(count):
        then = at + count
        gain = (replay.crop[then] - replay.crop[at]).mean(axis=0)
        kept = replay.frost_free[at] * (left[then] - left[at])
        net = gain - price_t_ha
        even = charged.break_even(at).iloc[then]
        rows.append(
            {
                "plan": replay.plans[at],
                **ranges.columns("kept", kept),
                **ranges.columns("cost", kept - gain),
                **ranges.columns("net", net),
                "chance_pays": float((net > 0).mean()),
                **{f"break_even_{end}": even[f"chance_{end}"] for end in ranges.ENDINGS},
                "never": even["never"],
                "always": even["always"],
                **{name: replay.frame[name][at] for name in ("chance_low", "chance_high")},
            }
        )
    return pd.DataFrame(rows)
