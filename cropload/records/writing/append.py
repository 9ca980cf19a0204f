"""Add rows to a table of the user's, leaving every existing byte of it as it is."""

import csv
import re
from datetime import date
from io import StringIO
from numbers import Integral

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.errors import CroploadError, near
from cropload.records.reading.cells import decimal_sign, escape_text
from cropload.records.reading.csv_table import decode, read_csv
from cropload.records.reading.faults import RecordsError
from cropload.records.reading.files import checked_path, csv_files, read_raw, tidy
from cropload.records.reading.headers import match_header
from cropload.records.reading.left_out import HALF, notes_on
from cropload.records.records import check_tables
from cropload.records.tables import table as described
from cropload.records.writing.gate import changing, changing_several, put_together
from cropload.units import from_metric


def append_rows(path, table, rows, widen=False):
    """Add rows at the end of a table of the user's folder or workbook.

    Parameters
    ----------
    path : str or path
        The folder or the .xlsx workbook, as for ``read_records``.
    table : str
        Name of the table, like ``pruning``.
    rows : DataFrame, or list of dict
        New rows by canonical column names, in metric units; blank where a value is ``None``.
    widen : bool
        Whether columns that a CSV file lacks are added at the end of its header row; else, and
        in a workbook, such rows are refused.

    Returns
    -------
    pathlib.Path
        The file that was added to (or made, when a folder had no such table).

    Raises
    ------
    CroploadError
        When the file is locked, read-only or was changed meanwhile.
    RecordsError
        When the new rows would be faults.  Nothing is written in either case.

    Notes
    -----
    Existing rows are neither rewritten nor reordered; a column added to the header is blank in
    them.  The file keeps its separator, decimal sign,
    units, encoding, byte order mark and line ends.  Runs that add at the same time wait for each
    other.
    """
    path = checked_path(path)
    if not path.is_file():
        return next(iter(append_tables(path, {table: rows}, widen)))
    from cropload.records.writing.workbook_append import append_to_workbook

    spec = described(table)
    rows = _plain_rows(rows, spec)
    with changing(path) as change:
        original = change.read()
        new, before, after = append_to_workbook(path, spec, rows)
        _check_new(spec, rows, before, after)
        if rows:
            change.put(new, original)
    return path


def append_tables(folder, tables, widen=False, beside=None):
    """Add rows to several tables of a folder: to all of them, or to none.

    Parameters
    ----------
    folder : path
        The folder.
    tables : dict
        {name: rows, as in ``append_rows``}, each table checked with those before it.
    widen : bool
        As in ``append_rows``.
    beside : callable, optional
        Takes {table: first new row of the file}; returns new files {path: bytes} that are written
        with them, or not at all.

    Returns
    -------
    dict
        {file: first new row of it}

    Raises
    ------
    CroploadError, RecordsError
        As ``append_rows``; nothing is written then.
    """
    plain = {name: _plain_rows(rows, described(name)) for name, rows in tables.items()}
    there = csv_files(folder)[0]
    files = {name: there.get(name, folder / f"{name}.csv") for name in plain}
    with changing_several(files.values()) as held:
        raws, faults, _ = read_raw(folder)
        news, lines = [], {}
        for (name, rows), file, change in zip(plain.items(), files.values(), held, strict=True):
            spec, original = described(name), change.read()
            _stop_at(faults, file.name)
            new, after = _added(file, original or b"", spec, rows, widen, raws)
            _check_new(spec, rows, raws.get(name), after)
            raws = after
            lines[name] = None
            if rows:
                lines[name] = int(after[name].frame.index[-len(rows)])
                news.append((change, new, original))
        if beside is None:
            put_together(news)
        else:
            more = beside(lines)
            with changing_several(more) as new:
                made = zip(new, more.values(), strict=True)
                put_together([*news, *((change, data, None) for change, data in made)])
    return {files[name]: line for name, line in lines.items()}


def _added(file, original, spec, rows, widen, raws):
    """Return the bytes of a CSV file with new rows, and all tables with them."""
    wide = _wider(file, original, spec, rows) if widen and original else original
    new = _with_rows(file, wide, spec, rows, raws)
    return new, raws | {spec.name: read_csv(spec, file.name, new)}


def _plain_rows(rows, spec):
    """Return rows as dicts of canonical name -> value, blank cells left out."""
    if isinstance(rows, pd.DataFrame):
        rows = rows.to_dict("records")
    plain = []
    for row in arguments.each(arguments.row, "a table or a list of dicts", least=0)("rows", rows):
        for name in row:
            if name not in spec.names:
                hint = near(name, spec.names) or "Its columns are " + ", ".join(spec.names) + "."
                raise CroploadError(f"The table {spec.name} has no column '{name}'. {hint}")
        plain.append({name: value for name, value in row.items() if not _is_blank(value)})
    return plain


def _is_blank(value):
    if isinstance(value, str):
        return not tidy(value)
    return value is None or bool(pd.isna(value))


def _stop_at(faults, file):
    mine = [fault for fault in faults if fault.file == file]
    if mine:
        raise RecordsError(mine, opening="Nothing was added")


def match_rows(spec, matches, rows, file):
    """Check that every value of new rows has a column in the file's header."""
    wanted = {name for row in rows for name in row}
    lost = [name for name in spec.names if name in wanted and name not in matches]
    if lost:
        raise CroploadError(
            f"{file} has no column {', '.join(lost)}, so nothing was added. "
            "Add the column to its header row first."
        )


def cell_value(value, column, us, suffix):
    """Return a value in the units of the file: a number, a date or tidy text."""
    if column.kind == "date":
        if isinstance(value, str):
            return tidy(value)
        return value.date() if hasattr(value, "date") else value
    if column.numeric and not isinstance(value, str):
        number = float(value)
        if us:
            number = float(f"{from_metric(number, suffix, column.difference):.12g}")
        return int(number) if number.is_integer() and abs(number) < 1e15 else number
    if isinstance(value, (float, np.floating)) and float(value).is_integer():
        value = int(value)
    return " ".join(tidy(str(value)).splitlines())


def _wider(file, original, spec, rows):
    """Return the bytes of a CSV file with the columns of new rows at the end of its header."""
    raw = read_csv(spec, file.name, original)
    there = match_header(raw)[0]
    lost = [name for name in spec.names if name not in there and any(name in row for row in rows)]
    if not lost:
        return original
    text, encoding, _ = decode(file.name, original)
    lines = re.split("(\r\n|\r|\n)", text)
    at = 2 * (raw.header_row - 1)
    before, header = "".join(lines[:at]).encode(encoding), lines[at].rstrip(raw.separator)
    mark = original[: len(original) - len(text.encode(encoding))]
    wide = raw.separator.join([header, *lost])
    rest = "".join(lines[at + 1 :])
    new = mark + before + (wide + rest).encode(encoding)
    # A header that runs over several lines is left as it is, and the lack is told.
    return new if read_csv(spec, file.name, new).header == [*raw.header, *lost] else original


def _with_rows(file, original, spec, rows, raws):
    """Return the bytes of a CSV file with new rows at its end."""
    from cropload.records.records import ParsedTable

    if original:
        text, encoding, _ = decode(file.name, original)
        raw = read_csv(spec, file.name, original)
        separator = raw.separator
    else:
        like = raws.get("blocks") or next(iter(raws.values()))
        text, encoding, separator = "", "utf-8", like.separator
    newline = next((end for end in ("\r\n", "\n", "\r") if end in text), None) or "\n"
    addition = ""
    if original:
        addition = "" if text.endswith(("\n", "\r")) else newline
    else:
        like = ParsedTable(like)
        us = any(match.us for match in like.matches.values())
        names = [(c.us_name or c.name) if us else c.name for c in spec.columns]
        addition = separator.join(names) + newline
        raw = read_csv(spec, file.name, addition.encode())
    parsed = ParsedTable(raw)
    if not parsed.complete:
        raise RecordsError(parsed.faults, opening="Nothing was added")
    match_rows(spec, parsed.matches, rows, file.name)
    decimal = _decimal(parsed, raws)
    lines = StringIO()
    writer = csv.writer(lines, delimiter=separator, lineterminator=newline)
    for row in rows:
        cells = [""] * len(raw.header)
        for name, value in row.items():
            column = spec[name]
            suffix = spec[column.follows].suffix if column.follows else column.suffix
            cell = cell_value(value, column, parsed.us(column), suffix)
            cells[parsed.matches[name].position] = _csv_text(cell, column, decimal)
        writer.writerow(cells)
    addition += lines.getvalue()
    try:
        return original + addition.encode(encoding)
    except UnicodeEncodeError:
        raise CroploadError(
            f"{file.name} is not UTF-8 and cannot hold all letters of the new rows. "
            "Save it as CSV UTF-8 first."
        ) from None


def _csv_text(cell, column, decimal):
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, (int, float)):
        return repr(cell).replace(".", decimal)
    return cell if column.numeric or column.kind == "date" else escape_text(cell)


def _decimal(parsed, raws):
    """Return the decimal sign of a file, or of its neighbours when it shows none itself."""
    if parsed.raw.separator == ",":
        return "."
    if parsed.decimal:
        return parsed.decimal
    for raw in raws.values():
        if raw.separator == parsed.raw.separator:
            texts = [text for name in raw.frame for text in raw.uniques(name)[1]]
            found = decimal_sign(texts)
            if found:
                return found
    return "," if parsed.raw.separator == ";" else "."


def _check_new(spec, rows, before, after):
    """Raise the faults of the new rows; check that the old ones are as they were."""
    last = 1
    if before is not None:
        last = max([before.header_row, *before.frame.index])
        old = after[spec.name].frame.loc[:last]
        width = before.frame.shape[1]
        same = old.iloc[:, :width].to_numpy().tolist() == before.frame.to_numpy().tolist()
        if not same or (old.iloc[:, width:] != "").any(axis=None):
            raise CroploadError(
                f"{before.file} cannot be added to safely, so nothing was written. "
                "Add the rows by hand."
            )
    file = after[spec.name].file
    checked = check_tables(after)
    faults = checked.faults
    mine = [f for f in faults if f.file == file and (f.row is None or f.row > last or f.row == 1)]
    told = checked.parsed[spec.name].told
    if told is not None:
        # What is left out of a read is not added either.
        mine += notes_on(
            told[(told.index > last) & (told["rule"] != HALF)], checked.parsed[spec.name]
        )
    if spec.name == "corrections":
        # What is corrected in a table may break a rule of that table.
        old = {name: raw for name, raw in after.items() if name != spec.name}
        old |= {} if before is None else {spec.name: before}
        known = set(check_tables(old).faults)
        mine = [fault for fault in faults if fault in mine or fault not in known]
    if not mine and len(after[spec.name].frame) != len(rows) + (
        0 if before is None else len(before.frame)
    ):
        raise CroploadError(f"{file} cannot be added to safely, so nothing was written.")
    if mine:
        raise RecordsError(mine, opening="Nothing was added")


def save_plan(path, season, block, plan, day=None):
    """Add a chosen plan to table ``pruning`` as a row of its own.

    Parameters
    ----------
    path : str or path
        The folder or workbook of the records.
    season : int
        Year of the harvest the pruning is for.
    block : str
        Name of the block.
    plan : str
        The plan, like ``3x8+3x2``.
    day : date, optional
        Day of the decision; left out where the table has no column for it.

    Returns
    -------
    pathlib.Path
        The file that was added to.

    Raises
    ------
    CroploadError
        As ``append_rows``; also when that plan, of that day, is there already.

    Notes
    -----
    A row with the prunings of the same block and season stays as it is: the two are read as one.
    An earlier plan of the block and season stays too, and the later one holds.
    """
    if not isinstance(season, Integral) or isinstance(season, bool):
        raise CroploadError(f"The season must be the year of a harvest, not {season!r}.")
    row = {"season": int(season), "block": block, "plan": str(plan)}
    if day is not None:
        try:
            return append_rows(path, "pruning", [{**row, "date": day}])
        except RecordsError:
            raise
        except CroploadError as error:
            # Only a table without the column may do without the day.
            if "date" not in str(error):
                raise
    return append_rows(path, "pruning", [row])
