"""The tables of an intake: when it arrives, against limits and contracts, and what could move."""

import math

import pandas as pd

from cropload.beliefs import ranges
from cropload.show import table as kinds
from cropload.show import wording
from cropload.show.table import Column, Table
from cropload.units import METRIC
from cropload.winery import words
from cropload.winery.sheets import deliveries, move_words


def _tonnes(title):
    return Column(title, kinds.NUMBER, "tonnes")


_PERIOD = (Column("period"), "period")
_SHORT_PERIOD = (Column("period"), lambda row: words.short_period(row["period"]))
_FRUIT = (Column("fruit"), lambda row: row["variety"] or "all")
_LIMIT = (_tonnes("limit"), "limit_t")
_CHANCE_OVER = (Column("chance over it", kinds.CHANCE), "chance_over")
_OVER = (_tonnes("mean over, when over"), "over_mean_t")


def _tank(title, units):
    return Column(title, kinds.RANGE, unit=words.volume_label(units), places=0)


def _volume(tonnes, units):
    """Return what tonnes fill as the cell of a range without a middle; None for no tonnes."""
    if tonnes is None or tonnes < words.SMALL:
        return None
    low, high = words.volume(tonnes, units)
    return low, None, high


def _crop(row):
    """Return the crop of a row as the cell of a range [t]; None where it is next to nothing."""
    ends = tuple(row[f"tonnes_{end}"] for end in ranges.ENDINGS)
    return ends if ends[2] >= words.SMALL else None


def _mean(row):
    """Return the mean crop of a row [t]: in a period that fruit may miss, the middle is none."""
    return row["tonnes_mean"] if row["tonnes_mean"] >= words.SMALL else None


def intake_table(schedule, by="estate", limits=None, units=METRIC):
    """Return the intake, a row a period and group: tonnes, tank volume, and limits for all fruit.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule``.
    by : str
        ``"variety"``, ``"block"`` or ``"estate"``.
    limits : Capacity, optional
        As from ``capacity_table``; shown for the estate where a period of the table has one.
    units : UnitSystem
        Units of the volume.
    """
    frame = words.shown_periods(schedule.frame_by(by))
    rows = frame[frame["tonnes_mean"] >= words.SMALL].to_dict("records")
    known = {}
    if limits is not None and by == "estate":
        periods = {row["period"] for row in rows}
        known = {
            row["period"]: row
            for row in limits.frame.to_dict("records")
            if row["variety"] == "" and row["period"] in periods
        }
    empty = {"limit_t": None, "chance_over": None, "over_mean_t": None}
    rows = [row | known.get(row["period"], empty) for row in rows]
    columns = [
        _PERIOD,
        (Column(by), by) if by != "estate" else None,
        (_tonnes("mean"), "tonnes_mean"),
        (Column("chance of any", kinds.CHANCE), "chance_any"),
        (_tonnes("high end"), words.high_end),
        (_tank("tank, mean", units), lambda row: _volume(row["tonnes_mean"], units)),
        (_tank("tank, high end", units), lambda row: _volume(words.high_end(row), units)),
        *([_LIMIT, _CHANCE_OVER, _OVER] if known else []),
    ]
    whose = "All fruit by period" if by == "estate" else f"By period and {by}"
    caption = (
        f"{whose}: mean, chance of any, and the high end {words.high_end_words()}; in "
        "the tank, least to most by the juice"
    )
    return Table.of("intake", caption, rows, columns, 1 if by == "estate" else 2)


def group_table(schedule, by, units=METRIC):
    """Return the intake with a row a group and a column a period.

    Notes
    -----
    Cells are the mean, which adds up over groups and periods, and in brackets the chance of any
    fruit and the high end of the range.
    """
    frame = words.shown_periods(schedule.frame_by(by))
    cells = {}
    for row in frame.to_dict("records"):
        cells.setdefault(row[by], {})[row["period"]] = words.mean_text(row, units)
    columns = [(Column(by), lambda row: row[0])]
    columns += [
        (Column(words.short_period(period)), lambda row, period=period: row[1].get(period))
        for period in dict.fromkeys(frame["period"])
    ]
    caption = (
        f"By {by} [{units.label('tonnes')}]: mean, and in brackets the chance of any fruit and the "
        f"high end of the {ranges.label()}; means add up"
    )
    return Table.of(f"by_{by}", caption, cells.items(), columns)


def limit_table(limits, dated=False, most=None):
    """Return all limits one by one, those of one variety too.

    Parameters
    ----------
    limits : Capacity
        As from ``capacity_table``.
    dated : bool
        Whether the first and the last day have columns of their own.
    most : int, optional
        Most rows: those likeliest passed, in fewer columns.
    """
    # A closed day that nothing comes on needs no row.
    rows = [
        row
        for row in limits.frame.to_dict("records")
        if row["intake"] != "closed" or row["chance_over"] > 0
    ]
    varied = any(row["variety"] for row in rows)

    def limited(name):
        return lambda row: row[name] if row["intake"] != "no limit" else None

    days = [(Column(name, kinds.DATE), f"period_{name}") for name in ("start", "end")]
    columns = [
        *(days if dated else [_SHORT_PERIOD]),
        _FRUIT if varied else None,
        (_tonnes("mean"), _mean),
        (Column("crop", kinds.RANGE, "tonnes"), _crop),
        _LIMIT,
        (Column("chance over it", kinds.CHANCE), limited("chance_over")),
        (_tonnes("mean over, when over"), limited("over_mean_t")),
        (_tonnes(f"enough in {words.enough()}"), limited("enough_t")),
    ]
    caption = f"Limits of intake, one by one: crop with its {ranges.label()}"
    if most is None:
        return Table.of("limits", caption, rows, columns, 1 + varied + dated)
    columns = [
        _SHORT_PERIOD,
        _FRUIT if varied else None,
        (_tonnes("mean"), _mean),
        (Column("crop", kinds.RANGE, "tonnes"), _crop),
        _LIMIT,
        (Column("over", kinds.CHANCE), limited("chance_over")),
        (_tonnes("by"), lambda row: row["over_mean_t"] or None),
    ]
    named = sorted(rows, key=lambda row: -row["chance_over"])[:most]
    which = "" if len(named) == len(rows) else f" ({most} likeliest of {len(rows)})"
    caption = f"LIMITS{which}: mean, crop, limit, chance of more, and by how much"
    rows = [row for row in rows if row in named]
    return Table.of("limits", caption, rows, columns, 1 + varied)


def book_tables(schedule, by, limits=None, moves=None, room=None, cellar=None, units=METRIC):
    """Return every table of an intake, for a workbook: [(name of the sheet, table)].

    Parameters
    ----------
    schedule : IntakeSchedule
        As it stands; with ``moves`` those made are told.
    by : str
        What the rows are.
    limits, moves, room, cellar : Capacity, Relief, ContractRoom, Cellar, optional
        What it is held against.
    units : UnitSystem
        Units to show.
    """
    moved, then = None, schedule
    if moves is not None and len(moves):
        moved, then = dict(zip(moves["block"], moves["days"], strict=True)), moves.schedule
    found = [("by day", deliveries_table(then, moved)), (f"by {by}", totals_table(schedule, by))]
    if limits is not None and len(limits):
        found.append(("limits", limit_table(limits, dated=True)))
    if moved:
        found += [("moves", moves_table(moves)), ("change", before_after_table(moves, units))]
    if room is not None and len(room):
        found += [("contracts", room_table(room)), ("pay", pay_table(room))]
    if cellar is not None:
        found.append(("cellar", cellar_table(cellar, units)))
    return found


def totals_table(schedule, by, dates=None, units=METRIC, most=None):
    """Return the crop of each group in all, and when most of it is expected.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule``.
    by : str
        What the rows are.
    dates : HarvestDates, optional
        Shown where the rows are blocks.
    most : int, optional
        Most rows: those of the largest crop, in fewer columns.
    """
    frame = schedule.frame_by(by)
    inside = frame[frame["period_start"].notna()]
    busiest = inside.loc[inside.groupby(by)["tonnes_mean"].idxmax()].set_index(by)
    names, draws = schedule.totals(by)
    _, place = schedule.groups(by)
    picked = {}
    if by == "block" and dates is not None:
        picked = {row[0]: row for row in date_table(dates).rows}
    rows = []
    for at, (name, each) in enumerate(zip(names, draws, strict=True)):
        row = {"name": name, "blocks": int((place == at).sum()), "crop": ranges.quantiles(each)}
        if name in busiest.index and each.any():
            top = busiest.loc[name]
            row |= {"period": words.short_period(top["period"]), "then": top["tonnes_mean"]}
        if each.any():
            rows.append(row)
    columns = [
        (Column(by), "name"),
        (Column("variety"), lambda row: picked[row["name"]][1]) if picked else None,
        (Column("blocks", kinds.WHOLE), "blocks") if by != "block" else None,
        (Column("crop", kinds.RANGE, "tonnes"), lambda row: tuple(row["crop"])),
        (Column("picked about"), lambda row: picked[row["name"]][2]) if picked else None,
        (Column("most in"), lambda row: row.get("period")),
        (_tonnes("mean then"), lambda row: row.get("then")),
    ]
    caption = f"By {by}: crop in all with its {ranges.label()}, and the period that gets most of it"
    if most is not None:
        largest = sorted(rows, key=lambda row: -row["crop"][1])[:most]
        which = f" (the {most} largest of {len(rows)})" if len(rows) > most else ""
        rows = [row for row in rows if any(row is each for each in largest)]
        caption = f"BY {by.upper()}{which}: crop in all, and the period that gets most of it"
        return Table.of(f"totals_{by}", caption, rows, columns[:-1])
    return Table.of(f"totals_{by}", caption, rows, columns)


def before_after_table(relief, units=METRIC):
    """Return every measure of the fit, as the picks stand and with the moves made."""

    def tonnes(read):
        return [wording.amount("tonnes", read(fit), units) for fit in relief.fits]

    rows = [
        ("chance that any period is over", *(wording.chance(f.chance_any) for f in relief.fits)),
        ("to place elsewhere, mean", *tonnes(lambda fit: fit.elsewhere_mean)),
        ("to place elsewhere, one year in ten over", *tonnes(lambda fit: fit.elsewhere[2])),
        ("on days no limit names, mean", *tonnes(lambda fit: fit.outside_mean)),
        ("fullest period, middle", *tonnes(lambda fit: fit.peak_t[1])),
        (f"each period enough in {words.enough()}", *tonnes(lambda fit: fit.enough_t)),
    ]
    for name, what in (
        ("tanks", "without a tank, mean"),
        ("presses", "waiting, fullest night, mean"),
        ("pickers", "not picked that day, fullest, mean"),
    ):
        used = [use for cellar in relief.cellars for use in cellar.uses if use.what == name]
        if used:
            cells = (wording.amount("tonnes", use.left_mean, units) for use in used)
            rows.append((what, *cells))
    if relief.bills:
        names = {
            "total": "cost in all, mean",
            "moving": "of it moves",
            "outside": "of it room booked elsewhere",
            "short": "of it fruit without room",
            "wait": "of it waiting for a press",
        }
        for name, what in names.items():
            costs = [getattr(bill, name) for bill in relief.bills]
            if any(costs):
                rows.append((what, *(wording.number(cost, 0) for cost in costs)))
    heads = ("measure", "now", "with the moves")
    columns = [(Column(head), lambda row, at=at: row[at]) for at, head in enumerate(heads)]
    return Table.of("before_after", "What the moves change", rows, columns)


def _told(frame, name, *columns):
    """Return columns where any contract has what a column of the frame tells."""
    return columns if frame[name].notna().any() else ()


def room_table(room, title="Contracts"):
    """Return the crop against the least and the most of each contract, with both chances."""
    frame = room.frame
    columns = [
        (Column("contract"), "contract"),
        (Column("crop", kinds.RANGE, "tonnes"), _crop),
        *_told(
            frame,
            "least_t",
            (_tonnes("least"), "least_t"),
            (Column("chance of less", kinds.CHANCE), "chance_short"),
            (_tonnes("mean missing, when less"), "short_mean_t"),
        ),
        (_tonnes("most it takes"), "most_t"),
        (Column("chance of room left", kinds.CHANCE), "chance_room"),
        (_tonnes("mean room, when left"), "room_mean_t"),
        (Column("chance of more", kinds.CHANCE), "chance_excess"),
        (_tonnes("mean over, when over"), "excess_mean_t"),
        *_told(
            frame,
            "ceiling_t",
            (_tonnes("legal ceiling"), "ceiling_t"),
            (Column("chance above it", kinds.CHANCE), "chance_ceiling"),
        ),
    ]
    caption = (
        f"{title}: crop with its {ranges.label()}, and chances on both sides; a dash where there "
        "is none"
    )
    return Table.of("contracts", caption, frame.to_dict("records"), columns)


def book_table(room, title="Contracts"):
    """Return each contract in one row: crop, both chances, what it pays and what is owed."""
    frame = room.frame
    unit, several = _currency(frame)
    owed = frame["penalty_mean"].any()
    step = money_step(zip(frame["revenue_p10"], frame["revenue_p90"], strict=True))
    columns = [
        (Column("contract"), "contract"),
        (Column("crop", kinds.RANGE, "tonnes"), _crop),
        *_told(
            frame,
            "least_t",
            (_tonnes("least"), "least_t"),
            (Column("chance of less", kinds.CHANCE), "chance_short"),
        ),
        *_told(
            frame,
            "most_t",
            (_tonnes("most"), "most_t"),
            (Column("chance of more", kinds.CHANCE), "chance_excess"),
        ),
        (Column("pays, mean", kinds.MONEY, unit=unit), "revenue_mean"),
        (Column("owed, mean", kinds.MONEY, unit=unit), _owed) if owed else None,
        several,
    ]
    caption = f"{title}: crop with its {ranges.label()}, both chances, and money in the mean"
    return Table.of("book", caption, frame.to_dict("records"), columns, step=step)


def _owed(row):
    return row["penalty_mean"] or None


def _currency(frame):
    """Return the one currency of all contracts, and a column of it where there are several."""
    named = list(dict.fromkeys(frame["currency"]))
    if len(named) == 1:
        return named[0], None
    return "", (Column("currency"), "currency")


def money_step(ends):
    """Return the power of ten that money is rounded to, by the narrowest of the ranges shown.

    Parameters
    ----------
    ends : iterable of (low, high)
        Ranges [currency].

    Notes
    -----
    The last figure shown is worth at most a hundredth of the range, so that no more is claimed than
    the draws support; at least whole units of the currency.
    """
    widths = [high - low for low, high in ends if high > low]
    return max(0, math.floor(math.log10(min(widths) / 100))) if widths else 0


def pay_table(room):
    """Return what each contract pays, and what is owed under it for too little or too much."""
    frame = room.frame
    unit, several = _currency(frame)
    owed = frame["penalty_mean"].any()
    columns = [
        (Column("contract"), "contract"),
        (Column("pays", kinds.MONEYS, unit=unit), "revenue"),
        (Column("pays, mean", kinds.MONEY, unit=unit), "revenue_mean"),
        (Column("chance of owing", kinds.CHANCE), "chance_penalty") if owed else None,
        (Column("owed, mean", kinds.MONEY, unit=unit), _owed) if owed else None,
        several,
    ]
    step = money_step(zip(frame["revenue_p10"], frame["revenue_p90"], strict=True))
    caption = f"What the contracts pay, with its {ranges.label()}"
    return Table.of("pay", caption, frame.to_dict("records"), columns, step=step)


def cellar_table(cellar, units=METRIC):
    """Return tanks, presses and pickers by day: what is in use, and what finds no room.

    Parameters
    ----------
    cellar : Cellar
        As from the function of that name in ``winery.cellar``.
    units : UnitSystem
        Units of the volume.
    """

    def used(row):
        low, middle, high = (
            words.room_words(row["what"], row[f"used_{end}"], units) for end in ranges.ENDINGS
        )
        return f"{middle} ({low.split()[0]}-{high.split()[0]})"

    columns = [
        (Column("day", kinds.DATE), "day"),
        (Column("of"), "what"),
        (Column("in use"), used),
        (Column("room"), lambda row: words.room_words(row["what"], row["room"], units)),
        (Column("chance too little", kinds.CHANCE), "chance_left"),
        (_tonnes("without, mean"), "left_mean"),
        (_tonnes("one year in ten over"), "left_p90"),
    ]
    caption = f"Tanks, presses and pickers by day, in use with its {ranges.label()}"
    return Table.of("cellar", caption, cellar.frame.to_dict("records"), columns, 2)


def deliveries_table(schedule, moved=None):
    """Return the picks still to come by day: block, grower, crop, and how sure the day is.

    Parameters
    ----------
    schedule : IntakeSchedule
        With any moves made.
    moved : dict, optional
        {block: days} that were moved [d].
    """
    frame = deliveries(schedule, moved)
    columns = [
        (Column("about", kinds.DATE), "day"),
        (Column("block"), "block"),
        (Column("grower"), "grower") if (frame["grower"] != "").any() else None,
        (Column("variety"), "variety"),
        (Column("crop", kinds.RANGE, "tonnes"), _crop),
        (Column("between"), lambda row: f"{row['day_p10']:%m-%d} to {row['day_p90']:%m-%d}"),
        (Column("picked by"), "picker") if (frame["picker"] != "").any() else None,
        (Column("moved"), _move) if frame["days"].any() else None,
    ]
    caption = f"Picks to come by day, each with its {ranges.label()}"
    return Table.of("deliveries", caption, frame.to_dict("records"), columns, 2)


def _move(row):
    return move_words(row["days"])


def moves_table(relief):
    """Return the blocks to move: days, dates, tonnes."""
    columns = [
        (Column("block"), "block"),
        (Column("variety"), "variety"),
        (Column("move"), _move),
        (Column("middle date now", kinds.DATE), "date_now"),
        (Column("then", kinds.DATE), "date_then"),
        (_tonnes("crop"), "tonnes_p50"),
    ]
    return Table.of("moves", "Blocks to move", relief.frame.to_dict("records"), columns)


def booked_table(relief):
    """Return the room to book elsewhere for each period, as it is best with the moves made."""
    columns = [
        (Column("for"), lambda row: words.short_period(row[0])),
        (_tonnes("to book"), lambda row: row[1]),
    ]
    caption = "Room to book elsewhere beforehand, by your prices"
    return Table.of("booked", caption, relief.bills[1].booked, columns)


def chances_table(relief):
    """Return the chance of going over each limit, as the picks stand and with the moves made."""
    frame = relief.after.frame.assign(chance_now=relief.before["chance_over"])
    frame = frame[
        (frame["intake"] != "closed") | (frame[["chance_now", "chance_over"]] > 0).any(axis=1)
    ]
    columns = [
        _SHORT_PERIOD,
        _FRUIT,
        _LIMIT,
        (Column("chance now", kinds.CHANCE), "chance_now"),
        (Column("chance then", kinds.CHANCE), "chance_over"),
    ]
    caption = "Chance of going over each limit"
    return Table.of("chances", caption, frame.to_dict("records"), columns, 2)


def date_table(dates, forecast=None):
    """Return the picking dates: block, middle, range, where known from.

    Parameters
    ----------
    dates : HarvestDates
        As from ``harvest_dates``.
    forecast : Forecast, optional
        A block that bears no crop by it has no row, unless a date was entered for it.
    """
    bare = set()
    if forecast is not None:
        bears = forecast.draws.any(axis=1)
        bare = {name for name, yes in zip(forecast.blocks, bears, strict=True) if not yes}
    rows = [
        row | _dates_of(row, dates.entered.get(row["block"]))
        for row in dates.table().to_dict("records")
        if row["block"] not in bare or dates.entered.get(row["block"])
    ]
    columns = [
        (Column("block"), "block"),
        (Column("variety"), "variety"),
        (Column("picking date (middle)"), "date"),
        (Column(ranges.label()), "span"),
        (Column("known from"), "came_from"),
    ]
    return Table.of(
        "dates", "Picking date of each block, and where it is known from", rows, columns
    )


def _dates_of(row, entered):
    """Return the cells of one block's dates, entered ones first."""
    if entered:
        dates = [
            f"{pd.Timestamp(0) + pd.Timedelta(days=day):%Y-%m-%d}"
            + (f" {wording.percent(share)}" if share < 1 else "")
            for day, share in entered
        ]
        return {"date": ", ".join(dates), "span": None, "came_from": "entered"}
    if pd.isna(row["date_p50"]):
        return {"date": "not known", "span": None}
    span = f"{row['date_p10']:%Y-%m-%d} to {row['date_p90']:%Y-%m-%d}"
    return {"date": f"{row['date_p50']:%Y-%m-%d}", "span": span if row["range_days"] else None}
