"""The worlds: each draws an estate in which something of its own goes on; none is our model.

A world takes a numpy Generator and returns a :class:`estates.Drawn`.  Every size is an assumption.
"""

import numpy as np
from worlds.estates import PLANS, draw_estate, write

MEASURED = ("before", "clusters", "lag")


def steady(rng):
    """Nothing but levels, seasons and chance; counted and weighed in every season."""
    estate = draw_estate(rng)
    estate.stages = MEASURED
    estate.answer_to_load()
    return write(estate)


def plan_change(rng):
    """Half of the blocks change plan, in the coming season or in the last three; a trend beside.

    The estate's trend is a fall or a rise of up to 4 % a year.
    """
    estate = draw_estate(rng, past=rng.integers(5, 11))
    blocks = len(estate.names)
    estate.stages = MEASURED
    estate.clusters += rng.uniform(-0.04, 0.04) * estate.time
    changes = rng.permutation(blocks) < blocks / 2
    turn = estate.past - rng.integers(0, 4, blocks) * (rng.random(blocks) < 0.5)
    for at in np.flatnonzero(changes):
        others = [plan for plan in PLANS if abs(np.log(PLANS[plan] / _buds_of(estate, at))) < 0.8]
        others = [plan for plan in others if plan != estate.plans[at, 0]]
        estate.plans[at, turn[at] :] = rng.choice(others)
        estate.group[at] = "changed"
    estate.answer_to_load()
    return write(estate)


def _buds_of(estate, at):
    return PLANS[str(estate.plans[at, 0])]


def heavy_tails(rng):
    """Seasons and blocks stray by Student's t of three degrees of freedom."""
    estate = draw_estate(rng, season_sd=0.13, residual_sd=0.13, tails=3)
    estate.answer_to_load()
    return write(estate)


def _drift(rng, noise):
    estate = draw_estate(
        rng, past=8, season_sd=noise * np.sqrt(0.3), residual_sd=noise * np.sqrt(0.7)
    )
    blocks = len(estate.names)
    falls = np.ones(blocks, bool) if rng.random() < 0.5 else rng.permutation(blocks) < 0.4 * blocks
    slope = -rng.uniform(0.05, 0.07, blocks) * falls
    estate.had[:] = True
    estate.clusters += slope[:, None] * (estate.time - estate.past / 2)
    estate.group[falls] = "falling"
    estate.answer_to_load()
    return write(estate)


def drift(rng):
    """The crop falls 5-7 % a year, in the whole estate or in 4 of 10 blocks; noise 0.15 (ln)."""
    return _drift(rng, 0.15)


def drift_noisy(rng):
    """The same under noise of 0.25 (ln)."""
    return _drift(rng, 0.25)


def volatile(rng):
    """One block among ten bears 1 to 7 t from season to season."""
    estate = draw_estate(rng, blocks=10, past=rng.integers(5, 11), residual_sd=0.16)
    odd = rng.integers(10)
    estate.had[:] = True
    estate.clusters[odd] += 0.5 * rng.standard_normal(estate.clusters.shape[1])
    estate.grams[odd] += 0.25 * rng.standard_normal(estate.clusters.shape[1])
    estate.group[odd] = "volatile"
    estate.answer_to_load()
    return write(estate)


def _loss(rng, marked):
    estate = draw_estate(rng, past=8)
    blocks = len(estate.names)
    prone = rng.permutation(blocks) < 0.4 * blocks
    chance = np.where(prone, rng.beta(7, 13, blocks), 0.02)
    estate.lost = rng.random(estate.lost.shape) < chance[:, None]
    estate.had[:] = True
    # Somebody has seen a crop of every block.
    bare = estate.lost[:, : estate.past].all(1)
    estate.lost[bare, 0] = False
    estate.group[prone] = "prone"
    estate.loss_marked = marked
    estate.past_counts = marked
    estate.answer_to_load()
    return write(estate)


def loss_unmarked(rng):
    """Four of ten blocks bear nothing in a third of the seasons; the book says 0 t and no more."""
    return _loss(rng, False)


def loss_marked(rng):
    """The same, with lost_pct 100 and with counts that are zero on every vine."""
    return _loss(rng, True)


def load_response(rng):
    """All go from 20 to 60 buds for the last five seasons; some bear 2.4 x the crop, others 1.1 x.

    The coming plan is 60 buds, for a fifth of the blocks 20 again.
    """
    estate = draw_estate(rng, past=9)
    blocks = len(estate.names)
    strong = rng.permutation(blocks) < 0.4 * blocks
    estate.had[:] = True
    estate.plans[:, :4], estate.plans[:, 4:] = "10x2", "6x10"
    back = rng.random(blocks) < 0.2
    estate.plans[back, estate.past :] = "10x2"
    times = np.where(strong, np.log(2.4), np.log(1.1))[:, None]
    estate.clusters += np.where(estate.plans == "6x10", times, 0.0)
    # Blocks of 20 buds that bear little: with 60 they come to an ordinary crop.
    estate.clusters -= times / 2
    estate.group = np.where(strong, "strong", "weak").astype("<U12")
    estate.group[back] = "back to 20"
    return write(estate)


def alternate(rng):
    """The estate bears much and little by turns, by a fifth to either side."""
    estate = draw_estate(rng, season_sd=0.10)
    turns = (-1.0) ** (estate.time + rng.integers(2))
    estate.clusters += 0.2 * turns
    estate.answer_to_load()
    return write(estate)


def low_counter(rng):
    """A counter finds 12 % too few clusters, in half of the blocks of a season or in all."""
    estate = draw_estate(rng, past=5)
    estate.stages = MEASURED
    low = rng.random(estate.clusters.shape) < rng.choice([0.5, 1.0])
    estate.counting[low] = np.log(0.88)
    estate.counters = np.where(low, "K2", "K1")
    estate.answer_to_load()
    return write(estate)


def lag_days(rng):
    """Lag weights 32 to 60 days after flowering; until day 52 clusters gain about 2 % a day."""
    estate = draw_estate(rng)
    estate.stages = MEASURED
    estate.flowering_known = True
    estate.lag_days = rng.integers(32, 61, estate.clusters.shape)
    estate.group = np.where(estate.lag_days[:, estate.past] < 44, "early", "late")
    slope = rng.normal(0.02, 0.003)
    estate.increase += slope * np.maximum(52 - estate.lag_days, 0)
    estate.answer_to_load()
    return write(estate)


def two_seasons(rng):
    """Two seasons are all there is."""
    estate = draw_estate(rng, past=2)
    estate.had[:] = True
    estate.answer_to_load()
    return write(estate)


def no_plan(rng):
    """Tonnes and clusters are on record, and never a plan; habits are kept.

    Estates differ by far more than elsewhere: small vines and large ones, short wood and hedges.
    """
    estate = draw_estate(rng)
    size = rng.uniform(-0.6, 0.6)
    estate.clusters += size
    estate.group[:] = "large" if size > 0 else "small"
    estate.stages = ("before", "clusters")
    estate.plans_known = False
    estate.answer_to_load()
    return write(estate)


#: Name -> generator, in the order of the table.
WORLDS = {
    made.__name__: made
    for made in (
        steady,
        plan_change,
        heavy_tails,
        drift,
        drift_noisy,
        volatile,
        loss_unmarked,
        loss_marked,
        load_response,
        alternate,
        low_counter,
        lag_days,
        two_seasons,
        no_plan,
    )
}
