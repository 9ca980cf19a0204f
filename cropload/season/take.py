"""Filled count sheets: read by one reader, held against the records, and added to them once."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.records.doubts.places import ON_A_VINE
from cropload.records.later_rows import holding
from cropload.records.reading.check import cross_checks
from cropload.records.reading.dates import date_order
from cropload.records.reading.faults import Fault, RecordsError, some_faults
from cropload.records.reading.files import (
    OTHER_BOOKS,
    WORKBOOKS,
    RawTable,
    read_bytes,
    read_raw,
    stop,
    tidy,
)
from cropload.records.reading.header_words import meant
from cropload.records.reading.headers import match_header, normal
from cropload.records.records import ParsedTable, date_columns, read_records
from cropload.records.tables import TABLES
from cropload.units import from_metric

_COUNTS = TABLES["counts"]
_KEY = list(_COUNTS.key)
#: What the head of a sheet can tell for all its lines.
_HEAD = ("season", "date", "block", "counter")
_OTHER_FILES = (*OTHER_BOOKS, ".numbers")


@dataclass(frozen=True, eq=False)
class TakenSheet:
    """A filled count sheet, as it was understood.

    Attributes
    ----------
    file : str
        Name of the file.
    frame : DataFrame
        The rows of table ``counts`` that are new, in metric units; what is on record is left out.
    there : int
        Vines of which all that the sheet tells was on record already [1].
    blank : int
        Lines that nobody filled in [1].
    doubts : tuple of Fault
        What is possible but doubtful.
    """

    file: str
    frame: pd.DataFrame
    there: int
    blank: int
    doubts: tuple

    @property
    def measures(self):
        """The columns that the new rows fill, in words."""
        filled = [name for name in ON_A_VINE if self.frame[name].notna().any()]
        return [_in_words(name) for name in filled]

    def words(self, done="added"):
        """Return what was added (or else done), was there already and is blank, in a sentence."""
        told, vines = [], self.frame[self.frame["missing"] != 1]
        places = vines.drop_duplicates(_KEY)["block"].value_counts(sort=False)
        if len(places) == 1:
            told.append(f"{_number(places.iloc[0], 'vine')} of {places.index[0]} {done}")
        elif len(places):
            each = ", ".join(f"{block} {number:,}" for block, number in places.items())
            told.append(f"{places.sum():,} vines of {len(places)} blocks {done} ({each})")
        if told and self.measures:
            told[0] += f", {', '.join(self.measures)}"
        gone = len(self.frame) - len(vines)
        if gone:
            told.append(f"{_number(gone, 'place')} without a vine {done}")
        if self.there:
            vines = _number(self.there, "vine")
            told.append(f"{vines} on record already with these numbers, not added again")
        if self.blank:
            told.append(f"{_number(self.blank, 'line')} left blank")
        return f"{self.file}: {'; '.join(told) or 'nothing is filled in'}."


@arguments.check_arguments(
    files=arguments.each(arguments.path, "the names of count sheets"), into=arguments.path
)
def take_sheets(files, into):
    """Take filled count sheets into the records.

    Parameters
    ----------
    files : path, or sequence of path
        Count sheets, CSV or .xlsx, of one block or many; all sheets of a workbook are read.
    into : path
        The folder or workbook of the records.

    Returns
    -------
    list of TakenSheet
        One a file: what was added, and what was on record already.

    Raises
    ------
    RecordsError
        With every fault of every sheet; of a sheet at fault nothing is added, the sheets without
        a fault are, and the message says what was.
    CroploadError
        When the records cannot be read or written.

    Notes
    -----
    A sheet names its block, day, season and counter in columns or in lines above its header.
    Measures of one vine on one day complete each other, in one sheet or several, and with what is
    on record; another number than the one on record is a fault, and nothing is replaced.  Valid
    for the dates, decimal signs and units that ``read_records`` reads.
    """
    records = read_records(into)
    sheets, faults = read_sheets(files, records)
    rows = new_rows(sheets)
    if len(rows):
        from cropload.records.writing.append import append_rows

        append_rows(into, "counts", rows, widen=True)
    if faults:
        told = [*(sheet.words() for sheet in sheets), "The sheets below are not taken"]
        raise RecordsError(faults, opening="\n".join(told))
    return sheets


def new_rows(sheets):
    """Return the new rows of sheets for table ``counts``, one a vine and day."""
    frames = [sheet.frame for sheet in sheets if len(sheet.frame)]
    if not frames:
        return pd.DataFrame(columns=_COUNTS.names)
    return holding(_COUNTS, pd.concat(frames, ignore_index=True))


def read_sheets(files, records):
    """Read filled count sheets beside the records that they are for.

    Parameters
    ----------
    files : iterable of path, or of (str, bytes)
        The files, or their names and contents.
    records : Records
        The blocks, and what is counted already.

    Returns
    -------
    (list of TakenSheet, list of Fault)
        The sheets without a fault, each read as if those before it were on record, and the faults
        of all others.
    """
    blocks, known = _blocks(records), _on_record(records.counts)
    elsewhere, sheets, faults = None, [], []
    for file in files:
        name = file[0] if isinstance(file, tuple) else Path(file).name
        try:
            raws, found, doubts = _raw_sheets(file)
            blank = {place: _prepare(raw, sheet, blocks) for place, (sheet, raw) in raws.items()}
        except RecordsError as error:
            faults += error.faults
            continue
        order = date_order(date_columns(raw for _, raw in raws.values()))
        if not order.shown:
            elsewhere = _order_of(records) if elsewhere is None else elsewhere
            order = elsewhere
        reading = _Reading(blocks, dict(known))
        for _, raw in raws.values():
            found += reading.read(raw, order)
        if found:
            faults += found
            continue
        known = reading.known
        doubts = (*doubts, *reading.doubts)
        sheets.append(TakenSheet(name, reading.frame(), reading.there, sum(blank.values()), doubts))
    return sheets, faults


class _Reading:
    """One file on its way into the records: what it adds to what is known."""

    def __init__(self, blocks, known):
        self.blocks, self.known = blocks, known
        self.rows, self.there, self.doubts = [], 0, []

    def frame(self):
        """Return the new rows, with every column of the table in its own type."""
        rows = pd.DataFrame(self.rows, columns=_COUNTS.names)
        words = {name: rows[name].fillna("").astype(str) for name in ("block", "row", "vine")}
        words["counter"] = rows["counter"].astype(object).where(rows["counter"].notna(), "")
        numbers = {name: rows[name].astype(float) for name in [*ON_A_VINE, "missing"]}
        typed = {"date": pd.to_datetime(rows["date"]), "season": rows["season"].astype("int64")}
        return rows.assign(**typed, **words, **numbers)

    def read(self, raw, order):
        """Take a table of counts up; return its faults."""
        matches, faults, unknown = match_header(raw)
        # What looks like a misspelt column would be lost unread.
        lost = [fault for fault in unknown if fault.mend]
        if not faults and not raw.header_bad and not set(matches) & {*ON_A_VINE, "missing"}:
            mend = f"Add a column of what was counted: {', '.join(ON_A_VINE)}."
            lost = lost or [Fault(raw.file, 1, None, None, "counts nothing", mend)]
        parsed = ParsedTable(raw, order)
        faults = [*lost, *parsed.faults]
        if parsed.complete and not lost:
            found, doubts = cross_checks({"blocks": self.blocks, "counts": parsed})
            faults += [fault for fault in found if fault.file == raw.file]
            faults += self._held_against_known(parsed)
            if not faults:
                own = (each for each in doubts() if each.file == raw.file)
                self.doubts += [*parsed.warnings, *own]
        return faults

    def _held_against_known(self, parsed):
        """Add what is new; return a fault for each number that is on record as another."""
        frame = parsed.frame.dropna(subset=["season", "date"])
        numbers = [*ON_A_VINE, "missing"]
        other, gone = {name: {} for name in [*numbers, "counter"]}, {}
        for at, row in zip(frame.index, frame.to_dict("records"), strict=True):
            key = tuple(row[name] for name in _KEY)
            old = self.known.get(key, {})
            told = {name: row[name] for name in numbers if row[name] == row[name]}
            new = {name: value for name, value in told.items() if name not in old}
            for name in told.keys() & old.keys():
                if not np.isclose(told[name], old[name], rtol=1e-9, atol=0):
                    other[name][at] = old[name]
            who, before = row["counter"], old.get("counter", "")
            if who and before and who != before and not new:
                other["counter"][at] = before
            whole = old | new
            if old and whole.get("missing") == 1 and whole.keys() & set(ON_A_VINE):
                gone[at] = "nothing can be" if old.get("missing") == 1 else "something is"
            if not new and (before or not who):
                self.there += 1
                continue
            self.rows.append({name: row[name] for name in _KEY} | new | {"counter": who})
            self.known[key] = whole | {"counter": before or who}
        faults = [
            fault for name, rows in other.items() for fault in _others_faults(parsed, name, rows)
        ]
        mend = "Leave the counts, or missing, blank: the one that is wrong."
        rule = "{} counted on the vine by what is on record"
        faults += some_faults(
            gone,
            lambda row: Fault(parsed.file, row, "missing", None, rule.format(gone[row]), mend),
        )
        return faults


def _others_faults(parsed, name, rows):
    column, written = _COUNTS[name], parsed.written(name)

    def fault(row):
        old = rows[row]
        if column.numeric:
            old = from_metric(old, column.suffix) if parsed.us(column) else old
            old = f"{old:.6g}"
        rule = "something else is on record for this vine and day"
        mend = "Blank the cell to keep what is on record, or mend the record (`cropload correct`)."
        value = f"{parsed.text(row, name)} (on record: {old})"
        return Fault(parsed.file, row, written, value, rule, mend)

    return some_faults(rows, fault)


def _raw_sheets(file):
    """Return {place: (name of the sheet or "", RawTable)} of a file, faults and doubts."""
    name, data = file if isinstance(file, tuple) else (Path(file).name, None)
    ending = Path(name).suffix.lower()
    if ending in _OTHER_FILES:
        mend = "Open it in your spreadsheet program and save it as .xlsx or .csv."
        stop(name, "is not a count sheet as .csv or .xlsx", mend)
    if ending in WORKBOOKS:
        from cropload.records.reading.workbook import read_like

        if data is None:
            read_bytes(Path(file))
            raws, faults, doubts = read_like(Path(file), _COUNTS)
        else:
            from cropload.records.writing.gate import private_folder

            own = Path(name.replace("\\", "/")).name
            with private_folder({own: data}) as folder:
                raws, faults, doubts = read_like(folder / own, _COUNTS)
        return {raw.file: (sheet, raw) for sheet, raw in raws.items()}, faults, doubts
    from cropload.records.reading.csv_table import read_csv

    data = read_bytes(Path(file)) if data is None else data
    return {name: ("", read_csv(_COUNTS, name, data, titled=True))}, [], []


def _prepare(raw, sheet, blocks):
    """Fill in what the head of a sheet tells, and leave out blank lines; return how many."""
    heading = _heading(raw.titles)
    if sheet in set(blocks.frame["block"]):
        heading.setdefault("block", sheet)
    places = {normal(head): at for at, head in enumerate(raw.header)}
    known = {alias for name in [*ON_A_VINE, "missing"] for alias in _COUNTS[name].aliases}
    boxes = [at for head, at in places.items() if head in known]
    faulty = {row for row, _ in raw.bad}
    filled = raw.frame[boxes].apply(lambda cells: cells.map(tidy) != "").any(axis=1)
    # A box that says no more than that a vine stands there is as good as blank.
    gap = places.get("missing")
    if gap is not None:
        rest = raw.frame[[at for at in boxes if at != gap]]
        none = rest.apply(lambda cells: cells.map(tidy) == "").all(axis=1)
        filled &= ~(none & raw.frame[gap].map(tidy).isin(["", "0", "0.0", "FALSE"]))
    blank = ~filled & ~raw.frame.index.isin(faulty)
    if boxes:
        raw.frame = raw.frame[~blank].copy()
    for name, value in heading.items():
        at = places.get(name)
        if at is None:
            at = len(raw.header)
            raw.header.append(name)
            raw.frame[at] = value
        else:
            raw.frame[at] = raw.frame[at].where(raw.frame[at].map(tidy) != "", value)
    return int(blank.sum()) if boxes else 0


def _heading(titles):
    """Return what lines like "Block: Long Acre" tell above the header, by column."""
    found = {}
    for line in titles:
        cells = [tidy(cell) for cell in line]
        for at, cell in enumerate(cells):
            word, _, value = cell.partition(":")
            head = normal(word)
            column = head if head in _HEAD else meant("counts", head, _HEAD)
            value = tidy(value) or next(filter(None, cells[at + 1 :]), "")
            if column and value:
                found.setdefault(column, value)
    return found


def _blocks(records):
    """Return table blocks of records as it would be read."""
    frame = records.blocks.astype(object)
    frame = frame.where(frame.notna(), "").astype(str)
    header, frame.columns = list(frame.columns), range(frame.shape[1])
    return ParsedTable(RawTable(TABLES["blocks"], "table blocks", header, frame))


def _on_record(counts):
    """Return {what names a vine and day: what is on record of it}."""
    known = {}
    numbers = [*ON_A_VINE, "missing"]
    for row in counts.to_dict("records"):
        told = {name: row[name] for name in numbers if row[name] == row[name]}
        if row["counter"]:
            told["counter"] = row["counter"]
        key = tuple(row[name] for name in _KEY)
        known[key] = told | known.get(key, {})
    return known


def _order_of(records):
    """Return the order of day and month that the files of records show."""
    raws = read_raw(records.path)[0].values() if Path(records.path).exists() else ()
    return date_order(date_columns(raws))


def _in_words(name):
    from cropload.season.count_sheet import LABELS

    return LABELS.get(name, name.replace("_", " ")).lower()


def _number(count, word):
    return f"{count:,} {word}{'' if count == 1 else 's'}"
