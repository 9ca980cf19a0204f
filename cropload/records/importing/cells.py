"""Read the cells of one column of a found table: numbers in their unit, days, words, shares."""

import pandas as pd

from cropload.records.importing.names import variety_named
from cropload.records.importing.notation import own_unit
from cropload.records.importing.values import (
    both_spacings,
    day_of,
    is_error,
    is_nothing,
    number_of,
    plain_sign,
    plan_of,
    tidy_name,
)
from cropload.records.reading.trade_words import MADE_FROM, choice_of, seasons_in, trade_words

#: Columns that name what a row is of; blank cells below one are of the same.
_FILLED = ("block", "season", "date", "row")


class Cells:
    """Reads the columns of found tables.

    Parameters
    ----------
    notation : Notation
        How the files write numbers, days and units.
    questions : Questions
        Asks what is left open.
    told : Counter
        What was done to many cells alike -> how often; added to.

    Attributes
    ----------
    left_out : list of (str, str, str)
        Place, text and why, of rows and cells that are not read.
    varieties : tuple of str
        Varieties that the files write in full.
    """

    def __init__(self, notation, questions, told):
        self.notation, self.questions, self.told = notation, questions, told
        self.left_out, self.varieties = [], ()

    def blank(self, part, row, target, value, why):
        """Note a cell that is left blank, and why."""
        self.left_out.append((part.place(row, target.source), tidy_name(value), why))

    def read(self, part, spec, name, target, frame):
        """Read a column into a frame."""
        values = part.values(target.source)
        self._tell_marks(part, target, values)
        made = name in MADE_FROM.get(spec.name, ()) and name not in spec.names
        kind = "number" if made else spec[name].kind
        if name == "spacing":
            self._read_spacings(part, target, values, frame)
        elif kind == "date":
            frame[name] = self._days(part, target, values, frame)
        elif kind in ("number", "whole", "season"):
            frame[name] = self._numbers(part, spec, name, target, values)
        elif kind == "plan":
            frame[name] = self._each(part, target, values, plan_of, "is no pruning plan")
        elif kind == "choice":
            column = spec[name]
            say = f"is none of {', '.join(column.choices)}"
            frame[name] = self._each(part, target, values, lambda v: choice_of(column, str(v)), say)
        else:
            frame[name] = self._texts(part, spec, name, target, values)

    def _tell_marks(self, part, target, values):
        """Tell of marks that are read as nothing: a dash, n/a, a question mark."""
        for mark in (v for v in values if isinstance(v, str) and plain_sign(v) and is_nothing(v)):
            header = part.region.headers[target.source].text
            self.told[f"{part.region.shown}, {header}: '{plain_sign(mark)}' is read as blank"] += 1

    def _each(self, part, target, values, read, why):
        known, found = {}, []
        for row, value in zip(part.rows, values, strict=True):
            if is_nothing(value):
                found.append(None)
                continue
            key = (type(value), value)
            if key not in known:
                known[key] = read(value)
            if known[key] is None:
                self.blank(part, row, target, value, why)
            found.append(known[key])
        return found

    def _texts(self, part, spec, name, target, values):
        fill = name in _FILLED and spec.name != "blocks"
        found, last, known = [], None, {}
        for row, value in zip(part.rows, values, strict=True):
            if is_nothing(value) and not (name in ("row", "vine") and value == "x"):
                found.append(last if fill else None)
                continue
            key = (type(value), value)
            if key not in known:
                known[key] = self._text(part, name, target, row, value)
            last = known[key]
            found.append(last)
        return found

    def _text(self, part, name, target, row, value):
        if is_error(value):
            self.blank(part, row, target, value, "is an error of the spreadsheet program")
            return None
        if name == "variety":
            where = part.place(row, target.source)
            return variety_named(value, self.varieties, where, self.questions)
        return tidy_name(value)

    def _days(self, part, target, values, frame):
        order = self.notation.order(part)
        fill = target.table in ("counts", "weights")
        years = self._years_of(part, target, frame)
        blocks = list(frame["block"]) if "block" in frame else [None] * len(frame)
        found, last, known = [], None, {}
        for place, (row, value) in enumerate(zip(part.rows, values, strict=True)):
            if is_nothing(value):
                same = place > 0 and blocks[place] == blocks[place - 1]
                found.append(last if fill and same else None)
                continue
            year = years[place]
            key = (type(value), value, year)
            if key not in known:
                known[key] = day_of(value, order, year)
            day = known[key]
            if day is None:
                self.blank(part, row, target, value, "is no day")
            elif target.season and day.month > 6 and self._of_year_before(value):
                day = day.replace(year=day.year - 1)
            last = day
            found.append(day)
        return pd.Series(pd.to_datetime(pd.Series(found, dtype="object"))).to_numpy()

    def _of_year_before(self, value):
        """Whether a late day without a year of its own lies in the spring before a harvest."""
        bare = isinstance(value, str) and not seasons_in(value)
        return bare and self.notation.hemisphere == "south"

    @staticmethod
    def _years_of(part, target, frame):
        """Return the year of each row's day, where a day names none."""
        usual = target.season or part.season[0]
        if target.season or "season" not in frame:
            return [usual] * len(frame)
        return [usual if pd.isna(year) else int(year) for year in frame["season"]]

    def _numbers(self, part, spec, name, target, values):
        decimal = self.notation.decimal(part, target.source)
        own = {"mean_weight_g": "g"}.get(name)
        own = own or (spec[name].unit if name in spec.names else "")
        measured = own in ("m", "ha", "g", "kg", "t", "m2", "°C", "%", "currency/t")
        unit = self.notation.unit(part, target) if measured else None
        if (spec.name, name) in (("blocks", "missing_pct"), ("counts", "missing")):
            return self._missing(part, spec, target, values, decimal)
        known, found = {}, []
        for row, value in zip(part.rows, values, strict=True):
            if is_nothing(value):
                found.append(None)
                continue
            key = (type(value), value)
            if key not in known:
                known[key] = self._number(value, decimal, unit, own)
            number, why = known[key]
            if number is None:
                self.blank(part, row, target, value, why)
            found.append(number)
        about = sum(
            1 for v in values if isinstance(v, str) and getattr(number_of(v, decimal), "about", 0)
        )
        if about:
            header = part.region.headers[target.source].text
            self.told[f"{part.region.shown}, {header}: 'about' is read as the number"] += about
        if own == "t" and unit is not None and unit.kind != "mass":
            # A crop for a hectare or a vine waits for the size of its block.
            return [None if n is None else (n * 1.0, unit.kind) for n in found]
        return found

    def _number(self, value, decimal, unit, own):
        if is_error(value):
            return None, "is an error of the spreadsheet program"
        number = number_of(value, decimal)
        if number is None:
            return None, "is no number"
        if own == "%" and number.unit and number.unit.kind == "%":
            return number.value, ""
        if not own or own == "1":
            if number.unit is not None:
                return None, "is no plain number"
            return number.value, ""
        its = number.unit or unit
        if its is None:
            return number.value, ""
        if number.unit and unit and number.unit.kind != unit.kind:
            return None, "is in another kind of unit than its column"
        if own == "%":
            return number.value * its.factor, ""
        if own == "currency/t":
            return number.value * its.factor, ""
        return own_unit(number.value, its, own), ""

    def _missing(self, part, spec, target, values, decimal):
        """Return places without a vine: as a share of a block, or 1 in a row of counts."""
        yes = set(trade_words()["values"]["yes"].split("|"))
        if spec.name == "counts":
            return [1 if str(v).strip().lower().removesuffix(".0") in yes else None for v in values]
        numbers = [None if is_nothing(v) else number_of(v, decimal) for v in values]
        percent = any(n is not None and n.unit is not None for n in numbers)
        told = [n.value for n in numbers if n is not None]
        header = part.region.headers[target.source]
        if percent or (target.unit and target.unit.kind == "%") or any(n != int(n) for n in told):
            scale = self.notation.unit(part, target).factor
            return [None if n is None else n.value * (1.0 if n.unit else scale) for n in numbers]
        if not any(told):
            return [None if n is None else 0.0 for n in numbers]
        counted = max(told) >= 100 or self._summed(part, target, sum(told), decimal)
        if not counted:
            answer = self.questions.ask(
                "missing vines",
                f"Is '{header.text}' a number of vines, or a share in per cent?",
                f"{part.region.shown}, up to {max(told):g}",
                {"vines": f"{max(told):g} vines", "%": f"{max(told):g} %"},
            )
            counted = answer == "vines"
        return [
            None if n is None else ((n.value, "vines") if counted else n.value) for n in numbers
        ]

    def _summed(self, part, target, total, decimal):
        """Whether a row of totals adds a column up, so that it holds numbers and no shares."""
        for row, _, why in part.region.left_out:
            if why.startswith("a total") and len(part.rows) > 1:
                number = number_of(part.region.cell(row, target.source), decimal)
                if number is not None and abs(number.value - total) < 0.5:
                    return True
        return False

    def _read_spacings(self, part, target, values, frame):
        decimal, unit = self.notation.decimal(part, target.source), None
        unit = target.unit or self.notation.unit(part, target)
        rows, vines = [], []
        for row, value in zip(part.rows, values, strict=True):
            both = None if is_nothing(value) else both_spacings(value, decimal)
            if both is None and not is_nothing(value):
                self.blank(part, row, target, value, "is no pair of spacings like 2.0 x 1.2")
            one, other = both or (None, None)
            its = (other.unit if other else None) or unit
            rows.append(None if one is None else own_unit(one.value, one.unit or its, "m"))
            vines.append(None if other is None else own_unit(other.value, its, "m"))
        frame["row_spacing_m"], frame["vine_spacing_m"] = rows, vines
