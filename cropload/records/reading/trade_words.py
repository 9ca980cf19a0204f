"""What people write over their columns: words of five languages, units, seasons, marks."""

import re
import tomllib
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib import resources

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.records.tables import TABLES

#: Columns of a user's own table that no column of the records holds as it stands.
MADE_FROM = {
    "blocks": ("spacing",),
    "pruning": ("canes", "cane_buds", "spurs", "spur_buds"),
    "weights": ("mean_weight_g",),
    "dates": ("budburst", "flowering", "veraison", "harvest"),
}


@cache
def trade_words():
    """Return the words of the trade, by table and column, as read from their file."""
    file = resources.files("cropload.records.reading") / "trade_words.toml"
    return tomllib.loads(file.read_text("utf-8"))


def _listed(text):
    return [part.strip() for part in text.replace("\n", " ").split("|")]


@cache
def plain(text):
    """Return text in small letters, without accents and signs, words apart by one space.

    Examples
    --------
    >>> plain("N° de Stöcke/Zeile")
    'n de stocke zeile'
    """
    text = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o"))
    text = "".join(sign for sign in text.lower() if not unicodedata.combining(sign))
    return " ".join(re.findall(r"[a-z0-9]+", text))


@cache
def _fillers():
    return frozenset(trade_words()["fillers"].split())


@cache
def phrase(text):
    """Return the words of a header that tell, without those that number or join, and plural s."""
    words = plain(text).split()
    told = [word for word in words if word not in _fillers()] or words
    return " ".join(_singular(word) for word in told)


def _singular(word):
    return word[:-1] if len(word) > 2 and word.endswith("s") and not word.endswith("ss") else word


@cache
def columns_of(table):
    """Return phrase -> columns of a table; its own words come before those of any table."""
    found = {}

    def put(word, name):
        names = found.setdefault(phrase(word.replace("_", " ")), [])
        if word and name not in names:
            names.append(name)

    spec, own = TABLES[table], trade_words().get(table, {})
    names = [*spec.names, *MADE_FROM.get(table, ())]
    for name in names:
        for word in (name, *(spec[name].aliases if name in spec.names else ())):
            put(word, name)
    for name in names:
        for word in _listed(own.get(name, "")):
            put(word, name)
        if name in spec.names:
            for alias in spec[name].aliases:
                stem = alias.rsplit("_", 1)[0] if spec[name].us_name else alias
                put(stem, name)
    for name, words in trade_words()["any"].items():
        if name in names:
            for word in _listed(words):
                put(word, name)
    return found


@cache
def columns_named(table, text):
    """Return the columns of a table that a header names, also in short or in two languages.

    Parameters
    ----------
    table : str
        Name of the table.
    text : str
        The header without its unit.
    """
    known = columns_of(table)
    tried = [text, re.sub(r"[(\[{].*?[)\]}]", " ", text)]
    for each in tried:
        if phrase(each) in known:
            return tuple(known[phrase(each)])
    # In two languages: both parts name one column, or one of them says nothing here.
    halves = [set(known.get(phrase(half), ())) for half in text.split("/")]
    if len(halves) == 2 and (" / " in text or all(halves)):
        both = halves[0] & halves[1] if all(halves) else halves[0] | halves[1]
        if both:
            return tuple(sorted(both))
    for each in tried:
        words = phrase(each).split()
        if "." in text or len(words) > 1:
            hits = {
                name
                for long, names in known.items()
                if _shortens(words, long.split())
                for name in names[:1]
            }
            if len(hits) == 1:
                return tuple(hits)
    return ()


def _shortens(words, long):
    return (
        len(words) == len(long)
        and bool(words)
        and all(len(a) > 1 and b.startswith(a) for a, b in zip(words, long, strict=True))
    )


@cache
def named(text):
    """Whether a text names a column of some table."""
    return bool(plain(text)) and any(columns_named(table, text) for table in TABLES)


@cache
def _lookup(section):
    return {
        plain(word) or word: name
        for name, words in trade_words()[section].items()
        for word in _listed(words)
    }


def table_words(text):
    """Return the tables that the words of a title speak of, in the order of the words."""
    tells, found = _lookup("tables"), []
    words = [_singular(word) for word in plain(text).split()]
    singular = {" ".join(map(_singular, word.split())): table for word, table in tells.items()}
    for size in (3, 2, 1):
        for start in range(len(words) - size + 1):
            table = singular.get(" ".join(words[start : start + size]))
            if table and table not in found:
                found.append(table)
    return found


@cache
def is_total(text):
    """Whether a text begins or ends the name of a row of totals or means."""
    words = plain(text).split()
    totals = {plain(word) for word in _listed(trade_words()["values"]["total"])}
    sizes = [size for size in (1, 2) if len(words) >= size]
    ends = {" ".join(words[-size:]) for size in sizes if len(words) > size} - {"min", "max", "alle"}
    return bool(ends & totals) or any(" ".join(words[:size]) in totals for size in sizes)


@cache
def only_total(text):
    """Whether a text names a row of totals and nothing else but a year: Total, Summe 2024."""
    words = [word for word in plain(text).split() if not word.isdigit()]
    totals = {plain(word) for word in _listed(trade_words()["values"]["total"])}
    return " ".join(words) in totals or all(word in totals for word in words)


@cache
def says(name, text):
    """Whether a text has one of the words of a list: estimates, means, numbers of, void."""
    words = f" {plain(text)} "
    return any(f" {plain(word)} " in words for word in _listed(trade_words()["values"][name]))


@cache
def _marks(name):
    return frozenset(word.lower() for word in _listed(trade_words()["values"][name]))


@cache
def is_blank(text):
    """Whether a text is a mark for nothing, such as a dash or n/a."""
    return text.strip().lower() in _marks("blank") or text.strip() in ("\u2013", "\u2014", "|")


def without_about(text):
    """Return a number without what says that it is about so, and whether that was there."""
    low = text.lower()
    for word in sorted(_marks("about"), key=len, reverse=True):
        if low.startswith(word) and re.match(r"[\s\d]", text[len(word) :] or "x"):
            return text[len(word) :].strip(), True
    return text, False


def choice_of(column, text):
    """Return the choice of a column that a word stands for in any of the languages, or None."""
    word = plain(text)
    for choice in column.choices:
        if plain(choice) == word:
            return choice
    told = {plain(word): choice for word, choice in column.meant.items()}
    for choice, words in trade_words()["choices"].items():
        if choice in column.choices:
            told |= {plain(each): choice for each in _listed(words)}
    if word in told:
        return told[word]
    inside = {
        choice
        for each, choice in [*told.items(), *((plain(c), c) for c in column.choices)]
        if len(each) > 3 and each in word
    }
    return inside.pop() if len(inside) == 1 else None


def variety_of(text):
    """Return the variety that a short form stands for, or None."""
    return _lookup("varieties").get(plain(text))


def month_of(word):
    """Return the number of a month by its name in any of the languages, or None."""
    number = _lookup("months").get(plain(word))
    return int(number) if number else None


_SEASON = re.compile(r"(?<!\d)((?:19|20)\d\d)(?:\s*[/-]\s*((?:19|20)?\d\d))?(?!\d)(?![.,]\d)")
_SHORT_SEASON = re.compile(r"(?<![\d/.-])(\d\d)\s*/\s*(\d\d)(?![\d/.-])")


def seasons_in(text):
    """Return the years that a text names: ``(year, whether as two years like 2025/26)``."""
    found = []
    for match in _SEASON.finditer(text):
        year, other = int(match[1]), match[2]
        if other:
            next_year = year + 1
            if int(other) % 100 == next_year % 100:
                found.append((next_year, True))
                continue
            if len(other) == 2 and int(other) <= 31:
                continue
        if FIRST_YEAR <= year <= LAST_YEAR:
            found.append((year, False))
    if not found:
        for match in _SHORT_SEASON.finditer(text):
            if int(match[2]) == (int(match[1]) + 1) % 100:
                found.append((2000 + int(match[2]), True))
    return list(dict.fromkeys(found))


@dataclass(frozen=True)
class Unit:
    """A unit that a header or a cell names.

    Attributes
    ----------
    name : str
        The unit as told to the user.
    kind : str
        ``length``, ``area``, ``mass``, ``%``, ``temperature``, ``money``; of a crop also
        ``mass/area`` and ``mass/vine``.
    factor : float
        Times a value it is metres, hectares, kilograms, kg/ha, kg a vine, or a price for a tonne.
    system : str
        ``metric``, ``us`` or ``""`` where both use it.
    unsure : bool
        Whether the word is used of two units.
    """

    name: str
    kind: str
    factor: float = 1.0
    system: str = ""
    unsure: bool = False


_LENGTH = {"m": 1, "metre": 1, "meter": 1, "metro": 1, "metri": 1, "cm": 0.01, "mm": 0.001}
_FEET = {"ft": 0.3048, "feet": 0.3048, "foot": 0.3048, "in": 0.0254, "inch": 0.0254}
_AREAS = {"ha": 1, "hectare": 1, "hectarea": 1, "ettari": 1, "ettaro": 1, "hektar": 1, "a": 0.01}
_AREAS |= {"m2": 1e-4, "are": 0.01, "ar": 0.01, "qm": 1e-4, "sqm": 1e-4}
_ACRES = {"ac": 0.40468564224, "acre": 0.40468564224}
_MASS = {"g": 0.001, "gr": 0.001, "gram": 0.001, "gramm": 0.001, "kg": 1, "kilo": 1, "kilogram": 1}
_MASS |= {"t": 1000, "to": 1000, "tonne": 1000, "mt": 1000, "tonelada": 1000, "tonnellata": 1000}
_MASS |= {"tonnellate": 1000, "metric ton": 1000, "q": 100, "dt": 100, "dz": 100, "qli": 100}
_MASS |= {"tonnen": 1000, "quintali": 100, "quintale": 100, "quintal": 100, "doppelzentner": 100}
_MASS |= {"quintaux": 100}
_POUNDS = {"lb": 0.45359237, "pound": 0.45359237, "oz": 0.028349523125}
_POUNDS |= {"short ton": 907.18474, "us ton": 907.18474}
_VINES = {"vine", "plant", "cepa", "pied", "cep", "stock", "rebe", "rebstock", "ceppo", "vite"}


#: Short units that are words of their own where no brackets mark them.
_ONLY_IN_BRACKETS = {"in", "to", "a", "c", "f", "q", "are"}


@cache
def unit_named(text):
    """Return the unit that a text names and nothing else, or None.

    Examples
    --------
    >>> unit_named("t/ha").kind, unit_named("sq ft"), unit_named("lbs").factor
    ('mass/area', None, 0.45359237)
    """
    raw = text.strip().strip("[](){}.:").lower().replace("²", "2").strip()
    if raw in ("%", "pct", "percent", "per cent", "prozent", "por ciento", "pour cent"):
        return Unit("%", "%")
    if raw in ("°c", "c", "deg c", "ºc"):
        return Unit("°C", "temperature", 1.0, "metric")
    if raw in ("°f", "f", "deg f", "ºf"):
        return Unit("°F", "temperature", 1.0, "us")
    if raw in ("'", "′"):
        return Unit("ft", "length", 0.3048, "us")
    raw = re.sub(r"\s*/\s*|\s+(?:per|pro|je|por|par|a)\s+", "/", raw)
    first, _, second = raw.partition("/")
    money = re.fullmatch(r"[$€£¥]|[a-z]{3}|", first.strip())
    if second and money and first.strip() not in ("lb", "lbs"):
        mass = _plain_unit(second)
        if mass and mass.kind == "mass":
            shown = f"{first}/{mass.name}"
            return Unit(shown, "money", 1000 / mass.factor, mass.system, mass.unsure)
    unit = _plain_unit(first)
    if not second or unit is None:
        return None if second else unit
    if unit.kind == "mass":
        if _singular(plain(second)) in _VINES:
            name = f"{unit.name} a vine"
            return Unit(name, "mass/vine", unit.factor, unit.system, unit.unsure)
        area = _plain_unit(second)
        if area and area.kind == "area":
            system = unit.system or area.system
            factor = unit.factor / area.factor
            return Unit(f"{unit.name}/{area.name}", "mass/area", factor, system, unit.unsure)
    return None


def _plain_unit(text):
    word = " ".join(_singular(part) for part in plain(text).split())
    for known, kind, system in (
        (_LENGTH, "length", "metric"),
        (_FEET, "length", "us"),
        (_AREAS, "area", "metric"),
        (_ACRES, "area", "us"),
        (_MASS, "mass", "metric"),
        (_POUNDS, "mass", "us"),
    ):
        if word in known:
            return Unit(word, kind, float(known[word]), system)
    if word == "ton":
        return Unit("tons", "mass", 907.18474, "us", unsure=True)
    return None


@cache
def split_unit(header):
    """Return a header without the unit that it names, and the unit or None.

    Examples
    --------
    >>> split_unit("Row sp. (m)")[0], split_unit("Bunch wt g")[1].name, split_unit("Crop, t/ha")[0]
    ('Row sp.', 'g', 'Crop')
    """
    text = " ".join(header.split())
    for found in reversed(list(re.finditer(r"[(\[{]([^()\[\]{}]*)[)\]}]", text))):
        unit = unit_named(found[1]) or unit_named(found[1].split()[-1] if found[1].split() else "")
        if unit is None and re.fullmatch(r"\s*[^\W\d]{1,3}\s*/\s*[^\W\d]{1,4}\.?\s*", found[1]):
            # A unit that the records have no use for, such as kg/m or hl/ha.
            unit = Unit(found[1].strip(), "another")
        if unit:
            return (text[: found.start()] + " " + text[found.end() :]).strip(), unit
    if text.startswith("%") or text.endswith("%"):
        return text.strip("% "), Unit("%", "%")
    parts = re.split(r"([\s,;:_]+)", text)
    for start in range(2, len(parts), 2):
        bare = "".join(parts[start:]).strip()
        unit = None if plain(bare) in _ONLY_IN_BRACKETS else unit_named(bare)
        if unit:
            return "".join(parts[: start - 1]).strip(" ,;:_"), unit
    if len(parts) > 2 and unit_named(parts[0]) and len(parts[0]) > 1:
        # kg picked, t Lese
        return "".join(parts[2:]), unit_named(parts[0])
    return text, unit_named(text)
