"""Accept what was learned: kept beside the records, and used from the next season on."""

import datetime
from pathlib import Path

from cropload import arguments
from cropload.errors import CroploadError, near
from cropload.records.example import shipped
from cropload.records.learned import learned_path, write_learned


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


@arguments.takes(
    records=arguments.records,
    lessons=arguments.kind("Lessons", "Make them first: learn(records)."),
    only=arguments.maybe(arguments.each(arguments.text)),
    day=arguments.maybe(arguments.day),
)
def accept(records, lessons, only=None, *, day=None):
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

    Returns
    -------
    new, old : pathlib.Path, and pathlib.Path or None
        The file, and where the version before it lies now.

    Raises
    ------
    CroploadError
        For records without a folder of their own, or a file that cannot be written.

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
    day = datetime.date.today() if day is None else day.date()
    entries = chosen(lessons, only)
    if not entries:
        raise CroploadError(f"There is nothing to accept into {learned_path(path)}.")
    return write_learned(path, entries, str(day))
