"""Corrections: a value that was saved wrong is mended as it is read; its row stays as written."""

import csv
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd

from cropload.errors import near
from cropload.records.reading.cells import parse
from cropload.records.reading.faults import Fault
from cropload.records.reading.files import tidy
from cropload.records.reading.headers import normal
from cropload.records.tables import KEPT, TABLES, WHOLE_ROW

#: Corrections written out in a note; the rest are counted.
_SHOWN = 3
#: What one row of a table is called in a note.
_NOUNS = {"counts": "count", "weights": "weight", "harvest": "harvest", "events": "event"}


@dataclass(frozen=True, slots=True)
class Correction:
    """A correction that holds.

    Attributes
    ----------
    table, file : str
        Where the value stands.
    row : int
        The row of the file [1].
    block : str
        Of that row, or ``""``.
    season : int or None
        Of that row.
    column : str
        As the header writes it; ``all`` for a row taken out.
    old, new : str
        What is written, and what holds.
    date : date or None
        Day of the correction.
    why : str
        The reason given.
    """

    table: str
    file: str
    row: int
    block: str
    season: int | None
    column: str
    old: str
    new: str
    date: date | None
    why: str

    @property
    def change(self):
        """What changed, like ``12 -> 21``."""
        if self.column == WHOLE_ROW:
            return "row taken out"
        return f"{self.old or 'blank'} -> {self.new or 'blank'}"

    def words(self):
        """Return the correction with its place, its day and its reason."""
        place = ", ".join(filter(None, [self.file, f"row {self.row}", self.block]))
        column = "" if self.column == WHOLE_ROW else f", {self.column}"
        more = "; ".join(filter(None, [_day(self.date), self.why]))
        return f"{place}{column}: {self.change}" + (f" ({more})" if more else "")


def _day(day):
    return "" if day is None else f"{day.day} {day:%B %Y}"


def correction_notes(told, season):
    """Return in a sentence which values behind an answer were corrected, as a list of none or one.

    Parameters
    ----------
    told : sequence of Correction
        As in ``Records.corrected``.
    season : int
        The season asked about; corrections of other seasons are only counted.
    """
    lots = {}
    for each in told:
        if each.season in (None, season):
            lots.setdefault((each.table, each.block, each.date), []).append(each)
    parts = []
    for (table, block, day), lot in list(lots.items())[:_SHOWN]:
        noun = _NOUNS.get(table, f"value of {table}")
        number = len({each.row for each in lot})
        noun = noun if number == 1 else noun.replace("value", "values") + "s" * (table in _NOUNS)
        changes = ", ".join(each.change for each in lot[:_SHOWN])
        changes += ", ..." if len(lot) > _SHOWN else ""
        of, when = f" of {block}" if block else "", f" on {_day(day)}" if day else ""
        parts.append(f"{number} {noun}{of} corrected{when} ({changes})")
    rest = len(told) - sum(len(lot) for lot in list(lots.values())[:_SHOWN])
    if rest:
        parts.append(f"{rest} more {'value' if rest == 1 else 'values'} corrected (`check`)")
    return ["; ".join(parts) + "."] if parts else []


def split_key(text):
    """Return the parts of a key; one that holds a semicolon stands in quotation marks.

    Examples
    --------
    >>> split_key('2027; "Hill; lower"; 4')
    ['2027', 'Hill; lower', '4']
    """
    cells = next(csv.reader([text], delimiter=";", skipinitialspace=True), [])
    return [tidy(cell) for cell in cells]


def join_key(parts):
    """Return the text of a key: the parts with semicolons between."""
    quoted = (f'"{part}"' if ";" in part else part for part in map(str, parts))
    return "; ".join(quoted)


class Refused(Exception):
    """A correction that cannot be read: the column at fault, the rule, the mend."""


class Rows:
    """The rows of one table as they are written, to be named by their keys.

    Parameters
    ----------
    parsed : ParsedTable
        The table before any correction.
    """

    def __init__(self, parsed):
        self.parsed, self.raw, self.table = parsed, parsed.raw, parsed.table
        self.decimal = parsed.decimal or "."
        self._texts = {}

    def texts(self, column):
        """Return the texts of a column by row; blank where the file has no such column."""
        if column not in self._texts:
            match = self.parsed.matches.get(column)
            cells = pd.Series("", self.raw.frame.index, dtype=object)
            if match is not None:
                cells = self.raw.frame[match.position].map(tidy)
            self._texts[column] = cells
        return self._texts[column]

    def value(self, column, text):
        """Return the value of a text in a column, and its fault or None."""
        values, bad = parse(
            np.array([0]), [tidy(text)], self.table[column], self.decimal, self.parsed.order
        )
        return values[0], bad.get(0)

    def same(self, column, one, other):
        """Whether two texts say the same in a column."""
        if tidy(one) == tidy(other):
            return True
        (first, bad), (second, worse) = self.value(column, one), self.value(column, other)
        return not bad and not worse and bool(first == second)

    @cached_property
    def _keys(self):
        """The parts of each row's key, how many rows share it, and the place among them."""
        names = self.table.row_names
        frame = pd.DataFrame({name: self.texts(name) for name in names})
        groups = frame.groupby(names, sort=False)
        return frame, groups[names[0]].transform("size"), groups.cumcount() + 1

    def key(self, row):
        """Return the text that names a row, told apart from others of the same key."""
        frame, sizes, places = self._keys
        parts = frame.loc[row].tolist()
        if sizes[row] > 1:
            return join_key([*parts, places[row]])
        while parts and not parts[-1]:
            parts.pop()
        return join_key(parts)

    def named(self, key):
        """Return the rows that bear a key."""
        names, parts = self.table.row_names, split_key(key)
        rule = f"rows of {self.table.name} are named by {'; '.join(names)}"
        if not any(parts) or len(parts) > len(names) + 1:
            raise Refused("key", rule, "Write these with semicolons between.")
        place = parts[len(names) :]
        rows = self.raw.frame.index
        for at, (name, part) in enumerate(zip(names, parts, strict=False)):
            found = rows[self._bears(name, part).loc[rows].to_numpy()]
            if not len(found):
                before = join_key(parts[:at])
                with_ = f" with {before}" if before else ""
                there = [text or "blank" for text in dict.fromkeys(self.texts(name).loc[rows])]
                hint = near(part, there) if part else ""
                listed = ", ".join(there[:5]) + (", ..." if len(there) > 5 else "")
                raise Refused(
                    "key",
                    f"no row of {self.raw.file}{with_} has {name} {part or 'blank'}",
                    hint or (f"There {'is' if len(there) == 1 else 'are'}: {listed}."),
                )
            rows = found
        if place:
            if not place[0].isdecimal() or not 1 <= int(place[0]) <= len(rows):
                raise Refused(
                    "key",
                    f"{len(rows)} rows bear this key, and '{place[0]}' is none of them",
                    f"End the key with a number from 1 to {len(rows)}, in the order of the file.",
                )
            rows = rows[int(place[0]) - 1 :][:1]
        return rows

    def _bears(self, name, part):
        texts = self.texts(name)
        bears = texts == part
        value, bad = self.value(name, part)
        if part and not bad:
            # Days of weather that cannot be are not in the parsed rows.
            alike = self.parsed.frame[name] == value
            bears |= alike.reindex(bears.index, fill_value=False)
        return bears

    def column(self, written):
        """Return the canonical name of a column as it is named by a user."""
        name = normal(written)
        for column in self.table.columns:
            if name in column.aliases:
                match = self.parsed.matches.get(column.name)
                if match is None:
                    mend = "Add the column to its header row first."
                    raise Refused("column", f"{self.raw.file} has no such column", mend)
                if column.us_name and (name == column.us_name) != match.us:
                    rule = f"{self.raw.file} has {match.written} in its place"
                    raise Refused("column", rule, "Name it so, and write values in its unit.")
                return column.name
        hint = near(name, [match.written for match in self.parsed.matches.values()])
        mend = hint or "Its columns are " + ", ".join(self.table.names) + "."
        raise Refused("column", f"is no column of table {self.table.name}", mend)

    def of(self, record):
        """Return the (row, column) that a correction speaks of.

        Where several rows bear the key, what was written tells which is meant.
        """
        rows = self.named(record["key"])
        column = (
            WHOLE_ROW if normal(record["column"]) == WHOLE_ROW else self.column(record["column"])
        )
        if len(rows) > 1 and record["old"] and column != WHOLE_ROW:
            told = [r for r in rows if self.same(column, self.texts(column)[r], record["old"])]
            rows = told or rows
        if len(rows) > 1:
            listed = ", ".join(map(str, rows[:5])) + (", ..." if len(rows) > 5 else "")
            keys = " or ".join(f"'{self.key(row)}'" for row in rows[:_SHOWN])
            more = ", ..." if len(rows) > _SHOWN else ""
            rule = f"names {len(rows)} rows of {self.raw.file} ({listed})"
            raise Refused("key", rule, f"Which is meant: {keys}{more}?")
        return int(rows[0]), column


@dataclass(frozen=True)
class Mended:
    """Tables as they are read, and what was mended in them.

    raws : dict of RawTable; told : tuple of Correction; faults : list of Fault;
    cells : {(file, row, column as written): (file, row, column) of the correction}.
    """

    raws: dict
    told: tuple = ()
    faults: tuple = ()
    cells: dict = None

    def placed(self, faults):
        """Return faults, those about a mended value told of the correction it comes from."""
        if not self.cells:
            return list(faults)
        whole = {(file, row): place for (file, row, _), place in self.cells.items()}
        found = []
        for fault in faults:
            place = self.cells.get((fault.file, fault.row, fault.column))
            if place:
                file, row, column = place
                rule = f"in {fault.column} of {fault.file}, row {fault.row}: {fault.rule}"
                fault = replace(fault, file=file, row=row, column=column, rule=rule)
            elif fault.column is None and (fault.file, fault.row) in whole:
                file, row, _ = whole[fault.file, fault.row]
                fault = replace(fault, rule=f"{fault.rule} (as corrected in {file}, row {row})")
            found.append(fault)
        return found


def mend(raws, parsed):
    """Return tables as text with the corrections of table ``corrections`` in their cells.

    Parameters
    ----------
    raws : dict
        Table name -> RawTable, as written.
    parsed : callable
        Takes the name of a table; returns its ParsedTable as written.

    Returns
    -------
    Mended

    Notes
    -----
    Of two corrections of one value that of the later day holds, and of one day the lower row; a
    row without a day counts as written on the day of the row above it.
    """
    if "corrections" not in raws:
        return Mended(raws)
    given = parsed("corrections")
    if not given.complete:
        return Mended(raws)
    days = given.frame["date"].ffill()
    order = days.sort_values(kind="stable", na_position="first").index
    tables, held, faults = {}, {}, []
    for row, record in given.frame.loc[order].iterrows():
        if any((row, name) in given.bad for name in given.table.names):
            continue
        if not all(record[name] for name in ("table", "key", "column")):
            continue
        try:
            name = _table(record["table"], raws)
            if name not in tables:
                tables[name] = Rows(parsed(name))
            at, column = tables[name].of(record)
            _check(tables[name], record, at, column, held.get((name, at, column), []))
            held.setdefault((name, at, column), []).append((row, record))
        except Refused as refused:
            column, rule, how = refused.args
            value = given.text(row, column) or None
            faults.append(Fault(given.file, row, given.written(column), value, rule, how))
    mended, told, cells = dict(raws), [], {}
    for (name, at, column), lot in held.items():
        row, record = lot[-1]
        rows, raw = tables[name], mended[name]
        whole = held.get((name, at, WHOLE_ROW))
        out = bool(whole) and not whole[-1][1]["new"]
        if out != (column == WHOLE_ROW):
            # Taken out whatever else is mended in it; or brought back, as it is written.
            continue
        if out:
            written, new, frame = WHOLE_ROW, "", raw.frame.drop(index=at)
        else:
            match = rows.parsed.matches[column]
            written, new = match.written, record["new"]
            frame = raw.frame.copy() if raw is raws[name] else raw.frame
            frame.loc[at, match.position] = new
            cells[raw.file, at, written] = (given.file, row, given.written("new"))
        gone = None if column == WHOLE_ROW else written
        mended[name] = replace(
            raw,
            frame=frame,
            faults=[f for f in raw.faults if f.row != at or gone not in (None, f.column)],
            bad={b for b in raw.bad if b[0] != at or gone not in (None, _header(raw, b[1]))},
        )
        old = "" if column == WHOLE_ROW else rows.texts(column)[at]
        if column == WHOLE_ROW or old != new:
            told.append(_told(rows, record, at, written, old, new))
    return Mended(mended, tuple(told), tuple(faults), cells)


def _header(raw, position):
    return raw.header[position] if position < len(raw.header) else ""


def _table(written, raws):
    name = normal(written)
    if name not in TABLES or name == "corrections":
        if name == "corrections":
            raise Refused(
                "table", "a correction is not corrected itself", "Add a later one; it holds."
            )
        hint = near(name, raws) or "The tables are " + ", ".join(TABLES) + "."
        raise Refused("table", "is not a table of the records", hint)
    if name not in raws:
        hint = near(name, raws) or "The tables here are " + ", ".join(raws) + "."
        raise Refused("table", f"there is no table {name} here", hint)
    return name


def _check(rows, record, at, column, before):
    """Refuse a correction whose old value is not what is written, or whose new one cannot be."""
    old, new = record["old"], record["new"]
    if column == WHOLE_ROW:
        if old or new not in ("", KEPT):
            raise Refused(
                "new" if new not in ("", KEPT) else "old",
                f"{WHOLE_ROW} stands for the whole row",
                f"Leave old and new blank to take the row out; new {KEPT} brings it back.",
            )
        return
    written = rows.texts(column)[at]
    known = [written, *(record["new"] for _, record in before)]
    if old and not any(rows.same(column, old, text) for text in known):
        raise Refused(
            "old",
            f"{rows.raw.file}, row {at} has '{written}' in {rows.parsed.written(column)}, not "
            f"'{old}'",
            "Check which row is meant, and write what stands there, or leave old blank.",
        )
    if not new and rows.table[column].required:
        how = f"Give the value that holds; column {WHOLE_ROW} takes the whole row out."
        raise Refused("new", f"{column} must be filled in", how)
    _, bad = rows.value(column, new)
    if bad:
        raise Refused("new", f"{rows.parsed.written(column)} {bad[0]}", bad[1])


def _told(rows, record, at, written, old, new):
    frame = rows.parsed.frame
    row = frame.loc[at] if at in frame.index else {}
    season = row.get("season", np.nan)
    if "season" not in row and "date" in row and not pd.isna(row["date"]):
        season = row["date"].year if rows.table.name != "weather" else np.nan
    day = None if pd.isna(record["date"]) else record["date"].date()
    return Correction(
        rows.table.name,
        rows.raw.file,
        at,
        row.get("block", ""),
        None if pd.isna(season) or not season else int(season),
        written,
        old,
        new,
        day,
        record["why"],
    )
