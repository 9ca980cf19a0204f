"""Read a daily weather file of a public service, or any table of days, as rows of table weather."""

import csv
import re
from dataclasses import dataclass, replace
from io import StringIO

import pandas as pd

from cropload import clock
from cropload.errors import near
from cropload.records.reading.csv_table import decode
from cropload.records.reading.dates import date_order
from cropload.records.reading.faults import Fault, RecordsError, some_faults
from cropload.records.reading.files import RawTable, stop, tidy
from cropload.records.reading.weather_layouts import (
    DEGREES,
    LAYOUTS,
    MARKS,
    MISSING,
    UNIT_WORDS,
    WORDS,
    Layout,
)
from cropload.records.records import ParsedTable
from cropload.records.tables import TABLES

#: A header stands among the first lines, below what is told of the station.
_MOST_TITLES = 60
#: No day reaches these in Fahrenheit, so whole numbers beyond are tenths of Celsius (records of
#: 134 and -128 F, the latter where no vine grows; from memory) [F].
_HOTTEST_F, _COLDEST_F = 134, -80
#: A month's days stand in one line of a file; each is known by the line, times this, and its place.
_IN_A_LINE = 100
#: A file may hold all that a station ever measured, a line each.
_MOST_LINES = 2_000_000
_PACKED = {b"PK": ".zip", b"\x1f\x8b": ".gz"}


@dataclass(frozen=True)
class WeatherFile:
    """What a daily weather file holds.

    Attributes
    ----------
    file, layout, degrees : str
        Its name, what it is, and the unit of its temperatures in words.
    frame : DataFrame
        station, date, tmin_c and tmax_c [C], a day a row, each day once; the index numbers the
        rows of the file.
    missing : int
        Days without any temperature that can be used [1].
    refused : int
        Temperatures that a flag of the file speaks against [1].
    notes : tuple of Fault
        Days that cannot be, and are left out.
    """

    file: str
    layout: str
    degrees: str
    frame: pd.DataFrame
    missing: int
    refused: int
    notes: tuple


def plain_header(cell):
    """Return a cell of a header in the form of the layouts.

    Examples
    --------
    >>> plain_header("Max Temp (°C)")
    'max_temp_c'
    """
    return re.sub(r"[^a-z0-9]+", "_", tidy(cell).lower()).strip("_")


def read_weather_file(file, data, station, *, code=None, degrees=None):
    """Read one daily weather file.

    Parameters
    ----------
    file : str
        Its name, for messages.
    data : bytes
        Its content.
    station : str
        Name that its station has in the records.
    code : str, optional
        Code or name that the file gives the station; needed where it holds several.
    degrees : {"c", "f", "tenths"}, optional
        Unit of its temperatures; only where the file does not tell it.

    Returns
    -------
    WeatherFile

    Raises
    ------
    RecordsError
        With every fault: layout, station, unit, columns, dates, values.

    Notes
    -----
    Valid for files with one lowest and one highest temperature a day, of the layouts of
    ``weather_layouts``, and for tables with a date and such columns.
    """
    ending = next((end for sign, end in _PACKED.items() if data.startswith(sign)), "")
    if ending:
        mend = "Save a workbook as CSV." if file.lower().endswith((".xlsx", ".xlsm")) else ""
        stop(file, f"is packed ({ending}) and is no text", mend or "Unpack it first.")
    text, _, _ = decode(file, data, _MOST_LINES)
    text = re.sub(r"\r\n?", "\n", text)
    layout, days, written = _days_of(file, text)
    days = _one_station(file, layout, days, code)
    days, refused = _judged(layout, days)
    degrees = _degrees(file, layout, days, written, degrees)
    if degrees == "tenths":
        for name in ("low", "high"):
            days[name] = days[name].map(_tenth)
    nothing = (days["low"] == "") & (days["high"] == "")
    parsed = _parsed(file, days[~nothing], station, "_f" if degrees == "f" else "_c")
    _check_days(parsed)

    def placed(fault):
        row = fault.row
        if layout.month_of_days and row is not None:
            row //= _IN_A_LINE
        return replace(fault, row=row, column=written.get(fault.column, fault.column))

    if parsed.faults:
        raise RecordsError(map(placed, parsed.faults), opening="Nothing was added")
    unit, notes = DEGREES[degrees], tuple(map(placed, parsed.warnings))
    return WeatherFile(file, layout.name, unit, parsed.frame, int(nothing.sum()), refused, notes)


def _check_days(parsed):
    """Add the fault of days that are still to come."""
    late = parsed.frame.index[parsed.frame["date"] > pd.Timestamp(clock.today())]
    rule = f"lies after today ({clock.today()}), so nothing can have been measured"
    mend = "Take out what was foretold; check the year."
    parsed.faults += some_faults(
        late,
        lambda row: Fault(parsed.file, int(row), "date", parsed.text(row, "date"), rule, mend),
    )


def _parsed(file, days, station, unit):
    """Return days, as text, through the one reading of table weather."""
    header = ["station", "date", f"tmin{unit}", f"tmax{unit}"]
    dates = days["date"].str.replace(r"^(\d{4})(\d{2})(\d{2})$", r"\1-\2-\3", regex=True)
    columns = (pd.Series(station, days.index), dates, days["low"], days["high"])
    cells = pd.DataFrame(dict(enumerate(columns)), index=days.index)
    # Numbers with a decimal comma are of files whose cells are parted by another sign.
    raw = RawTable(TABLES["weather"], file, header, cells, separator=";")
    return ParsedTable(raw, date_order([(file, cells[1])]))


def _days_of(file, text):
    """Return the layout of a file, its days as text, and {our column: the file's}."""
    lines = text.split("\n")
    for layout in LAYOUTS:
        if layout.first_line and re.match(layout.first_line, lines[0].lstrip("\ufeff ")):
            if layout.month_of_days:
                return layout, _by_element(layout, _months(layout, lines)), {}
            table = _table(file, text, ",", list(layout.columns), 0)
            return layout, _by_element(layout, table), {}
    for at, line in enumerate(lines[:_MOST_TITLES]):
        for sign in (";", ",", "\t"):
            cells = next(csv.reader([line], delimiter=sign), [])
            names = [plain_header(cell) for cell in cells]
            layout = _layout(names)
            if layout is None:
                continue
            table = _table(file, text, sign, names, at + 1)
            told = {ours: tidy(cell) for ours, cell in _told(layout, names, cells)}
            if layout.element:
                return layout, _by_element(layout, table), told
            found = pd.DataFrame(
                {
                    name: table.get(getattr(layout, name), "")
                    for name in ("date", "low", "high", "low_flag", "high_flag")
                }
            )
            return layout, pd.concat([found, _codes(layout, table)], axis=1), told
    rule = "is no daily weather: no header with a date, a lowest and a highest temperature"
    mend = (
        "Give a daily file as its service publishes it, or a table with the columns date, tmin_c "
        "and tmax_c (or tmin_f and tmax_f)."
    )
    stop(file, rule, mend, tidy(lines[0])[:60])


def _told(layout, names, cells):
    """Yield our name of a column, and its cell of the header."""
    for ours, theirs in (("date", layout.date), ("tmin", layout.low), ("tmax", layout.high)):
        if theirs in names:
            for name in [ours] if ours == "date" else [f"{ours}_c", f"{ours}_f"]:
                yield name, cells[names.index(theirs)]


def _layout(names):
    """Return the layout whose columns a header holds, or None."""
    for layout in LAYOUTS:
        needed = [layout.date, layout.element, layout.value] if layout.element else []
        needed = needed or [layout.date, layout.low, layout.high]
        known = {layout.low_flag, *layout.stations} & set(names)
        if known and set(needed) <= set(names) and not layout.first_line:
            return layout
    found, units = {}, set()
    for name in names:
        words = name.split("_")
        unit = UNIT_WORDS.get(words[-1], "")
        words = words[:-1] if unit else words
        words = [word for word in words if word not in ("deg", "degree", "degrees")]
        what = WORDS.get("_".join(words), "")
        if what and what not in found:
            found[what] = name
            units |= {unit} if what in ("low", "high") else set()
    if not {"date", "low", "high"} <= set(found):
        return None
    stations = (found["station"],) if "station" in found else ()
    unit = units.pop() if len(units) == 1 else ""
    kind = "table of days"
    return Layout(
        kind, found["date"], found["low"], found["high"], unit, MISSING, stations=stations
    )


def _table(file, text, sign, names, skipped):
    """Return the rows below a header as text, by the names of the columns."""
    unique = [name if names.index(name) == at else f"{at}" for at, name in enumerate(names)]
    try:
        table = pd.read_csv(
            StringIO(text),
            sep=sign,
            header=None,
            names=unique,
            usecols=range(len(unique)),
            skiprows=skipped,
            index_col=False,
            dtype=str,
            na_filter=False,
            skip_blank_lines=False,
            skipinitialspace=True,
        )
    except (ValueError, OverflowError) as error:
        rule = f"is not a table ({str(error).strip()})"
        stop(file, rule, "Look for a row with more cells than the header, or an open quotation.")
    table.index = table.index + 1 + skipped
    table = table.apply(lambda cells: cells.str.strip())
    return table[(table != "").any(axis=1)]


def _codes(layout, table):
    """Return the columns that name the station, numbered."""
    found = [name for name in layout.stations if name in table]
    return pd.DataFrame({f"code{at}": table[name] for at, name in enumerate(found)}, table.index)


def _months(layout, lines):
    """Return a row a day and element of lines that hold a month each."""
    first, wide, step, quality = layout.month_of_days
    rows = []
    for number, line in enumerate(lines, start=1):
        if line[17:21] not in (layout.low, layout.high):
            continue
        for day in range(31):
            cell = line[first + day * step :][:step]
            rows.append(
                (
                    number,
                    line[:11],
                    f"{line[11:15]}{line[15:17]}{day + 1:02}",
                    line[17:21],
                    cell[:wide].strip(),
                    cell[quality : quality + 1].strip(),
                )
            )
    names = ["row", "id", "date", "element", "data_value", "q_flag"]
    found = pd.DataFrame(rows, columns=names).set_index("row")
    return found[~found["data_value"].isin(["", *(f"{mark:g}" for mark in layout.missing)])]


def _by_element(layout, table):
    """Return a row a day of a table that has one for each day and element."""
    keys = ["code0", "date"]
    table = table.assign(code0=table[layout.stations[0]], row=table.index)
    table = table.rename(columns={layout.date: "date"})
    parts = []
    for name, element in (("low", layout.low), ("high", layout.high)):
        part = table[table[layout.element].str.upper() == element]
        part = part.assign(part=part.groupby(keys).cumcount())
        parts.append(
            part[[*keys, "part", "row", layout.value, layout.low_flag]].rename(
                columns={layout.value: name, layout.low_flag: f"{name}_flag", "row": f"{name}_row"}
            )
        )
    days = parts[0].merge(parts[1], on=[*keys, "part"], how="outer")
    rows = days[["low_row", "high_row"]].min(axis=1).astype(int)
    if layout.month_of_days:
        rows = rows * _IN_A_LINE + rows.groupby(rows).cumcount()
    texts = ["date", "low", "high", "low_flag", "high_flag", "code0"]
    return days[texts].fillna("").set_index(pd.Index(rows, name="row")).sort_index()


def _one_station(file, layout, days, code):
    """Return the days of one station of a file."""
    codes = [name for name in days if name.startswith("code")]
    if days.empty or not codes:
        if code is not None and not codes:
            stop(file, "names no station", "Leave out which of its stations is meant.", code)
        return days
    known = days[codes].drop_duplicates()
    told = [" ".join(filter(None, row)) for row in known.to_numpy().tolist()]
    if code is None:
        number = len(set(known["code0"]))
        if number > 1:
            rule = f"holds {number:,} stations"
            some = "; ".join(told[:8]) + ("; ..." if len(told) > 8 else "")
            stop(file, rule, f"Name the one you mean by its code (--code): {some}.")
        return days
    wanted = tidy(str(code)).lower()
    mine = pd.concat([days[name].str.lower() == wanted for name in codes], axis=1).any(axis=1)
    if not mine.any():
        names = [cell for row in known.to_numpy().tolist() for cell in row]
        hint = near(str(code), names) or f"It holds {'; '.join(told[:8])}."
        stop(file, "holds no such station", hint, str(code))
    return days[mine]


def _judged(layout, days):
    """Return days whose missing and refused temperatures are blank, and how many were refused."""
    refused, days = 0, days.copy()
    for name in ("low", "high"):
        flags = days[f"{name}_flag"]
        if layout.flag_part:
            flags = flags.str.split(",").str.get(layout.flag_part).fillna("")
        flags = flags.str.strip()
        bad = flags != ""
        if layout.refused is not None:
            bad &= flags.map(lambda flag: bool(set(flag) & set(layout.refused)))
        number = pd.to_numeric(days[name].str.replace(",", ".", regex=False), errors="coerce")
        gone = number.isin(layout.missing) | days[name].str.lower().isin(MARKS)
        refused += int((bad & ~gone & (days[name] != "")).sum())
        days[name] = days[name].mask(bad | gone, "")
    return days, refused


def _tenth(text):
    """Return a number of tenths as degrees; what is no number stays as it is."""
    return f"{float(text) / 10:g}" if re.fullmatch(r"[+-]?\d+(?:\.0*)?", text) else text


def _degrees(file, layout, days, written, given):
    """Return the unit of the temperatures: as the layout or its header tells, or the numbers."""
    told = layout.degrees or _by_numbers(layout, days)
    if given and told and given != told:
        rule = f"holds {DEGREES[told]}, as {layout.name} does, not {DEGREES[given]}"
        stop(file, rule, "Leave the unit out.")
    if not (given or told):
        column = written.get("tmin_c")
        rule = "tells not in which unit its temperatures are"
        mend = (
            "Say it (--degrees c, f or tenths), or name the columns tmin_c and tmax_c, or tmin_f "
            "and tmax_f."
        )
        raise RecordsError([Fault(file, None, column, None, rule, mend)], "Nothing was added")
    return given or told


def _by_numbers(layout, days):
    """Return the unit that the numbers of NOAA's daily summaries show, or ``""``.

    Ordered in metric units they are Celsius with a decimal, in standard units whole degrees
    Fahrenheit; as kept by the archive they are whole tenths of Celsius (from memory).
    """
    if layout not in LAYOUTS:
        return ""
    numbers = pd.to_numeric(pd.concat([days["low"], days["high"]]), errors="coerce").dropna()
    if (numbers % 1 != 0).any():
        return "c"
    return "tenths" if ((numbers > _HOTTEST_F) | (numbers < _COLDEST_F)).any() else ""
