"""Intake in plain words: what every face of it says, and what is exported."""

import re

import pandas as pd

from cropload import handbook
from cropload.beliefs import ranges
from cropload.show import wording
from cropload.show.result_units import in_units
from cropload.units import METRIC
from cropload.winery.capacity import ENOUGH, GALLON_L, tank_volume
from cropload.winery.schedule import NO_DATE, OUTSIDE

CAUTION = (
    "A forecast is decision support, not a guarantee: ripeness, fruit health, weather and contract "
    "decide; money needs its own advice."
)

TERMS = (
    "Prices are your own, from table contracts or prices. Terms on sugar, health or dates are not "
    "looked at; nothing here is advice on a contract."
)

NO_CAPACITY = (
    "These records have no table capacity (period_start, period_end, limit_t, variety where a "
    "limit is for one, and intake for closed days), so there is no limit to hold the intake "
    "against."
)

NO_PRICES = (
    "These records have no table contracts (contract, grower, variety or blocks, price_per_t, and "
    "where the contract has them least_t, most_t and what is owed), and no table prices."
)

#: A period whose high end is below this is not worth a line [t].
SMALL = 0.05


def volume_label(units=METRIC):
    """Return the unit of volume of a unit system: hl, or US gal."""
    return "US gal" if units.name == "us" else "hl"


def volume(tonnes, units=METRIC):
    """Return the volume that tonnes fill by the juice they give, least and most.

    Parameters
    ----------
    tonnes : float
        Grapes [t].
    units : UnitSystem
        Units to show: hl, or US gallons.

    Examples
    --------
    >>> [round(end) for end in volume(10.0)]
    [71, 87]
    """
    factor = 100 / GALLON_L if units.name == "us" else 1.0
    return tuple(factor * end for end in tank_volume(tonnes))


def shown_periods(table):
    """Return the rows of a schedule's frame in periods whose range is worth a line."""
    worth = table[["tonnes_p90", "tonnes_mean"]].max(axis=1)
    keep = (worth.groupby(table["period"], sort=False).transform("max") >= SMALL) | table[
        "period"
    ].isin([NO_DATE, OUTSIDE])
    return table[keep]


def high_end(row):
    """Return the high end of one row of an intake [t]; None where it says nothing.

    Where fruit comes in few years the high end can lie below the mean, or be nothing at all: the
    chance says more.
    """
    return row["tonnes_p90"] if row["tonnes_p90"] >= max(row["tonnes_mean"], SMALL) else None


def high_end_words():
    """Return what the high end of a table is, and what a dash there means."""
    return f"of the {ranges.label()}; a dash where fruit comes too seldom for one"


def mean_text(row, units=METRIC):
    """Return the mean of one row, in brackets the chance of any fruit and the high end."""
    if max(row["tonnes_p90"], row["tonnes_mean"]) < SMALL:
        return "-"
    mean = wording.amount("tonnes", row["tonnes_mean"], units, unit=False)
    high = high_end(row)
    most = "" if high is None else f", up to {wording.amount('tonnes', high, units, unit=False)}"
    return f"{mean} ({wording.chance(row['chance_any'])}{most})"


def short_period(period):
    """Return a period without its year, such as ``09-13 to 09-19``."""
    return re.sub(r"\d{4}-(?=\d\d-\d\d)", "", period)


def crop_sentence(schedule, units=METRIC):
    """Return the crop in all and what it fills, in one sentence."""
    if schedule.empty:
        return f"No block bears a crop in {schedule.season}, so there is nothing to take in."
    low, middle, high = (float(end) for end in ranges.quantiles(schedule.totals("estate")[1][0]))
    filled = _filled(middle, units)
    return (
        f"In all about {wording.amount('tonnes', middle, units)} "
        f"({wording.span('tonnes', low, high, units)}, {ranges.often()}), "
        f"{filled} {volume_label(units)} in the tank."
    )


def _filled(tonnes, units):
    return wording.ranged(
        (volume(tonnes, units)[0], None, volume(tonnes, units)[1]),
        lambda end: wording.number(end, 0),
    )


def intake_sentence(schedule, limits=None, units=METRIC):
    """Return where most fruit is expected, and where it is likeliest too much, in sentences."""
    if schedule.empty:
        return crop_sentence(schedule)
    table = schedule.frame_by("estate")
    inside = table[~table["period"].isin([NO_DATE, OUTSIDE])]
    low, middle, high = (float(end) for end in ranges.quantiles(schedule.totals("estate")[1][0]))

    text = (
        f"In all about {wording.amount('tonnes', middle, units)} "
        f"({wording.span('tonnes', low, high, units)}, {ranges.label()}). The middle fills "
        f"{_filled(middle, units)} {volume_label(units)} in the tank, by the juice the grapes "
        f"give; the high end {_filled(high, units)}."
    )
    if len(inside):
        top = inside.loc[inside["tonnes_mean"].idxmax()]
        mean = wording.amount("tonnes", top["tonnes_mean"], units)
        text += f" Most is expected in {top['period']}: {mean} on average."
    if limits is not None and len(limits) and limits["chance_over"].max() > 0:
        worst = limits.frame.loc[limits["chance_over"].idxmax()]
        fruit = f" for {worst['variety']}" if worst["variety"] else ""
        text += (
            f" The limit{fruit} of {wording.amount('tonnes', worst['limit_t'], units)} in "
            f"{worst['period']} is likeliest to be exceeded, with a chance of "
            f"{wording.chance(worst['chance_over'])}; by "
            f"{wording.amount('tonnes', worst['over_mean_t'], units)} on average when it is."
        )
    return text


def enough():
    """Return in how many years a capacity called enough does, such as ``8 years of 10``."""
    return f"{10 * ENOUGH:g} years of 10"


def fit_sentence(fit, limits, units=METRIC, short=False):
    """Return whether the crop fits the limits of intake, in some sentences.

    Parameters
    ----------
    fit, limits : Fit, Capacity
        As from ``fit_of`` and ``capacity_table``.
    units : UnitSystem
        Units to show.
    short : bool
        Whether the tightest limit is left to a table beside it.
    """
    if not fit.limits:
        return "No limit of intake lies ahead, so there is nothing to hold the crop against."

    def tonnes(value):
        return wording.amount("tonnes", value, units)

    often = wording.chance(fit.chance_any)
    text = f"It fits: the chance that any period goes over its limit is {often}."
    if fit.chance_any > handbook.value("intake.chance_of_excess"):
        verdict = "It does not fit" if fit.chance_any >= 0.5 else "It may not fit"
        text = (
            f"{verdict}: the chance that some period goes over its limit is {often}. About "
            f"{tonnes(fit.elsewhere_mean)} in the mean, over {tonnes(fit.elsewhere[2])} in one "
            "year of ten, would need another place or day."
        )
    worst = limits.frame.loc[limits["chance_over"].idxmax()]
    fruit = f" of {worst['variety']}" if worst["variety"] else ""
    if worst["chance_over"] > 0 and not short:
        text += (
            f" Tightest alone is {short_period(worst['period'])}: "
            f"{wording.chance(worst['chance_over'])} for more than "
            f"{tonnes(worst['limit_t'])}{fruit}."
        )
    if fit.peak:
        low, middle, high = fit.peak_t
        text += (
            f" The fullest period gets {tonnes(middle)} "
            f"({wording.span('tonnes', low, high, units)}, {ranges.often()}), oftenest "
            f"{short_period(fit.peak)}; {tonnes(fit.enough_t)} in each would be enough in "
            f"{enough()}."
        )
    if fit.outside_high >= SMALL or fit.outside_mean >= SMALL:
        text += (
            f" Besides, {tonnes(fit.outside_mean)} (over {tonnes(fit.outside_high)} one year in "
            "ten) come on days that no row of table capacity names."
        )
    return text


def cellar_sentence(cellar, units=METRIC):
    """Return how often tanks and presses are short, and by how much, in sentences."""

    def tonnes(value):
        return wording.amount("tonnes", value, units)

    told = []
    for use in cellar.uses:
        low, middle, high = (room_words(use.what, end, units) for end in use.used)
        low = low.split()[0]
        if use.what == "tanks":
            room, short = "Tanks (%s)", "some fruit finds none"
        elif use.what == "presses":
            room, short = "Presses (%s a day)", "some fruit waits over night"
        else:
            room, short = "Pickers (%s a day)", "some fruit is not picked on its day"
        room %= room_words(use.what, use.room, units)
        text = f"{room}: the chance that {short} is {wording.chance(use.chance_left)}"
        if use.left_mean >= SMALL or use.left_high >= SMALL:
            nights = {"tanks": "a season", "presses": "in the fullest night"}
            when = nights.get(use.what, "on the fullest day")
            text += (
                f", {tonnes(use.left_mean)} {when} in the mean, over {tonnes(use.left_high)} in "
                "one year of ten"
            )
        told.append(
            f"{text}. Fullest is {use.fullest:%m-%d}: {middle} ({low} to {high}, {ranges.often()})."
        )
    return " ".join(told) or "No tank or press is kept for what comes in, and no picker named."


def room_words(what, value, units=METRIC):
    """Return what tanks hold, in hl or US gal, or others do, in tonnes or tons, as text."""
    if what != "tanks":
        return wording.amount("tonnes", value, units)
    factor = 100 / GALLON_L if units.name == "us" else 1.0
    return f"{wording.number(factor * value, 0)} {volume_label(units)}"


def fit_in_short(made, schedule, limits=None, fit=None, units=METRIC):
    """Return the crop to expect and how often it goes over a limit of intake, in one line.

    Parameters
    ----------
    made : Forecast
        Of the season.
    schedule : IntakeSchedule
        Of it.
    limits, fit : Capacity, Fit, optional
        As from ``capacity_table`` and ``fit_of``, where limits of the season are on record.
    units : UnitSystem
        Units to show.
    """
    row = made.frame_by("estate").iloc[0]
    text = f"{wording.amount('tonnes', row['tonnes_p50'], units)} expected"
    if fit is None or not fit.limits:
        table = schedule.frame_by("estate")
        inside = table[~table["period"].isin([NO_DATE, OUTSIDE])]
        if len(inside):
            top = inside.loc[inside["tonnes_mean"].idxmax(), "period"]
            text += f", most in {short_period(top)}"
        return f"{text}; no limit of intake is on record for {schedule.season}"
    if fit.chance_any < 0.05:
        return f"{text}; it fits"
    worst = limits.frame.loc[limits["chance_over"].idxmax()]
    return (
        f"{text}; over some limit in {_years(fit.chance_any)}, {short_period(worst['period'])} "
        f"in {_years(worst['chance_over'])}"
    )


def _years(chance):
    """Return a chance in years of ten."""
    return f"{min(max(round(10 * chance), 1), 9)} of 10 years"


def next_picks(schedule, units=METRIC, most=5):
    """Return which days the next picks come in, and these picks, in a phrase and lines.

    Parameters
    ----------
    schedule : IntakeSchedule
        As from ``intake_schedule``.
    units : UnitSystem
        Units to show.
    most : int
        Most lines [1].

    Notes
    -----
    The seven days after the day of the forecast, or from the first pick on where none comes then.
    """
    from cropload.winery.sheets import deliveries

    frame = deliveries(schedule)
    if frame.empty:
        return "", []
    week = pd.Timedelta(days=6)
    start = frame["day"].iloc[0]
    if schedule.as_of:
        start = max(start, pd.Timestamp(schedule.as_of) + pd.Timedelta(days=1))
    rows = frame[(frame["day"] >= start) & (frame["day"] <= start + week)].to_dict("records")
    lines = [
        f"{row['day']:%m-%d} {row['block']}{', ' * bool(row['grower'])}{row['grower']}: "
        f"{wording.range_of(row, 'tonnes', 'tonnes', units)} {units.label('tonnes')}, between "
        f"{row['day_p10']:%m-%d} and {row['day_p90']:%m-%d}"
        f"{', by ' * bool(row['picker'])}{row['picker']}"
        for row in rows[:most]
    ]
    if len(rows) > most:
        lines.append(f"and {len(rows) - most} more, under 'day by day'")
    return f"{start:%m-%d} to {start + week:%m-%d}", lines


def first_step(relief, shown="blocks to move"):
    """Return what to do first where the crop may not fit, in a sentence.

    Parameters
    ----------
    relief : Relief
        As from ``relieve``; moves need not have been looked for.
    shown : str
        Where moves are looked for.
    """
    fit = relief.fits[0]
    if fit.chance_any <= handbook.value("intake.chance_of_excess"):
        return "Nothing needs to move."
    if relief.too_big:
        name, share = max(relief.too_big.items(), key=lambda each: each[1])
        return (
            f"Plan {name} in two picks: alone it is over the highest limit with a chance of "
            f"{wording.chance(share)}."
        )
    return f"Look for picks to shift by some days, under '{shown}'."


def contracts_at_risk(room, units=METRIC, least=0.2):
    """Return the contracts likely to get less than their least or more than their most, in phrases.

    Parameters
    ----------
    room : ContractRoom
        As from ``contract_table``.
    units : UnitSystem
        Units to show.
    least : float
        Chance from which on a contract is named [1].
    """
    found = []
    for row in room.frame.to_dict("records"):
        for side, chance, mean, limit in (
            ("more", "chance_excess", "excess_mean_t", "most_t"),
            ("less", "chance_short", "short_mean_t", "least_t"),
            ("more", "chance_ceiling", None, "ceiling_t"),
        ):
            if not row[chance] >= least:
                continue
            text = (
                f"{row['contract']}: {side} than its {wording.amount('tonnes', row[limit], units)}"
                f"{'' if mean else ' by law'} with a chance of {wording.chance(row[chance])}"
            )
            if mean:
                text += f", by {wording.amount('tonnes', row[mean], units)} then"
            found.append((row[chance], text))
    return [text for _, text in sorted(found, key=lambda each: -each[0])]


def book_title(records):
    """Return what terms of money the records have: contracts, or prices alone."""
    return "Contracts" if len(records.contracts) else "Prices"


def book_lines(room, title, units=METRIC, most=2):
    """Return what all contracts pay together, and those at risk, the likeliest first, in lines."""
    frame, head = room.frame, title.upper()
    if len(set(frame["currency"])) == 1:
        currency = f" {frame['currency'].iloc[0]}".rstrip()
        pay, owed = (frame[name].sum() for name in ("revenue_mean", "penalty_mean"))
        head += f": {wording.significant(pay, 3)}{currency} paid in the mean"
        head += f", {wording.significant(owed, 2)} owed" if owed else ""
    risks = contracts_at_risk(room, units)
    lines = [f"- {text}" for text in risks[:most]] or ["- none is likely to be missed or passed"]
    if len(risks) > most:
        lines[-1] += f"; and {len(risks) - most} more"
    return [head, *lines]


def contract_words(room, book, units=METRIC):
    """Return {grower: a sentence on each contract of the grower}.

    Parameters
    ----------
    room, book : ContractRoom, DataFrame
        As from ``contract_table`` and ``contract_book``.
    units : UnitSystem
        Units to show.
    """
    grower = book[book["grower"] != ""].groupby("contract")["grower"].first()
    found = {}
    for row in room.frame[room.frame["contract"].isin(grower.index)].to_dict("records"):
        crop = wording.range_of(row, "tonnes", "tonnes", units)
        text = f"Contract {row['contract']}: {crop} {units.label('tonnes')} expected"
        for what, most, side, chance in (
            ("at least", "least_t", "less", "chance_short"),
            ("at most", "most_t", "more", "chance_excess"),
            ("by law at most", "ceiling_t", "more", "chance_ceiling"),
        ):
            if row[most] == row[most]:
                text += (
                    f"; {what} {wording.amount('tonnes', row[most], units)} "
                    f"({wording.chance(row[chance])} for {side})"
                )
        found.setdefault(grower[row["contract"]], []).append(f"{text}.")
    return found


def relief_sentence(relief, units=METRIC):
    """Return what moves of picking days bring, in one to three sentences."""
    if not relief.fits[0].limits:
        return "No limit of intake lies ahead, so there is nothing to relieve."

    def tonnes(fit):
        return wording.amount("tonnes", fit.elsewhere_mean, units)

    before, after = relief.fits
    if relief.bills:
        was, now = (wording.number(bill.total, 0) for bill in relief.bills)
        booked = sum(tonnes for _, tonnes in relief.bills[1].booked)
        done = f"{wording.amount('tonnes', booked, units)} booked elsewhere"
        if len(relief):
            done = f"{len(relief)} block{'s' * (len(relief) != 1)} moved and {done}"
        text = (
            f"By your prices the intake costs {now} in the mean with {done}, and {was} with none "
            f"moved. {tonnes(after)} go over the limits in the mean then ({tonnes(before)} now)."
        )
    elif before.elsewhere_mean < 1e-9 and not relief.cellars:
        return "No period goes over its limit. Nothing needs to move."
    elif relief.frame.empty:
        text = (
            f"{tonnes(before)} in the mean need another place, and no move of a few days that is "
            "worth it brings that down."
        )
    else:
        text = (
            f"Moving {len(relief)} block{'s' * (len(relief) != 1)} brings what needs another place "
            f"from {tonnes(before)} to {tonnes(after)} in the mean, and the chance that any period "
            f"is over from {wording.chance(before.chance_any)} to "
            f"{wording.chance(after.chance_any)}."
        )
    if relief.too_big and before.chance_any > handbook.value("intake.chance_of_excess"):
        names = ", ".join(f"{b} ({wording.chance(share)})" for b, share in relief.too_big.items())
        text += (
            f" One pick alone may be over the highest limit: {names}. Splitting it over two "
            "periods would help more than moving it."
        )
    return text


def export(schedule, by, units=METRIC):
    """Return an intake by block, variety or for the estate as it is written to a file.

    Notes
    -----
    Units of the chosen system with their names in the columns; season, day, range, draws and seed
    beside every row.
    """
    frame = in_units(schedule.frame_by(by), units)
    if units.name == "us":
        frame["tonnes_mean"] = units.convert("tonnes", frame["tonnes_mean"])
        frame = frame.rename(columns={"tonnes_mean": "tons_mean"})
    frame["interval"] = ranges.label()
    frame["draws"], frame["seed"] = schedule.undated.shape[1], schedule.seed
    frame.insert(0, "as_of", schedule.as_of)
    frame.insert(0, "season", schedule.season)
    return frame
