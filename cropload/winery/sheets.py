"""What is picked when, block by block: a list by day, and sheets to print."""

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.records.writing.gate import workbook_bytes
from cropload.show import excel, wording
from cropload.units import METRIC


def deliveries(schedule, moved=None):
    """Return the picks still to come in the order of their days.

    Parameters
    ----------
    schedule : IntakeSchedule
        With any moves made.
    moved : dict, optional
        {block: days} that were moved [d].

    Returns
    -------
    DataFrame
        One row a pick: day (middle), day_p10, day_p90, block, variety, grower, tonnes_p10,
        tonnes_p50, tonnes_p90 [t], days moved [d], picker.
    """
    growers = schedule.owned.get("grower", ("",) * len(schedule.blocks))
    rows = []
    for portion, movable, picker in zip(
        schedule.portions, schedule.movable, schedule.pickers, strict=True
    ):
        block, day, tonnes = portion
        if movable and tonnes.any():
            # A day that fruit comes on: the middle of those drawn, not between two of them.
            low, middle, high = np.sort(day)[[round(at * (len(day) - 1)) for at in _ends()]]
            days = (pd.Timestamp(0) + pd.Timedelta(days=int(each)) for each in (middle, low, high))
            rows.append(
                {
                    **dict(zip(("day", "day_p10", "day_p90"), days, strict=True)),
                    "block": schedule.blocks[block],
                    "variety": schedule.varieties[block],
                    "grower": growers[block],
                    **ranges.columns("tonnes", tonnes),
                    "days": (moved or {}).get(schedule.blocks[block], 0),
                    "picker": picker,
                }
            )
    names = ["day", "day_p10", "day_p90", "block", "variety", "grower"]
    frame = pd.DataFrame(
        rows, columns=[*names, *ranges.columns("tonnes", np.zeros(1)), "days", "picker"]
    )
    return frame.sort_values(["day", "grower", "block"], kind="stable", ignore_index=True)


def _ends():
    tail = (1 - ranges.level()) / 2
    return tail, 0.5, 1 - tail


def move_words(days):
    """Return days moved in words, such as ``2 days earlier``; empty for none."""
    count = abs(int(days))
    way = "later" if days > 0 else "earlier"
    return f"{count} day{'s' * (count != 1)} {way}" if count else ""


def intake_sheets(schedule, fit, terms=None, moved=None, units=METRIC):
    """Return a plan by day and a sheet for each grower to print, as HTML.

    Parameters
    ----------
    schedule : IntakeSchedule
        With any moves made.
    fit : str
        Whether it fits, in words.
    terms : dict, optional
        {grower: sentences on the contracts} for the grower's sheet.
    moved : dict, optional
        {block: days} that were moved [d].
    units : UnitSystem
        Units to show.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    from cropload.winery.words import CAUTION

    rows = [
        row
        | {
            "about": f"{row['day']:%a %m-%d}",
            "between": f"{row['day_p10']:%m-%d} to {row['day_p90']:%m-%d}",
            "crop": wording.range_of(row, "tonnes", "tonnes", units),
            "move": move_words(row["days"]),
            "grower": row["grower"] or "no grower named",
        }
        for row in deliveries(schedule, moved).to_dict("records")
    ]
    names = sorted({row["grower"] for row in rows}) if any(schedule.owned.get("grower", ())) else []
    template = Environment(
        loader=PackageLoader("cropload", "winery/templates"),
        autoescape=True,
        undefined=StrictUndefined,
    ).get_template("intake_sheets.html")
    return template.render(
        season=schedule.season,
        unit=units.label("tonnes"),
        named=any(row["picker"] for row in rows),
        often=ranges.often(),
        fit=fit,
        rows=rows,
        growers=[
            (name, [row for row in rows if row["grower"] == name], (terms or {}).get(name, ()))
            for name in names
        ],
        caution=CAUTION,
    )


def intake_book(tables, notes, units=METRIC):
    """Return tables as the bytes of an Excel workbook, a sheet each, with real dates.

    Parameters
    ----------
    tables : list of (str, Table)
        Name of the sheet, and what stands on it.
    notes : iterable of str
        What is said of them.
    units : UnitSystem
        Units to show.
    """
    book = excel.new_book()
    for name, table in tables:
        excel.add_table(book, name, table, units)
    excel.add_lines(book, "notes", [("", note) for note in notes if note])
    return workbook_bytes(book)
