"""A sheet to count by: printed for a pencil, and a CSV whose empty cells are filled in later."""

import csv
import io
import math
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pandas as pd

from cropload.errors import CroploadError, near
from cropload.records.reading.faults import Fault, RecordsError
from cropload.records.tables import TABLES
from cropload.units import US, to_metric, unit_system, us_name

#: Columns of ``counts`` that a sheet can ask for, and the word over the box.
LABELS = {
    "buds": "Buds",
    "shoots": "Shoots",
    "noncount_shoots": "Other shoots",
    "clusters": "Clusters",
    "suitable_canes": "Good canes",
    "pruning_weight_kg": "Prunings",
    "leaf_area_m2": "Leaf area",
}
_WINTER = {"buds", "suitable_canes", "pruning_weight_kg"}
_WHERE = ("season", "date", "block", "row", "vine")
_CUT = "Wear eye protection and gloves where canes are cut or pulled; keep tools closed."
_SPRAY = "Enter only when the re-entry time on the product label of the last spray is over."
_GROUND = "Mind wet ground, slopes, wires and machines; follow the site's rules and local codes."
#: What anybody who counts between the rows is told.
CAUTIONS = (_CUT, _SPRAY, _GROUND)


def count_sheet(
    picked,
    season,
    columns=("clusters",),
    *,
    date="",
    variety="",
    plan="",
    units=None,
    weigh=(),
    clusters=0,
):
    """Make the printed sheet of one block.

    Parameters
    ----------
    picked : PickedVines
        Vines of one block from ``pick_vines``, in walking order.
    season : int
        Year of harvest.
    columns : sequence of str
        What to count: columns of ``counts``.
    date, variety, plan : str
        Printed where given.
    units : {"metric", "us"} or UnitSystem, optional
        Unit of prunings and leaf area: [kg] and [m2], or [lb] and [ft2].
    weigh : collection of int
        Stops at which clusters are weighed too.
    clusters : int
        Clusters weighed on each of these vines [1].

    Returns
    -------
    str
        One HTML page without outside addresses; it prints on A4 and on Letter.

    Raises
    ------
    CroploadError
        No vine picked, more than one block, or a column that is not counted on vines.

    Notes
    -----
    Text from records is escaped.  Valid for up to five columns; more make the boxes narrow.
    """
    block, columns = _checked(picked, columns)
    system = _system(units)
    rows, shown = "", []
    for row, vine in zip(picked["row"], picked["vine"], strict=True):
        new, stop = bool(shown) and row != rows, len(shown) + 1
        shown.append({"row": row, "vine": vine, "new": new, "weigh": stop in weigh})
        rows = row
    asked = []
    for column in columns:
        unit = TABLES["counts"][column].unit
        unit = "" if unit == "1" else unit
        if unit and system is US:
            unit = us_name(column).rsplit("_", 1)[1]
        label = f"{LABELS[column]} [{unit}]" if unit else LABELS[column]
        asked.append({"label": label, "explanation": TABLES["counts"][column].explanation})
    cautions = [_CUT, _GROUND] if _WINTER & set(columns) else [_SPRAY, _GROUND]
    return _template().render(
        block=block,
        # Inside a style sheet HTML escaping is not enough: only plain signs are let through.
        block_css=" ".join(re.sub(r"[^\w.,()+-]", " ", block).split()),
        season=season,
        variety=variety,
        plan=str(plan),
        date=str(date),
        columns=asked,
        vines=shown,
        wanted=picked.wanted,
        seed=picked.seed,
        clusters=clusters,
        cautions=cautions,
    )


def count_sheet_csv(picked, season, date, columns=("clusters",), *, units=None):
    """Make the same sheet as a CSV: what was counted is typed into its empty cells.

    Parameters
    ----------
    picked : PickedVines
        Vines of one block from ``pick_vines``.
    season : int
        Year of harvest.
    date : date or str
        Day of the visit; mend it in the file if the visit moves.
    columns : sequence of str
        Columns of ``counts`` to leave blank.
    units : {"metric", "us"} or UnitSystem, optional
        As in :func:`count_sheet`.

    Returns
    -------
    str
        CSV text that ``read_records`` takes as ``counts.csv`` as it stands.

    Raises
    ------
    CroploadError
        As :func:`count_sheet`, or a date that is none.

    Notes
    -----
    A name that begins like a formula gets a leading apostrophe, which the reader takes off again.
    Valid for UTF-8.
    """
    block, columns = _checked(picked, columns)
    day = pd.to_datetime(date, errors="coerce")
    if pd.isna(day):
        raise CroploadError(f"{date!r} is not a date; write it like 2026-06-30.")
    heads = [us_name(c) or c if _system(units) is US else c for c in columns]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([*_WHERE, *heads])
    for row, vine in zip(picked["row"], picked["vine"], strict=True):
        where = (season, f"{day:%Y-%m-%d}", block, row, vine)
        writer.writerow([*map(_plain, where), *[""] * len(heads)])
    return text.getvalue()


@dataclass(frozen=True, eq=False)
class ReturnedSheet:
    """A sheet that came back.

    Attributes
    ----------
    frame : DataFrame
        Rows for ``counts`` in metric units; vines with every box blank are left out.
    blank : int
        How many those were [1].
    added : list of (row, vine)
        Vines that were not picked.
    """

    frame: pd.DataFrame
    blank: int
    added: list


def read_count_sheet(source, block=None, picked=None):
    """Read one sheet that came back, and say everything that is wrong with it.

    Parameters
    ----------
    source : path or str
        The CSV file, or its text when it holds a line break.
    block : str, optional
        The block it should be for.
    picked : PickedVines, optional
        The vines it was made for.

    Returns
    -------
    ReturnedSheet

    Raises
    ------
    RecordsError
        Words or negative numbers in a box, the wrong block, a vine twice, a missing column.

    Notes
    -----
    Comma or semicolon between cells, decimal point or comma.  Valid for sheets of
    :func:`count_sheet_csv`.
    """
    name, text = _text(source)
    lines = text.splitlines()
    head = next(iter(lines), "")
    rows = list(csv.reader(lines, delimiter=";" if head.count(";") > head.count(",") else ","))
    heads = [cell.strip().lower() for cell in rows[0]] if rows else []
    faults = [
        Fault(name, 1, None, None, f"column {want!r} is missing", "Use the sheet as it was made.")
        for want in _WHERE
        if want not in heads
    ]
    known = {us_name(column): column for column in LABELS if us_name(column)}
    for cell in heads:
        if cell not in _WHERE and known.get(cell, cell) not in LABELS:
            hint = near(cell, LABELS) or "Take the column out."
            faults.append(Fault(name, 1, None, cell, "is no column of a count sheet", hint))
    if faults:
        raise RecordsError(faults, "The count sheet cannot be read")

    kept, seen, blank = [], {}, 0
    for number, cells in enumerate(rows[1:], start=2):
        line = dict(zip(heads, [*map(str.strip, cells), *[""] * len(heads)], strict=False))
        if not any(line.values()):
            continue
        for column in _WHERE:
            if line[column][:1] == "'" and line[column][1:2] in "=+-@":
                line[column] = line[column][1:]
        before = len(faults)
        values = {c: _box(line[c], c, name, number, faults) for c in heads if c not in _WHERE}
        if block is not None and line["block"] != str(block):
            rule, mend = f"this sheet is for block '{block}'", "Enter it under its own block."
            faults.append(Fault(name, number, "block", line["block"], rule, mend))
        place = (line["date"], line["block"], line["row"], line["vine"])
        if place in seen:
            rule = f"row {line['row']}, vine {line['vine']} stands in line {seen[place]} already"
            faults.append(Fault(name, number, "vine", line["vine"], rule, "Keep one of the two."))
        seen.setdefault(place, number)
        day = pd.to_datetime(line["date"], format="%Y-%m-%d", errors="coerce")
        if pd.isna(day):
            rule = "must be a date written YYYY-MM-DD"
            faults.append(Fault(name, number, "date", line["date"], rule))
        if not re.fullmatch(r"\d{4}", line["season"]):
            rule = "must be the year of harvest"
            faults.append(Fault(name, number, "season", line["season"], rule))
        if len(faults) > before:
            continue
        if all(math.isnan(value) for value in values.values()):
            blank += 1
            continue
        where = {column: line[column] for column in ("block", "row", "vine")}
        metric = {known.get(column, column): value for column, value in values.items()}
        kept.append({"season": int(line["season"]), "date": day, **where, **metric})
    if faults:
        raise RecordsError(faults, "The count sheet cannot be used")
    boxes = [known.get(cell, cell) for cell in heads if cell not in _WHERE]
    table = pd.DataFrame(kept, columns=[*_WHERE, *boxes])
    asked = set() if picked is None else _places(picked)
    added = [] if picked is None else [place for place in _ordered(table) if place not in asked]
    return ReturnedSheet(table, blank, added)


def _box(text, column, name, number, faults):
    if text == "":
        return math.nan
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    metric = next((c for c in LABELS if column in (c, us_name(c))), column)
    whole = TABLES["counts"][metric].kind == "whole"
    if not math.isfinite(value) or value < 0 or (whole and value != int(value)):
        rule = f"must be a {'whole ' if whole else ''}number of 0 or more, or blank"
        mend = "A vine with nothing on it is 0; leave a place without a vine blank."
        faults.append(Fault(name, number, column, text, rule, mend))
        return math.nan
    if metric != column:
        value = float(to_metric(value, f"_{metric.rsplit('_', 1)[1]}"))
    return value


def _text(source):
    if isinstance(source, str) and "\n" in source:
        return "count sheet", source.removeprefix("\ufeff")
    path = Path(source)
    try:
        return path.name, path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise CroploadError(f"{path.name} cannot be opened: {fault.strerror}.") from None
    except UnicodeDecodeError:
        raise CroploadError(f"{path.name} is not UTF-8; save it as CSV UTF-8.") from None


def _checked(picked, columns):
    columns = [columns] if isinstance(columns, str) else list(columns)
    if not columns:
        raise CroploadError(f"A count sheet needs something to count: {', '.join(LABELS)}.")
    for column in columns:
        if column not in LABELS:
            raise CroploadError(
                f"{column!r} is not counted on vines; choose from {', '.join(LABELS)}. "
                f"{near(column, LABELS)}".rstrip()
            )
    blocks = picked["block"].unique()
    if len(blocks) != 1:
        raise CroploadError(f"A count sheet is for one block with vines, not for {len(blocks)}.")
    return str(blocks[0]), columns


def _system(units):
    return unit_system(units) if isinstance(units, str) else units


def _plain(cell):
    text = str(cell)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def _ordered(table):
    return list(zip(table["row"].astype(str), table["vine"].astype(str), strict=True))


def _places(table):
    return set(_ordered(table))


@cache
def _template():
    # Loaded late: only a printed sheet needs the template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("cropload", "season/templates")
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=False
    ).get_template("count_sheet.html")
