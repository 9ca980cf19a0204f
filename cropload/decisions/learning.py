"""What the seasons on record teach of biases, factors, load response and node profiles.

Nothing here changes a forecast. What is shown is used from the next season on only once accepted.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.decisions.bud_fertility import fitted_profile
from cropload.decisions.counter_bias import counter_effects
from cropload.errors import CroploadError
from cropload.forecasting import ranges
from cropload.forecasting.accepted import NOTHING, Accepted, accepted_before
from cropload.forecasting.groundwork import lay_ground, prior_logs
from cropload.forecasting.history import estates
from cropload.forecasting.origins import WORDS
from cropload.records.learned import COMPONENTS as LEARNABLE
from cropload.records.learned import PROFILES, Entry
from cropload.vine.growth import COMPONENTS, STAGES, NodeProfile
from cropload.vine.load_response import RESPONSES

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


@dataclass(frozen=True, eq=False)
class Lessons:
    """What the seasons up to one teach.

    through : the last season that speaks.
    table : one row a lesson: key, topic, words, of, seasons [1], before_low, before, before_high,
        after_low, after, after_high [unit], unit, moved (whether the figure used before lies
        outside the range after) and said, the same in words.
    profiles : one row a variety, wood, figure and node: before and after [1].
    entries : {key: Entry} that can be accepted.
    notes : sentences.
    """

    through: int
    table: pd.DataFrame
    profiles: pd.DataFrame
    entries: dict
    notes: tuple


def _z():
    from scipy.special import ndtri

    return float(ndtri((1 + ranges.level()) / 2))


def _row(key, topic, words, of, seasons, before, after, unit="1"):
    """Return a row of the table; ``before`` and ``after`` are (log, spread) pairs."""
    z, row = _z(), {}
    for name, (log, spread) in (("before", before), ("after", after)):
        row[f"{name}_low"], row[name], row[f"{name}_high"] = np.exp(
            log + np.array([-z, 0.0, z]) * spread
        )
    moved = bool(not row["after_low"] <= row["before"] <= row["after_high"])
    narrower = after[1] / before[1]
    head = {"key": key, "topic": topic, "words": words, "of": of, "seasons": int(seasons)}
    return head | row | {"unit": unit, "moved": moved, "said": said(moved, seasons, narrower)}


def said(moved, seasons, narrower):
    """Return in words what a lesson is worth; ``narrower`` is its spread after / before [1]."""
    if moved:
        return "moved" if seasons > 1 else "moved, on one season alone"
    return "as before, known better" if narrower < _BETTER else "as before"


def learn(records, through=None):
    """Re-estimate from all seasons on record what the handbook or an earlier lesson says.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    through : int, optional
        Year of the last harvest that speaks; the latest on the scale when left out.

    Returns
    -------
    Lessons

    Raises
    ------
    CroploadError
        When no harvest is on record, or none up to that season.

    Notes
    -----
    Every figure is a posterior mean under partial pooling, with the handbook as its prior: what
    few seasons say is pulled towards it, and its range says how far it is known. So chance does
    not pass for a lesson: a figure is said to have moved only where the one used before lies
    outside its range, which by chance alone happens to about one in five.
    What was accepted before is not counted twice: the estimate starts from the handbook again.
    A forecast learns these figures from the records by itself. Accepting them holds them for
    later seasons, also when the records they came from are no longer read, and names them as the
    source; counters and fitted node profiles are used only once accepted.
    Valid for two seasons or more; one season alone moves little, and its row says so.
    """
    picked = sorted(int(season) for season in records.harvest["season"].unique())
    if not picked:
        raise CroploadError(
            "No harvest is on record yet, so there is no miss to learn from. Fill table harvest."
        )
    through = picked[-1] if through is None else int(through)
    if through < picked[0]:
        raise CroploadError(f"No harvest up to {through} is on record; the first is {picked[0]}.")
    season = through + 1
    ground = lay_ground(records, season, accepted=NOTHING)
    learnt = ground.learn()
    counters = counter_effects(records, ground.facts, through, learnt.spreads)
    entries = _counter_entries(counters, through)
    if entries:
        # The bias of all together is that of the counts without each counter's own.
        ground = lay_ground(records, season, accepted=Accepted(tuple(entries)))
        learnt = ground.learn()
    estate = next(estates(ground, learnt))
    used = accepted_before(records, season)
    rows = [*_component_rows(estate, used, through), *_counter_rows(entries, used)]
    rows += _load_rows(ground, estate, used, through)
    found = {row["key"]: row.pop("entry") for row in rows}
    table = pd.DataFrame(rows)
    profiles, more = _profiles(records, ground.facts, used, through)
    found.update(more)
    if table.empty and not found:
        raise CroploadError(
            "These records hold nothing to learn from yet: it takes clusters counted or weighed "
            "before harvest, and harvest weights or tonnes of the same block and season."
        )
    table.attrs = {"interval": ranges.label(), "through": through}
    notes = []
    if len(picked) == 1 or picked[0] == through:
        notes.append("One season alone speaks: it cannot tell its own weather from what lasts.")
    return Lessons(through, table, profiles, found, tuple(notes))


def _component_rows(estate, used, through):
    posterior = estate.beliefs.posterior
    measured = estate.measured.groupby(["block", "season"])["stage"].agg(set)
    facts = estate.facts
    variety_of = dict(zip(facts.names, facts.varieties, strict=True))
    for at, variety in enumerate(dict.fromkeys(facts.varieties)):
        local = posterior.shared.places(at)[: len(COMPONENTS)]
        mean, root = posterior.mean[local], posterior.root[local]
        handbook_mean, handbook_spread, _ = prior_logs(variety)
        before = used.prior(variety, handbook_mean, handbook_spread)
        for name in LEARNABLE:
            seasons = {
                int(season)
                for (block, season), stages in measured.items()
                if variety_of[block] == variety and NEEDS[name] <= stages
            }
            if not seasons:
                continue
            k = COMPONENTS.index(name)
            log, spread = handbook_mean[k] + mean[k], float(np.sqrt(root[k] @ root[k]))
            low, high = LEARNABLE[name]
            entry = Entry(
                topic="component",
                name=name,
                variety=variety,
                value=float(np.clip(np.exp(log), low, high)),
                spread=max(spread, 1e-3),
                through=through,
                seasons=len(seasons),
            )
            row = _row(
                entry.key,
                "component",
                WORDS[name],
                variety,
                len(seasons),
                (before[0][k], before[1][k]),
                (log, spread),
            )
            yield row | {"entry": entry}


def _counter_entries(counters, through):
    return [
        Entry(
            topic="counter",
            name=row["counter"],
            value=float(np.exp(row["log_bias"])),
            spread=max(float(row["spread"]), 1e-3),
            through=through,
            seasons=int(row["seasons"]),
        )
        for row in counters.to_dict("records")
    ]


def _counter_rows(entries, used):
    plain = handbook.value("learning.counter")
    for entry in entries:
        before = used.counters.get(entry.name, (0.0, plain))
        words = "clusters counted / counted by all"
        after = (np.log(entry.value), entry.spread)
        row = _row(entry.key, "counter", words, entry.name, entry.seasons, before, after)
        yield row | {"entry": entry}


def _load_seasons(ground):
    """Return, for each response, the seasons in which a block on a changed load was measured."""
    least = handbook.value("learning.least_load_change")
    past = slice(None, -1)
    changed = np.abs(ground.buds - ground.carried)[:, past] > least
    changed |= np.abs(ground.carried - ground.usual[:, None])[:, past] > least
    return {
        name: int(((ground.precision[:, past, STAGES.index(stage)] > 0) & changed).any(0).sum())
        for name, stage in LOAD_NEEDS.items()
    }


def _load_rows(ground, estate, used, through):
    posterior = estate.beliefs.posterior
    start, seasons, z = posterior.shared.effects, _load_seasons(ground), _z()
    mean_before, spread_before, _ = used.responses()
    for at, name in enumerate(RESPONSES):
        if not seasons[name]:
            continue
        root = posterior.root[start + at]
        normal, spread = float(posterior.mean[start + at]), float(np.sqrt(root @ root))
        settled = handbook.entry(f"load.{name}.settled")
        entry = Entry(
            topic="load",
            name=name,
            value=normal,
            spread=max(spread, 1e-3),
            through=through,
            seasons=seasons[name],
        )
        ends = np.array([-z, 0.0, z])
        before = settled.value + settled.spread * (mean_before[at] + ends * spread_before[at])
        after = settled.value + settled.spread * (normal + ends * spread)
        moved = bool(not after[0] <= before[1] <= after[2])
        yield {
            "key": entry.key,
            "topic": "load",
            "words": f"exponent of {LOAD_WORDS[name]}, once settled",
            "of": "all blocks",
            "seasons": seasons[name],
            **dict(zip(("before_low", "before", "before_high"), before, strict=True)),
            **dict(zip(("after_low", "after", "after_high"), after, strict=True)),
            "unit": "1",
            "moved": moved,
            "said": said(moved, seasons[name], spread / spread_before[at]),
            "entry": entry,
        }


def _profiles(records, facts, used, through):
    """Return before and after of each variety's node profile, and the entries."""
    table = records.fertility
    known = replace(records, fertility=table[table["season"] <= through])
    rows, found = [], {}
    base = NodeProfile.from_handbook()
    for variety in dict.fromkeys(facts.varieties):
        profile, shoots = fitted_profile(known, variety)
        if not shoots:
            continue
        members = {n for n, v in zip(facts.names, facts.varieties, strict=True) if v == variety}
        mine = known.fertility[known.fertility["block"].astype(str).isin(members)]
        lists = tuple(tuple(float(v) for v in getattr(profile, name)) for name in PROFILES)
        entry = Entry(
            topic="profile",
            name=variety,
            profile=lists,
            through=through,
            seasons=int(mine["season"].nunique()),
        )
        found[entry.key] = entry
        before = next(
            (e.profile for e in used.entries if e.topic == "profile" and e.name == variety),
            tuple(tuple(getattr(base, name)) for name in PROFILES),
        )
        for name, old, new in zip(PROFILES, before, lists, strict=True):
            wood, what = name.split("_")
            for node, (was, now) in enumerate(zip(old, new, strict=False), start=1):
                rows.append(
                    {
                        "key": entry.key,
                        "variety": variety,
                        "wood": wood,
                        "what": what,
                        "node": node,
                        "before": was,
                        "after": now,
                        "seasons": entry.seasons,
                    }
                )
    return pd.DataFrame(rows), found
