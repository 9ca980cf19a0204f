"""What the seasons on record teach of biases, factors, load response and node profiles.

Nothing here changes a forecast. What is shown is used from the next season on only once accepted.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.beliefs import ranges
from cropload.beliefs.accepted import NOTHING, Accepted, accepted_before
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.history import estate_before_season, estate_of
from cropload.beliefs.learned import PROFILES, Entry
from cropload.beliefs.measured import measurements
from cropload.errors import CroploadError
from cropload.records.facts import block_facts, weighed_together
from cropload.review import lesson_rows
from cropload.review.bud_fertility import fitted_profile
from cropload.review.counter_bias import counter_effects
from cropload.vine.plan_shape import NodeProfile

_PROFILE_COLUMNS = ("key", "variety", "wood", "what", "node", "before", "after", "seasons")


@dataclass(frozen=True, eq=False)
class Lessons:
    """What the seasons up to one teach.

    through : the last season that speaks.
    table : one row a lesson: key, topic, words, of, seasons [1], before_low, before, before_high,
        now_low, now, now_high, after_low, after, after_high [unit], before_from, unit, moved
        (whether the figure before lies outside the range after) and said, the same in words.
        Before is the handbook's figure, or that of an earlier lesson in force, as before_from
        says; now is what a forecast of the next season uses by itself; after is what is held
        once accepted.
    profiles : one row a variety, wood, figure and node: before and after [1].
    entries : {key: Entry} that can be accepted.
    notes : sentences.
    """

    through: int
    table: pd.DataFrame
    profiles: pd.DataFrame
    entries: dict
    notes: tuple


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
    entries = lesson_rows.counter_entries(counters, through)
    if entries:
        # The bias of all together is that of the counts without each counter's own.
        accepted = Accepted(tuple(entries))
        measured = _measured(records, joint, accepted.counters)
        ground = lay_ground(records, season, measured=measured, accepted=accepted)
        learnt = ground.learn()
    estate = estate_of(ground, learnt)
    rows = [
        *lesson_rows.component_rows(estate, today, used, through),
        *lesson_rows.counter_rows(entries, used),
        *lesson_rows.load_rows(ground, estate, today, used, through),
    ]
    found = {row["key"]: row.pop("entry") for row in rows}
    table = pd.DataFrame(rows, columns=list(lesson_rows.COLUMNS))
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
    if joint:
        names = ", ".join(f"{block} {year}" for block, year in sorted(joint))
        notes.append(
            f"Weighed together with another block: {names}. How the tonnes were split on paper is "
            "a guess, so they teach nothing here."
        )
    return Lessons(through, table, profiles, found, tuple(notes))


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
