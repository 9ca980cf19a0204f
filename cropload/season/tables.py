"""Tables of a season's answers, each built once, for the command, the panels and a file."""

import math

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs import ranges
from cropload.beliefs.origins import MOST_SHOWN
from cropload.season.crew_verdict import TOO_FEW
from cropload.season.words import change_steps, listed, short
from cropload.show import wording
from cropload.show.table import (
    CHANCE,
    DATE,
    FIGURE,
    NUMBER,
    RANGE,
    SHARE,
    SIGNED,
    WHOLE,
    Column,
    Table,
)
from cropload.units import METRIC

#: Rows of the ranking of counts shown; the file of ``--csv`` holds all.
MOST_COUNTS = 12
#: Kept forecasts shown, the latest first.
_MOST_KEPT = 30


def _rows(frame):
    return frame.to_dict("records")


# ---- the forecast


def crop_table(forecast, by="block", order=""):
    """Return the crop by block, variety or estate, the estate's total at its end.

    Parameters
    ----------
    forecast, by : Forecast, str
        As it stands, and as in ``Forecast.frame_by``.
    order : str
        ``"tonnes"`` or ``"range"`` for the largest first; as on record when left out.
    """
    rows = _rows(ranked(forecast.frame_by(by), order))
    if by != "estate":
        total = _rows(forecast.frame_by("estate"))[0]
        rows.append({**total, by: "estate", "plan": ""})
    columns = [
        (Column(by), by),
        (Column("plan"), "plan") if by == "block" else None,
        (Column("area", FIGURE, "area_ha"), "area_ha"),
        (Column("crop", RANGE, "tonnes"), "tonnes"),
        (Column("crop", RANGE, "t_ha"), "t_ha"),
        (Column("width", NUMBER, "tonnes"), "range_t"),
    ]
    return Table.of("crop", f"Crop at the scale, with its {ranges.label()}", rows, columns)


def ranked(frame, order="tonnes"):
    """Return the rows of a forecast with the largest first: by ``tonnes`` or by ``range``."""
    if not order:
        return frame
    key = "range_t" if order == "range" else "tonnes_p50"
    return frame.sort_values(key, ascending=False, kind="stable").reset_index(drop=True)


def origins_table(forecast, block):
    """Return every part of a block's crop: middle, range, and where it came from."""
    parts = forecast.components
    rows = []
    for row in _rows(parts[parts["block"] == block]):
        # No more than all of the fruit reaches the scale.
        most = MOST_SHOWN.get(row["component"], math.inf)
        low, middle, high = (min(row[part], most) for part in ("low", "centre", "high"))
        about = "; cannot exceed 1" if row["high"] > most else ""
        unit = "" if row["unit"] == "1" else f" {row['unit']}"
        rows.append(
            {
                "words": row["words"],
                "middle": f"{middle:.3g}{unit}",
                "range": f"{low:.3g} to {high:.3g}{about}",
                "came_from": f"{row['came_from']}: {row['detail']}",
            }
        )
    columns = [
        (Column("component"), "words"),
        (Column("middle (metric)"), "middle"),
        (Column(ranges.label()), "range"),
        (Column("came from"), "came_from"),
    ]
    return Table.of("parts", f"Every part of {block}", rows, columns)


def fan_table(fan):
    """Return how the range of a total narrows, day by day."""
    columns = [
        (Column("date"), lambda row: f"{row['words']}, {row['day']:%Y-%m-%d}"),
        (Column("crop", RANGE, "tonnes"), "tonnes"),
        (Column("width", NUMBER, "tonnes"), "range_t"),
        (Column("harvest against the range"), lambda row: row["harvest"] or "not known yet"),
    ]
    return Table.of(
        "fan", f"The same in numbers, with the {ranges.label()}", _rows(fan.frame), columns
    )


# ---- what changed


def change_table(change):
    """Return the change of the middle by component, adding up."""
    rows = [*change_steps(change), ("all together", change.change_t)]
    columns = [
        (Column("component"), lambda row: short(row[0])),
        (Column("change of the middle", SIGNED, "tonnes", places=2), lambda row: row[1]),
    ]
    return Table.of("change", "What changed, by component", rows, columns)


def change_blocks(change):
    """Return the change of the middle by block and component, the estate's at its end."""
    wide = change.frame.pivot_table("change_t", "block", "component", "sum", sort=False)
    wide = wide.fillna(0.0)
    kept = [name for name in wide if wide[name].abs().max() >= 0.005]
    rows = [
        {**wide.loc[block], "block": block, "all": wide.loc[block].sum()} for block in wide.index
    ]
    rows.append({**wide.sum(), "block": "estate", "all": change.change_t})
    if abs(change.lean_t) >= 0.005:
        kept.append("lean")
        rows = [{"lean": None, **row} for row in rows]
        rows[-1]["lean"] = change.lean_t
    columns = [
        (Column("block"), "block"),
        *((Column(short(name), SIGNED, "tonnes", places=2), name) for name in kept),
        (Column("all together", SIGNED, "tonnes", places=2), "all"),
    ]
    return Table.of("change by block", "Change of the middle by block and component", rows, columns)


# ---- what to count, whom to check, what to thin


def counts_table(answer):
    """Return what takes most off the range of a total, best first."""
    rows = [{"place": place, **row} for place, row in enumerate(_rows(answer.frame), start=1)]
    columns = [
        (Column("", WHOLE), "place"),
        (Column("block"), "block"),
        (Column("what"), "words"),
        (Column("vines", WHOLE), "vines"),
        (Column("crew hours", NUMBER), "hours"),
        (Column("off the range", NUMBER, "tonnes", places=2), "removed_t"),
        (Column("an hour", NUMBER, "tonnes", places=2), "removed_t_per_hour"),
        (Column("vines so far", WHOLE), "counted"),
    ]
    caption = f"What takes most off the range ({ranges.label()}), the best first"
    return Table.of("counts", caption, rows[:MOST_COUNTS], columns, heads=2)


def due_tables(found):
    """Return the plan for the hours there are, what is due, and every task of every block."""
    vines, hours = Column("vines", WHOLE), Column("crew hours", NUMBER)
    off = Column("off the range", NUMBER, "tonnes", places=2)
    what, days = (Column("what"), "words"), [(Column("from", DATE), "starts")]
    days.append((Column("until", DATE), "until"))
    work = [
        (vines, lambda row: row["vines"] or None),
        (hours, lambda row: row["minutes"] / 60),
        (off, "removed_t"),
    ]
    steps = Table.of("hours", "", [], [])
    if found.plan is not None:
        left = Column("range left", NUMBER, "tonnes", places=2)
        columns = [(Column("block"), "block"), what, (vines, "vines"), (hours, "hours")]
        columns += [(off, "removed_t"), (left, "range_after_t")]
        caption = "The hours of this week, best first; each beyond all before it"
        steps = Table.of("hours", caption, _rows(found.plan), columns, heads=2)
    blocks = (Column("where"), lambda row: listed(row["blocks"]))
    caption = f"What is due, all blocks of a line together ({ranges.label()})"
    groups = Table.of("due", caption, _rows(found.groups), [what, blocks, *days, *work])
    columns = [(Column("block"), "block"), what, (Column("state"), "state"), *days, *work]
    tasks = Table.of("tasks", "Every task, each alone", _rows(found.frame), columns, heads=2)
    return [table for table in (steps, groups, tasks) if table or table is groups]


def crew_table(check, told_only=False):
    """Return a crew check row by row; ``told_only`` leaves out rows of too few vines."""
    rows = check.frame
    if told_only:
        rows = rows[rows["verdict"] != TOO_FEW]
    columns = [
        (Column("row"), "row"),
        (Column("vines", WHOLE), "vines"),
        (
            Column("buds a vine", RANGE, places=1),
            lambda row: (row["low"], row["buds_per_vine"], row["high"]),
        ),
        (Column("share of vines off", SHARE), "share_off"),
        (Column("verdict"), "verdict"),
    ]
    caption = f"Row by row ({100 * check.buds.confidence:g} % range in brackets)"
    return Table.of("rows", caption, _rows(rows), columns)


def around(answer, each_way=3):
    """Return the choices next to the one advised, and leaving all fruit.

    Parameters
    ----------
    answer : Thinning
        Of ``thin_to``.
    each_way : int
        Whole numbers shown on each side of the one advised [1].

    Returns
    -------
    DataFrame
        As the answer's frame, with ``keep`` as text and leaving all fruit as the last row. Empty
        where the fruit is best left: there is then nothing to choose between.

    Notes
    -----
    Choices that drop less than the handbook's ``thin.least_drop`` per vine are left out: they
    differ from leaving all by nothing but the walk. Valid for any advice.
    """
    frame = answer.frame
    close = np.abs(frame["keep"].to_numpy() - answer.keep) <= each_way
    worth = frame["drop"].to_numpy() >= handbook.value("thin.least_drop")
    rows = [
        row | {"keep": f"{row['keep']:.0f}"}
        for row in _rows(frame[close & worth & (answer.drop > 0)])
    ]
    if rows:
        rows.append(answer.hanging | {"keep": "all"})
    return pd.DataFrame(rows, columns=list(frame.columns))


def choices_table(answer, units=METRIC):
    """Return the choices around the number of clusters advised."""
    weight = units.label("pruning_weight_kg")
    columns = [
        (Column("leave at most", unit="a vine"), "keep"),
        (Column("drop", NUMBER, unit="a vine"), "drop"),
        (Column("chance on target", CHANCE), "chance"),
        (Column("crop", RANGE, "t_ha"), "t_ha"),
        (Column("yield to prunings", RANGE, unit=f"{weight}/{weight}"), "ravaz"),
        (Column("labour", NUMBER, unit="hours", places=0), "labour_h"),
    ]
    caption = f"The choices around it (middle, with its {ranges.label()})"
    return Table.of("choices", caption, _rows(around(answer)), columns)


# ---- looking back


def kept_table(log):
    """Return the forecasts kept in the log, latest first."""
    keys = ["logged_at", "season", "as_of", "stage"]
    rows = [
        {**dict(zip(keys, key, strict=True)), "blocks": len(lines), "t": lines["tonnes_p50"].sum()}
        for key, lines in list(log.groupby(keys, sort=False))[::-1][:_MOST_KEPT]
    ]
    columns = [
        (Column("kept at (UTC)"), "logged_at"),
        (Column("season"), lambda row: str(row["season"])),
        (Column("as of"), lambda row: row["as_of"] or "all records"),
        (Column("stage"), "stage"),
        (Column("blocks", WHOLE), "blocks"),
        (Column("sum of block middles", NUMBER, "tonnes"), "t"),
    ]
    return Table.of("kept", "Forecasts kept, latest first", rows, columns)


def errors_table(answer):
    """Return the errors of past forecasts by stage, beside those that were published."""
    columns = [
        (Column("forecast made"), "words"),
        (Column("of"), "of"),
        (Column("error here", SHARE), "error"),
        (Column("error published"), "published_text"),
        (Column("rests on"), lambda row: f"{row['cases']} blocks in {row['seasons']} seasons"),
    ]
    seasons = ", ".join(map(str, answer.seasons))
    caption = f"Root mean square of the relative error of a block, seasons {seasons}"
    return Table.of("errors", caption, _rows(answer.frame), columns)


def published(low, high=None):
    """Return a published error as text [1]."""
    if high is None:
        return wording.percent(low)
    return wording.ranged((low, None, high), wording.percent)
