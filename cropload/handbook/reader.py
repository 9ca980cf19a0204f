"""Read the handbook: every default, band and prior with its unit, range, source and grade.

The figures live in the ``.toml`` files beside this module, one for each topic.
Nothing here needs numpy or pandas, so that the command line and a panel can ask at once.
"""

import functools
import textwrap
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import log
from pathlib import Path
from types import MappingProxyType

from cropload.errors import CroploadError, near

#: Grade -> what it tells the reader.
GRADES = {
    "read": "read in the source",
    "abstract": "read in the source's abstract or opening",
    "trade": "said by a researcher in the trade press",
    "common practice": "a rule of the trade, no source",
    "memory": "from memory, not looked up",
    "assumption": "our assumption",
}

_FIELDS = ("value", "low", "high", "spread", "unit", "sources", "grade", "note")


class HandbookError(CroploadError):
    """A key that the handbook does not hold, or a handbook that breaks its own rules."""


@dataclass(frozen=True)
class Entry:
    """One figure of the handbook.

    Attributes
    ----------
    key : str
        Dotted name, such as ``"band.ravaz.general"``.
    value : float, list of float or None
        The figure itself [unit]; None where there is only a range.
    low, high : float or None
        The range [unit].
    spread : float or None
        Standard deviation on the natural log scale [1]; always ours, whatever the grade.
    unit : str
        Unit of value, low and high; ``"1"`` for a bare number.
    sources : tuple of str
        Keys for `citation`.
    grade : str
        One of `GRADES`.
    note : str
        What the figure is good for, and why it is what it is.
    extra : mapping
        Further fields, such as ``dof``, ``label``, ``first`` or ``as_printed``.
    """

    key: str
    value: float | list | None
    low: float | None
    high: float | None
    spread: float | None
    unit: str
    sources: tuple
    grade: str
    note: str
    extra: Mapping = field(default_factory=dict)


def _is_entry(table):
    return "unit" in table or "grade" in table


def _walk(table, prefix=""):
    """Yield (dotted key, table) for every figure below a group."""
    for name, inner in table.items():
        if not isinstance(inner, dict):
            continue
        key = f"{prefix}{name}"
        if _is_entry(inner):
            yield key, inner
        else:
            yield from _walk(inner, f"{key}.")


@functools.cache
def _raw():
    files = sorted(Path(__file__).parent.glob("*.toml"))
    return {group: table for file in files for group, table in _read(file).items()}


def _read(file):
    return tomllib.loads(file.read_text("utf-8"))


@functools.cache
def _entries():
    figures = {n: group for n, group in _raw().items() if n not in ("source", "moves")}
    found = {}
    for key, table in _walk(figures):
        unit, grade = table.get("unit"), table.get("grade")
        if not unit or grade not in GRADES:
            raise HandbookError(
                f"Handbook entry '{key}' needs a unit and one of the grades: {', '.join(GRADES)}."
            )
        found[key] = Entry(
            key=key,
            value=table.get("value"),
            low=table.get("low"),
            high=table.get("high"),
            spread=table.get("spread"),
            unit=unit,
            sources=tuple(table.get("sources", ())),
            grade=grade,
            note=table.get("note", ""),
            extra=MappingProxyType({k: v for k, v in table.items() if k not in _FIELDS}),
        )
    return found


def entry(key):
    """Return one figure with everything known about it.

    Parameters
    ----------
    key : str
        Dotted name.

    Returns
    -------
    Entry

    Raises
    ------
    HandbookError
        When the handbook has no such key; near names are suggested.

    Examples
    --------
    >>> entry("band.shoots_per_m.undivided").high
    15.0
    """
    try:
        return _entries()[key]
    except (KeyError, TypeError):
        hint = near(key, _entries()) or "Ask for keys() to see them all."
        raise HandbookError(f"The handbook has no entry '{key}'. {hint}") from None


def value(key):
    """Return the figure of a key [unit of the entry]: a float, or a list for a profile.

    Raises
    ------
    HandbookError
        When the key is unknown, or holds a range only.

    Examples
    --------
    >>> value("interval.level")
    0.8
    """
    found = entry(key).value
    if found is None:
        raise HandbookError(
            f"Handbook entry '{key}' is a range without a value. Ask for band('{key}')."
        )
    return list(found) if isinstance(found, list) else float(found)


def band(key):
    """Return the range of a key as ``(low, high)`` [unit of the entry].

    Raises
    ------
    HandbookError
        When the key is unknown, or has no range.

    Examples
    --------
    >>> band("band.ravaz.general")
    (5.0, 10.0)
    """
    found = entry(key)
    if found.low is None or found.high is None:
        raise HandbookError(f"Handbook entry '{key}' has no range. Ask for value('{key}').")
    return float(found.low), float(found.high)


@functools.cache
def _keys(prefix):
    return [key for key in _entries() if key.startswith(prefix)]


def keys(prefix=""):
    """Return all keys that start with `prefix`, in the handbook's order.

    Examples
    --------
    >>> keys("band.shoots_per_m.")
    ['band.shoots_per_m.undivided', 'band.shoots_per_m.us', 'band.shoots_per_m.concord']
    """
    return list(_keys(prefix))


def source_keys():
    """Return the keys of all sources, in the handbook's order."""
    return list(_raw()["source"])


def citation(source_key):
    """Return the citation of a source in our own words.

    Raises
    ------
    HandbookError
        When there is no such source.
    """
    try:
        return _raw()["source"][source_key]["citation"]
    except KeyError:
        hint = near(source_key, _raw()["source"])
        raise HandbookError(f"The handbook has no source '{source_key}'. {hint}".rstrip()) from None


def _plain(name):
    """Fold case, accents and punctuation, so that 'Muller Thurgau' finds 'Müller-Thurgau'."""
    spread = unicodedata.normalize("NFKD", str(name).casefold())
    return "".join(letter for letter in spread if letter.isalnum())


@functools.cache
def _variety_names():
    names = {}
    for slug, group in _raw()["variety"].items():
        for name in (slug, group["name"], *group.get("aliases", ())):
            names[_plain(name)] = slug
    return names


def variety(name):
    """Return what the handbook knows of one variety.

    Parameters
    ----------
    name : str
        Name or another name of the variety; case, accents and hyphens do not matter.

    Returns
    -------
    dict of str to Entry
        Component name to its figure; empty when the variety is not in the handbook.

    Examples
    --------
    >>> variety("mueller thurgau")["clusters_per_shoot"].value
    2.04
    >>> variety("no such grape")
    {}
    """
    slug = _variety_names().get(_plain(name))
    if slug is None:
        return {}
    prefix = f"variety.{slug}."
    return {key.removeprefix(prefix): entry(key) for key in keys(prefix)}


def same_variety(one, other):
    """Return whether two names are of one variety: other names of it, case and accents aside.

    Examples
    --------
    >>> same_variety("marechal foch", "Maréchal Foch"), same_variety("Pinot nero", "Pinot noir")
    (True, True)
    """
    one, other = (_variety_names().get(_plain(name), _plain(name)) for name in (one, other))
    return one == other


def variety_names():
    """Return the names of the varieties in the handbook, sorted.

    Examples
    --------
    >>> "Riesling" in variety_names()
    True
    """
    return sorted(group["name"] for group in _raw()["variety"].values())


def moves(key):
    """Return the usual answer that an assumption moves most, and from what to what.

    Returns
    -------
    (str, float, float), () or None
        The answer with its unit, at the low and at the high end of the figure [the unit named];
        empty where every usual answer stands still, None where it was not looked at. The ends are
        its range, that of its spread at the level of ranges, or a factor of 1.5 to either side.
    """
    found = _raw().get("moves", {}).get(key)
    return None if found is None else tuple(found)


#: Units of the answers that any figure behind them moves in proportion.
_IN_PROPORTION = (", h", ", min", ", vines")


def most_moving(count=20):
    """Return the keys of the assumptions that move a usual answer most, the strongest first.

    Hours and samples are left out: they go with their own figures, in proportion.
    """
    held = {key: found for key in _raw().get("moves", {}) if (found := moves(key))}
    held = {key: found for key, found in held.items() if not found[0].endswith(_IN_PROPORTION)}
    return sorted(held, key=lambda key: -abs(log(held[key][2] / held[key][1])))[:count]


def _text(number):
    if isinstance(number, list):
        return ", ".join(_text(item) for item in number)
    if isinstance(number, bool):
        return "yes" if number else "no"
    if isinstance(number, str):
        return number
    return f"{number:.6g}"


def told(key):
    """Return the value or the range of a figure with its unit; blank for a list, or for neither.

    Examples
    --------
    >>> told("band.shoots_per_m.undivided")
    '12 to 15 1/m'
    """
    found = entry(key)
    label, text = next(_lines(found))
    return text if label in ("value", "range") and not isinstance(found.value, list) else ""


def _lines(found):
    """Return (label, text) of every line that `describe` prints."""
    unit = "" if found.unit == "1" else f" {found.unit}"
    if found.value is not None:
        yield "value", f"{_text(found.value)}{unit}"
    if found.low is not None:
        yield "range", f"{_text(found.low)} to {_text(found.high)}{unit}"
    if found.spread is not None:
        yield "spread", f"{_text(found.spread)} (sd on the log scale, our assumption)"
    for name, item in found.extra.items():
        yield name.replace("_", " "), _text(item)
    if found.unit == "1":
        yield "unit", "1 (a bare number)"
    elif found.value is None and found.low is None:
        yield "unit", found.unit
    yield "grade", GRADES[found.grade]
    for key in found.sources:
        yield "source", f"[{key}] {citation(key)}"
    if not found.sources:
        yield "source", "none"
    if found.note:
        yield "note", found.note
    moved = moves(found.key)
    if moved is not None:
        yield "what it moves", _moved(moved)
    elif found.grade == "assumption":
        yield "what it moves", _DECIDES.get(found.key.split(".")[0], "not computed")


#: What assumptions decide that reach none of the usual answers, by the first word of their keys.
_DECIDES = {
    "plausible": "none of the usual answers: which records are doubted or refused",
    "intake": "no crop: which moves of picks are put forward, and when a limit is told",
    "trial": "no result of a trial: how many strips a further one is told to need",
    "mix": "no crop: which mixes of plans may be recommended",
    "money": "no crop: how far the bars reach of what a decision hangs on",
    "words": "no amount: the word told beside it",
    "lookup": "no amount: the lines of a printed table",
    "band": "no amount: the word told beside it",
    "variety": "no amount: the wood put forward",
    "sampling": "no amount: the word that a check of a crew ends with",
    "due": "none of the usual answers: hours of counts after a frost",
}


def _moved(moved):
    if not moved:
        return "none of the usual answers, from its low to its high end"
    name, low, high = moved
    what, _, unit = name.rpartition(", ") if ", " in name else (name, "", "")
    return (
        f"{what}: {_text(low)} to {_text(high)} {unit}".rstrip() + ", from its low to its high end"
    )


def describe(key):
    """Return a text of at most 80 columns that says what a figure is and where it comes from.

    Raises
    ------
    HandbookError
        When the key is unknown.

    Examples
    --------
    >>> print(describe("leaf_area.to_ripen"))
    leaf_area.to_ripen
      value       1.2 m2/kg
      as printed  12 cm2/g
      grade       read in the source
      source      [WolpertExtension] Wolpert, J. Vine balance: shoots per length of
                  canopy, leaf area per fruit. eXtension.
      note        Leaf area that ripens a kilogram of fruit.
    """
    lines = list(_lines(entry(key)))
    width = max(10, *(len(label) for label, _ in lines))
    text = [key]
    for label, body in lines:
        head = f"  {label:<{width}}  "
        text.append(textwrap.fill(body, 80, initial_indent=head, subsequent_indent=" " * len(head)))
    return "\n".join(text)
