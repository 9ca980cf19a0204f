"""Draws of what plans would give: plans x blocks x draws, season by season and once settled."""

from dataclasses import dataclass, replace

import numpy as np

from cropload import handbook
from cropload.beliefs.later_seasons import later_states
from cropload.beliefs.node_profiles import shape_of
from cropload.random_streams import stream
from cropload.vine.growth import COMPONENTS, Growth, exponents, grow
from cropload.vine.mean_vine import mean_growth, put_growth
from cropload.vine.plan import DividedPlan
from cropload.vine.plan_shape import PlanShape, plan_shapes

_CLUSTERS = COMPONENTS.index("clusters_per_shoot")
#: Seasons after the first one from which a crop counts as settled.
SETTLED_AFTER = 2


@dataclass(frozen=True, eq=False)
class PlanDraws:
    """What plans give in blocks, as draws common to all plans.

    ``first`` and ``settled`` hold arrays of shape (plans, blocks, draws): the coming season, and
    the same season had the vines long carried the plan, young vines being two years older.
    ``log_components`` are the draws they come from, (state, blocks, draws) [1]. ``kept`` says in
    which draws a crop is not lost, (blocks, draws); None where crops are told as if none is.
    ``later`` and ``kept_later`` are the same of the second season and on, each a season of its own.
    """

    plans: tuple
    blocks: np.ndarray
    canopy_length_m: np.ndarray
    bearing: np.ndarray
    area_ha: np.ndarray
    log_components: np.ndarray
    first: Growth
    settled: Growth
    kept: np.ndarray | None = None
    later: tuple = ()
    kept_later: tuple = ()

    def _growth(self, settled):
        return self.settled if settled else self.first

    def _picked(self, settled):
        picked = self._growth(settled).kg_picked
        return picked if self.kept is None else picked * self.kept

    def shoots_per_m(self):
        """Return shoots per metre of canopy, non-count shoots included [1/m]."""
        per_vine = self.first.shoots + self.first.noncount_shoots
        return per_vine / self.canopy_length_m[:, None]

    def tonnes(self, settled=False):
        """Return the crop of each block that reaches the scale [t]."""
        return self._picked(settled) * (self.bearing / 1000.0)[:, None]

    def tonnes_by_season(self):
        """Return the crop of each block in the first season and those after it [t], a list."""
        lots = zip(self.later, self.kept_later or [1.0] * len(self.later), strict=True)
        per_vine = [growth.kg_picked * kept for growth, kept in lots]
        return [self.tonnes(), *(each * (self.bearing / 1000.0)[:, None] for each in per_vine)]

    def t_ha(self, settled=False):
        """Return the crop per hectare of the block [t/ha]."""
        return self._picked(settled) * (self.bearing / 1000.0 / self.area_ha)[:, None]

    def ravaz(self, settled=False):
        """Return picked crop to the prunings of the wood grown in the same season [kg/kg]."""
        growth = self._growth(settled)
        return growth.kg_picked / (growth.pruning_weight_kg_per_m * self.canopy_length_m[:, None])


def _of_block(plans, at):
    """Return the plans of one block; each entry is a plan, or a sequence of one a block."""
    return [entry if hasattr(entry, "shares") else entry[at] for entry in plans]


def block_shapes(estate, plans, blocks):
    """Return the plans' shapes in each block, relative to its reference, (plans, blocks, 1).

    Each entry of ``plans`` is one plan for every block, or one plan a block.
    """
    profiles, known = estate.profiles, {}
    logs = np.empty((3, len(plans), len(blocks), 1))
    for at, block in enumerate(blocks):
        variety = estate.facts.varieties[block]
        for p, plan in enumerate(_of_block(plans, at)):
            logs[:, p, at, 0] = shape_of(plan, profiles[variety], known)
        logs[1, :, at] -= estate.reference[0, block]
        logs[2, :, at] -= estate.reference[1, block]
    return PlanShape(*logs)


def profile_strength(estate, blocks, draws, seed):
    """Return how strongly nodes differ, relative to the profile, (blocks, draws) [1].

    Notes
    -----
    1 is the profile as it stands, 0 none at all. A variety's own fertility counts narrow it: its
    spread shrinks with the shoots examined at a node.
    """
    spread = handbook.entry("profile.strength").spread
    prior = handbook.value("forecast.profile_weight")
    nodes = handbook.value("profile.strength_nodes")
    strength = {}
    for variety in {estate.facts.varieties[block] for block in blocks}:
        own = prior / (prior + estate.profile_shoots[variety] / nodes)
        normals = stream(seed, f"node profile {variety}").standard_normal(draws)
        strength[variety] = 1 + spread * np.sqrt(own) * normals
    return np.array([strength[estate.facts.varieties[block]] for block in blocks])


def _grown_older(estate, blocks, x, later=SETTLED_AFTER):
    """Return the components and log share of young vines so many seasons later."""
    young = estate.young
    _, share, variance = young.later(later)
    share, variance = share[blocks], variance[blocks]
    # What is not known of this leaf's share gives way to what is not known of the later one's.
    now, centre = young.variance[blocks], estate.centre()[blocks, _CLUSTERS]
    if (now != variance).any():
        whole = estate.spread(blocks)[:, _CLUSTERS] ** 2
        keep = np.sqrt((np.maximum(whole - now, 0.0) + variance) / whole)[:, None]
        x = x.copy()
        x[_CLUSTERS] = centre[:, None] + keep * (x[_CLUSTERS] - centre[:, None])
    return x, share[:, None] if share.any() else None


@dataclass(frozen=True, eq=False)
class States:
    """What is drawn of blocks before any plan is looked at.

    ``first`` and each of ``later``: their state in the coming season and those after it, (state,
    blocks, draws) in logs [1]; ``responses``: what all blocks share of the answers to the load,
    (responses, draws) in normals [1]; ``strength``: how strongly nodes differ, (blocks, draws) [1].
    """

    first: np.ndarray
    responses: np.ndarray
    strength: np.ndarray
    later: tuple = ()

    def of_block(self, at):
        """Return those of one block, by its place among these."""
        here = slice(at, at + 1)
        return States(
            self.first[:, here],
            self.responses,
            self.strength[here],
            tuple(each[:, here] for each in self.later),
        )


def states_of(estate, blocks, *, draws, seed, later_seasons=0):
    """Draw the States of some blocks; as in `plan_draws`."""
    first, responses = estate.draw(blocks, draws, seed)
    strength = profile_strength(estate, blocks, draws, seed)
    later = tuple(later_states(estate, blocks, draws, seed, later_seasons))
    return States(first, responses, strength, later)


def plan_draws(
    estate,
    blocks,
    plans,
    *,
    draws,
    seed,
    dead_buds=0.0,
    losses=False,
    later_seasons=0,
    states=None,
):
    """Draw what every plan would give in every block.

    Parameters
    ----------
    estate : Estate
        What was learnt from the records.
    blocks : sequence of int
        Places of the blocks.
    plans : sequence of plans, or of sequences of them
        PruningPlan or DividedPlan: each the same for every block, or one for each of the blocks.
    draws : int
        Draws [1].
    seed : int
        Seed [1].
    dead_buds : float
        Share of the buds left that winter has killed [1]; the vine answers to the live ones.
    losses : bool
        Whether crops are lost in some draws, as often as the records say; told as if none is
        otherwise.
    later_seasons : int
        Seasons after the first one to draw too, with the same plan each winter [1].
    states : States, optional
        Of these blocks, draws and seasons, changed or not, in the place of those drawn here.

    Returns
    -------
    PlanDraws

    Notes
    -----
    All plans are computed on the same draws, so the difference between two of them is not noise.
    The load exponents are drawn once for the estate: what is not known of them is not known of
    every block. Seasons at different loads have narrowed them.
    How much nodes differ along a cane is not known exactly either, so the step from long wood to
    spurs, and back, carries a spread of its own; it is nothing at the block's own way of pruning.
    A block in parts is its mean vine, draw by draw: each part moves from the block's own load.
    """
    blocks = np.asarray(blocks, int)
    if states is None:
        states = states_of(estate, blocks, draws=draws, seed=seed, later_seasons=later_seasons)
    x = states.first
    e = exponents(estate.answers(x, states.responses))
    shape = block_shapes(estate, plans, blocks)
    shape = replace(
        shape,
        log_buds=shape.log_buds + np.log1p(-dead_buds),
        log_burst=shape.log_burst * states.strength,
        log_fertility=shape.log_fertility * states.strength,
    )
    state, aged = estate.state(blocks, x), estate.state(blocks, x, SETTLED_AFTER)
    facts = estate.facts
    share = estate.young.share_of(blocks)
    older, later = (x, None) if share is None else _grown_older(estate, blocks, x)
    drawn = PlanDraws(
        plans=tuple(plans),
        blocks=blocks,
        canopy_length_m=facts.canopy_length_m[blocks],
        bearing=facts.bearing[blocks],
        area_ha=facts.area_ha[blocks],
        log_components=x,
        first=grow(x, shape, state, e, log_share=share),
        settled=grow(older, shape, aged.settled_at(shape.log_buds), e, log_share=later),
        kept=estate.loss.kept(facts.names, blocks, draws, seed) if losses else None,
        later=_later(estate, blocks, shape, e, share, states.later),
        kept_later=tuple(
            estate.loss.kept(facts.names, blocks, draws, seed, later)
            for later in range(1, later_seasons + 1)
        )
        if losses
        else (),
    )
    for at in range(len(blocks)):
        for p, plan in enumerate(_of_block(plans, at)):
            if isinstance(plan, DividedPlan):
                here = blocks[at : at + 1]
                apart = plan_draws(
                    estate, here, plan.plans, draws=draws, seed=seed, dead_buds=dead_buds,
                    states=states.of_block(at),
                )  # fmt: skip
                for whole, parts in zip(
                    (drawn.first, drawn.settled, *drawn.later),
                    (apart.first, apart.settled, *apart.later),
                    strict=True,
                ):
                    put_growth(whole, (p, at), mean_growth(parts, plan.shares))
    return drawn


def _later(estate, blocks, shape, e, share, states):
    """Return what grows in the seasons after the first one, a tuple of Growth.

    In the second season half of what was carried is the new load, from the third on all of it.
    """
    found = []
    for later, x in enumerate(states, 1):
        state = estate.state(blocks, x, later)
        new = shape.log_buds
        carried = new if later >= SETTLED_AFTER else (state.log_carried + new) / 2
        older, young = (x, None) if share is None else _grown_older(estate, blocks, x, later)
        found.append(grow(older, shape, state.settled_at(carried), e, log_share=young))
    return tuple(found)


def component(draws, name):
    """Return one component's draws, (blocks, draws) in its own unit."""
    return np.exp(draws.log_components[COMPONENTS.index(name)])


def bud_chance(estate, draws, plan, block):
    """Return the chance that a bud of relative burst 1 gives a shoot, (draws,) [1].

    Times a node's relative burst in the block's profile it is that node's own chance.
    """
    at = estate.facts.varieties[draws.blocks[block]]
    shape = plan_shapes([draws.plans[plan]], estate.profiles[at])
    per_bud = draws.first.shoots[plan, block] / draws.plans[plan].buds
    return per_bud / np.exp(shape.log_burst[0])
