"""Take daily weather of a public service, or of a logger, into the records, each day once."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.errors import near
from cropload.records.reading.faults import Fault, RecordsError, fault_list
from cropload.records.reading.files import read_bytes
from cropload.records.reading.left_out import TWICE, named
from cropload.records.reading.weather_files import read_weather_file
from cropload.records.reading.weather_layouts import DEGREES
from cropload.records.records import read_records
from cropload.records.writing.append import append_rows
from cropload.show.table import DATE, WHOLE, Column, Table
from cropload.units import METRIC

_TEMPERATURES = ["tmin_c", "tmax_c"]
#: Values that differ by less are the same one, rounded; whole degrees Fahrenheit round more [C].
_SAME_C, _SAME_F_C = 0.06, 0.29
#: With this many days on record already, files that differ by more in the middle are of another
#: station or unit [1], [C].
_SHARED_DAYS, _OTHER_C = 10, 1.0


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class TakenWeather(Answer):
    """What was taken of daily weather files.

    Attributes
    ----------
    frame : DataFrame
        A row a file: file, layout, degrees (in words), days with a temperature, added, known (on
        record with the same values), other (on record with other values, left as they were),
        left_out (cannot be), missing (no temperature) [1], first and last of its days.
    station : str
        Name of the station in table weather.
    into : pathlib.Path
        The file that was added to, or would be.
    """

    station: str
    into: Path

    def heading(self, units=METRIC):
        """Return how many days were added where, and what each file was read as."""
        added = int(self.frame["added"].sum())
        read = "; ".join(
            f"{row.file} as {row.layout}, in {row.degrees}" for row in self.frame.itertuples()
        )
        if not added:
            done = f"{self.station}: no new day, so {self.into.name} is as it was."
        else:
            done = f"{self.station}: {added:,} day{'s' * (added > 1)} added to {self.into.name}."
        return f"{done} Read: {read}."

    def tables(self, units=METRIC):
        """Return one table, a row a file."""
        columns = [
            (Column("file"), "file"),
            (Column("first", DATE), "first"),
            (Column("last", DATE), "last"),
            (Column("days", WHOLE), "days"),
            (Column("added", WHOLE), "added"),
            (Column("known", WHOLE), "known"),
            (Column("with other values", WHOLE), "other"),
            (Column("cannot be", WHOLE), "left_out"),
            (Column("missing", WHOLE), "missing"),
        ]
        return [Table.of("weather_files", "FILES, in days", self.frame.to_dict("records"), columns)]


@arguments.check_arguments(
    station=arguments.text,
    code=arguments.optional(arguments.text),
    degrees=arguments.optional(arguments.one_of("c", "f", "tenths")),
)
def take_weather(files, station, into, *, code=None, degrees=None):
    """Add the days of daily weather files to table weather, each day once.

    Parameters
    ----------
    files : path, sequence of path, or mapping of name to bytes
        Daily files of Environment and Climate Change Canada, NOAA GHCN-Daily or its daily
        summaries, DWD or Meteo-France, or tables with a date and the lowest and highest
        temperature of each day.
    station : str
        Name of the station in table weather, as column station of table blocks has it.
    into : str or path
        The folder or workbook of the records.
    code : str, optional
        Code or name that the files give the station; needed where one holds several.
    degrees : {"c", "f", "tenths"}, optional
        Unit of the temperatures, where neither layout nor header tells it.

    Returns
    -------
    TakenWeather

    Raises
    ------
    CroploadError
        With every fault of every file (file, row, value, rule, mend), for records that cannot be
        read or added to, and for a file that is of another station or unit than what the records
        hold of this one.  Nothing is added then.

    Notes
    -----
    A day on record with another value is told and stays; the same file twice adds nothing.
    Missing values and those that a quality flag speaks against are not used.
    Valid for the layouts as their services document them, written down from memory.
    """
    contents, records = _contents(files), read_records(into)
    found, faults = [], []
    for name, data in contents:
        try:
            data = read_bytes(data) if isinstance(data, Path) else data
            found.append(read_weather_file(name, data, station, code=code, degrees=degrees))
        except RecordsError as error:
            faults += error.faults
    held = _on_record(records, station)
    rows, told, notes = [], [], []
    for each in found:
        day = each.frame.set_index("date")[_TEMPERATURES]
        shared = day.join(held, how="inner", rsuffix="_held")
        gap = pd.concat(
            [(shared[name] - shared[f"{name}_held"]).abs() for name in _TEMPERATURES], axis=1
        ).max(axis=1)
        if len(gap) >= _SHARED_DAYS and gap.median() > _OTHER_C:
            rule = (
                f"differs from what is on record of {station} by {gap.median():.1f} °C as a rule, "
                f"over {len(gap):,} days"
            )
            mend = "Is it of another station, or in another unit? Name the station it is of."
            faults.append(Fault(each.file, None, None, None, rule, mend))
        # A day whose value was left out of the read, as it stands twice, has no value to hold.
        same = _SAME_F_C if each.degrees == DEGREES["f"] else _SAME_C
        other = gap.index[~(gap <= same)]
        new = day[~day.index.isin(held.index)]
        rows.append(new)
        told.append(_row(each, new, gap, other))
        notes += _notes(each, shared, other)
        held = pd.concat([held, new])
    if faults:
        raise RecordsError(faults, opening="Nothing was added")
    new = pd.concat(rows) if rows else held[:0]
    file = records.path
    if len(new):
        digits = 10 if records.us else 2
        new = new.round(digits).rename_axis("date").reset_index()
        file = append_rows(into, "weather", new.assign(station=station))
    elif file.is_dir():
        file /= "weather.csv"
    notes += _station_notes(records, station)
    return TakenWeather(pd.DataFrame(told), tuple(notes), station=station, into=file)


def _contents(files):
    """Return the name and the path or bytes of each file."""
    if isinstance(files, Mapping):
        if files and all(isinstance(data, bytes) for data in files.values()):
            return [(str(name), data) for name, data in files.items()]
        raise arguments.fault("files", files, "the bytes of each file by its name")
    paths = arguments.each(arguments.path, "daily weather files")("files", files)
    return [(Path(path).name, Path(path).expanduser()) for path in paths]


def _on_record(records, station):
    """Return the days of a station on record, those left out for standing twice as blank ones."""
    held = records.weather
    if records.left_out is not None:
        twice = records.left_out[records.left_out["rule"] == TWICE].drop_duplicates("date")
        blank = twice.assign(tmin_c=float("nan"), tmax_c=float("nan"))
        held = pd.concat([held, blank[held.columns]])
    return held[held["station"] == station].set_index("date")[_TEMPERATURES]


def _row(each, new, gap, other):
    frame = each.frame
    return {
        "file": each.file,
        "layout": each.layout,
        "degrees": each.degrees,
        "first": frame["date"].min(),
        "last": frame["date"].max(),
        "days": len(frame),
        "added": len(new),
        "known": len(gap) - len(other),
        "other": len(other),
        "left_out": sum(1 + note.more for note in each.notes if "left out" in note.rule),
        "missing": each.missing,
    }


def _notes(each, shared, other):
    """Return what a reader must know of one file."""
    notes = []
    if len(other):
        first = shared.loc[other[0]]
        notes.append(
            f"{each.file}: {len(other):,} day(s) are on record with other values, which stay: "
            f"{named(other)}; on {other[0]:%Y-%m-%d} {first['tmin_c_held']:.1f} / "
            f"{first['tmax_c_held']:.1f} is on record and {first['tmin_c']:.1f} / "
            f"{first['tmax_c']:.1f} in the file (°C)"
        )
    if each.refused:
        notes.append(
            f"{each.file}: {each.refused:,} temperature(s) are not used, as a quality flag of the "
            "file speaks against them"
        )
    # A note as text runs over lines; here it is one.
    notes += [" ".join(fault_list([note]).split()) for note in each.notes]
    return notes


def _station_notes(records, station):
    """Say when no block names the station."""
    named_by = [str(name) for name in records.blocks["station"] if str(name)]
    if station in named_by or not len(records.blocks):
        return []
    hint = near(station, named_by) or "Write it into column station of table blocks."
    return [f"no block names the station {station} yet. {hint}"]
