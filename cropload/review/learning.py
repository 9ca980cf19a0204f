"""What the seasons on record teach of biases, factors, load response and node profiles.

Nothing here changes a forecast. What is shown is used from the next season on only once accepted.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.accepted import NOTHING, Accepted, accepted_before
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.history import estate_before_season, estate_of
from cropload.beliefs.learned import COMPONENTS as LEARNABLE
from cropload.beliefs.learned import LEAST_SPREAD, LOAD_RANGE, PROFILES, Entry
from cropload.beliefs.measured import measurements
from cropload.beliefs.origins import MOST_SHOWN, WORDS
from cropload.beliefs.spreads import prior_logs
from cropload.errors import CroploadError
from cropload.records.facts import block_facts, weighed_together
from cropload.review.bud_fertility import fitted_profile
from cropload.review.counter_bias import counter_effects
from cropload.units import METRIC
from cropload.vine.growth import COMPONENTS, RESPONSES, STAGES, carried_load
from cropload.vine.plan_shape import NodeProfile

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
_PROFILE_COLUMNS = ("key", "variety", "wood", "what", "node", "before", "after", "seasons")


#: Kind of lesson -> handbook figures that stand before it was learned.
_SOURCES = {
    "counting_bias": ("prior.counting_bias",),
    "increase_factor": ("prior.increase_factor",),
    "ripening_factor": ("prior.ripening_factor",),
    "recovery": ("prior.recovery",),
    "counter": ("learning.counter",),
    "load": ("load.burst.settled", "load.fertility.settled", "load.weight.settled"),
    "profile": ("profile.cane.fertility", "fertility.node"),
}


@dataclass(frozen=True, eq=False, repr=False)
class Lessons(Answer):
    """What the seasons up to one teach.

    Attributes
    ----------
    frame : DataFrame
        One row a lesson: key, topic, words, of, seasons [1], before_low, before, before_high,
        now_low, now, now_high, after_low, after, after_high [unit], before_from, unit, moved
        (whether the figure before lies outside the range after) and said, the same in words.
        Before is the handbook's figure, or that of an earlier lesson in force, as before_from
        says; now is what a forecast of the next season uses by itself; after is what is held
        once accepted.
    through : int
        Year of harvest of the last season that speaks.
    profiles : DataFrame
        One row a variety, wood, figure and node: before and after [1].
    entries : dict
        {key: Entry} that can be accepted.
    """

    printed = None
    through: int = field(kw_only=True)
    profiles: pd.DataFrame = field(kw_only=True)
    entries: dict = field(kw_only=True)

    def heading(self, units=METRIC):
        """Return which seasons teach, and what the ranges are."""
        return f"What the seasons up to {self.through} teach. Ranges: {ranges.label()}."

    def tables(self, units=METRIC):
        """Return the tables of lessons before and after, one a kind."""
        from cropload.review.tables import lesson_tables

        return lesson_tables(self)

    def plot(self, ax=None, units=METRIC, kind=None):
        """Draw the lessons of one kind, the first one by default, before and after."""
        from cropload.review.charts import lesson_ranges
        from cropload.review.lesson_words import lesson_kind

        return lesson_ranges(self.frame, kind or lesson_kind(self.frame)[0]).plot(ax)


@arguments.check_arguments(records=arguments.records, through=arguments.optional(arguments.season))
def learn(records, through=None):
    """Re-estimate from all seasons on record what the handbook or an earlier lesson says.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    through : int, optional
        Year of harvest of the last season that speaks; the latest on the scale when left out.

    Returns
    -------
    Lessons

    Raises
    ------
    CroploadError
        When no harvest is on record, or the season lies before the first or after the last.

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
    Tonnes of two blocks on one ticket teach nothing, for how they were split is a guess.
    Valid for two seasons or more; one season alone moves little, and its row says so.
    """
    picked = sorted(int(season) for season in records.harvest["season"].unique())
    if not picked:
        raise CroploadError(
            "No harvest is on record yet, so there is no miss to learn from. Fill table harvest."
        )
    through = picked[-1] if through is None else int(through)
    if not picked[0] <= through <= picked[-1]:
        raise CroploadError(
            f"Nothing can be learned through {through}: the harvests on record are those from "
            f"{picked[0]} to {picked[-1]}."
        )
    season = through + 1
    joint = {pair for pair in weighed_together(records) if pair[1] <= through}
    measured = _measured(records, joint)
    ground = lay_ground(records, season, measured=measured, accepted=NOTHING)
    learnt = ground.learn()
    used = accepted_before(records, season)
    # What the next forecast works with by itself: the same, where nothing is in force.
    plain = not used and not joint
    today = estate_of(ground, learnt) if plain else estate_before_season(records, season)
    counters = counter_effects(records, ground.facts, through, learnt.spreads, measured)
    entries = _counter_entries(counters, through)
    if entries:
        # The bias of all together is that of the counts without each counter's own.
        accepted = Accepted(tuple(entries))
        measured = _measured(records, joint, accepted.counters)
        ground = lay_ground(records, season, measured=measured, accepted=accepted)
        learnt = ground.learn()
    estate = estate_of(ground, learnt)
    rows = [
        *_component_rows(estate, today, used, through),
        *_counter_rows(entries, used),
        *_load_rows(ground, estate, today, used, through),
    ]
    found = {row["key"]: row.pop("entry") for row in rows}
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    profiles, more = _profiles(records, ground.facts, used, through)
    found.update(more)
    if table.empty and not found:
        raise CroploadError(
            "These records hold nothing to learn from yet: it takes clusters counted or weighed "
            "before harvest, and harvest weights or tonnes of the same block and season."
        )
    notes = []
    if len(picked) == 1 or picked[0] == through:
        notes.append("One season alone speaks: it cannot tell its own weather from what lasts.")
    if joint:
        names = ", ".join(f"{block} {year}" for block, year in sorted(joint))
        notes.append(
            f"Weighed together with another block: {names}. How the tonnes were split on paper is "
            "a guess, so they teach nothing here."
        )
    from cropload.review.lesson_words import lesson_notes

    kinds = dict.fromkeys(key.split(":", 1)[0] for key in found)
    return Lessons(
        table,
        (*lesson_notes(found.values()), *notes),
        sources=tuple(key for kind in kinds for key in _SOURCES.get(kind, ())),
        through=through,
        profiles=profiles,
        entries=found,
    )


def _measured(records, joint, counters=None):
    """Return what was measured, without tonnes of which nobody knows the block."""
    found = measurements(records, block_facts(records), counters)
    guessed = [
        stage == "harvest" and (block, season) in joint
        for block, season, stage in zip(
            found["block"], found["season"], found["stage"], strict=True
        )
    ]
    return found[~np.array(guessed, bool)] if joint else found


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
        old = used.named("profile", variety)
        before = old.profile if old else [tuple(getattr(base, name)) for name in PROFILES]
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
    return pd.DataFrame(rows, columns=list(_PROFILE_COLUMNS)), found


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
        prior_mean = prior_logs(variety)[0]
        for name in LEARNABLE:
            k = COMPONENTS.index(name)
            effects = posterior.shared.of_variety(at, k)
            mean, root = posterior.mean[effects].sum(), posterior.root[effects].sum(0)
            found[name, variety] = prior_mean[k] + mean, float(np.sqrt(root @ root))
    return found


def _load_figure(estate, name):
    """Return (middle, spread) of a load response in the handbook's spreads, as believed [1]."""
    posterior = estate.beliefs.posterior
    place = posterior.shared.effects + RESPONSES.index(name)
    root = posterior.root[place]
    return float(posterior.mean[place]), float(np.sqrt(root @ root))


def _component_rows(estate, today, used, through):
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


def _counter_entries(counters, through):
    """Return the entries of ``counter_effects``."""
    return [
        _entry("counter", r["counter"], np.exp(r["log_bias"]), r["spread"], through, r["seasons"])
        for r in counters.frame.to_dict("records")
    ]


def _counter_rows(entries, used):
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


def _load_rows(ground, estate, today, used, through):
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
