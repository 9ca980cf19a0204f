"""What was learned on the estate and accepted: ``learned.toml`` beside the records, read and kept.

Each time something is accepted a whole new file is written, and the one before it stays beside it
as ``learned.1.toml``, ``learned.2.toml`` and so on.
"""

import json
from functools import lru_cache
from pathlib import Path

from cropload.beliefs.learned_entries import (
    COMPONENTS,
    FILE,
    LARGEST,
    LEAST_SPREAD,
    LOADS,
    PROFILES,
    TOPICS,
    Entry,
    parse_learned,
)
from cropload.beliefs.learned_shown import shown_figure
from cropload.clock import LAST_YEAR
from cropload.errors import CroploadError
from cropload.records.writing.gate import changing

__all__ = [
    "COMPONENTS",
    "LEAST_SPREAD",
    "LOADS",
    "PROFILES",
    "Entry",
    "learned_path",
    "parse_learned",
    "read_learned",
    "same_figures",
    "write_learned",
    "written",
]

_HEAD = """\
# Learned on this estate and accepted by you; cropload takes these figures in place of the
# handbook's, for every season after "through".  The handbook has spoken in them already: nothing
# is drawn towards it again.
# component, counter: value is the figure itself, spread the standard deviation of its log.
# load: value is how many of the handbook's spreads the exponent lies from the handbook's figure
# (0: on it), spread in the same measure (1: known no better than the handbook does).
# "shown as" says what that is on the screen; it is for reading, and not read back.
# You may edit this file, or delete it to go back to the handbook.
# Earlier versions stay beside it as learned.1.toml, learned.2.toml, ...
"""


def learned_path(path):
    """Return where ``learned.toml`` lies: in the records' folder, or by their workbook."""
    path = Path(path)
    return (path if path.is_dir() else path.parent) / FILE


def read_learned(path, varieties=None, latest=LAST_YEAR):
    """Return what was accepted for these records.

    Parameters
    ----------
    path : path-like
        The season folder, or the workbook of the records.
    varieties : tuple of str, optional
        Those of table blocks; any other is then a fault.
    latest : int
        Last season that can have taught anything.

    Returns
    -------
    tuple of Entry
        Empty when there is no ``learned.toml``.

    Raises
    ------
    RecordsError
        When the file is not what it should be; every fault is named at once.
    """
    # Records made in memory have no folder, and the working folder's file is none of theirs.
    if not Path(path).exists():
        return ()
    target = learned_path(path)
    try:
        stamp = target.stat()
    except OSError:
        return ()
    return _read(target, varieties, latest, stamp.st_mtime_ns, stamp.st_size)


@lru_cache(maxsize=16)
def _read(target, varieties, latest, *_stamp):
    return parse_learned(_content(target), varieties, latest)


def _content(target):
    try:
        with target.open("rb") as file:
            return file.read(LARGEST + 1)
    except OSError as error:
        raise CroploadError(
            f"{target} cannot be read ({error.strerror or error}). Allow reading it, or move it "
            "away to go back to the handbook."
        ) from None


def _quoted(text):
    """Return a text as a TOML key or string in quotes."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _figure(value):
    text = f"{value:.6g}"
    return text if any(sign in text for sign in ".en") else f"{text}.0"


def same_figures(one, other):
    """Return whether two entries read alike in the file."""
    return one is not None and other is not None and written([one], "") == written([other], "")


def written(entries, accepted_on):
    """Return the text of a ``learned.toml``.

    Parameters
    ----------
    entries : sequence of Entry
        What to keep.
    accepted_on : str
        The day, for the reader of the file.
    """
    parts = [f"{_HEAD}# Accepted: {accepted_on}\n\nformat = 1\n"]
    for entry in sorted(entries, key=lambda e: (TOPICS.index(e.topic), e.key)):
        at = {
            "component": f"component.{entry.name}.{_quoted(entry.variety)}",
            "load": f"load.{entry.name}",
        }.get(entry.topic, f"{entry.topic}.{_quoted(entry.name)}")
        lines = [f"[{at}]"]
        lines += [f"# {told}" for told in [shown_figure(entry)] if told]
        if entry.topic == "profile":
            for key, values in zip(PROFILES, entry.profile, strict=True):
                lines.append(f"{key} = [{', '.join(_figure(v) for v in values)}]")
        else:
            lines += [f"value = {_figure(entry.value)}", f"spread = {_figure(entry.spread)}"]
        lines += [f"through = {entry.through}", f"seasons = {entry.seasons}"]
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def write_learned(path, entries, accepted_on):
    """Keep what was accepted: a new file, the old one beside it.

    Parameters
    ----------
    path : path-like
        The season folder, or the workbook of the records.
    entries : sequence of Entry
        They take the place of entries of the same key; others of the old file stay.
    accepted_on : str
        The day.

    Returns
    -------
    new, old : pathlib.Path, and pathlib.Path or None
        The file, and where the version before it lies now; None too where nothing changes, for
        the file then stays as it is.

    Raises
    ------
    CroploadError
        When a file cannot be written, or the old one is not what it should be.

    Notes
    -----
    The old version is kept first, under a new name; then the file is replaced at once. So a
    power cut leaves the old or the new one whole.
    """
    target = learned_path(path)
    with changing(target) as change:
        before = _content(target) if target.exists() else None
        kept = {} if before is None else {entry.key: entry for entry in parse_learned(before)}
        if before is not None and all(same_figures(kept.get(each.key), each) for each in entries):
            return target, None
        kept.update({entry.key: entry for entry in entries})
        data = written(kept.values(), accepted_on).encode("utf-8")
        parse_learned(data)
        return target, change.put(data, before, copied=True)
