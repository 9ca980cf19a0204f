"""Seasons drawn from the model's own assumptions, counted stage by stage, with the truth kept."""

from dataclasses import dataclass, replace

import numpy as np
import simulated_estate as sim

from cropload.beliefs import ranges
from cropload.vine.growth import STAGES, exponents

#: What a crew has done by each point of the season; every point includes those before it.
POINTS = {
    "before any count": (),
    "shoots": ("shoots", "noncount_shoots"),
    "clusters": ("clusters",),
    "lag weights": ("weight_lag",),
}
COUNTED = 4
BLOCKS = 8
SEASONS = 4


@dataclass
class Season:
    """One estate's season: what grew, what was counted of it, and what last year was.

    crop [kg/vine], values (blocks, stages) as measured in logs, last_crop [kg/vine] and
    last_weight [g] of the season before.
    """

    crop: np.ndarray
    values: np.ndarray
    last_crop: np.ndarray
    last_weight: np.ndarray


def one_estate(rng):
    """Draw an estate with its history, and learn the spreads from it."""
    seen, truth = sim.simulate(rng, [SEASONS] * BLOCKS)
    return seen, truth, sim.ground_of(seen).learn()


def one_season(rng, seen, truth):
    """Draw the season that the truth allows next, and count all of it with error."""
    x, loads, early = sim.components(rng, truth, seen.variety, 1), truth.loads, seen.lag[:, -1:]
    state, e = sim.next_state(loads), exponents(truth.normals)
    logs = sim.stages_of(x, loads.now[:, None], state, e, truth.growth, early)[:, 0]
    values = logs + sim.ERROR * rng.standard_normal(logs.shape)
    values[:, STAGES.index("weight_lag")] += sim.GROWTH.value * early[:, 0]
    crop = np.exp(logs[:, STAGES.index("harvest")])
    last = np.exp(seen.values[:, -2])
    return Season(
        crop, values, last[:, STAGES.index("harvest")], last[:, STAGES.index("weight_harvest")]
    )


def forecasts(seen, learned, season, draws, seed):
    """Yield the drawn crop [kg/vine] at each point of the season, (blocks, draws)."""
    values, precision = seen.values.copy(), seen.precision.copy()
    for stages in POINTS.values():
        for stage in stages:
            at = STAGES.index(stage)
            values[:COUNTED, -1, at] = season.values[:COUNTED, at]
            precision[:COUNTED, -1, at] = 1 / sim.ERROR[at] ** 2
        counted = replace(seen, values=values, precision=precision)
        yield sim.predicted_crops(sim.believe(counted, learned), [1.0], draws, seed)[0]


def run(estates, seasons, seed, draws=600):
    """Return what happened in many seasons.

    Returns
    -------
    inside : ndarray, shape (estates, points, 3)
        Share of truths inside the range: counted blocks, uncounted blocks, the total [1].
    errors : dict
        Name -> absolute errors of the log crop [1] of counted blocks, shape (points or nothing,
        all seasons x blocks); ``uncounted`` and ``total`` likewise.
    """
    rng = np.random.default_rng(seed)
    inside = np.zeros((estates, len(POINTS), 3))
    ours, uncounted, total = ([[] for _ in POINTS] for _ in range(3))
    last_year, count_times_weight = [], []
    for n in range(estates):
        seen, truth, learned = one_estate(rng)
        for again in range(seasons):
            season = one_season(rng, seen, truth)
            stream = seed + n * seasons + again
            points = forecasts(seen, learned, season, draws, stream)
            for p, crop in enumerate(points):
                low, middle, high = ranges.quantiles(crop)
                hit = (season.crop >= low) & (season.crop <= high)
                ends = ranges.quantiles(crop.sum(0))
                inside[n, p] += (
                    hit[:COUNTED].mean(),
                    hit[COUNTED:].mean(),
                    ends[0] <= season.crop.sum() <= ends[2],
                )
                miss = np.abs(np.log(middle / season.crop))
                ours[p].append(miss[:COUNTED])
                uncounted[p].append(miss[COUNTED:])
                total[p].append([abs(np.log(ends[1] / season.crop.sum()))])
            last_year.append(np.abs(np.log(season.last_crop / season.crop))[:COUNTED])
            clusters = np.exp(season.values[:, STAGES.index("clusters")])
            guess = clusters * season.last_weight / 1000
            count_times_weight.append(np.abs(np.log(guess / season.crop))[:COUNTED])
    errors = {
        "counted": np.array([np.concatenate(part) for part in ours]),
        "uncounted": np.array([np.concatenate(part) for part in uncounted]),
        "total": np.array([np.concatenate(part) for part in total]),
        "last year": np.concatenate(last_year),
        "count x last weight": np.concatenate(count_times_weight),
    }
    return inside / seasons, errors
