"""The joint update of an estate, written out densely: every block, season and response at once."""

import numpy as np

from cropload import handbook
from cropload.beliefs.spreads import estate_spread, prior_logs
from cropload.vine.growth import (
    COMPONENTS,
    OWN,
    RESPONSES,
    STAGES,
    LoadState,
    answer_strength,
    carried_load,
    load_lines,
    load_shift,
    settled_move,
    stage_rows,
    trend_line,
)
from cropload.vine.plan import PruningPlan
from cropload.vine.plan_shape import PlanShape, plan_shapes
from cropload.vine.young import crop_share, leaf, load_share, share_spread

K = len(COMPONENTS)
AT_CLUSTERS = COMPONENTS.index("clusters_per_shoot")
#: Stages that show that vines bore.
FRUIT = ("clusters", "weight_lag", "weight_veraison", "weight_harvest", "harvest")


def plan_logs(estate, block, seasons):
    """Return log buds of a block by season, and its plans' burst and fertility (3, seasons).

    A block has a plan in every season, or none at all and so the load taken for it.
    """
    at = estate.facts.place(block)
    if not any((block, season) in estate.plans for season in seasons):
        return np.array([[load] * len(seasons) for load in (estate.log_reference[at], 0.0, 0.0)])
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


def young_leaf(estate, block, season):
    """Return the leaf that the vines of a block are taken to be in; NaN for grown ones [1].

    The share is looked at in seasons in which they bore and in the season forecast; vines that bore
    before their third leaf are taken as in it.
    """
    age = float(leaf(season, estate.facts.year_planted[estate.facts.place(block)]))
    here = estate.measured[estate.measured["block"] == block]
    bore = ((here["season"] == season) & here["stage"].isin(FRUIT)).any()
    if bore:
        return max(age, 3.0) if age >= 1 else np.nan
    return age if season == estate.season else np.nan


def young_logs(estate, block, seasons):
    """Return logs of the load usual at the vines' age, and of a bud's clusters, by season [1]."""
    leaves = np.array([young_leaf(estate, block, season) for season in seasons])
    planted = estate.facts.year_planted[estate.facts.place(block)]
    # The load of a young season is that of its age also where nothing was measured.
    acts = np.where(np.isnan(leaves), leaf(np.array(seasons), planted), leaves)
    load = np.log(load_share(acts))
    return load, np.where(np.isnan(leaves), 0.0, np.log(crop_share(leaves)) - load)


def prior_centres(estate):
    """Return the prior means and spreads of the blocks, told at each one's usual load."""
    facts = estate.facts
    means, spreads, _ = zip(*(prior_logs(v) for v in facts.varieties), strict=True)
    told_at = np.log(handbook.value("load.reference_buds_per_m") * facts.canopy_length_m)
    moves = [settled_move(load) for load in estate.log_reference - told_at]
    return np.array(means) + moves, np.array(spreads)


def lag_weight(records, row):
    """Return what a lag-phase weight is moved by, its variance, and its response [1].

    Days are those since flowering of the block, or of its variety, or of any block that season;
    weights after the lag phase are taken as of its day.
    """
    growth = handbook.entry("lag_phase.growth_a_day")
    dates = records.dates[records.dates["season"] == row.season]
    variety = records.blocks.set_index("block")["variety"]
    for bloomed in (
        dates[dates["block"] == row.block],
        dates[dates["block"].map(variety) == variety[row.block]],
        dates,
    ):
        if len(bloomed):
            days = (row.date - bloomed["date"].mean()).days
            early = min(days - handbook.value("lag_phase.day"), 0.0)
            return growth.value * early, 0.0, growth.spread * early
    return 0.0, (growth.value * handbook.value("lag_phase.day_unknown")) ** 2, 0.0


def dense_posterior(forecast, records):
    """Return mean and covariance of all blocks' states in the season, then the responses.

    What a block has of its own stands after its components: its answer to the load, its trend
    and a load that nobody wrote down; after the load responses, the estate's trend and what a day
    of the lag phase is worth. The spreads of all of these are those that the estate plugged in. A
    trend turns about the middle of the seasons measured, a block's own and the estate's.
    """
    estate = forecast.estate
    facts, measured, own = estate.facts, estate.measured, estate.own
    seasons = sorted({s for _, s in estate.plans if s <= estate.season})
    cells = [(b, t) for b in range(len(facts.names)) for t in range(len(seasons))]
    learned = estate.beliefs.learned
    sd = learned.spreads.sd
    centres, spreads = prior_centres(estate)
    blocks, last = len(facts.names), len(seasons) - 1
    size, responses = len(cells) * K, len(RESPONSES) + 2
    owned = size + len(OWN) * np.arange(blocks)
    after = size + len(OWN) * blocks

    past = measured[measured["season"] < estate.season][["block", "season"]].drop_duplicates()
    middle = past.groupby("block")["season"].mean()
    middle = middle.reindex(list(facts.names), fill_value=seasons[-1])
    middle_of_all = past["season"].drop_duplicates().mean()

    designs, values, noise, lines_of = [], [], [], {}
    for b, block in enumerate(facts.names):
        logs = plan_logs(estate, block, seasons)
        load, young = young_logs(estate, block, seasons)
        at_age = estate.log_reference[b] + load
        carried = np.where(load < 0, at_age, carried_load(logs[0] - load))
        for t in range(len(seasons)):
            state = LoadState(
                estate.log_reference[b : b + 1] + load[t],
                carried[t : t + 1],
                estate.log_clusters_reference[b : b + 1] + load[t],
                load[t : t + 1],
            )
            shape = PlanShape(logs[0][t : t + 1], logs[1][t : t + 1], logs[2][t : t + 1])
            chain = (estate.linearised_about[b : b + 1], shape, state)
            rows, offset = stage_rows(*chain)
            shift = load_shift(centres[b][None], shape, state)[0]
            unknown = load_lines(*chain, np.array([estate.open_load[b, t]]))[0]
            for stage in ("clusters", "harvest"):
                offset[0, STAGES.index(stage)] += young[t]
            lines_of[b, t] = rows[0], offset[0], shift, unknown * (not estate.load_known[b])
    for row in measured.itertuples():
        b, t = cell = (facts.place(row.block), seasons.index(row.season))
        rows, offset, shift, unknown = lines_of[cell]
        stage = STAGES.index(row.stage)
        value, variance = row.log_value - offset[stage], max(row.log_variance, 1e-8)
        line = np.zeros(after + responses)
        at = cells.index(cell) * K
        line[at : at + K] = rows[stage]
        trend = rows[stage] @ trend_line()
        answer = rows[stage] @ shift @ answer_strength()
        own_trend = trend * (row.season - middle[row.block])
        line[owned[b] : owned[b] + len(OWN)] = answer, own_trend, unknown[stage]
        line[after : after + len(RESPONSES)] = rows[stage] @ shift
        line[after + len(RESPONSES)] = trend * (row.season - middle_of_all) * own.estate_trend
        if row.stage == "weight_lag":
            moved, unsure, response = lag_weight(records, row)
            value, variance = value + moved, variance + unsure
            line[-1] = rows[stage, COMPONENTS.index("increase_factor")] * response
        designs.append(line)
        values.append(value)
        noise.append(variance)

    prior = np.eye(after + responses)
    spread_of_own = np.maximum(own.variances, 1e-8)
    prior[size:after, size:after] = np.diag(spread_of_own.ravel())
    now = np.arange(len(seasons))[:, None] == last
    wide = [np.where(now, learned.widen[group], 1) for group in range(4)]
    for i, (b, t) in enumerate(cells):
        for j, (c, u) in enumerate(cells):
            same = facts.varieties[b] == facts.varieties[c]
            variance = estate_spread() ** 2 + same * spreads[b] ** 2
            if b == c:
                variance = variance + (sd[0] * learned.widen[0]) ** 2
            if t == u:
                variance = variance + (sd[1] * wide[1][t]) ** 2
                variance = variance + same * (sd[2] * wide[2][t]) ** 2
                scatter = own.scatter[b] * (own.widen[b] ** 2 if t == last else 1)
                variance = variance + (b == c) * (sd[3] * wide[3][t]) ** 2 * scatter
                age = young_leaf(estate, facts.names[b], seasons[t])
                variance[AT_CLUSTERS] += (b == c) * float(share_spread(age)) ** 2
            prior[i * K : i * K + K, j * K : j * K + K] = np.diag(np.maximum(variance, 1e-12))
    mean = np.concatenate([*(centres[b] for b, _ in cells), np.zeros(after + responses - size)])
    design = np.array(designs)
    gain = np.linalg.solve(design @ prior @ design.T + np.diag(noise), design @ prior).T
    mean = mean + gain @ (np.array(values) - design @ mean)
    covariance = prior - gain @ design @ prior
    wanted = [
        places
        for b in range(blocks)
        for places in (
            np.arange(K) + cells.index((b, last)) * K,
            np.arange(len(OWN)) + owned[b],
        )
    ]
    wanted = np.concatenate([*wanted, after + np.arange(responses)])
    return mean[wanted], covariance[np.ix_(wanted, wanted)]
