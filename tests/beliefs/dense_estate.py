"""The joint update of an estate, written out densely: every block, season and response at once."""

import numpy as np

from cropload.beliefs.spreads import prior_logs
from cropload.vine.growth import (
    COMPONENTS,
    RESPONSES,
    STAGES,
    LoadState,
    carried_load,
    load_shift,
    stage_rows,
)
from cropload.vine.plan import PruningPlan
from cropload.vine.plan_shape import PlanShape, plan_shapes

K = len(COMPONENTS)


def plan_logs(estate, block, seasons):
    """Return log buds of a block by season, and its plans' burst and fertility (3, seasons)."""
    at = estate.facts.place(block)
    profile = estate.profiles[estate.facts.varieties[at]]
    plans = [PruningPlan.parse(estate.plans[block, season]) for season in seasons]
    shape = plan_shapes(plans, profile)
    return np.array(
        [
            shape.log_buds,
            shape.log_burst - estate.reference[0, at],
            shape.log_fertility - estate.reference[1, at],
        ]
    )


def dense_posterior(forecast):
    """Return mean and covariance of all blocks' components in the season, then the responses.

    Every block must have a plan in every season of the records.
    """
    estate = forecast.estate
    facts, measured = estate.facts, estate.measured
    seasons = sorted({s for _, s in estate.plans if s <= estate.season})
    cells = [(b, t) for b in range(len(facts.names)) for t in range(len(seasons))]
    learned = estate.beliefs.learned
    sd = learned.spreads.sd
    centres, spreads, _ = zip(*(prior_logs(v) for v in facts.varieties), strict=True)

    designs, values, noise, rows_of, shift_of = [], [], [], {}, {}
    for b, block in enumerate(facts.names):
        logs = plan_logs(estate, block, seasons)
        carried = carried_load(logs[0])
        for t in range(len(seasons)):
            state = LoadState(
                estate.log_reference[b : b + 1],
                carried[t : t + 1],
                estate.log_clusters_reference[b : b + 1],
            )
            shape = PlanShape(logs[0][t : t + 1], logs[1][t : t + 1], logs[2][t : t + 1])
            chain = (estate.linearised_about[b : b + 1], shape, state)
            rows, offset = stage_rows(*chain)
            rows_of[b, t], shift_of[b, t] = (
                (rows[0], offset[0]),
                load_shift(centres[b][None], shape, state)[0],
            )
    size = len(cells) * K
    for row in measured.itertuples():
        cell = (facts.place(row.block), seasons.index(row.season))
        rows, offset = rows_of[cell]
        stage = STAGES.index(row.stage)
        line = np.zeros(size + len(RESPONSES))
        at = cells.index(cell) * K
        line[at : at + K] = rows[stage]
        line[size:] = rows[stage] @ shift_of[cell]
        designs.append(line)
        values.append(row.log_value - offset[stage])
        noise.append(max(row.log_variance, 1e-8))

    prior = np.zeros((size + len(RESPONSES),) * 2)
    prior[size:, size:] = np.eye(len(RESPONSES))
    last = len(seasons) - 1
    now = np.arange(len(seasons))[:, None] == last
    wide = [np.where(now, learned.widen[group], 1) for group in range(4)]
    for i, (b, t) in enumerate(cells):
        for j, (c, u) in enumerate(cells):
            same = facts.varieties[b] == facts.varieties[c]
            variance = np.zeros(K)
            if same:
                variance = variance + spreads[b] ** 2
            if b == c:
                variance = variance + (sd[0] * learned.widen[0]) ** 2
            if t == u:
                variance = variance + (sd[1] * wide[1][t]) ** 2
                variance = variance + same * (sd[2] * wide[2][t]) ** 2
                variance = variance + (b == c) * (sd[3] * wide[3][t]) ** 2
            prior[i * K : i * K + K, j * K : j * K + K] = np.diag(variance)
    mean = np.concatenate([*(centres[b] for b, _ in cells), np.zeros(len(RESPONSES))])
    design = np.array(designs)
    gain = np.linalg.solve(design @ prior @ design.T + np.diag(noise), design @ prior).T
    mean = mean + gain @ (np.array(values) - design @ mean)
    covariance = prior - gain @ design @ prior
    wanted = np.concatenate(
        [
            *(np.arange(K) + cells.index((b, last)) * K for b in range(len(facts.names))),
            size + np.arange(len(RESPONSES)),
        ]
    )
    return mean[wanted], covariance[np.ix_(wanted, wanted)]
