"""What was learned on the estate and accepted: ``learned.toml`` beside the records, read and kept.

Each time something is accepted a whole new file is written, and the one before it stays beside it
as ``learned.1.toml``, ``learned.2.toml`` and so on. One that was edited by hand is read with every
fault told at once.
"""

import json
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from math import exp
from pathlib import Path

from cropload import handbook
from cropload.beliefs import ranges
from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.errors import CroploadError, near
from cropload.records.reading.faults import Fault, RecordsError
from cropload.records.writing.gate import changing
from cropload.records.writing.theirs import LESSONS_FILE

#: Name of the file, beside the records.
FILE = LESSONS_FILE

#: Format of the file, a new one for each new model of the forecast: figures that an older model
#: took from the same seasons are not this one's.
FORMAT = 2

#: What can be learned of a variety -> the least and the most that a figure can be [1].
COMPONENTS = {
    "counting_bias": (0.2, 2.0),
    "increase_factor": (0.5, 6.0),
    "ripening_factor": (0.5, 3.0),
    "recovery": (0.3, 1.2),
}
#: Least and most of a load response, in standard normals [1].
LOAD_RANGE = (-6.0, 6.0)
LOADS = ("burst", "fertility", "weight", "noncount", "pruning")
PROFILES = ("cane_burst", "cane_fertility", "spur_burst", "spur_fertility")

TOPICS = ("component", "counter", "load", "profile")
#: Nodes of a profile; the last one's value holds beyond the end, so one alone is no profile.
_FEWEST_NODES, _MOST_NODES = 2, 60
#: Most that a node bears, relative to the others [1].
_MOST_RELATIVE = 3
#: Least spread [1]: nothing measured in a vineyard is known better.
LEAST_SPREAD = 1e-3
#: Most seasons that can have spoken [1].
_MOST_SEASONS = 60
#: Far above what the largest estate learns [bytes].
LARGEST = 2_000_000
_MEND = (
    "Mend it, or delete the file to go back to the handbook; the version before it is the "
    "learned.N.toml with the highest number."
)
_MOST_VERSIONS = 10_000
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


@dataclass(frozen=True)
class Entry:
    """One thing that was learned.

    Attributes
    ----------
    topic : str
        ``"component"``, ``"counter"``, ``"load"`` or ``"profile"``.
    name : str
        The component or the load response; the counter; the variety of a profile.
    variety : str
        The variety of a component; empty for the others.
    value : float
        Component: its value [1]. Counter: counted by this counter / by all, at the same clusters
        [1]. Load: how many of the handbook's spreads the exponents lie from the handbook's [1].
    spread : float
        Standard deviation: of the log for a component and a counter [1]; in the handbook's
        spreads for a load [1].
    through : int
        Last season that taught it; it holds for later ones.
    seasons : int
        Seasons that spoke [1].
    profile : tuple
        Of a profile: its four lists, in the order of ``PROFILES`` [1].
    """

    topic: str
    name: str
    through: int
    seasons: int
    variety: str = ""
    value: float = float("nan")
    spread: float = float("nan")
    profile: tuple = ()

    @property
    def span_words(self):
        """Which seasons taught it, in words."""
        plural = "" if self.seasons == 1 else "s"
        return f"{self.seasons} season{plural} up to {self.through}"

    @property
    def detail(self):
        """Where it comes from, in words."""
        return f"learned on this estate from {self.span_words}"

    @property
    def key(self):
        """What the user names it by, such as ``counting_bias:Riesling`` or ``counter:AB``."""
        if self.topic == "component":
            return f"{self.name}:{self.variety}"
        return f"{self.topic}:{self.name}"


def parse_learned(data, varieties=None, latest=LAST_YEAR):
    """Return the entries in the bytes of a ``learned.toml``.

    Parameters
    ----------
    data : bytes
        The file.
    varieties, latest
        As in ``read_learned``.

    Raises
    ------
    RecordsError
        With every fault.
    """
    try:
        if len(data) > LARGEST:
            raise ValueError(f"it holds more than {LARGEST:,} bytes")
        tables = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        fault = Fault(FILE, None, None, None, "the file is no text in UTF-8", _MEND)
        raise _refused([fault]) from None
    except (ValueError, RecursionError) as error:
        rule = f"the file is no TOML that can be used: {error}"
        raise _refused([Fault(FILE, None, None, None, rule, _MEND)]) from None
    if not tables:
        rule = "the file is empty: nothing that was accepted is in it"
        raise _refused([Fault(FILE, None, None, None, rule, _MEND_EMPTY)])
    if _older(tables):
        return ()
    reader = _Reader(varieties, latest)
    entries = tuple(reader.entries(tables))
    if reader.faults:
        raise _refused(reader.faults)
    return entries


def _older(tables):
    number = tables.get("format")
    return isinstance(number, int) and 1 <= number < FORMAT


def is_older(path):
    """Return whether the lessons beside these records are those of an older model.

    Such a file is left as it is, and none of it is used.
    """
    target = learned_path(path)
    if not Path(path).exists() or not target.is_file():
        return False
    try:
        return _older(tomllib.loads(_content(target).decode("utf-8-sig")))
    except ValueError:
        return False


_MEND_EMPTY = (
    "Put the latest earlier version beside it (such as learned.1.toml) in its place, or delete it "
    "to go back to the handbook."
)


def _refused(faults):
    return RecordsError(faults, "What was learned on this estate cannot be used")


class _Reader:
    """Turns nested tables into entries, and gathers every fault on the way."""

    def __init__(self, varieties=None, latest=LAST_YEAR):
        self.faults, self.varieties, self.latest = [], varieties, latest

    def fault(self, where, value, rule, mend):
        text = None if value is None else _shown(value)
        self.faults.append(Fault(f"{FILE}, {where}", None, None, text, rule, mend))

    def entries(self, tables):
        if "format" not in tables:
            mend = f"Write format = {FORMAT} above the first table."
            self.fault("format", None, "the line with the format is missing", mend)
        for topic, table in tables.items():
            if topic == "format":
                if table != FORMAT:
                    mend = f"Write format = {FORMAT}."
                    self.fault("format", table, f"must be {FORMAT}", mend)
                continue
            if topic not in TOPICS:
                hint = near(topic, TOPICS) or f"The tables are {', '.join(TOPICS)}."
                self.fault(topic, None, "there is no such table", hint)
                continue
            for name, part in self.tables(topic, table):
                if topic == "component":
                    yield from self.components(name, part)
                elif topic == "load" and self.known(f"load.{name}", name, LOADS):
                    yield self.figures(part, f"load.{name}", (-6, 6), 2, topic="load", name=name)
                elif topic == "counter":
                    where = f'counter."{name}"'
                    yield self.figures(part, where, (0.3, 3), 1, topic="counter", name=name)
                elif topic == "profile":
                    self.grown(f'profile."{name}"', name)
                    yield self.profile(name, part)

    def tables(self, where, table):
        if not isinstance(table, dict):
            self.fault(where, table, "must be a table", f"Write it as [{where}.NAME].")
            return
        for name, part in table.items():
            if not name.strip():
                mend = f'Write a name, like [{where}."NAME"], or take the table out.'
                self.fault(f'{where}."{name}"', None, "has no name", mend)
            elif isinstance(part, dict):
                yield name, part
            else:
                at = f"{where}.{name}"
                self.fault(at, part, "must be a table", f"Write it as [{where}.NAME].")

    def known(self, where, name, names):
        if name in names:
            return True
        hint = near(name, names) or f"There are {', '.join(names)}."
        self.fault(where, None, "nothing of this name can be learned", hint)
        return False

    def grown(self, where, variety):
        if self.varieties is not None and variety not in self.varieties:
            hint = near(variety, self.varieties)
            mend = f"{hint} Or take the table out, or bring the variety's block back."
            self.fault(where, variety, "no block on record is of this variety", mend.strip())

    def components(self, name, table):
        if self.known(f"component.{name}", name, tuple(COMPONENTS)):
            for variety, part in self.tables(f"component.{name}", table):
                where = f'component.{name}."{variety}"'
                self.grown(where, variety)
                more = {"topic": "component", "name": name, "variety": variety}
                yield self.figures(part, where, COMPONENTS[name], 1, **more)

    def number(self, part, where, key, low, high, whole=False):
        value = part.get(key)
        example = {"value": "1.0", "spread": "0.05", "seasons": "3"}.get(key, f"{high}")
        kind = "a whole number" if whole else "a number"
        rule = f"must be {kind} from {low:.6g} to {high:.6g}"
        good = isinstance(value, int) or (isinstance(value, float) and not whole)
        if isinstance(value, bool) or not good or not low <= value <= high:
            what = f"is missing; it {rule}" if value is None else rule
            self.fault(f"{where} {key}", value, what, f"Write it like {key} = {example}.")
            return low
        return int(value) if whole else float(value)

    def only(self, part, where, keys):
        for key in part:
            if key not in keys:
                hint = near(key, keys) or f"The keys are {', '.join(keys)}."
                self.fault(f"{where} {key}", part[key], "there is no such key", hint)

    def history(self, part, where):
        return {
            "through": self.number(part, where, "through", FIRST_YEAR, self.latest, True),
            "seasons": self.number(part, where, "seasons", 1, _MOST_SEASONS, True),
        }

    def figures(self, part, where, limits, widest, **more):
        self.only(part, where, ("value", "spread", "through", "seasons"))
        return Entry(
            value=self.number(part, where, "value", *limits),
            spread=self.number(part, where, "spread", LEAST_SPREAD, widest),
            **self.history(part, where),
            **more,
        )

    def profile(self, name, part):
        where = f'profile."{name}"'
        self.only(part, where, (*PROFILES, "through", "seasons"))
        lists = []
        for key in PROFILES:
            values = part.get(key)
            good = isinstance(values, list) and _FEWEST_NODES <= len(values) <= _MOST_NODES
            good = good and all(
                isinstance(v, (int, float)) and not isinstance(v, bool) and 0 < v <= _MOST_RELATIVE
                for v in values
            )
            if not good:
                rule = (
                    f"must be a list of {_FEWEST_NODES} to {_MOST_NODES} numbers above 0 and up to "
                    f"{_MOST_RELATIVE}, one for each node from the base"
                )
                what = "is missing" if values is None else rule
                self.fault(f"{where} {key}", values, what, f"Write {key} = [0.8, 0.9, 1.0].")
            lists.append(tuple(map(float, values)) if good else (1.0,))
        history = self.history(part, where)
        return Entry(topic="profile", name=name, profile=tuple(lists), **history)


def _shown(value):
    try:
        return str(value)
    except ValueError:  # a whole number of thousands of digits
        return "a number of thousands of digits"


def shown_figure(entry):
    """Return what ``learn`` shows of an entry, with its range, as text; empty for a profile.

    Parameters
    ----------
    entry : Entry
        A lesson.

    Returns
    -------
    str

    Notes
    -----
    A load response is kept in spreads of the handbook's exponent, in which the forecast works, and
    shown as what 10 % more load changes.
    Valid for the range that the handbook's ``interval.level`` names.

    Examples
    --------
    >>> from cropload.beliefs.learned import Entry
    >>> shown_figure(Entry("counter", "AB", 2025, 3, value=1.04, spread=0.02))
    'shown as 1.04 (1.01 to 1.07)'
    """
    if entry.topic == "profile":
        return ""
    reach = ranges.reach() * entry.spread
    if entry.topic != "load":
        low, high = entry.value * exp(-reach), entry.value * exp(reach)
        return f"shown as {entry.value:.2f} ({low:.2f} to {high:.2f})"
    settled = handbook.entry(f"load.{entry.name}.settled")
    exponents = [
        settled.value + settled.spread * (entry.value + off) for off in (-reach, 0.0, reach)
    ]
    low, middle, high = (100 * (1.1**exponent - 1) for exponent in exponents)
    return (
        f"shown as {middle:+.1f} % ({low:+.1f} to {high:+.1f}) for 10 % more load, once settled: "
        f"exponent {exponents[1]:.2f} ({exponents[0]:.2f} to {exponents[2]:.2f})"
    )


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
    parts = [f"{_HEAD}# Accepted: {accepted_on}\n\nformat = {FORMAT}\n"]
    for entry in sorted(entries, key=lambda e: (TOPICS.index(e.topic), e.key)):
        at = {
            "component": f"component.{entry.name}.{_quoted(entry.variety)}",
            "load": f"load.{entry.name}",
        }.get(entry.topic, f"{entry.topic}.{_quoted(entry.name)}")
        lines = [f"[{at}]"]
        lines += [f"# {text}" for text in [shown_figure(entry)] if text]
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
