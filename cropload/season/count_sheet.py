"""A sheet to count by: printed for a pencil, and a CSV whose empty cells are filled in later."""

import csv
import io
import re
from functools import cache

import pandas as pd

from cropload.errors import CroploadError, near
from cropload.records.tables import TABLES
from cropload.units import US, unit_system, us_name

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
#: Columns that every sheet ends with: who counted, and 1 where no vine stands.
_BESIDE = ("counter", "missing")
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
    """Make the same sheet as a CSV: what was counted, and by whom, is typed into its empty cells.

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
        CSV text that ``take_sheets`` takes, and ``read_records`` as ``counts.csv``, as it stands.

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
    writer.writerow([*_WHERE, *heads, *_BESIDE])
    for row, vine in zip(picked["row"], picked["vine"], strict=True):
        where = (season, f"{day:%Y-%m-%d}", block, row, vine)
        writer.writerow([*map(_plain, where), *[""] * (len(heads) + len(_BESIDE))])
    return text.getvalue()


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


@cache
def _template():
    # Loaded late: only a printed sheet needs the template engine.
    from jinja2 import Environment, PackageLoader, StrictUndefined

    loader = PackageLoader("cropload", "season/templates")
    return Environment(
        loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=False
    ).get_template("count_sheet.html")
