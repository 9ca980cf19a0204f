"""Read and check a season's records: a folder of CSV files, or one workbook."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from cropload.answer import Asked
from cropload.records.corrections import correction_notes, mend
from cropload.records.events import losses_as_events
from cropload.records.facts import area_ha
from cropload.records.former_names import COPY, PresentNames, placed, under_present_names
from cropload.records.later_rows import earlier_plans, holding
from cropload.records.reading.cells import decimal_sign, parse, widths, words
from cropload.records.reading.check import check_frame, cross_checks
from cropload.records.reading.dates import NO_ORDER, borrowed, date_order, of_the_order, told_once
from cropload.records.reading.faults import Fault, RecordsError, some_faults
from cropload.records.reading.files import checked_path, read_raw
from cropload.records.reading.headers import match_header
from cropload.records.reading.left_out import HALF, left_out, notes_on, sift
from cropload.records.reading.whole_file import alike
from cropload.records.tables import TABLES
from cropload.units import to_metric


class Doubts:
    """What is doubtful in records, found when it is first asked for: most answers need none of it.

    Parameters
    ----------
    find : callable, optional
        Takes a list for what was answered; returns the rest as Faults; nothing when left out.
    """

    def __init__(self, find=lambda settled: ()):
        self._find, self._told, self._settled = find, None, None

    def told(self):
        """Return it as a tuple of Fault."""
        if self._told is None:
            # What it was found in, the text of every cell, is let go of.
            settled = []
            self._told, self._find = tuple(self._find(settled)), None
            self._settled = tuple(settled)
        return self._told

    def settled(self):
        """Return what was answered, and is not raised again, as a tuple of Fault."""
        self.told()
        return self._settled

    def __reduce__(self):
        # What finds them cannot be sent, what they are can.
        return (_doubts_told, (self.told(), self.settled()))


def _doubts_told(told, settled):
    return Doubts(lambda list_: list_.extend(settled) or told)


@dataclass(frozen=True, eq=False)
class Records(Asked):
    """What people measured in a vineyard, read, checked and turned into metric units.

    Attributes
    ----------
    path : pathlib.Path
        Where the records were read from.
    blocks, pruning, counts, fertility, weights : pandas.DataFrame
    harvest, events, dates, weather, prices, capacity : pandas.DataFrame
    contracts, tanks, presses, picking, pickers : pandas.DataFrame
    scenarios, parts, corrections, answered, estimates, strips : pandas.DataFrame
        One frame a table, with every column of the table in metric units; a column or table that
        was not given is blank or empty.  ``season`` is int64, numbers are float64, dates
        datetime64[ns], text is ``""`` where blank.
    doubts : Doubts
        What finds ``warnings``.
    given : frozenset of str
        The tables that were there.
    last_harvest : int
        Year of the last harvest read, also where its rows are left out since; 0 where the table
        harvest itself says it.
    us : bool
        Whether the table of blocks is written in US units.
    earlier_plans : pandas.DataFrame or None
        Rows as in ``pruning``, as they stood before a later plan of the same season and block;
        only an earlier day asks for them.
    left_out : pandas.DataFrame or None
        Days of weather that cannot be and were left out: station, date, tmin_c, tmax_c [C], rule.
    corrected : tuple of Correction
        Values that were written wrong and are read as table ``corrections`` has them.
    name_notes : tuple of str
        How the history of blocks that were split, joined or regrafted is read.
    """

    path: Path
    blocks: pd.DataFrame = field(repr=False)
    pruning: pd.DataFrame = field(repr=False)
    counts: pd.DataFrame = field(repr=False)
    fertility: pd.DataFrame = field(repr=False)
    weights: pd.DataFrame = field(repr=False)
    harvest: pd.DataFrame = field(repr=False)
    events: pd.DataFrame = field(repr=False)
    dates: pd.DataFrame = field(repr=False)
    weather: pd.DataFrame = field(repr=False)
    prices: pd.DataFrame = field(repr=False)
    capacity: pd.DataFrame = field(repr=False)
    contracts: pd.DataFrame = field(repr=False)
    tanks: pd.DataFrame = field(repr=False)
    presses: pd.DataFrame = field(repr=False)
    picking: pd.DataFrame = field(repr=False)
    pickers: pd.DataFrame = field(repr=False)
    scenarios: pd.DataFrame = field(repr=False)
    parts: pd.DataFrame = field(repr=False)
    corrections: pd.DataFrame = field(repr=False)
    estimates: pd.DataFrame = field(repr=False)
    strips: pd.DataFrame = field(repr=False)
    answered: pd.DataFrame = field(repr=False)
    doubts: Doubts = field(default_factory=Doubts, repr=False)
    given: frozenset = frozenset()
    last_harvest: int = 0
    us: bool = False
    earlier_plans: pd.DataFrame | None = field(default=None, repr=False)
    left_out: pd.DataFrame | None = field(default=None, repr=False)
    corrected: tuple = field(default=(), repr=False)
    name_notes: tuple = field(default=(), repr=False)

    @property
    def warnings(self):
        """What is possible but doubtful, as a tuple of Fault; looked for when first asked for."""
        return self.doubts.told()

    @property
    def settled(self):
        """Doubts that table ``answered`` says are right, as a tuple of Fault."""
        return self.doubts.settled()

    def not_as_written(self, season):
        """Return in sentences which values an answer on a season does not take as written."""
        return [*correction_notes(self.corrected, int(season)), *self.name_notes]

    def block(self, name):
        """Return a block of these records, of which the same questions can be asked.

        Examples
        --------
        >>> from cropload import example_records
        >>> acre = example_records().block("Long Acre")
        >>> len(acre.compare("3x6+3x2,3x8+3x2"))
        2
        """
        return BlockOfRecords(self, name)


@dataclass(frozen=True, eq=False)
class BlockOfRecords(Asked):
    """One block of some records, of which questions can be asked: compare, find, thin and so on."""

    records: Records = field(repr=False)
    name: str

    def _given(self):
        return self.records, self.name


class ParsedTable:
    """One table as typed metric columns, with the way back to what the user wrote.

    Parameters
    ----------
    raw : RawTable
        The table as text.
    order : DateOrder
        The order of day and month that the dates of all tables show.
    """

    def __init__(self, raw, order=NO_ORDER):
        self.order = order
        self.raw, self.table, self.file = raw, raw.table, raw.file
        self.matches, faults, warnings = match_header(raw)
        self.complete = not faults and not raw.header_bad
        self.faults = [*raw.faults, *faults]
        self.warnings = [*raw.warnings, *warnings]
        names = {match.position: name for name, match in self.matches.items()}
        self.bad = {(row, names[at]) for row, at in raw.bad if at in names}
        self._orderless, self._no_numbers, self._cells = [], [], {}
        self.frame = self._parsed()
        self.told = None
        if self.complete and self.table.sifted and not self._orderless:
            self._sift()
        if self.complete:
            self.faults += check_frame(self.table, self.frame, self, self.bad)

    def written(self, column):
        """Return the name of a column as the user's header writes it."""
        match = self.matches.get(column)
        return match.written if match else column

    def text(self, row, column):
        """Return the text of a cell as the user wrote it."""
        match, rows = self.matches.get(column), self.raw.frame.index
        if match is None or row % COPY not in rows:
            return ""
        if column not in self._cells:
            self._cells[column] = self.raw.frame[match.position].to_numpy(object)
        return self._cells[column][rows.get_loc(row % COPY)].strip()

    def us(self, column):
        """Whether a column is given in US units."""
        match = self.matches.get(column.follows or column.name)
        return bool(match and match.us)

    def _parsed(self):
        factored = {name: self.raw.uniques(match.position) for name, match in self.matches.items()}
        decimal = ""
        if self.raw.separator not in (None, ","):
            numbers = [
                text
                for name, (_, texts) in factored.items()
                if self.table[name].numeric
                for text in texts
            ]
            decimal = decimal_sign(numbers)
        self.decimal = decimal
        columns = {}
        for column in self.table.columns:
            if column.name not in factored:
                columns |= _blanks(column, len(self.raw.frame))
                continue
            codes, texts = factored[column.name]
            values, bad = parse(codes, texts, column, decimal or ".", self.order)
            if self.us(column):
                suffix = self.table[column.follows].suffix if column.follows else column.suffix
                values = to_metric(values, suffix, column.difference)
            columns[column.name] = values
            if column.ranged:
                columns[column.width] = widths(codes, texts, column, decimal or ".")
            if bad:
                self._report(column, codes, texts, bad)
        self._tell_order()
        self.faults += alike(self._no_numbers, decimal, self.raw.separator)
        return pd.DataFrame(columns, index=self.raw.frame.index)

    def _sift(self):
        """Leave out days that cannot be, and tell them once a rule."""
        told = sift(self.table, self.frame, self.bad)
        if told.empty:
            return
        self.told = self.frame.loc[told.index].assign(rule=told)
        self.warnings += notes_on(self.told, self)
        # What could not be read in these rows is told by now.
        cells = {self.written(name) for name in ("date", "tmin_c", "tmax_c")}
        rows = set(told.index)
        self.faults = [f for f in self.faults if not (f.row in rows and f.column in cells)]
        self.bad |= {(row, name) for row in rows for name in ("tmin_c", "tmax_c")}
        self.frame = self.frame.drop(index=told.index[told != HALF])

    def _tell_order(self):
        """Tell once a table of dates whose order is not known, or shows only elsewhere."""
        if self._orderless:
            _, _, written, (rule, mend) = self._orderless[0]
            dates = [(row, text) for row, text, _, _ in self._orderless]
            self.faults.append(told_once(self.file, written, dates, rule, mend))
        for name, match in self.matches.items():
            if self.table[name].kind == "date":
                cells = self.raw.frame[match.position]
                doubt = borrowed(self.file, match.written, cells, self.order)
                if doubt:
                    self.warnings.append(doubt)
                    break

    def _report(self, column, codes, texts, bad):
        written = self.written(column.name)
        where = np.flatnonzero(np.isin(codes, list(bad)))
        rows = self.raw.frame.index.to_numpy()[where]
        self.bad.update((row, column.name) for row in rows.tolist())
        kinds = {}
        for row, code in zip(rows.tolist(), codes[where].tolist(), strict=True):
            kinds.setdefault(bad[code][0], {})[row] = code
        for rule in [rule for rule in kinds if of_the_order(rule)]:
            rows = kinds.pop(rule)
            self._orderless += [
                (row, texts[code], written, bad[code]) for row, code in rows.items()
            ]
        for members in kinds.values():

            def fault(row, members=members):
                return Fault(self.file, row, written, texts[members[row]], *bad[members[row]])

            if column.numeric:
                self._no_numbers += [(fault(row), column) for row in members]
            else:
                self.faults += some_faults(members, fault)


def _blank(column, length):
    if column.numeric:
        return np.full(length, np.nan)
    if column.kind == "date":
        return np.full(length, np.datetime64("NaT"), dtype="datetime64[ns]")
    return words([""], np.zeros(length, int))


def _blanks(column, length):
    """Return what stands for a column that was not given, and for the widths of its ranges."""
    found = {column.name: _blank(column, length)}
    return found | ({column.width: np.full(length, np.nan)} if column.ranged else {})


def empty_frame(name):
    """Return an empty frame with the canonical columns and dtypes of a table."""
    return _empty_frame(name).copy()


@cache
def _empty_frame(name):
    blanks = [_blanks(column, 0) for column in TABLES[name].columns]
    return _finished(name, pd.DataFrame({key: part[key] for part in blanks for key in part}))


def _finished(name, frame):
    """Return a checked frame with blanks filled by their defaults and a plain index."""
    table = TABLES[name]
    frame = holding(table, frame) if table.completes else frame
    frame = _typed(table, frame)
    return frame.assign(area_ha=area_ha(frame)) if name == "blocks" else frame


def _typed(table, frame):
    """Return rows with blanks filled by their defaults, whole seasons and a plain index."""
    frame = frame.reset_index(drop=True)
    changes = {
        column.name: frame[column.name].fillna(column.default)
        for column in table.columns
        if column.default is not None
    }
    if "season" in table.names:
        changes["season"] = changes.get("season", frame["season"]).astype("int64")
    return frame.assign(**changes)


def read_records(path):
    """Read and check the records of a vineyard.

    Parameters
    ----------
    path : str or path
        A folder with a CSV file for each table, or an .xlsx workbook with a sheet for each, or a
        folder that holds no table as CSV file and one such workbook.

    Returns
    -------
    Records
        One frame a table in metric units; ``.warnings`` holds what is possible but doubtful.

    Raises
    ------
    RecordsError
        With every fault of every table; each names file, row, column, value, rule and mend.

    Notes
    -----
    Valid for UTF-8 (with or without byte order mark), UTF-16 and, with a warning, latin-1 files;
    separators comma, semicolon, tab or pipe, also told by a first line like ``sep=;``; line ends
    of any system; a decimal comma in files that are not comma-separated; files of up to 100 MB and
    500,000 rows, names of up to 100 characters;
    metric column names or their US twins.  Dates are written YYYY-MM-DD; day/month/year or
    month/day/year is read where a date of any table shows the order, which holds for all tables.
    """
    raws, faults, warnings = read_raw(path)
    path = checked_path(path)
    return assemble(path, raws, faults, warnings)


def date_columns(raws):
    """Yield the file and the cells of every date column of raw tables."""
    for raw in raws:
        for match in match_header(raw)[0].values():
            if match.column.kind == "date":
                yield raw.file, raw.frame[match.position]


@dataclass(frozen=True)
class Checked:
    """Tables that were checked.

    parsed : {name: ParsedTable}, under the names that blocks have today; faults : list of Fault;
    doubts : callable that finds the warnings, where there is no fault; corrected : tuple of
    Correction; names : PresentNames.
    """

    parsed: dict
    faults: list
    doubts: Callable
    corrected: tuple
    names: PresentNames


def parser(raws):
    """Return what parses one of some tables by name, its dates in the order that all show."""
    order = date_order(date_columns(raws.values()))
    return lambda name: ParsedTable(raws[name], order)


def check_tables(raws):
    """Parse raw tables as they are corrected, and check them each and together.

    Returns
    -------
    Checked
    """
    parse = parser(raws)
    mended = mend(raws, parse)
    if mended.raws is not raws:
        parse = parser(mended.raws)
    parsed = {name: parse(name) for name in TABLES if name in raws}
    faults = [fault for table in parsed.values() for fault in table.faults]
    warnings = [doubt for table in parsed.values() for doubt in table.warnings]
    names = under_present_names(parsed)
    found, doubts = cross_checks(parsed)
    faults = placed([*mended.faults, *mended.placed(faults + names.faults + found)])

    def told(settled=None):
        held = []
        found = placed([*warnings, *names.warnings, *doubts(held)])
        if settled is not None:
            settled += placed(held)
        return found

    return Checked(parsed, faults, told, mended.told, names)


def assemble(path, raws, faults=(), warnings=()):
    """Check raw tables together and return Records, or raise every fault at once."""
    checked = check_tables(raws)
    parsed, doubts = checked.parsed, checked.doubts
    faults = [*faults, *checked.faults]
    place = Path(path)
    if "blocks" not in parsed and not any("blocks" in fault.file.lower() for fault in faults):
        hints = [f"{fault.file}: {fault.mend}" for fault in warnings if "'blocks'" in fault.mend]
        mend = " ".join(hints) or "Add it: one row for each block."
        faults.append(Fault(place.name, None, None, None, "the table blocks is missing", mend))
    elif "blocks" in parsed and parsed["blocks"].raw.frame.empty and not parsed["blocks"].faults:
        file = parsed["blocks"].file
        faults.append(
            Fault(file, None, None, None, "holds no block", "Add one row for each block.")
        )
    if faults:
        raise RecordsError(faults)
    frames = {
        name: _finished(name, parsed[name].frame) if name in parsed else empty_frame(name)
        for name in TABLES
    }
    blocks, pruning, before = parsed["blocks"], TABLES["pruning"], None
    told = parsed["weather"].told if "weather" in parsed else None
    if "pruning" in parsed:
        before = _typed(pruning, earlier_plans(pruning, parsed["pruning"].frame))
    read = Records(
        place,
        **frames,
        doubts=Doubts(lambda settled: [*warnings, *doubts(settled)]),
        given=frozenset(parsed),
        us=any(blocks.us(column) for column in blocks.table.columns),
        earlier_plans=before,
        left_out=None if told is None else told[left_out(told)].reset_index(drop=True),
        corrected=checked.corrected,
        last_harvest=checked.names.last_harvest,
        name_notes=checked.names.notes,
    )
    return losses_as_events(read)
