"""The rows of what was learned: each figure before and after, in words, with its entry."""

import numpy as np

from cropload import handbook
from cropload.forecasting import ranges
from cropload.forecasting.origins import WORDS
from cropload.forecasting.priors import prior_logs
from cropload.records.learned import COMPONENTS as LEARNABLE
from cropload.records.learned import LEAST_SPREAD, Entry
from cropload.records.learned_entries import LOAD_RANGE
from cropload.vine.growth import COMPONENTS, STAGES
from cropload.vine.load_response import RESPONSES

#: Columns of the table of lessons.
COLUMNS = (
    "key",
    "topic",
    "words",
    "of",
    "seasons",
    *(f"{when}{end}" for when in ("before", "after") for end in ("_low", "", "_high")),
    "unit",
    "moved",
    "said",
)

#: What must be measured in a season for it to speak of a component.
NEEDS = {
    "counting_bias": {"clusters", "weight_harvest", "harvest"},
    "increase_factor": {"weight_lag", "weight_harvest"},
    "ripening_factor": {"weight_veraison", "weight_harvest"},
    "recovery": {"clusters", "weight_harvest", "harvest"},
}
#: Load response -> what must be measured on a changed load.
LOAD_NEEDS = {
    "burst": "shoots",
    "fertility": "clusters",
    "weight": "weight_harvest",
    "noncount": "noncount_shoots",
    "pruning": "pruning_weight",
}
#: Spread after / before below which a figure is known better [1].
_BETTER = 0.8
LOAD_WORDS = {
    "burst": "shoots per bud on buds per vine",
    "fertility": "clusters per shoot on buds per vine",
    "weight": "cluster weight on clusters per vine",
    "noncount": "non-count shoots on buds per vine",
    "pruning": "pruning weight on buds per vine",
}


def said(moved, seasons, narrower):
    """Return in words what a lesson is worth; ``narrower`` is its spread after / before [1]."""
    if moved:
        return "moved" if seasons > 1 else "moved, on one season alone"
    return "as before, known better" if narrower < _BETTER else "as before"


def _row(entry, words, of, before, after, figure=np.exp):
    """Return a row of the table, its entry beside it.

    ``before`` and ``after`` are (middle, spread) pairs on the scale that ``figure`` takes to the
    figure shown.
    """
    from scipy.special import ndtri

    z, row = float(ndtri((1 + ranges.level()) / 2)), {}
    for name, (middle, spread) in (("before", before), ("after", after)):
        low, centre, high = figure(middle + np.array([-z, 0.0, z]) * spread)
        row |= {f"{name}_low": low, name: centre, f"{name}_high": high}
    moved = bool(not row["after_low"] <= row["before"] <= row["after_high"])
    narrower = after[1] / before[1]
    head = {"key": entry.key, "topic": entry.topic, "words": words, "of": of}
    head |= {"seasons": entry.seasons}
    tail = {"unit": "1", "moved": moved, "said": said(moved, entry.seasons, narrower)}
    return head | row | tail | {"entry": entry}


def _entry(topic, name, value, spread, through, seasons, variety=""):
    return Entry(
        topic=topic,
        name=name,
        variety=variety,
        value=float(value),
        spread=max(float(spread), LEAST_SPREAD),
        through=through,
        seasons=int(seasons),
    )


def component_rows(estate, used, through):
    """Yield a row for each variety and component of which some season speaks.

    Parameters
    ----------
    estate : Estate
        As believed from the seasons up to one, nothing accepted.
    used : Accepted
        What was in use before.
    through : int
        That season.
    """
    posterior = estate.beliefs.posterior
    measured = estate.measured.groupby(["block", "season"])["stage"].agg(set)
    facts = estate.facts
    variety_of = dict(zip(facts.names, facts.varieties, strict=True))
    for at, variety in enumerate(dict.fromkeys(facts.varieties)):
        local = posterior.shared.places(at)[: len(COMPONENTS)]
        mean, root = posterior.mean[local], posterior.root[local]
        prior_mean, prior_spread, _ = prior_logs(variety)
        for name, (low, high) in LEARNABLE.items():
            seasons = {
                int(season)
                for (block, season), stages in measured.items()
                if variety_of[block] == variety and NEEDS[name] <= stages
            }
            if not seasons:
                continue
            k = COMPONENTS.index(name)
            log, spread = prior_mean[k] + mean[k], float(np.sqrt(root[k] @ root[k]))
            value = np.clip(np.exp(log), low, high)
            entry = _entry("component", name, value, spread, through, len(seasons), variety)
            old = used.component(name, variety)
            before = (np.log(old.value), old.spread) if old else (prior_mean[k], prior_spread[k])
            yield _row(entry, WORDS[name], variety, before, (log, spread))


def counter_entries(counters, through):
    """Return the entries of ``counter_effects``."""
    return [
        _entry("counter", r["counter"], np.exp(r["log_bias"]), r["spread"], through, r["seasons"])
        for r in counters.to_dict("records")
    ]


def counter_rows(entries, used):
    """Yield a row for each counter."""
    plain = handbook.value("learning.counter")
    for entry in entries:
        before = used.counters.get(entry.name, (0.0, plain))
        after = (np.log(entry.value), entry.spread)
        yield _row(entry, "clusters counted / counted by all", entry.name, before, after)


def _load_seasons(ground):
    """Return, for each response, the seasons in which a block on a changed load was measured.

    How a vine answers a load is seen only beside the same block on another load: a block measured
    on one load alone tells its own level, whatever that load was.
    """
    least = handbook.value("learning.least_load_change")
    loads, found = np.stack([ground.buds, ground.carried])[:, :, :-1], {}
    for name, stage in LOAD_NEEDS.items():
        seen = ground.precision[:, :-1, STAGES.index(stage)] > 0
        low = np.where(seen, loads, np.inf).min(-1, keepdims=True)
        high = np.where(seen, loads, -np.inf).max(-1, keepdims=True)
        changed = seen & ((loads - low > least) | (high - loads > least)).any(0)
        found[name] = int(changed.any(0).sum())
    return found


def load_rows(ground, estate, used, through):
    """Yield a row for each response to the load that some season on a changed load speaks of."""
    posterior, seasons = estate.beliefs.posterior, _load_seasons(ground)
    for at, name in enumerate(RESPONSES):
        if not seasons[name]:
            continue
        place = posterior.shared.effects + at
        # Records that no vine could write (copied from block to block) can say more than is kept.
        normal = float(np.clip(posterior.mean[place], *LOAD_RANGE))
        root = posterior.root[place]
        spread = float(np.sqrt(root @ root))
        settled = handbook.entry(f"load.{name}.settled")
        entry = _entry("load", name, normal, spread, through, seasons[name])
        old = used.named("load", name)
        before = (old.value, old.spread) if old else (0.0, 1.0)

        def exponent(normals, settled=settled):
            return settled.value + settled.spread * normals

        words = f"exponent of {LOAD_WORDS[name]}, once settled"
        yield _row(entry, words, "all blocks", before, (normal, spread), exponent)
