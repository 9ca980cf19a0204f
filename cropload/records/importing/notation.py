"""What the files settle as a whole: decimal sign, order of dates, units, hemisphere."""

from collections import Counter
from dataclasses import replace
from functools import cached_property

import numpy as np

from cropload.handbook import entry
from cropload.records.importing.headers import without_seasons
from cropload.records.importing.values import (
    both_spacings,
    day_of,
    is_nothing,
    number_of,
    order_shown,
    sign_shown,
)
from cropload.records.reading.dates import DAY, MONTH
from cropload.records.reading.trade_words import Unit
from cropload.records.tables import TABLES

_M, _FT = Unit("m", "length", 1.0, "metric"), Unit("ft", "length", 0.3048, "us")
_HA, _AC = Unit("ha", "area", 1.0, "metric"), Unit("acres", "area", 0.40468564224, "us")
_G, _KG = Unit("g", "mass", 0.001, "metric"), Unit("kg", "mass", 1.0, "metric")
_LB, _OZ = Unit("lb", "mass", 0.45359237, "us"), Unit("oz", "mass", 0.028349523125, "us")
_T, _TONS = Unit("t", "mass", 1000.0, "metric"), Unit("short tons", "mass", 907.18474, "us")
_T_HA = Unit("t/ha", "mass/area", 1000.0, "metric")
_TONS_AC = Unit("short tons/acre", "mass/area", 907.18474 / 0.40468564224, "us")
_KG_VINE = Unit("kg a vine", "mass/vine", 1.0, "metric")
_LB_VINE = Unit("lb a vine", "mass/vine", 0.45359237, "us")
_C, _F = Unit("°C", "temperature", 1.0, "metric"), Unit("°F", "temperature", 1.0, "us")
_PERCENT, _SHARE = Unit("%", "%", 1.0), Unit("share of 1", "%", 100.0)
_PER_T, _PER_KG = Unit("a tonne", "money", 1.0, "metric"), Unit("a kg", "money", 1000.0, "metric")
_PER_TON = Unit("a short ton", "money", 1000 / 907.18474, "us")

#: Units that a column may be in where none is told, metric and US, the usual one first, and what
#: its values must lie between in the records' own unit for the unit to be believed.
_MAYBE = {
    "m": (_M, _FT, Unit("cm", "length", 0.01, "metric")),
    "ha": (_HA, _AC, Unit("m2", "area", 1e-4, "metric")),
    "g": (_G, _KG, _LB, _OZ),
    "kg": (_KG, _G, _LB),
    "t": (_T, _KG, _TONS, _LB),
    "m2": (Unit("m2", "area", 1e-4, "metric"),),
    "°C": (_C, _F),
    "currency/t": (_PER_T, _PER_KG, _PER_TON),
}
#: Typical values of a column in the records' own unit, between which a unit is believed (common
#: practice, no source); those of the handbook come first.
_TYPICAL = {
    ("weights", "mean_weight_g"): (15.0, 900.0),
    ("weights", "weight_g"): (200.0, 60_000.0),
    ("pruning", "pruning_weight_kg"): (0.05, 4.0),
    ("counts", "pruning_weight_kg"): (0.02, 5.0),
    ("blocks", "area_ha"): (0.02, 400.0),
    ("prices", "price_per_t"): (40.0, 30_000.0),
    ("weather", "tmin_c"): (-30.0, 32.0),
    ("weather", "tmax_c"): (-25.0, 48.0),
}


class Notation:
    """How the files write numbers, dates and units.

    Parameters
    ----------
    parts : list of Part
        All tables found.
    questions : Questions
        Asks what the data do not settle.
    """

    def __init__(self, parts, questions):
        self.parts, self.questions = parts, questions
        self.units = {}

    @cached_property
    def _signs(self):
        """Return file -> signs that its numbers show, and column -> the same."""
        files, columns = {}, {}
        for part in self.parts:
            file = part.region.grid.file
            for row, target, text in part.number_cells():
                sign = sign_shown(text)
                whole = target.column in TABLES[target.table].names and (
                    TABLES[target.table][target.column].kind in ("whole", "season")
                )
                if sign == "?" and whole:
                    sign = "." if "," in text else ","
                place = (id(part), target.source)
                columns.setdefault(place, Counter())[sign] += 1
                files.setdefault(file, Counter())[sign] += 1
                if sign == "?":
                    columns[place].first = columns[place].__dict__.get("first") or (row, text)
        return files, columns

    def decimal(self, part, source):
        """Return the decimal sign of the texts of a column."""
        files, columns = self._signs
        mine = columns.get((id(part), source))
        if not mine:
            return "."
        file = files[part.region.grid.file]
        for seen in (mine, file):
            told = [sign for sign in ".," if seen[sign]]
            if len(told) == 1:
                return told[0]
        if not mine["?"]:
            return "."
        row, text = mine.first
        plain = text.replace(",", "").replace(".", "")
        as_thousand = "," if "." in text else "."
        sign = "comma" if "," in text else "point"
        choices = {
            f"{sign} between thousands": f"{text} is {plain}",
            f"decimal {sign}": f"{text} is {text.replace(',', '.')}",
        }
        answer = self.questions.ask(
            "decimal sign",
            f"Is the {sign} in '{text}' a decimal sign?",
            f"{part.place(row, source)}, and no other number of the file tells",
            choices,
        )
        return as_thousand if answer.endswith("thousands") else ("," if "," in text else ".")

    @cached_property
    def _orders(self):
        found = {}
        for part in self.parts:
            for row, column, text in part.date_cells():
                seen = found.setdefault(part.region.grid.file, {})
                seen.setdefault(order_shown(text), (part.place(row, column), text))
        return found

    def order(self, part):
        """Return the order of day and month in a file."""
        file = part.region.grid.file
        seen = self._orders.get(file, {})
        told = [order for order in (DAY, MONTH) if order in seen]
        if len(told) == 1:
            return told[0]
        if "?" not in seen:
            return DAY
        where, text = seen["?"]
        each = self._orders.values()
        others = {order for found in each for order in (DAY, MONTH) if order in found}
        likely = [MONTH, DAY] if self.system(part) == "us" or others == {MONTH} else [DAY, MONTH]
        unclear = sum("?" in found and not {DAY, MONTH} & set(found) for found in each)
        of = f" in {file}" if unclear > 1 else ""
        meant = {order: f"{text} is {day_of(text, order):%-d %B %Y}" for order in likely}
        return self.questions.ask(
            f"order of dates{of}",
            f"Which stands first in dates like '{text}'?",
            f"{where}, and no other date of the file tells",
            meant,
        )

    def system(self, part):
        """Return ``"metric"`` or ``"us"``, as the lengths and areas of a file tell, or ``""``."""
        file = part.region.grid.file
        units = [
            target.unit
            for other in self.parts
            if other.region.grid.file == file
            for target in other.meaning.targets
            if target.unit and not target.unit.unsure and target.unit.system
        ]
        sizes = {unit.system for unit in units if unit.kind in ("length", "area", "temperature")}
        told = sizes or {unit.system for unit in units}
        return told.pop() if len(told) == 1 else ""

    def unit(self, part, target, typical=None):
        """Return the unit of a column.

        Parameters
        ----------
        part : Part
        target : Target
        typical : (float, float), optional
            What its usual values lie between, in the records' own unit.
        """
        place = (id(part), target.table, target.source)
        if place not in self.units:
            self.units[place] = self._unit(part, target, typical)
        return self.units[place]

    def _unit(self, part, target, typical):
        spec, system = TABLES[target.table], self.system(part)
        name = {"mean_weight_g": "g", "spacing": "m"}.get(target.column)
        unit = name or spec[target.column].unit
        header = part.region.headers[target.source].text
        where = f"{part.place(part.region.bottom, target.source)}: '{header}'"
        if target.unit and not target.unit.unsure:
            if unit == "%":
                return self._percent(part, target, where)
            if _short(target.unit.name) and system == "us":
                return self._tons(replace(target.unit, unsure=True), system, where)
            return target.unit
        if target.unit:
            return self._tons(target.unit, system, where)
        if unit == "%":
            return self._percent(part, target, where)
        maybe = _MAYBE.get(unit)
        if not maybe:
            return None
        values, beside = self.numbers(part, target), self._units_beside(part, target)
        if target.column == "spacing":
            values = self._pairs(part, target)
        if beside:
            return beside
        typical = typical or self._typical(target)
        settled = self._by_spacing(part, maybe, values) if target.column == "area_ha" else None
        if settled:
            return settled
        if target.column == "tonnes":
            return self._crop(part, target, where, values, typical, system)
        if typical and (values > 0).any():
            ends = values[values > 0].min(), values.max()
            fits = [
                each
                for each in maybe
                if all(typical[0] <= _own(end, each, unit) <= typical[1] for end in ends)
            ]
            # Where no one unit fits them all, which it is, is asked.
            system = system if fits else ""
            fits = fits or list(maybe)
        else:
            fits = list(maybe)
        same = [u for u in fits if not system or u.system == system] or fits
        if len(same) == 1:
            return same[0]
        if system and unit in ("m", "ha", "°C"):
            return same[0]
        if unit == "m" and _settled(values, maybe):
            return _settled(values, maybe)
        name = f"unit of {target.table}.{target.column}"
        choices = {u.name: _shown(values, u, unit) for u in same}
        asks = f"Which unit is '{header}' in?"
        answer = self.questions.ask(name, asks, where, choices)
        return next(u for u in same if u.name == answer)

    def _typical(self, target):
        key = {"row_spacing_m": "row_spacing_m", "spacing": "row_spacing_m"}.get(target.column)
        key = key or ("vine_spacing_m" if target.column == "vine_spacing_m" else None)
        if key:
            found = entry(f"plausible.{key}")
            return found.low, found.high
        return _TYPICAL.get((target.table, target.column))

    def numbers(self, part, target):
        """Return the numbers of a column, as written [file's own unit], shape (n,)."""
        decimal = self.decimal(part, target.source)
        found = (number_of(value, decimal) for value in part.values(target.source))
        return np.array([number.value for number in found if number is not None])

    def _tons(self, unit, system, where):
        if system == "us" and not _short(unit.name):
            return unit
        likely = ["t", "short tons"] if system == "metric" else ["short tons", "t"]
        told = {"t": "metric tonnes of 1,000 kg", "short tons": "of 2,000 lb"}
        choices = {name: told[name] for name in likely}
        answer = self.questions.ask("unit of tons", "Which tons are they?", where, choices)
        ton = 907.18474 if unit.name.startswith("tons") else 1000.0
        factor = unit.factor / ton * (1000 if answer == "t" else 907.18474)
        name = unit.name.replace("tons", "t").replace("t", answer, 1)
        return Unit(name, unit.kind, factor, "metric" if answer == "t" else "us")

    def _crop(self, part, target, where, values, typical, system):
        """Return the unit of a crop whose header tells none."""
        middle = float(np.median(values[values > 0])) if (values > 0).any() else 0.0
        low, high = typical or (0.2, 2000.0)
        heavy = [u for u in (_KG, _LB) if low <= middle * u.factor / 1000 <= high]
        light = [u for u in (_T, _TONS) if low <= middle * u.factor / 1000 <= high]
        if heavy and not light:
            maybe = [u for u in heavy if not system or u.system == system] or heavy
        else:
            maybe = [_T, _TONS, _T_HA] if system != "us" else [_TONS, _T, _TONS_AC]
            maybe += [u for u in (_KG_VINE, _LB_VINE) if not system or u.system == system]
            # Loads of over a hundred tonnes are rarer than those told in kilograms.
            maybe = [u for u in heavy if not system or u.system == system] + maybe
        if len(maybe) == 1:
            return maybe[0]
        header = part.region.headers[target.source].name
        header = "the crop" if not header or header.isdigit() else header
        choices = {u.name: _shown(values, u, "t") for u in maybe}
        asks = f"Which unit is '{header}' in?"
        # The columns of all years are asked about once, next year's too.
        of = without_seasons(header)
        name = f"unit of the crop, {of}" if of else "unit of the crop"
        answer = self.questions.ask(name, asks, where, choices)
        return next(u for u in maybe if u.name == answer)

    def _units_beside(self, part, target):
        """Return the unit where every number of a column bears one, else None."""
        decimal = self.decimal(part, target.source)
        found = [number_of(value, decimal) for value in part.values(target.source)]
        units = [number.unit for number in found if number is not None]
        return units[0] if units and None not in units else None

    def _pairs(self, part, target):
        """Return the numbers of a column of pairs like 2.0 x 1.2, as written."""
        decimal = self.decimal(part, target.source)
        cells = (value for value in part.values(target.source) if not is_nothing(value))
        pairs = [both_spacings(value, decimal) or () for value in cells]
        return np.array([number.value for pair in pairs for number in pair])

    def _by_spacing(self, part, maybe, areas):
        """Return the unit in which areas are vines times both spacings, or None."""
        sizes = []
        for name in ("row_spacing_m", "vine_spacing_m", "vines"):
            own = part.targets("blocks", name)
            if not own:
                return None
            unit = self.unit(part, own[0]) if name != "vines" else None
            sizes.append(self.numbers(part, own[0]) * (unit.factor if unit else 1.0))
        if not len(areas) or any(len(size) != len(areas) for size in sizes):
            return None
        made = sizes[0] * sizes[1] * sizes[2] / 10_000
        for unit in maybe:
            if (np.abs(np.log(areas * unit.factor / made)) < 0.2).all():
                return unit
        return None

    def _percent(self, part, target, where):
        decimal = self.decimal(part, target.source)
        found = (number_of(value, decimal) for value in part.values(target.source))
        found = [number for number in found if number is not None]
        bare = np.array([each.value for each in found if each.unit is None and each.value])
        small = bare[bare < 1]
        mixed = len(bare) < len(found) and any(each.unit is not None for each in found)
        if not len(bare) or (not len(small) and (bare.max() > 1 or mixed)):
            return _PERCENT
        if target.unit and bare.max() > 1 and not mixed:
            return _PERCENT
        shown = float(small[0] if len(small) else bare[0])
        choices = {
            "%": f"{shown:g} is {shown:g} %",
            "share": f"{shown:g} is {100 * shown:.4g} %",
        }
        if bare.max() <= 1:
            choices = {name: choices[name] for name in ("share", "%")}
        name = f"per cent of {target.table}.{target.column}"
        header = part.region.headers[target.source].text
        answer = self.questions.ask(name, f"Is '{header}' in per cent?", where, choices)
        return _PERCENT if answer == "%" else _SHARE

    @cached_property
    def hemisphere(self):
        """``"north"`` or ``"south"`` by the months of picking and of stages; None if none tells."""
        north = south = 0
        for part in self.parts:
            order = None
            for target in part.meaning.targets:
                picked = (target.table, target.column) in (
                    ("harvest", "date"),
                    ("dates", "harvest"),
                )
                spring = target.table == "dates" and target.column in ("budburst", "flowering")
                summer = (target.table, target.column) == ("counts", "date")
                winter = (target.table, target.column) == ("pruning", "date")
                if not (picked or spring or summer or winter):
                    continue
                order = order or self.order(part)
                for value in part.values(target.source):
                    day = None if is_nothing(value) else day_of(value, order, 2001)
                    if day is None:
                        continue
                    if picked:
                        north += day.month >= 7
                        south += day.month <= 5
                    elif winter:
                        north += day.month <= 3 or day.month >= 11
                        south += 5 <= day.month <= 9
                    elif spring:
                        north += 2 <= day.month <= 7
                        south += day.month >= 8
                    else:
                        north += 4 <= day.month <= 8
                        south += day.month >= 10 or day.month <= 2
        return None if north == south else "north" if north > south else "south"


def _short(name):
    """Whether a unit is written t, which stands for two tons where acres and feet are told."""
    return name == "t" or name.startswith("t/")


def _own(value, unit, own):
    """Return a value in the records' own unit."""
    if unit.kind == "temperature":
        return value if unit.name == "°C" else (value - 32) / 1.8
    scale = {"g": 1000.0, "t": 0.001, "m2": 1e4}.get(own, 1.0)
    return value * unit.factor * scale


def _settled(values, maybe):
    """Return the one unit in which all values are plausible spacings, or None."""
    low = entry("plausible.vine_spacing_m").low
    high = entry("plausible.row_spacing_m").high
    fits = [u for u in maybe if len(values) and all(low <= v * u.factor <= high for v in values)]
    return fits[0] if len(fits) == 1 else None


def _shown(values, unit, own):
    if not len(values):
        return ""
    first = float(values[0])
    if "/" in unit.kind:
        return f"{first:g} {unit.name}"
    shown = {"t": "t", "g": "g", "kg": "kg", "m": "m", "ha": "ha"}.get(own)
    return f"{first:g} is {_own(first, unit, own):.4g} {shown}" if shown else ""


def own_unit(value, unit, own):
    """Return a value in the records' own unit, from the unit that it was written in.

    Parameters
    ----------
    value : float
        As written.
    unit : Unit
        Its unit.
    own : str
        Unit of the column of the records.
    """
    if unit.kind == "mass/vine" and own == "kg":
        return value * unit.factor
    return _own(value, unit, own)
