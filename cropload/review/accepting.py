"""Accept what was learned: kept beside the records, and used from the next season on."""

from dataclasses import dataclass
from pathlib import Path

from cropload import arguments, clock
from cropload.beliefs.learned import learned_path, read_learned, same_figures, write_learned
from cropload.errors import CroploadError, near
from cropload.records.example import shipped


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
    said = dict(zip(lessons.table["key"], lessons.table["said"], strict=True))
    return [
        key
        for key, entry in lessons.entries.items()
        if entry.seasons > 1 and said.get(key, "moved") != "as before"
    ]


@arguments.check_arguments(
    records=arguments.records,
    lessons=arguments.kind("Lessons", "Make them first: learn(records)."),
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
    new, old : pathlib.Path, and pathlib.Path or None
        The file, and where the version before it lies now; None where there was none, or where
        nothing is new and the file stays as it is.

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
    return write_learned(path, found.taken or found.unchanged, str(day))


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
