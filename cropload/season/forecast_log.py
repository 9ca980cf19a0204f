"""The forecast log: a line a block each time a forecast is kept, never rewritten."""

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd

from cropload import __version__, arguments, clock
from cropload.beliefs import ranges
from cropload.errors import CroploadError
from cropload.records.reading.faults import Fault
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
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "'")


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
    told = log["version"].astype(str).str.extract(r", model (\d+)$", expand=False)
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
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for row in rows:
        writer.writerow(
            [
                _guarded(row[name]) if isinstance(row[name], str) else repr(row[name])
                for name in columns
            ]
        )
    head = ",".join(columns) + "\n"
    with changing(target) as change:
        before = change.read()
        start = head
        if before:
            first = before.split(b"\n", 1)[0].decode("utf-8-sig", "replace")
            if first.strip() != head.strip():
                raise CroploadError(
                    f"{FILE} was begun with other columns, so nothing was added to it. Move it to "
                    "another name to begin a new log; nothing in it is lost."
                )
            # A cell too many keeps a line that was cut in its last number from being read.
            start = "" if before.endswith(b"\n") else f",{_CUT}\n"
        change.put((before or b"") + (start + text.getvalue()).encode("utf-8"), before)
    return target


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
    Valid for a log that ``cropload forecast --log`` or a notebook has kept.
    """
    target = log_path(path)
    if not target.exists():
        return pd.DataFrame(columns=list(HEAD)), ()
    try:
        text = target.read_text(encoding="utf-8-sig", errors="replace")
    except OSError as error:
        raise CroploadError(f"The log {target} cannot be read ({error.strerror}).") from None
    # Line by line, so that a quotation mark without its pair breaks no other line.
    lines = [next(csv.reader([line]), []) for line in text.split("\n")]
    if not any(lines):
        return pd.DataFrame(columns=list(HEAD)), ()
    columns, rows, faults = lines[0], [], []
    kinds = [HEAD.get(name, float) for name in columns]
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cells):
            continue
        try:
            if len(cells) != len(columns) or number == len(lines):
                raise ValueError
            rows.append(
                [
                    _plain(cell) if kind is str else kind(cell)
                    for kind, cell in zip(kinds, cells, strict=True)
                ]
            )
        except ValueError:
            faults.append(
                Fault(
                    file=FILE,
                    row=number,
                    column="",
                    value=",".join(cells)[:60],
                    rule="the line is broken (a write cut short?)",
                    mend="It is skipped; the lines around it are used. If it is whole, end it with "
                    "a line break.",
                )
            )
    return pd.DataFrame(rows, columns=columns), tuple(faults)
