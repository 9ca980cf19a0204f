"""The rows of what was learned: each figure before and after, in words, with its entry."""

import numpy as np

from cropload import handbook
from cropload.beliefs import ranges
from cropload.beliefs.learned import COMPONENTS as LEARNABLE
from cropload.beliefs.learned import LEAST_SPREAD, LOAD_RANGE, Entry
from cropload.beliefs.origins import MOST_SHOWN, WORDS
from cropload.beliefs.spreads import prior_logs
from cropload.vine.growth import COMPONENTS, RESPONSES, STAGES, carried_load

#: Columns of the table of lessons.
COLUMNS = (
    "key",
    "topic",
    "words",
    "of",
    "seasons",
    *(f"{when}{end}" for when in ("before", "now", "after") for end in ("_low", "", "_high")),
    "before_from",
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
#: Where the figure before came from; the last season that taught it follows the second.
HANDBOOK, ACCEPTED = "handbook", "accepted, up to"
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


def _row(entry, words, of, before, now, after, old=None, figure=np.exp):
    """Return a row of the table, its entry beside it.

    ``before``, ``now`` and ``after`` are (middle, spread) pairs on the scale that ``figure`` takes
    to the figure shown; ``old`` is the entry accepted earlier, or None.
    """
    z, row = ranges.reach(), {}
    most = MOST_SHOWN.get(entry.name, np.inf)
    for name, (middle, spread) in (("before", before), ("now", now), ("after", after)):
        low, centre, high = np.minimum(figure(middle + np.array([-z, 0.0, z]) * spread), most)
        row |= {f"{name}_low": low, name: centre, f"{name}_high": high}
    moved = bool(not row["after_low"] <= row["before"] <= row["after_high"])
    narrower = after[1] / before[1]
    head = {"key": entry.key, "topic": entry.topic, "words": words, "of": of}
    head |= {"seasons": entry.seasons}
    head["before_from"] = f"{ACCEPTED} {old.through}" if old else HANDBOOK
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


def _component_figures(estate):
    """Return {(component, variety): (middle, spread)} of the log, as believed [1]."""
    posterior, found = estate.beliefs.posterior, {}
    for at, variety in enumerate(dict.fromkeys(estate.facts.varieties)):
        local = posterior.shared.places(at)[: len(COMPONENTS)]
        mean, root = posterior.mean[local], posterior.root[local]
        prior_mean = prior_logs(variety)[0]
        for name in LEARNABLE:
            k = COMPONENTS.index(name)
            found[name, variety] = prior_mean[k] + mean[k], float(np.sqrt(root[k] @ root[k]))
    return found


def _load_figure(estate, name):
    """Return (middle, spread) of a load response in the handbook's spreads, as believed [1]."""
    posterior = estate.beliefs.posterior
    place = posterior.shared.effects + RESPONSES.index(name)
    root = posterior.root[place]
    return float(posterior.mean[place]), float(np.sqrt(root @ root))


def component_rows(estate, today, used, through):
    """Yield a row for each variety and component of which some season speaks.

    Parameters
    ----------
    estate : Estate
        As believed from the seasons up to one, nothing accepted.
    today : Estate
        As the next forecast believes it by itself.
    used : Accepted
        What was in use before.
    through : int
        That season.
    """
    figures, today = _component_figures(estate), _component_figures(today)
    measured = estate.measured.groupby(["block", "season"])["stage"].agg(set)
    facts = estate.facts
    variety_of = dict(zip(facts.names, facts.varieties, strict=True))
    for variety in dict.fromkeys(facts.varieties):
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
            log, spread = figures[name, variety]
            value = np.clip(np.exp(log), low, high)
            entry = _entry("component", name, value, spread, through, len(seasons), variety)
            old = used.component(name, variety)
            before = (np.log(old.value), old.spread) if old else (prior_mean[k], prior_spread[k])
            now = today[name, variety]
            yield _row(entry, WORDS[name], variety, before, now, (log, spread), old)


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
        # A counter's own bias is used only once accepted.
        words, old = "clusters counted / counted by all", used.named("counter", entry.name)
        yield _row(entry, words, entry.name, before, before, after, old)


def _load_on_record(ground):
    """Return where a plan or a bud count is on record, an array of blocks by seasons."""
    counted = ground.measured.loc[ground.measured["stage"] == "buds", ["block", "season"]]
    place = {name: at for at, name in enumerate(ground.facts.names)}
    known = np.zeros(ground.buds.shape, bool)
    for block, season in {*ground.plans, *counted.itertuples(index=False, name=None)}:
        back = ground.season - int(season)
        if block in place and 0 <= back < known.shape[1]:
            known[place[block], -1 - back] = True
    return known


def _load_seasons(ground):
    """Return, for each response, the seasons in which a block on a changed load was measured.

    How a vine answers a load is seen only beside the same block on another load: a block measured
    on one load alone tells its own level, whatever that load was. A load that is not on record
    is a guess, and no other load.
    """
    least = handbook.value("learning.least_load_change")
    known = _load_on_record(ground)
    buds = np.where(known, ground.buds, np.nan)
    loads, found = np.stack([buds, carried_load(buds)])[:, :, :-1], {}
    for name, stage in LOAD_NEEDS.items():
        seen = known[:, :-1] & (ground.precision[:, :-1, STAGES.index(stage)] > 0)
        low = np.where(seen, loads, np.inf).min(-1, keepdims=True)
        high = np.where(seen, loads, -np.inf).max(-1, keepdims=True)
        changed = seen & ((loads - low > least) | (high - loads > least)).any(0)
        found[name] = int(changed.any(0).sum())
    return found


def load_rows(ground, estate, today, used, through):
    """Yield a row for each response to the load that some season on a changed load speaks of."""
    seasons = _load_seasons(ground)
    for name in RESPONSES:
        if not seasons[name]:
            continue
        # Records that no vine could write (copied from block to block) can say more than is kept.
        normal, spread = _load_figure(estate, name)
        normal = float(np.clip(normal, *LOAD_RANGE))
        settled = handbook.entry(f"load.{name}.settled")
        entry = _entry("load", name, normal, spread, through, seasons[name])
        old = used.named("load", name)
        before = (old.value, old.spread) if old else (0.0, 1.0)

        def exponent(normals, settled=settled):
            return settled.value + settled.spread * normals

        words = f"exponent of {LOAD_WORDS[name]}, once settled"
        now = _load_figure(today, name)
        yield _row(entry, words, "all blocks", before, now, (normal, spread), old, exponent)
