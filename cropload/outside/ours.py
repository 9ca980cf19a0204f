"""What is computed here for more than one source: ranges before any record, answers, errors."""

import functools
import math
from dataclasses import replace

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs import ranges
from cropload.beliefs.forecast import forecast
from cropload.pruning.compare import compare_plans
from cropload.records.example import example_records
from cropload.records.tables import TABLES
from cropload.vine.growth import COMPONENTS, RESPONSES, LoadState, exponents, grow
from cropload.vine.plan_shape import PlanShape

#: Half of the range in standard deviations, and mean size of an error over one.
REACH, SIZE = ranges.reach(), math.sqrt(2 / math.pi)
#: Days on which the sample estate's season of 2026 is forecast.
DAYS = {
    "winter": "2026-02-01",
    "clusters": "2026-07-31",
    "lag": "2026-08-18",
    "veraison": "2026-09-10",
}
DRAWS = 2000


def about(value, spread):
    """Return the 80 % range of a figure with a spread on the log scale."""
    return value * math.exp(-REACH * spread), value * math.exp(REACH * spread)


@functools.cache
def first_number(variety, row_m, vine_m, plan, training="cane"):
    """Return the first row of a comparison for a block without any record of its own."""
    known = example_records()
    tables = {name: getattr(known, name).iloc[:0] for name in TABLES}
    row = dict.fromkeys(known.blocks.columns)
    row |= {"block": "Block", "variety": variety, "training": training, "vines": 1000}
    row |= {"row_spacing_m": row_m, "vine_spacing_m": vine_m, "missing_pct": 0.0, "canopies": 1}
    row["area_ha"] = 1000 * row_m * vine_m / 10_000
    blocks = pd.DataFrame([row]).astype(known.blocks.dtypes.to_dict(), errors="ignore")
    records = replace(known, **(tables | {"blocks": blocks}))
    found = compare_plans(records, "Block", plan, 2027, reference_plan=plan, draws=DRAWS)
    return found.frame.iloc[0]


def settled_range(row, name):
    """Return both ends of the settled range of a column of ``first_number``."""
    return float(row[f"{name}_p10"]), float(row[f"{name}_p90"])


@functools.cache
def answer(times, seasons=0.0):
    """Return the draws of a load made ``times`` as large against the old one, as ratios.

    ``seasons`` is the share of the way to a settled vine: 0 in the first, 1 from the third on.

    Returns
    -------
    dict
        clusters, weight, crop, prunings: arrays [1], before any record of a block.
    """
    e = exponents(np.random.default_rng(1).standard_normal((len(RESPONSES), 4 * DRAWS)))
    x = np.log([handbook.value(f"prior.{name}") for name in COMPONENTS])[:, None]
    old = math.log(24.0)
    clusters = old + x[COMPONENTS.index("shoots_per_bud")]
    clusters = clusters + x[COMPONENTS.index("clusters_per_shoot")]
    carried = old + seasons * math.log(times)
    new = grow(x, PlanShape(old + math.log(times), 0.0, 0.0), LoadState(old, carried, clusters), e)
    was = grow(x, PlanShape(old, 0.0, 0.0), LoadState(old, old, clusters), e)
    return {
        "clusters": np.exp(new.log_clusters - was.log_clusters),
        "weight": np.exp(new.log_cluster_weight_g - was.log_cluster_weight_g),
        "crop": np.exp(new.log_kg_picked - was.log_kg_picked),
        "prunings": np.exp(new.log_pruning_weight_kg_per_m - was.log_pruning_weight_kg_per_m),
    }


def ends(draws):
    """Return both ends of the range of draws."""
    low, _, high = ranges.quantiles(np.asarray(draws))
    return float(low), float(high)


def goes(draws):
    """Return whether draws of a ratio go up or down by their middle: ``more`` or ``less``."""
    return "more" if np.median(draws) > 1 else "less"


def thinned(left):
    """Return the range of the crop when a share of the clusters is left, relative [1]."""
    entry = handbook.entry("thin.weight_response")
    powers = (1 + entry.value - REACH * entry.spread, 1 + entry.value + REACH * entry.spread)
    return tuple(sorted(left**power for power in powers))


@functools.cache
def _forecast(stage):
    return forecast(example_records(), 2026, DAYS[stage], draws=DRAWS)


@functools.cache
def errors():
    """Return {stage: (estate, block)}: how far a forecast of the sample estate may be out.

    Standard deviations of the log of the crop: of the estate's total, and the mean of its blocks.
    """
    found = {}
    for stage in DAYS:
        made = _forecast(stage)
        tonnes = made.draws[(made.draws > 0).all(axis=1)]
        found[stage] = tuple(
            float(np.std(np.log(part), axis=-1).mean()) for part in (tonnes.sum(0), tonnes)
        )
    return found


@functools.cache
def weight_errors():
    """Return the mean error of a block's cluster weight at lag and at veraison [1]."""
    return tuple(
        float(_forecast(stage).growth.log_cluster_weight_g.std(-1).mean())
        for stage in ("veraison", "lag")
    )


def error(stage, share=1.0):
    """Return our errors at a stage in percent, of the estate and of a block."""
    return tuple(100 * share * each for each in errors()[stage])


@functools.cache
def variances(groups, buds=True):
    """Return the variance of log clusters per vine and of log cluster weight between parts."""

    def total(name):
        return sum(handbook.value(f"sd.{name}.{group}") ** 2 for group in groups)

    names = ("shoots_per_bud", "clusters_per_shoot", *("buds_left",) * buds)
    return sum(total(name) for name in names), total("cluster_weight_g")


BLOCK, SEASON = ("block",), ("season", "variety_season", "residual")


def span(deviation, least, most):
    """Return the largest over the smallest of so many normal logs: fewest low, most high end.

    Notes
    -----
    Ends of the range of the span of normal samples, drawn once.
    """
    rng = np.random.default_rng(1932)
    tell = [np.ptp(rng.standard_normal((3000, n)), axis=1) for n in (least, most)]
    return math.exp(ends(tell[0])[0] * deviation), math.exp(ends(tell[1])[1] * deviation)
