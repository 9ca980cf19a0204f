"""The forecast log: a line a block each time a forecast is kept, never rewritten."""

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd

from cropload import __version__, arguments, clock
from cropload.beliefs import ranges
from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.errors import CroploadError
from cropload.records.reading.cells import decimal_sign
from cropload.records.reading.csv_table import SEPARATORS, plain, separator_of
from cropload.records.reading.dates import date_order, read_dates
from cropload.records.reading.faults import Fault
from cropload.records.reading.files import tidy
from cropload.records.writing.gate import changing
from cropload.records.writing.theirs import LOG_FILE
from cropload.vine.growth import COMPONENTS

#: Name of the file, beside the records.
FILE = LOG_FILE

#: Columns before those of the components, with the type each is read back as.
HEAD = {
    "logged_at": str,
    "version": str,
    "season": int,
    "as_of": str,
    "stage": str,
    "seed": int,
    "draws": int,
    "interval": str,
    "block": str,
    "plan": str,
    "tonnes_p10": float,
    "tonnes_p50": float,
    "tonnes_p90": float,
    "tonnes_centre": float,
    "picked_tonnes": float,
    "picked_share": float,
}

#: Number of the model behind a forecast, kept with the version in every row of the log.
MODEL = 2

_CUT = "cut short"
_FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "'")


def log_path(path):
    """Return where the log of these records lies: in their folder, or beside their workbook."""
    path = Path(path)
    return (path if path.is_dir() else path.parent) / FILE


def _guarded(text):
    """Keep a text on its line, and from becoming a formula when a spreadsheet opens the log."""
    text = " ".join(text.splitlines())
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _plain(text):
    return text[1:] if text[:1] == "'" and text[1:2] in _FORMULA_STARTS else text


def models(log):
    """Return the numbers of the models behind the rows of a log, (rows,) [1]."""
    told = log["version"].astype(str).str.extract(r", model (\d{1,6})$", expand=False)
    return told.fillna("1").astype(int)


def log_forecast(forecast, path):
    """Append a forecast to the log of the season folder.

    Parameters
    ----------
    forecast : Forecast
        What to keep.
    path : path-like
        The season folder, or the workbook of the records.

    Returns
    -------
    pathlib.Path
        The log.

    Raises
    ------
    CroploadError
        When the log cannot be written.

    Notes
    -----
    Components are kept as their centre [own unit] and their spread on the log scale [1], so that
    a later review can tell which of them missed.
    """
    table, about = forecast.frame, forecast.attrs()
    centre = forecast.estate.centre()
    spread = forecast.estate.spread()
    tonnes = forecast.centre_tonnes()
    now = clock.now()
    rows = []
    for at, block in enumerate(forecast.blocks):
        row = {
            "logged_at": now,
            "version": f"{__version__}, model {MODEL}",
            "season": forecast.season,
            "as_of": about["as_of"],
            "stage": forecast.stage,
            "seed": forecast.seed,
            "draws": about["draws"],
            "interval": about["interval"],
            "block": block,
            "plan": forecast.plans[at],
            "tonnes_centre": float(tonnes[at]),
            "picked_tonnes": float(forecast.picked["tonnes"].iloc[at]),
            "picked_share": float(forecast.picked["share"].iloc[at]),
        }
        for end in ranges.ENDINGS:
            row[f"tonnes_{end}"] = float(table[f"tonnes_{end}"].iloc[at])
        for place, name in enumerate(COMPONENTS):
            row[f"{name}_centre"] = float(np.exp(centre[at, place]))
            row[f"{name}_spread"] = float(spread[at, place])
        rows.append(row)
    extra = [f"{name}_{what}" for name in COMPONENTS for what in ("centre", "spread")]
    return append_log(path, rows, extra)


def append_log(path, rows, extra):
    """Append rows to the log: all of them, or none.

    Parameters
    ----------
    path : path-like
        The season folder, or the workbook of the records.
    rows : list of dict
        One a block, with the columns of ``HEAD`` and ``extra``.
    extra : sequence of str
        Names of the further columns, numbers all.

    Returns
    -------
    pathlib.Path
        The log.

    Raises
    ------
    CroploadError
        When the log cannot be written, or has other columns than these.

    Notes
    -----
    What was there before is never touched. A last line that another program cut short stays as
    it is; ``read_log`` skips it and says so.
    """
    target = log_path(path)
    columns = [*HEAD, *extra]
    with changing(target) as change:
        old = change.read()
        before = old or b""
        if before.startswith((b"\xff\xfe", b"\xfe\xff")):
            raise CroploadError(
                f"{FILE} is saved as UTF-16, so nothing was added to it. Save it as CSV UTF-8."
            )
        lines, sign = _lines(before)
        if before and next(csv.reader([lines[0]], delimiter=sign), []) != columns:
            raise CroploadError(
                f"{FILE} was begun with other columns, so nothing was added to it. Move it to "
                "another name to begin a new log; nothing in it is lost."
            )
        point = _decimal(lines, sign)
        text = io.StringIO()
        writer = csv.writer(text, delimiter=sign, lineterminator="\n")
        if not before:
            writer.writerow(columns)
        elif not before.endswith((b"\n", b"\r")):
            # A cell too many keeps a line that was cut in its last number from being read.
            text.write(f"{sign}{_CUT}\n")
        for row in rows:
            writer.writerow(
                [
                    _guarded(row[name])
                    if isinstance(row[name], str)
                    else repr(row[name]).replace(".", point)
                    for name in columns
                ]
            )
        change.put(before + text.getvalue().encode("utf-8"), old)
    return target


def _lines(data):
    """Return the lines of a log, without one that names the separator, and the separator.

    A spreadsheet program may have saved it in its own way.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", "replace")
    else:
        text = "".join(map(_decoded, data.removeprefix(b"\xef\xbb\xbf").splitlines(True)))
    text, sign = plain(text)
    lines = text.split("\n")
    return lines, sign if sign in SEPARATORS else separator_of(lines[0], HEAD)


def _decoded(line):
    """Return the text of a line: a broken one breaks no other."""
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("cp1252", "replace")


def _decimal(lines, sign):
    """Return the decimal sign of a log: a comma only where another sign parts the cells."""
    if sign == ",":
        return "."
    cells = (tidy(cell) for line in lines[1:] for cell in line.split(sign))
    return decimal_sign(list(cells)) or "."


@arguments.check_arguments(path=arguments.path)
def read_log(path):
    """Read the forecast log.

    Parameters
    ----------
    path : path-like
        The season folder, or the workbook of the records.

    Returns
    -------
    log : DataFrame
        One row a block and forecast, oldest first; empty when nothing was logged.
    faults : tuple of Fault
        The lines that were skipped because they are broken, such as a last line cut short.

    Raises
    ------
    CroploadError
        When the log is there and cannot be read.

    Notes
    -----
    Valid for a log that ``cropload forecast --log`` or a notebook has kept, also as a spreadsheet
    program saves it: with another separator, decimal commas, or the day first in dates.
    """
    target = log_path(path)
    if not target.exists():
        return pd.DataFrame(columns=list(HEAD)), ()
    try:
        data = target.read_bytes()
    except OSError as error:
        raise CroploadError(f"The log {target} cannot be read ({error.strerror}).") from None
    lines, sign = _lines(data)
    # Line by line, so that a quotation mark without its pair breaks no other line.
    cells = [next(csv.reader([line], delimiter=sign), []) for line in lines]
    columns = [tidy(cell) for cell in cells[0]]
    if not any(map(any, cells)):
        return pd.DataFrame(columns=list(HEAD)), ()
    lost = [name for name in HEAD if columns.count(name) != 1]
    if lost:
        rule = f"is not the header of the log, which has {', '.join(lost)} once each"
        mend = "Write the header back, or move the file to another name to begin a new log."
        fault = Fault(FILE, 1, None, ", ".join(columns), rule, mend)
        return pd.DataFrame(columns=list(HEAD)), (fault,)
    rows, faults = {}, []
    comma = _decimal(lines, sign) == ","
    for number, line in enumerate(cells[1:], start=2):
        if not any(line):
            continue
        try:
            if len(line) != len(columns) or number == len(lines):
                raise ValueError
            row = [
                _value(cell, HEAD.get(name, float), comma)
                for name, cell in zip(columns, line, strict=True)
            ]
            told = _no_forecast(dict(zip(columns, row, strict=True)))
            if told:
                name, rule = told
                rule = f"{rule}, so the line is skipped"
                mend = "Write the line back as it was kept; the lines around it are used."
                faults.append(Fault(FILE, number, name, line[columns.index(name)], rule, mend))
            else:
                rows[number] = row
        except ValueError:
            rule = "the line is broken (a write cut short?)"
            mend = (
                "It is skipped; the lines around it are used. If it is whole, end it with a line "
                "break."
            )
            faults.append(Fault(FILE, number, "", ",".join(line)[:60], rule, mend))
    log = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    log, undated = _dated(log)
    faults = sorted([*faults, *undated], key=lambda fault: fault.row)
    return log.reset_index(drop=True), tuple(faults)


def _no_forecast(row):
    """Return the column of a line that no forecast can have, and the rule; None where all can."""
    if not FIRST_YEAR <= row["season"] <= LAST_YEAR:
        return "season", f"must be a year from {FIRST_YEAR} to {LAST_YEAR}"
    if abs(row["seed"]) >= 2**63 or not 0 <= row["draws"] < 2**31:
        return "seed", "is no seed, or draws is no number of draws"
    ends = [row[f"tonnes_{end}"] for end in ranges.ENDINGS]
    if not (np.isfinite(ends).all() and ends[0] >= 0 and ends == sorted(ends)):
        return "tonnes_p50", "the three tonnes must be numbers that rise"
    if not 0 <= row["tonnes_centre"] < np.inf:
        return "tonnes_centre", "must be a number not below 0"
    for name in ("picked_tonnes", "picked_share"):
        if row[name] < 0 or np.isinf(row[name]):
            return name, "must be a number not below 0"
    for name, value in row.items():
        if name not in HEAD and not (0 <= value < np.inf and (value or "_spread" in name)):
            return name, "must be a number above 0"
    return None


def _value(cell, kind, comma):
    if kind is str:
        return _plain(cell)
    return kind(cell.replace(",", ".") if comma else cell)


def _dated(log):
    """Return the rows whose day can be read, with the year first, and a fault for each other."""
    texts = log["as_of"].map(tidy)
    bad = {}
    days = read_dates(texts.tolist(), date_order([(FILE, texts)]), bad)
    undated = {int(log.index[at]): told for at, told in bad.items()}
    faults = [
        Fault(FILE, row, "as_of", texts[row], f"{rule}, so the line is skipped", mend)
        for row, (rule, mend) in undated.items()
    ]
    written = pd.Series(days, log.index).dt.strftime("%Y-%m-%d").fillna("")
    return log.assign(as_of=written.astype(str)).drop(index=list(undated)), faults
