"""Intake in plain words: sentences, the tables of a view, and what is exported."""

import re

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.show import wording
from cropload.show.result_units import in_units
from cropload.units import METRIC
from cropload.winery.intake_result import NO_DATE, OUTSIDE
from cropload.winery.tanks import GALLON_L, tank_volume

CAUTION = (
    "A forecast is decision support, not a guarantee. Picking follows ripeness, health of the "
    "fruit, weather and the contract; prices and contracts need advice of their own."
)

#: A period whose high end is below this is not worth a line [t].
SMALL = 0.05
#: Columns of tonnes and money that ``in_units`` does not know, with their US names.
_TONNES = {"limit_t": "limit_tons", "over_mean_t": "over_mean_tons", "over_p90_t": "over_p90_tons"}
_TONNES |= {"cap_t": "cap_tons", "room_mean_t": "room_mean_tons"}
_TONNES |= {"excess_mean_t": "excess_mean_tons", "change_t": "change_tons"}
_PRICES = {"price_per_t": "price_per_ton", "price_above_cap": "price_above_cap_per_ton"}


def percent(share):
    """Return a chance as whole per cent, and small ones as ``under 1 %``.

    Examples
    --------
    >>> percent(0.268), percent(0.005), percent(float("nan"))
    ('27 %', 'under 1 %', '-')
    """
    if share is None or not np.isfinite(share):
        return "-"
    return "under 1 %" if 0 < share <= 0.005 else f"{100 * share:.0f} %"


def range_text(row, units=METRIC, name="tonnes"):
    """Return the middle and the range of one row as text, without the unit.

    A row whose middle is next to nothing is told by its high end alone.
    """
    if row[f"{name}_p90"] < SMALL:
        return "-"
    if row[f"{name}_p50"] < SMALL:
        high = wording.amount("tonnes", row[f"{name}_p90"], units, unit=False)
        return f"up to {high}"
    ends = [wording.amount("tonnes", row[f"{name}_{e}"], units, unit=False) for e in ranges.ENDINGS]
    return f"{ends[1]} ({ends[0]} to {ends[2]})"


def volume_label(units=METRIC):
    """Return the unit of volume of a unit system: hl, or US gal."""
    return "US gal" if units.name == "us" else "hl"


def volume_text(tonnes, units=METRIC, most=None):
    """Return the volume that tonnes fill, least to most, without its unit.

    Parameters
    ----------
    tonnes : float
        Grapes [t].
    units : UnitSystem
        Units to show: hl, or US gallons.
    most : float, optional
        High end of the grapes [t], when ``tonnes`` is their low end.

    Examples
    --------
    >>> volume_text(10.0)
    '71 to 87'
    """
    if tonnes < SMALL:
        return "-"
    factor = 100 / GALLON_L if units.name == "us" else 1.0
    most = tonnes if most is None else most
    low, high = factor * tank_volume(tonnes)[0], factor * tank_volume(most)[1]
    return f"{low:,.0f} to {high:,.0f}"


def shown_periods(table):
    """Return the rows of a schedule's table in periods whose range is worth a line."""
    worth = table[["tonnes_p90", "tonnes_mean"]].max(axis=1)
    keep = (worth.groupby(table["period"], sort=False).transform("max") >= SMALL) | table[
        "period"
    ].isin([NO_DATE, OUTSIDE])
    return table[keep]


def high_end_words():
    """Return what the high end of a table is, and what a dash there means."""
    return f"of the {ranges.label()}; a dash where fruit comes too seldom for one"


def any_cells(row, units=METRIC):
    """Return the mean, the chance of any fruit and the high end of one row, as three texts.

    The high end of a range can lie below the mean, or be nothing at all, where fruit comes in few
    years: it is then left out, because the chance says more.
    """
    if row["tonnes_p90"] < SMALL and row["tonnes_mean"] < SMALL:
        return ["-", "-", "-"]
    high = "-"
    if row["tonnes_p90"] >= max(row["tonnes_mean"], SMALL):
        high = wording.amount("tonnes", row["tonnes_p90"], units, unit=False)
    mean = wording.amount("tonnes", row["tonnes_mean"], units, unit=False)
    return [mean, percent(row["chance_any"]), high]


def mean_text(row, units=METRIC):
    """Return the mean of one row, in brackets the chance of any fruit and the high end."""
    mean, chance, high = any_cells(row, units)
    if mean == "-":
        return "-"
    return f"{mean} ({chance}" + (")" if high == "-" else f", up to {high})")


def short_period(period):
    """Return a period without its year, such as ``09-13 to 09-19``."""
    return re.sub(r"\d{4}-(?=\d\d-\d\d)", "", period)


def group_rows(table, by, units=METRIC):
    """Return the heads and rows of a table with a line a group and a column a period.

    Cells are the mean, which adds up over groups and periods, and in brackets the chance of any
    fruit and the high end of the range.
    """
    table = shown_periods(table)
    periods = list(dict.fromkeys(table["period"]))
    rows = []
    for name in dict.fromkeys(table[by]):
        mine = table[table[by] == name].set_index("period")
        cells = [mean_text(mine.loc[p], units) if p in mine.index else "-" for p in periods]
        rows.append([name, *cells])
    return [by, *(short_period(period) for period in periods)], rows


def period_rows(table, limits=None, units=METRIC):
    """Return the heads and rows of a table with a line a period: tonnes, tank volume, limit.

    Parameters
    ----------
    table : DataFrame
        Of ``IntakeSchedule.table("estate")``.
    limits : DataFrame, optional
        Of ``capacity_table``; only limits for all fruit whose period is in the table are shown.
    units : UnitSystem
        Units to show.
    """
    label, volume = units.label("tonnes"), volume_label(units)
    heads = ["period", f"mean [{label}]", "chance of any", f"high end [{label}]"]
    heads += [f"tank volume, mean [{volume}]", f"tank volume, high end [{volume}]"]
    known = {}
    if limits is not None and len(limits):
        whole = limits[limits["variety"] == ""]
        known = {row["period"]: row for row in whole.to_dict("records")}
        known = {name: row for name, row in known.items() if name in set(table["period"])}
    if known:
        heads += [f"limit [{label}]", "chance over it", f"mean over when over [{label}]"]
    rows = []
    for row in shown_periods(table).to_dict("records"):
        cells = [
            row["period"],
            *any_cells(row, units),
            volume_text(row["tonnes_mean"], units),
            volume_text(row["tonnes_p90"], units),
        ]
        if known:
            limit = known.get(row["period"])
            cells += ["-", "-", "-"] if limit is None else _limit_cells(limit, units)
        rows.append(cells)
    return heads, rows


def _limit_cells(limit, units):
    return [
        wording.amount("tonnes", limit["limit_t"], units, unit=False),
        percent(limit["chance_over"]),
        wording.amount("tonnes", limit["over_mean_t"], units, unit=False),
    ]


def limit_rows(limits, units=METRIC):
    """Return the heads and rows of all limits: those of one variety too."""
    label = units.label("tonnes")
    heads = ["period", "fruit", f"tonnes [{label}]", f"limit [{label}]", "chance over it"]
    heads += [f"mean over when over [{label}]"]
    rows = []
    for row in limits.to_dict("records"):
        fruit = row["variety"] or "all"
        rows.append([row["period"], fruit, range_text(row, units), *_limit_cells(row, units)])
    return heads, rows


def contract_rows(table, units=METRIC):
    """Return the heads and rows of contracts: crop, cap, chances, and what they pay."""
    label = units.label("tonnes")
    heads = ["contract", f"crop [{label}]", f"most it takes [{label}]", "chance of room left"]
    heads += [f"mean room when left [{label}]", "chance of more"]
    heads += [f"mean over when over [{label}]", "pays (middle)", "pays (range)"]
    rows = []
    for row in table.to_dict("records"):
        capped = np.isfinite(row["cap_t"])

        def tonnes(name, row=row, capped=capped):
            return wording.amount("tonnes", row[name], units, unit=False) if capped else "-"

        money = [f"{row[f'revenue_{end}']:,.0f}" for end in ranges.ENDINGS]
        rows.append(
            [
                f"{row['contract']} ({row['kind']})",
                range_text(row, units),
                tonnes("cap_t") if capped else "none",
                percent(row["chance_room"]),
                tonnes("room_mean_t"),
                percent(row["chance_excess"]),
                tonnes("excess_mean_t"),
                f"{money[1]} {row['currency']}".strip(),
                f"{money[0]} to {money[2]}",
            ]
        )
    return heads, rows


def intake_sentence(schedule, limits=None, units=METRIC):
    """Return where most fruit is expected, and where it is likeliest too much, in sentences."""
    if schedule.empty:
        return f"No block bears a crop in {schedule.season}, so there is nothing to take in."
    table = schedule.table("estate")
    inside = table[~table["period"].isin([NO_DATE, OUTSIDE])]
    total = schedule.totals("estate")[1][0]
    low, middle, high = (float(end) for end in ranges.quantiles(total))
    text = (
        f"In all about {wording.amount('tonnes', middle, units)} "
        f"({wording.span('tonnes', low, high, units)}, {ranges.label()}), "
        f"{volume_text(low, units, high)} {volume_label(units)} in the tank over that range of the "
        "crop and of the juice it gives."
    )
    if len(inside):
        top = inside.loc[inside["tonnes_mean"].idxmax()]
        mean = wording.amount("tonnes", top["tonnes_mean"], units)
        text += f" Most is expected in {top['period']}: {mean} on average."
    if limits is not None and len(limits) and limits["chance_over"].max() > 0:
        worst = limits.loc[limits["chance_over"].idxmax()]
        fruit = f" for {worst['variety']}" if worst["variety"] else ""
        text += (
            f" The limit{fruit} of {wording.amount('tonnes', worst['limit_t'], units)} in "
            f"{worst['period']} is likeliest to be exceeded, with a chance of "
            f"{percent(worst['chance_over'])}; by "
            f"{wording.amount('tonnes', worst['over_mean_t'], units)} on average when it is."
        )
    return text


def moves_rows(moves, units=METRIC):
    """Return the heads and rows of moves: block, days, dates, tonnes."""
    heads = ["block", "variety", "move", "middle date now", "then"]
    heads += [f"crop [{units.label('tonnes')}]"]
    rows = []
    for row in moves.to_dict("records"):
        days = abs(int(row["days"]))
        way = "later" if row["days"] > 0 else "earlier"
        rows.append(
            [
                row["block"],
                row["variety"],
                f"{days} day{'s' * (days != 1)} {way}",
                f"{row['date_now']:%Y-%m-%d}",
                f"{row['date_then']:%Y-%m-%d}",
                wording.amount("tonnes", row["tonnes_p50"], units, unit=False),
            ]
        )
    return heads, rows


def date_rows(dates, forecast=None):
    """Return the heads and rows of picking dates: block, middle, range, where known from.

    A block that bears no crop by the forecast has no row, unless a date was entered for it.
    """
    bare = set()
    if forecast is not None:
        bears = forecast.draws.any(axis=1)
        bare = {name for name, yes in zip(forecast.blocks, bears, strict=True) if not yes}
    table = dates.table()
    rows = []
    for row in table.to_dict("records"):
        entered = dates.entered.get(row["block"])
        if row["block"] in bare and not entered:
            continue
        if entered:
            told = ", ".join(
                f"{pd.Timestamp(0) + pd.Timedelta(days=day):%Y-%m-%d}"
                + (f" {100 * share:.0f} %" if share < 1 else "")
                for day, share in entered
            )
            rows.append([row["block"], row["variety"], told, "-", "entered"])
        elif pd.isna(row["date_p50"]):
            rows.append([row["block"], row["variety"], "not known", "-", row["came_from"]])
        else:
            span = f"{row['date_p10']:%Y-%m-%d} to {row['date_p90']:%Y-%m-%d}"
            span = span if row["range_days"] else "-"
            middle = f"{row['date_p50']:%Y-%m-%d}"
            rows.append([row["block"], row["variety"], middle, span, row["came_from"]])
    heads = ["block", "variety", "picking date (middle)", ranges.label(), "known from"]
    return heads, rows


def export(table, units=METRIC):
    """Return a table of intake, limits or contracts as it is written to a file.

    Notes
    -----
    Units of the chosen system with their names in the columns; season, day, range, draws and seed
    beside every row.
    """
    shown = in_units(table, units)
    if units.name == "us":
        factor = units.show("tonnes")[1]
        for names, scale in ((_TONNES, factor), (_PRICES, 1 / factor)):
            for name, us in names.items():
                if name in shown:
                    shown[name] = shown[name] * scale
                    shown = shown.rename(columns={name: us})
    for name in ("period_start", "period_end"):
        if name in shown:
            shown[name] = shown[name].dt.strftime("%Y-%m-%d").fillna("")
    for name in ("interval", "draws", "seed"):
        if name in table.attrs:
            shown[name] = table.attrs[name]
    for name in ("as_of", "season"):
        if name in table.attrs:
            shown.insert(0, name, table.attrs[name])
    return shown
