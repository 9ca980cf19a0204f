"""What the columns of a found table are: which column of which table of the records."""

import re
from collections import Counter
from dataclasses import dataclass, field, replace

from cropload.records.importing.headers import NUMBERED, is_season
from cropload.records.importing.values import day_of, is_nothing, number_of
from cropload.records.reading.dates import DAY
from cropload.records.reading.trade_words import (
    MADE_FROM,
    Unit,
    columns_named,
    columns_of,
    phrase,
    plain,
    says,
    split_unit,
    table_words,
)
from cropload.records.tables import TABLES

#: Columns that tell what a table is about; the others may stand in any.
_TELLING = {
    "blocks": (
        *("row_spacing_m", "vine_spacing_m", "vines", "missing_pct", "canopies", "year_planted"),
        "spacing",
        *("training", "climate", "region", "area_ha", "variety"),
    ),
    "pruning": ("plan", "canes", "cane_buds", "spurs", "spur_buds", "pruning_weight_kg"),
    "counts": (
        *("row", "vine", "buds", "shoots", "noncount_shoots", "clusters", "suitable_canes"),
        *("leaf_area_m2", "counter", "missing", "shoots_dead", "shoots_alive"),
    ),
    "weights": ("weight_g", "mean_weight_g", "berries", "stage", "clusters"),
    "harvest": ("tonnes", "ticket", "lost_pct", "picked_pct"),
    "events": ("kind", "share_pct"),
    "dates": ("budburst", "flowering", "veraison", "harvest", "stage"),
    "weather": ("tmin_c", "tmax_c"),
    "prices": ("price_per_t",),
    "capacity": ("period_start", "period_end", "limit_t"),
}
#: Of each group of columns a table needs one, or it is not that table.
_NEEDS = {
    "blocks": [("block",), ("row_spacing_m", "vine_spacing_m", "vines", "area_ha", "spacing")],
    "pruning": [("block",), ("plan", "canes", "spurs", "pruning_weight_kg")],
    "counts": [
        ("row", "vine"),
        ("buds", "shoots", "noncount_shoots", "clusters", "pruning_weight_kg", "suitable_canes"),
    ],
    "weights": [("weight_g", "mean_weight_g"), ("clusters", "mean_weight_g")],
    "harvest": [("tonnes",)],
    "events": [("kind",), ("date",)],
    "dates": [("block",), ("budburst", "flowering", "veraison", "harvest", "stage")],
    "weather": [("date",), ("tmin_c",), ("tmax_c",)],
    "prices": [("price_per_t",), ("block", "variety")],
    "capacity": [("period_start",), ("period_end",), ("limit_t",)],
}
_KINDS = {
    "m": {"length"},
    "ha": {"area"},
    "%": {"%"},
    "g": {"mass"},
    "kg": {"mass", "mass/vine"},
    "t": {"mass", "mass/area", "mass/vine"},
    "m2": {"area"},
    "°C": {"temperature"},
    "currency/t": {"money"},
}
_PER = ("mass/area", "mass/vine")
_NONE = "belongs to no table that is known"
_SEVERAL = "counts several vines together; the records hold a row for each vine"
#: Words that stand for a spacing only beside a unit of length, and for a date only alone.
_LENGTHS = {"row", "vine", "rang", "cep", "tra file"}


@dataclass(frozen=True)
class Target:
    """Where the values of one column go.

    Attributes
    ----------
    table, column : str
        Table of the records, and its column or one that a column is made from.
    source : int
        Column of the sheet, from 0.
    unit : Unit or None
        The unit that the header tells.
    season : int or None
        The season that the header tells.
    two_years : bool
        Whether it tells it as two years, like 2025/26.
    vine : str
        Number of the vine, where vines stand across.
    """

    table: str
    column: str
    source: int
    unit: Unit | None = None
    season: int | None = None
    two_years: bool = False
    vine: str = ""


@dataclass
class Meaning:
    """What a region holds.

    Attributes
    ----------
    main : str or None
        The table that most of its columns belong to.
    targets : list of Target
        Its columns.
    unread : dict
        Column -> why it is not read.
    why : str
        Why nothing of it is read, where it is no table that is known.
    """

    main: str | None
    targets: list = field(default_factory=list)
    unread: dict = field(default_factory=dict)
    why: str = ""

    def of(self, table):
        """Return the targets of one table."""
        return [target for target in self.targets if target.table == table]


def meaning_of(region):
    """Return what the columns of a region are.

    Parameters
    ----------
    region : Region
        A table found in a sheet.
    """
    told = _told_by_titles(region)
    best = None
    for place, table in enumerate(_NEEDS):
        targets = _match(region, table, region.columns, told)
        names = {target.column for target in targets}
        if not all(names & set(group) for group in _NEEDS[table]):
            continue
        telling = {target.source for target in targets if target.column in _TELLING[table]}
        score = 2 * len(telling) + len({t.source for t in targets}) + 3 * _bonus(told, table)
        if best is None or score > best[0]:
            best = (score, -place, table, targets)
    if best is None:
        why = _NONE
        if any("clusters" in columns_named("counts", h.name) for h in region.headers.values()):
            why = _SEVERAL if _of_several_vines(region) else _NONE
        return Meaning(None, why=why)
    main, targets = best[2], list(best[3])
    taken = {target.source for target in targets}
    for table in _NEEDS:
        if table == main or not any(target.column == "block" for target in targets):
            continue
        free = [column for column in region.columns if column not in taken]
        more = [t for t in _match(region, table, free, told) if t.column not in _SHARED]
        names = {target.column for target in more} | {"block", "row", "date"}
        telling = {t.column for t in more} & set(_TELLING[table])
        whole = all(names & set(group) for group in _NEEDS[table])
        if telling and (whole or table == "blocks") and table not in ("counts", "weights"):
            targets += more
            taken |= {target.source for target in more}
    unread = {}
    crops = [target.column for target in targets].count("tonnes")
    for column in region.columns:
        if column in taken:
            continue
        header = region.headers[column]
        if says("estimate", f"{header.above} {header.text}"):
            unread[column] = "an estimate or a target is no harvest"
        elif crops and _column_named(header, "harvest", set(), "number") == "tonnes":
            unread[column] = "another column tells the crop"
        elif header.text:
            named = _column_named(header, main, set(), "")
            unread[column] = "no column of the records is known by that name"
            if named in {target.column for target in targets}:
                unread[column] = f"another column tells {named}"
            elif named:
                unread[column] = f"is {named} by its name, and its values are not"
        elif any(region.cell(row, column) is not None for row in region.rows):
            unread[column] = "the column has no name"
    return Meaning(main, targets, unread)


#: Columns by which the tables of one region know each other.
_SHARED = ("block", "season", "date", "note", "variety")


def _bonus(told, table):
    return 1.0 / (1 + told.index(table)) if table in told else 0.0


def _of_several_vines(region):
    """Whether a row of counts is of so many vines together, and not of one vine."""
    heads = region.headers.values()
    number = any(
        says("number_of", head.text)
        and head.unit is None
        and "vine" in columns_named("counts", head.name)
        for head in heads
    )
    return number and not any(h.unit is not None and h.unit.kind == "length" for h in heads)


def _around(region):
    """Return the nearest title and the name of the sheet."""
    return [*region.titles[-1:], region.grid.sheet]


def _told_by_titles(region):
    """Return the tables that titles, sheet and file speak of, the nearest first."""
    found = []
    above = [header.above for header in region.headers.values() if header.above]
    for text in (*above, *reversed(region.titles), region.grid.sheet, region.grid.file):
        found += [table for table in table_words(text) if table not in found]
    return found


def _match(region, table, columns, told):
    """Return the targets of one table among some columns of a region."""
    targets, used = [], set()
    if table == "harvest" and any(says("estimate", text) for text in _around(region)):
        return []
    if table == "counts" and _of_several_vines(region):
        return []
    wide = _across(region, table, columns, told)
    for column in columns:
        if column in wide:
            continue
        header = region.headers[column]
        name = _column_named(header, table, used, looks_of(region, column))
        if name is None:
            continue
        season, two = header.seasons[0] if header.seasons else (None, False)
        if name in ("block", "season", "variety", "year_planted") or season is None:
            season = None
        used.add((name, season))
        targets.append(Target(table, name, column, _unit(header, table, name), season, two))
    return _by_weight(region, table, targets) + list(wide.values())


def _by_weight(region, table, targets):
    """Return targets with the crop from the column that tells it by weight, not by area or vine."""
    if table != "harvest":
        return targets
    for place, target in enumerate(targets):
        if target.column == "tonnes" and target.unit and target.unit.kind in _PER:
            for column in region.columns:
                header = region.headers[column]
                free = not any(each.source == column for each in targets)
                weighed = header.unit and header.unit.kind == "mass" and not header.lent
                same = [s for s, _ in header.seasons] in ([], [target.season])
                named = _column_named(header, table, set(), looks_of(region, column)) == "tonnes"
                if free and weighed and same and named:
                    targets[place] = replace(target, source=column, unit=header.unit)
    return targets


def _column_named(header, table, used, looks):
    """Return the column of a table that a header names and its values can be, or None."""
    season = header.seasons[0][0] if header.seasons else None
    whole = f"{header.above} {header.text}"
    if table == "harvest" and says("estimate", whole):
        return None
    if (
        table == "weights"
        and says("mean", whole)
        and "weight_g" in columns_named(table, header.name)
    ):
        return "mean_weight_g" if ("mean_weight_g", season) not in used else None
    texts = [header.name, header.text]
    if header.above:
        texts += [f"{header.above} {header.name}", split_unit(header.above)[0]]
    alone = header.unit is not None and header.name == header.text and not header.lent
    if alone and table in ("harvest", "prices"):
        kind = {"money": "price_per_t"}.get(header.unit.kind, "tonnes")
        if (kind, season) in used:
            return None
        if kind in TABLES[table].names and header.unit.kind in ("money", "mass", *_PER):
            return kind if looks != "date" else None
    found = [
        name
        for text in texts
        for name in columns_named(table, text)
        if fits(_unit(header, table, name), table, name, phrase(text))
        and not (table == "counts" and name == "vine" and says("number_of", header.text))
        and not ((name, season) in used or (name, None) in used)
    ]
    for name in found:
        if _holds(table, name, looks):
            return name
    # Days such as 8.3 look like numbers.
    days = [name for name in found if _is_day(table, name)]
    return days[0] if days and looks == "number" else None


def _is_day(table, name):
    return name in TABLES[table].names and TABLES[table][name].kind == "date"


def _unit(header, table, name):
    """Return the unit of a column; what stands over several may name that of some of them only."""
    return None if header.lent and not fits(header.unit, table, name) else header.unit


def looks_of(region, column):
    """Return what most values of a column look like.

    That is ``"date"``, ``"number"``, ``"word"``, or ``"either"`` of a day or a number: 45 000 in a
    spreadsheet, or 12.5. as a text.
    """
    seen = Counter(
        _looks(value)
        for value in (region.cell(row, column) for row in region.rows[:60])
        if not is_nothing(value)
    )
    look = seen.most_common(1)[0][0] if seen else ""
    return "number" if look == "either" and 10 * seen["number"] >= seen["either"] else look


def _looks(value):
    day, number = day_of(value, DAY), number_of(value, ".")
    if isinstance(value, str):
        day = day or ((value.rstrip().endswith(".") or not number) and day_of(value, DAY, 2004))
    return {(0, 0): "word", (0, 1): "number", (1, 0): "date", (1, 1): "either"}[
        bool(day), number is not None
    ]


def _holds(table, name, looks):
    """Whether a column can hold values that look so."""
    if not looks:
        return True
    if table == "dates" and name in MADE_FROM["dates"]:
        return looks != "word"
    kind = "number" if name in MADE_FROM.get(table, ()) else TABLES[table][name].kind
    if name == "spacing" or (name == "missing" and table == "counts"):
        return looks != "date"
    if kind in ("number", "whole"):
        return looks in ("number", "either")
    if kind == "date":
        return looks in ("date", "either")
    return looks != "date" or kind == "season"


def fits(unit, table, name, word=""):
    """Whether a unit can be that of a column.

    Parameters
    ----------
    unit : Unit or None
        The unit that a header tells.
    table, name : str
        Table, and its column or one that a column is made from.
    word : str
        The phrase of the header.
    """
    if name in MADE_FROM.get(table, ()):
        kind = {"mean_weight_g": "mass", "spacing": "length"}.get(name)
        return unit is None or unit.kind == kind
    column = TABLES[table][name]
    if column.unit == "m" and word in _LENGTHS:
        return unit is not None and unit.kind == "length"
    if name == "picked_pct" or (table, name) == ("harvest", "lost_pct"):
        return unit is None or unit.kind == "%"
    return unit is None or unit.kind in _KINDS.get(column.unit, ())


def _across(region, table, columns, told):
    """Return column -> target of a table that has a column a season, or a column a vine."""
    if table == "counts":
        vines = _vines_across(region, columns)
        if vines:
            return vines
    heads = region.headers
    years = [
        c
        for c in columns
        if heads[c].seasons
        and (is_season(heads[c].text) or not heads[c].text)
        and not says("estimate", f"{heads[c].above} {heads[c].text}")
    ]
    if table not in ("harvest", "pruning", "dates") or len(years) < 2:
        return {}
    found = {}
    for column in years:
        header = region.headers[column]
        name, unit = _measure(region, table, header, told)
        if name in (None, "stage") or not _holds(table, name, looks_of(region, column)):
            return {}
        season, two = header.seasons[0]
        found[column] = Target(table, name, column, header.unit or unit, season, two)
    return found


def _measure(region, table, header, told):
    """Return the column that a year in the header is of, and its unit, from what stands above."""
    words = [phrase(header.name)] if not header.name.isdigit() else []
    known = columns_of(table)
    for text in (*words, header.above, *reversed(region.titles), region.grid.sheet):
        name, unit = _column_in(text, table, known, header.unit)
        if name:
            return name, unit
    if table in told[:1] and table != "dates":
        numbers = _numbers(region, header)
        if table == "harvest" and numbers:
            return "tonnes", None
        if table == "pruning":
            return ("pruning_weight_kg" if numbers else "plan"), None
    return None, None


def _column_in(text, table, known, unit):
    """Return the column that some words of a text name, and the unit in it."""
    name, told = split_unit(text)
    if not told:
        brackets = re.findall(r"\b(?:in|en)\s+([\w/]+)", text)
        told = next((split_unit(each)[1] for each in brackets if split_unit(each)[1]), None)
    words = phrase(name).split() or phrase(text).split()
    telling = (*_TELLING[table],)
    for size in (3, 2, 1):
        for start in range(len(words) - size + 1):
            for column in known.get(" ".join(words[start : start + size]), ()):
                if column in telling and fits(unit or told, table, column):
                    return column, told
    return None, None


def _numbers(region, header):
    column = next(c for c, h in region.headers.items() if h is header)
    values = [region.cell(row, column) for row in region.rows]
    texts = [v for v in values if isinstance(v, str) and re.search(r"\dx\d", v.replace(" ", ""))]
    return not texts


def _vines_across(region, columns):
    """Return column -> target of counts whose vines stand across, or nothing."""
    found = {}
    for column in columns:
        text = region.headers[column].text.strip().lower().removesuffix(".0")
        number = NUMBERED.fullmatch(text)
        word = plain(re.sub(r"\d+", "", text))
        known = not word or "vine" in columns_of("counts").get(phrase(word), ()) or len(word) == 1
        if number and known:
            found[column] = number[1]
    if len(found) < 3:
        return {}
    measure = None
    sample = region.headers[next(iter(found))]
    for text in (sample.above, *reversed(region.titles), region.grid.sheet, region.grid.file):
        for word in phrase(text).split():
            names = [n for n in columns_of("counts").get(word, ()) if n in _MEASURES]
            measure = measure or (names[0] if names else None)
    measure = measure or "clusters?"
    base = Target("counts", measure, -1)
    return {c: replace(base, source=c, vine=vine) for c, vine in found.items()}


_MEASURES = ("buds", "shoots", "noncount_shoots", "clusters", "suitable_canes", "pruning_weight_kg")
