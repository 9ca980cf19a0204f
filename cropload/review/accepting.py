"""Accept what was learned, for the next season on, and see before what that would change."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from cropload import arguments, clock
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.accepted import NOTHING, Accepted, accepted_before
from cropload.beliefs.calendar import forecast_days
from cropload.beliefs.forecast import draw_forecast, forecast, prepare
from cropload.beliefs.groundwork import lay_ground
from cropload.beliefs.history import estate_of
from cropload.beliefs.learned import learned_path, read_learned, same_figures, write_learned
from cropload.beliefs.meant import check_draws, next_season, picked_seasons
from cropload.beliefs.ranges import DEFAULT_DRAWS
from cropload.errors import CroploadError, near
from cropload.records.as_of import records_until
from cropload.records.example import shipped
from cropload.units import METRIC

_LESSONS = arguments.kind("Lessons", "Make them first: learn(records).")


@dataclass(frozen=True)
class Weighed:
    """Lessons against those in force, as acceptance would take them.

    taken : entries that would be kept.
    unchanged : entries that are in force as they are already.
    newer : entries in force that seasons later than the lesson's taught; they stay.
    """

    taken: tuple
    unchanged: tuple
    newer: tuple


@dataclass(frozen=True, eq=False, repr=False)
class Acceptance(Answer):
    """What acceptance of some lessons did.

    Attributes
    ----------
    frame : DataFrame
        One row a lesson: key, seasons [1], through and outcome (``accepted``, ``in force
        already``, or ``a newer one stays``).
    weighed : Weighed
        The same as entries.
    through : int
        The last season that taught the lessons.
    path, before : pathlib.Path
        The file, and where the version before it lies now; None where there was none, or where
        nothing is new and the file stays as it is. The answer unpacks into both.
    """

    weighed: Weighed = field(kw_only=True)
    through: int = field(kw_only=True)
    path: Path = field(kw_only=True)
    before: Path | None = field(kw_only=True)

    def __iter__(self):
        return iter((self.path, self.before))

    def heading(self, units=METRIC):
        """Return how many lessons were accepted, and for when."""
        from cropload.review.lesson_words import lessons_words

        if not self.weighed.taken:
            return "Nothing is new: these lessons are in force as they are, and the file stays."
        return (
            f"Accepted: {lessons_words(len(self.weighed.taken))}, used for seasons after "
            f"{self.through} and named there as the source."
        )

    def tables(self, units=METRIC):
        """Return the table of what became of each lesson."""
        from cropload.review.tables import acceptance_table

        return (acceptance_table(self),)


def weighed(entries, in_force, older=False):
    """Hold lessons against those in force.

    Parameters
    ----------
    entries, in_force : sequence of Entry
        Lessons to accept, and what ``learned.toml`` holds.
    older : bool
        Whether a lesson may take the place of one that later seasons taught.

    Returns
    -------
    Weighed
    """
    held = {entry.key: entry for entry in in_force}
    taken, unchanged, newer = [], [], []
    for entry in entries:
        now = held.get(entry.key)
        if same_figures(now, entry):
            unchanged.append(entry)
        elif now is not None and now.through > entry.through and not older:
            newer.append(now)
        else:
            taken.append(entry)
    return Weighed(tuple(taken), tuple(unchanged), tuple(newer))


def chosen(lessons, only=None):
    """Return the entries of some lessons.

    Parameters
    ----------
    lessons : Lessons
        As from ``learn``.
    only : str or sequence of str, optional
        Keys such as ``counting_bias:Riesling``, or the part before the colon for all of a kind;
        everything when left out.

    Raises
    ------
    CroploadError
        For a key that is no lesson; near ones are named.
    """
    if only is None:
        return list(lessons.entries.values())
    found = {}
    for wanted in [only] if isinstance(only, str) else only:
        text = str(wanted).strip()
        matching = [key for key in lessons.entries if key == text or key.split(":", 1)[0] == text]
        if not matching:
            hint = near(text, lessons.entries) or "`cropload learn` lists what there is."
            raise CroploadError(f"Nothing called '{text}' was learned. {hint}")
        found.update({key: lessons.entries[key] for key in matching})
    return list(found.values())


def worth_accepting(lessons):
    """Return the keys of the lessons that say something new, from more than one season.

    Parameters
    ----------
    lessons : Lessons
        As from ``learn``.

    Returns
    -------
    list of str
        Those that moved or are known better than before; the rest would only be named as the
        source of a figure that the handbook gives as well.
    """
    said = dict(zip(lessons["key"], lessons["said"], strict=True))
    return [
        key
        for key, entry in lessons.entries.items()
        if entry.seasons > 1 and said.get(key, "moved") != "as before"
    ]


@arguments.check_arguments(
    records=arguments.records,
    lessons=_LESSONS,
    only=arguments.optional(arguments.each(arguments.text)),
    day=arguments.optional(arguments.day),
    older=arguments.flag,
)
def accept(records, lessons, only=None, *, day=None, older=False):
    """Keep lessons in ``learned.toml`` beside the records; later seasons then use them.

    Parameters
    ----------
    records : Records
        The user's own; the shipped sample stays as it is.
    lessons : Lessons
        As from ``learn``.
    only : sequence of str, optional
        As in ``chosen``.
    day : date, optional
        Day of acceptance; today when left out.
    older : bool
        Whether a lesson may take the place of one that later seasons taught; such a one stays
        when left out.

    Returns
    -------
    Acceptance

    Raises
    ------
    CroploadError
        For records without a folder of their own, a file that cannot be written, or lessons that
        are all older than those in force.

    Notes
    -----
    A forecast of a season after the last one that taught a lesson uses it. Nothing is overwritten:
    the file before stays beside the new one as ``learned.1.toml`` and so on.
    Valid for lessons learned from these records.
    """
    path = Path(records.path)
    if not path.exists():
        raise CroploadError("These records lie in no folder, so there is nowhere to keep a lesson.")
    if path.resolve().is_relative_to(shipped("sample_data").resolve()):
        raise CroploadError(
            "These are the invented sample records, which stay as they are. To accept a lesson, "
            "make a folder of your own first: cropload new FOLDER, or cropload new FOLDER "
            "--example for a copy of the sample."
        )
    from cropload.review.lesson_words import acceptance_notes

    day = clock.today() if day is None else day.date()
    entries = chosen(lessons, only)
    if not entries:
        raise CroploadError(f"There is nothing to accept into {learned_path(path)}.")
    found = weighed(entries, read_learned(path), older)
    if found.newer and not found.taken:
        raise CroploadError(
            f"{newer_words(found, lessons)} Nothing else is new, so {learned_path(path)} stays as "
            "it is. To go back to the older ones: `cropload accept --older`, or older=True."
        )
    new, old = write_learned(path, found.taken or found.unchanged, str(day))
    outcomes = {
        "accepted": found.taken,
        "in force already": found.unchanged,
        "a newer one stays": found.newer,
    }
    rows = [
        (entry.key, entry.seasons, entry.through, outcome)
        for outcome, entries in outcomes.items()
        for entry in entries
    ]
    return Acceptance(
        pd.DataFrame(rows, columns=["key", "seasons", "through", "outcome"]),
        acceptance_notes(found, lessons),
        weighed=found,
        through=lessons.through,
        path=new,
        before=old,
    )


def newer_words(found, lessons):
    """Return which lessons in force stay for being newer, in a sentence.

    Parameters
    ----------
    found : Weighed
        As from ``weighed``.
    lessons : Lessons
        Those that were to be accepted.
    """
    named = ", ".join(f"{entry.key} (up to {entry.through})" for entry in found.newer)
    one = len(found.newer) == 1
    return (
        f"{'A lesson' if one else 'Lessons'} in force {'was' if one else 'were'} taught by later "
        f"seasons than those up to {lessons.through}, and {'stays' if one else 'stay'}: {named}."
    )


@dataclass(frozen=True, eq=False, repr=False)
class LessonEffect(Answer):
    """Each block's next forecast as it stands, and with lessons accepted.

    Attributes
    ----------
    frame : DataFrame
        One row a block and one for ``"estate"``: name, before_p10, before_p50, before_p90,
        after_p10, after_p50, after_p90 [t] and change, of the middle [1].
    season : int
        Year of harvest of the forecast.
    lessons : int
        How many would be accepted [1].
    """

    season: int = field(kw_only=True)
    lessons: int = field(kw_only=True)

    def heading(self, units=METRIC):
        """Return what the lessons change, in a sentence."""
        from cropload.review.lesson_words import effect_sentence

        return effect_sentence(self)

    def tables(self, units=METRIC):
        """Return the table of each block's forecast without and with the lessons."""
        from cropload.review.tables import effect_table

        return (effect_table(self),)


def forecast_with(records, season, accepted, as_of=None, *, draws=DEFAULT_DRAWS, seed=0):
    """Return the forecast of a season as it were with some lessons in force.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; what their folder holds of lessons is not used.
    season : int
        Year of harvest.
    accepted : Accepted
        Lessons in force.
    as_of : str or date, optional
        As in ``forecast``.
    draws, seed : int
        As in ``forecast`` [1].

    Notes
    -----
    The spreads are learnt again with the lessons in force, as ``forecast`` does it once they are
    accepted, so that the preview is the forecast that follows.
    Valid as ``forecast``.
    """
    check_draws(draws, seed)
    learned = _learned_with(records, season, accepted)
    return _forecast_with(records, season, accepted, as_of, learned, draws, seed)


def _learned_with(records, season, accepted):
    """Return the spreads that the seasons before one teach with some lessons in force."""
    before = records_until(records, f"{int(season)}-01-01")
    return lay_ground(before, int(season), accepted=accepted).learn()


def _forecast_with(records, season, accepted, as_of, learned, draws, seed):
    ground, learned, so_far = prepare(records, season, as_of, learned=learned, accepted=accepted)
    return draw_forecast(estate_of(ground, learned), so_far, draws, seed)


@arguments.check_arguments(
    records=arguments.records,
    lessons=_LESSONS,
    season=arguments.optional(arguments.season),
    only=arguments.optional(arguments.each(arguments.text, least=0)),
    older=arguments.flag,
)
def lesson_effect(
    records, lessons, only=None, season=None, *, draws=DEFAULT_DRAWS, seed=0, older=False
):
    """Return each block's next forecast as it stands, and with lessons accepted.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    lessons : Lessons
        As from ``learn``.
    only : sequence of str, optional
        Lessons to accept, as in ``chosen``; everything when left out, nothing for an empty one.
    season : int, optional
        Year of harvest; the next one that these lessons hold for when left out.
    draws, seed : int
        As in ``forecast`` [1].
    older : bool
        As in ``accept``.

    Returns
    -------
    LessonEffect

    Raises
    ------
    CroploadError
        For a key that is no lesson.

    Notes
    -----
    Nothing is written. Both forecasts take everything on record; what is in force now is in both,
    and lessons of the same key take its place in the second.
    Valid for seasons after the last one that taught the lessons.
    """
    check_draws(draws, seed)
    following = next_season(records)
    if season is None:
        season = max(following, lessons.through + 1)
    entries = chosen(lessons, only)
    in_force = accepted_before(records, season).entries
    kept = {entry.key: entry for entry in in_force}
    taken = weighed(entries, in_force, older).taken
    kept.update({entry.key: entry for entry in taken if entry.through < season})
    now = forecast(records, season, draws=draws, seed=seed)
    then = forecast_with(records, season, Accepted(tuple(kept.values())), draws=draws, seed=seed)
    rows = {"name": [*now.blocks, "estate"]}
    for word, found in (("before", now), ("after", then)):
        block, estate = found.frame, found.frame_by("estate")
        for end in ranges.ENDINGS:
            column = f"tonnes_{end}"
            rows[f"{word}_{end}"] = [*block[column], float(estate[column].iloc[0])]
    table = pd.DataFrame(rows)
    table["change"] = table["after_p50"] / table["before_p50"] - 1
    return LessonEffect(table, season=season, lessons=len(entries))


#: Moments at which past seasons are replayed: before any count, and as the counts come in.
REPLAYED = ("pruning", "clusters", "picking")
#: Seasons that must have taught, before a season is replayed with what they taught [1].
_TAUGHT = 2


def replay_lessons(records, moments=REPLAYED, *, seasons=None, draws=DEFAULT_DRAWS, seed=0):
    """Return the miss of each past season with the lessons of those before it, and without.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; what their folder holds of lessons is not used.
    moments : sequence of str
        Keys of ``MOMENTS``.
    seasons : sequence of int, optional
        Years of harvest; all that can be replayed when left out.
    draws, seed : int
        As in ``forecast`` [1].

    Returns
    -------
    DataFrame
        One row a season and moment: season, moment, crops [1], without and with lessons: the sum
        of the absolute misses over the crop picked [1].

    Notes
    -----
    With lessons: those that ``worth_accepting`` gives of the seasons before, all accepted.
    Valid from the third season on the scale on.
    """
    from cropload.review.learning import learn
    from cropload.review.picked import on_the_scale, sums

    rows = []
    replayed = sorted(picked_seasons(records))[_TAUGHT:]
    for season in (year for year in replayed if seasons is None or year in seasons):
        scale, days = on_the_scale(records, season), forecast_days(records, season)
        lessons = learn(records, season - 1)
        taught = Accepted(tuple(lessons.entries[key] for key in worth_accepting(lessons)))
        both = [(each, _learned_with(records, season, each)) for each in (NOTHING, taught)]
        for moment in (key for key in moments if key in days and scale.crops):
            found = []
            for each, learned in both:
                made = _forecast_with(records, season, each, days[moment], learned, draws, seed)
                matrix, there = sums(scale.crops, made.blocks)
                picked = np.array([crop.tonnes for crop in scale.crops])[there]
                middle = ranges.quantiles(matrix[there] @ made.draws)[1]
                found.append(float(np.abs(middle - picked).sum() / picked.sum()))
            rows.append((int(season), moment, int(there.sum()), *found))
    return pd.DataFrame(rows, columns=["season", "moment", "crops", "without", "with"])
