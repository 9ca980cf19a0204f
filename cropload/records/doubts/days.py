"""Rules of days and seasons: out of order, far from the usual, or still to come."""

import numpy as np
import pandas as pd

from cropload import clock
from cropload.handbook import entry
from cropload.records.doubts.facts import KEYS, day_of_season, others_median
from cropload.records.doubts.rules import Rule, one_of_each

_AUTUMN = 7
_GROWN = ["shoots", "noncount_shoots", "clusters"]


def _winter_picks(facts):
    """Return (season, date) of frozen grapes, picked in the first weeks of the year after.

    Empty where no other pick is of the second half of its season's year, as then a vineyard of
    the southern hemisphere, or a slip of the year, is as likely.
    """
    parts = []
    for name in ("harvest", "weights", "dates"):
        if name in facts:
            parts.append(_ripe(facts[name])[["season", "date"]].dropna())
    days = pd.concat(parts).drop_duplicates() if parts else pd.DataFrame()
    if days.empty:
        return pd.MultiIndex.from_arrays([[], []])
    year = days["date"].dt.year
    own = days[year == days["season"]]
    late = days["date"].dt.day_of_year <= entry("plausible.winter_pick_days").value
    late &= year == days["season"] + 1
    if own.empty or not (own["date"].dt.month >= _AUTUMN).all():
        late &= False
    return pd.MultiIndex.from_frame(days[late])


def _ripe(frame):
    return frame[frame["stage"] == "harvest"] if "stage" in frame else frame


def _out_of_season(table):
    def condition(facts):
        frame = facts[table]
        year, season = frame["date"].dt.year, frame["season"]
        wrong = year.notna() & season.notna() & (year != season) & (year != season - 1)
        if not wrong.any():
            return ()
        late = facts.once(_winter_picks)
        if len(late) and table != "counts" and table != "pruning":
            ripe = _ripe(frame)
            keys = pd.MultiIndex.from_frame(ripe[["season", "date"]])
            wrong[ripe.index[keys.isin(late)]] = False
        return frame[["season"]][wrong]

    return Rule(
        (table,),
        "date",
        condition,
        "lies outside the season, which runs up to the calendar year of harvest",
        "Check the date and the season; the row counts for its season, from its date on.",
        "{text} in season {season:.0f}",
        name=f"{table}-outside-season",
    )


SEASONS = [
    _out_of_season(table)
    for table in ("pruning", "counts", "weights", "harvest", "dates", "estimates")
]


def _after_picking(table):
    """Doubt shoots, clusters and unripe lots dated after their block was picked whole."""

    def condition(facts):
        picks, frame = facts["harvest"], facts[table]
        whole = picks[picks["date"].notna() & ~(picks["picked_pct"] < 100)]
        picked = facts.beside(table, whole.groupby(KEYS)["date"].max())
        late = frame["date"] > picked
        if not late.any():
            return ()
        weighed = table == "weights"
        on_vine = frame["stage"] != "harvest" if weighed else frame[_GROWN].notna().any(axis=1)
        return pd.DataFrame({"picked": picked})[on_vine & late]

    rule = "is later than the picking of the block on {picked:%Y-%m-%d}"
    mend = "Check both dates; the row is used as it stands."
    name = f"{table}-after-picking"
    return Rule((table, "harvest"), "date", condition, rule, mend, name=name)


_COUNTED = [
    *("buds", *_GROWN, "pruning_weight_kg", "leaf_area_m2"),
    *("missing", "shoots_dead", "shoots_alive"),
]
_ROW = "Check the year and the day; the row counts from its date on."
_UNPICKED = (
    "Check the year, or take the row out until the block is picked. Until then it does not "
    "change which season is meant when none is named; asked for its own season, it counts as "
    "picked."
)


def _not_yet(table, what, mend, column="date"):
    """Doubt what is dated after today, or of a later season: it cannot have been measured yet.

    Valid for calendar days of the place where the program runs.  A plan may be written ahead, and
    intake limits are, so those tables are not asked about.
    """

    def condition(facts):
        today, frame = clock.today(), facts[table]
        # Seasons many years from today are asked about as such.
        near = ~(frame["season"] > today.year + int(entry("plausible.season_gap").high))
        late = (frame["date"] > pd.Timestamp(today)) & near
        if column == "season":
            late = (frame["season"] > today.year) & near & ~late
        if not late.any():
            return ()
        if table == "counts":
            # A sheet filled in ahead, with places and no numbers, counts nothing yet.
            late &= frame[_COUNTED].notna().any(axis=1)
        return pd.DataFrame({"today": f"{today:%Y-%m-%d}"}, frame.index[late])

    rule = f"lies after today ({{today}}), so no such {what} can have been"
    return Rule((table,), column, condition, rule, mend, name=f"{table}-{column}-to-come")


NOT_YET = [
    _after_picking("counts"),
    _after_picking("weights"),
    _not_yet("counts", "count", _ROW),
    _not_yet("weights", "weighing", _ROW),
    _not_yet("estimates", "estimate", _ROW),
    _not_yet("harvest", "harvest", _UNPICKED),
    _not_yet("harvest", "harvest", _UNPICKED, "season"),
]


def _stage_order(facts):
    """Return stages that come before an earlier one of the same block and season."""
    place = {"budburst": 0, "flowering": 1, "veraison": 2, "harvest": 3}
    frame = facts["dates"].assign(order=facts["dates"]["stage"].map(place))
    frame = frame.dropna(subset=["season", "date", "order"])
    frame = frame.sort_values(["season", "block", "order"], kind="stable")
    before = frame[["season", "block", "date", "stage"]].shift()
    same = (frame["season"] == before["season"]) & (frame["block"] == before["block"])
    hits = frame.assign(before=before["stage"])[same & (frame["date"] < before["date"])]
    return hits[["stage", "before"]].sort_index()


STAGES = Rule(
    ("dates",),
    "date",
    _stage_order,
    "comes before {before} of the same block and season",
    "Correct the dates or the stages.",
    "{stage} on {text}",
)


def _seasons(facts):
    """Return {season: what it lies many years from} of seasons far from all others, or today."""
    limits, this_year = entry("plausible.season_gap"), clock.today().year
    gap = int(limits.high)
    told = [facts[name]["season"].dropna().unique() for name in facts.parsed if name in _SEASONED]
    years = np.unique(np.concatenate(told or [[]])).astype(int)
    lone = {int(year): "today" for year in years if year > this_year + gap}
    runs = np.split(years, np.flatnonzero(np.diff(years) > gap) + 1)
    if len(runs) > 1:
        # A block may have rested, or its books be lost: several seasons before are a history.
        several = limits.extra["seasons"]
        long = [run for run in runs if len(run) >= several and run[0] <= this_year]
        main = min(long or runs, key=lambda run: abs(run - this_year).min())
        rest = set(years.tolist()) - {int(year) for run in (main, *long) for year in run}
        span = f"{main[0]} to {main[-1]}" if len(main) > 1 else f"{main[0]}"
        lone |= dict.fromkeys(rest, f"the records of {span}")
    return lone


_SEASONED = ("pruning", "counts", "fertility", "weights", "harvest", "dates")


def _lone(table):
    def condition(facts):
        lone, season = facts.once(_seasons), facts[table]["season"]
        if not lone:
            return ()
        season = season[season.isin(list(lone))]
        gap = int(entry("plausible.season_gap").high)
        return pd.DataFrame({"gap": gap, "others": season.map(lone)})

    rule = "lies more than {gap} years from {others}"
    mend = "Check the year; the row is used as it stands."
    return Rule((table,), "season", condition, rule, mend, name=f"{table}-lone-season")


LONE = [_lone(table) for table in _SEASONED]


def _swapped(days):
    """Return days with day and month changed over; NaT where there is no such day."""
    dates = days.to_numpy("datetime64[D]")
    years, months = dates.astype("datetime64[Y]"), dates.astype("datetime64[M]")
    month = (months - years).astype(float)
    day = (dates - months).astype(float)
    # Both count from 0, and every month has a day of each month's number.
    known = (day < 12) & (day != month)
    swapped = years.astype("datetime64[M]") + np.where(known, day, 0).astype("timedelta64[M]")
    swapped = swapped.astype("datetime64[D]") + np.where(known, month, 0).astype("timedelta64[D]")
    return pd.Series(swapped.astype("datetime64[ns]"), days.index).where(known)


def before_its_time(facts, table):
    """Return rows before the pruning of their season, or before the crop of the last was picked.

    With the ``reason``, in the order of the reasons and of the rows.
    """
    frame = facts[table]
    gap = pd.Timedelta(days=entry("plausible.days_between_crops").low)
    picked = facts.beside(table, facts.days("harvest", what="max"), before=1)
    early = frame["date"] < facts.beside(table, facts.days("pruning"))
    soon = frame["date"] < picked + (gap if table == "harvest" else pd.Timedelta(0))
    if not (early | soon).any():
        return frame.iloc[:0]
    if table == "counts":
        grown = frame[_GROWN].notna().any(axis=1)
        early, soon = early & grown, soon & grown
    crop = "lies too soon after the crop of the season before"
    crop = crop if table == "harvest" else "lies before the crop of the season before was picked"
    return pd.concat(
        [
            frame[early].assign(rule="lies before the pruning of the block for that season"),
            frame[soon & ~early].assign(rule=crop),
        ]
    )


def _too_early(table):
    def condition(facts):
        wrong = facts.once(before_its_time, table)
        if wrong.empty:
            return ()
        lots = wrong.groupby("rule", sort=False)
        hits = pd.concat([one_of_each(lot, KEYS) for _, lot in lots])
        swap = [
            "" if pd.isna(day) else f" Day and month may be swapped too: {day:%Y-%m-%d}."
            for day in _swapped(hits["date"])
        ]
        return hits.assign(swap=swap)

    mend = "Check the year of the date, and the season.{swap}"
    value = "{text} in season {season:.0f}"
    return Rule(
        *((table, "blocks"), "date", condition, "{rule}", mend, value),
        name=f"{table}-too-early",
        of="season",
    )


def _odd_days(table):
    """Doubt days far from those of the other seasons, and look for day and month swapped."""

    def condition(facts):
        limits = entry("plausible.days_from_usual")
        frame = facts[table].dropna(subset=["date"])
        frame = frame[~frame.index.isin(facts.once(before_its_time, table).index)]
        if frame.empty:
            return ()
        frame = frame.assign(day=day_of_season(frame))
        keys = ["stage", *KEYS]
        frame = frame if table == "weights" else frame.assign(stage="")
        days = frame.groupby(keys)["day"].median()
        stage, block = (days.index.get_level_values(name) for name in ("stage", "block"))
        own, seasons = others_median(days, pd.MultiIndex.from_arrays([stage, block]))
        rest, others = others_median(days, stage)
        by_block = seasons >= limits.extra["seasons"]
        middle = own.where(by_block, rest.where(others >= limits.extra["seasons"]))
        usual = pd.DataFrame({"middle": middle, "by_block": by_block})
        frame = frame.join(usual, on=keys)
        off = (frame["day"] - frame["middle"]).abs()
        swapped = _swapped(frame["date"])
        near = (day_of_season(frame.assign(date=swapped)) - frame["middle"]).abs()
        # Other blocks may be of varieties picked two months apart.
        least = np.where(frame["by_block"].eq(True), limits.extra["swap_away"], limits.high)
        close = (near <= limits.extra["swap_near"]) & (off > least)
        if not (close | (off > limits.high)).any():
            return ()
        some = close.groupby([frame[key] for key in keys]).transform("any").astype(bool)
        hits = frame.assign(off=off, close=close, swapped=swapped)
        hits = one_of_each(hits[close | (~some & (off > limits.high))], keys)
        hits["whose"] = np.where(hits["by_block"].eq(True), "the block", "the other blocks")
        hits["mend"] = [
            f"Day and month may be swapped: {hit.swapped:%Y-%m-%d} would fit."
            if hit.close
            else "Check the date."
            for hit in hits.itertuples()
        ]
        return hits[["off", "whose", "mend", "more"]]

    rule = "is {off:.0f} days from the usual day of {whose}"
    name = f"{table}-odd-day"
    return Rule((table, "blocks"), "date", condition, rule, "{mend}", name=name, of="season")


CONTRADICTIONS = [
    _too_early("weights"),
    _odd_days("weights"),
    _too_early("counts"),
    _too_early("harvest"),
    _odd_days("harvest"),
]
