"""What can stand in ``learned.toml``, and every fault of one that was edited by hand."""

import tomllib
from dataclasses import dataclass

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.errors import near
from cropload.records.reading.faults import Fault, RecordsError

FILE = "learned.toml"

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
        found = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        fault = Fault(FILE, None, None, None, "the file is no text in UTF-8", _MEND)
        raise _refused([fault]) from None
    except (ValueError, RecursionError) as error:
        rule = f"the file is no TOML that can be used: {error}"
        raise _refused([Fault(FILE, None, None, None, rule, _MEND)]) from None
    if not found:
        rule = "the file is empty: nothing that was accepted is in it"
        raise _refused([Fault(FILE, None, None, None, rule, _MEND_EMPTY)])
    reader = _Reader(varieties, latest)
    entries = tuple(reader.entries(found))
    if reader.faults:
        raise _refused(reader.faults)
    return entries


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
        shown = None if value is None else _shown(value)
        self.faults.append(Fault(f"{FILE}, {where}", None, None, shown, rule, mend))

    def entries(self, found):
        if "format" not in found:
            mend = "Write format = 1 above the first table."
            self.fault("format", None, "the line with the format is missing", mend)
        for topic, table in found.items():
            if topic == "format":
                if table != 1:
                    self.fault("format", table, "must be 1", "Write format = 1.")
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
