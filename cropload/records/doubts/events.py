"""Rules of what befell a crop: told in full, on the right side of the counts, and once."""

from types import SimpleNamespace

import pandas as pd

from cropload import clock
from cropload.records.doubts.facts import KEYS
from cropload.records.doubts.rules import Rule, by_row
from cropload.records.hemisphere import season_of

_DATED = {"date": "datetime64[ns]"}


def _filled(frame):
    counted, alive = frame["dead"].notna(), frame["alive"].notna()
    return frame["share_pct"].notna(), counted, alive


def _half_counted(facts):
    _, dead, alive = _filled(facts["events"])
    return facts["events"].index[dead != alive]


def _told_twice(facts):
    share, dead, alive = _filled(facts["events"])
    return facts["events"].index[share & dead & alive]


def _same_day(facts):
    """Return events of a day on which their block was counted or weighed, without a word on it."""
    events = facts["events"]
    open_ones = events[(events["counts_that_day"] == "") & events["date"].notna()]
    # Fruit is left after all counts, and dead shoots are counted on their own.
    open_ones = open_ones[open_ones["kind"] != "fruit left"]
    found = {}
    for name in ("counts", "weights"):
        if name in facts:
            days = set(zip(facts[name]["block"], facts[name]["date"], strict=True))
            for row in open_ones.itertuples():
                if (row.block, row.date) in days:
                    found[row.Index] = ("after" if row.kind == "frost" else "before",)
    return by_row(found, ["usual"])


def _to_come(facts):
    today = clock.today()
    late = facts["events"]["date"] > pd.Timestamp(today)
    return pd.DataFrame({"today": f"{today:%Y-%m-%d}"}, facts["events"].index[late])


def _small(facts):
    """Return shares under one percent that are written without the percent sign."""
    share, text = facts["events"]["share_pct"], facts.parsed["events"].text
    small = share.index[(share > 0) & (share < 1)]
    return [row for row in small if not text(row, "share_pct").endswith("%")]


def _unplanted(facts):
    """Return events of a year in which their vines were not planted yet, with that year."""
    events = facts["events"]
    planted = facts.of_block("events", "year_planted")
    early = events["date"].dt.year < planted
    return pd.DataFrame({"year": planted[early].map("{:.0f}".format)})


def _all_lost(facts):
    """Return losses of all, of a season whose fruit was picked or counted after them."""
    events = facts["events"]
    whole = events[(events["share_pct"] >= 100) & ~events["of"].isin(["shoots"])]
    found = {}
    for name, column, words in (
        ("counts", "clusters", "clusters were counted"),
        ("harvest", "tonnes", "fruit was picked"),
    ):
        if name in facts:
            rows = facts[name][facts[name][column] > 0]
            for row in whole.itertuples():
                later = rows["date"][(rows["block"] == row.block) & (rows["date"] > row.date)]
                later = later[later < row.date + pd.Timedelta(days=300)]
                if len(later):
                    found[row.Index] = (f"{words} on {later.min():%Y-%m-%d}",)
    return by_row(found, ["told"])


def _by_event(facts):
    """Return blocks and years of the losses that events tell."""
    events = facts["events"]
    lost = events[~events["kind"].isin(["thinning", "shoot thinning"])]
    lost = lost[(lost["share_pct"].notna() | lost["alive"].notna()) & lost["date"].notna()]
    return set(zip(lost["block"], seasons_of(facts, lost["date"]), strict=True))


def seasons_of(facts, days):
    """Return the year of harvest of some days, by what stages and picks tell of the hemisphere."""
    told = {
        name: facts[name] if name in facts else pd.DataFrame(columns=columns).astype(_DATED)
        for name, columns in (("dates", ["stage", "date"]), ("harvest", ["date"]))
    }
    return season_of(SimpleNamespace(**told), days)


def _loss_in_both(facts):
    harvest, told = facts["harvest"], _by_event(facts)
    lost = harvest[harvest["lost_pct"] > 0]
    keys = zip(lost["block"], lost["season"], strict=True)
    return lost.index[[key in told for key in keys]]


def _loss_beside_counts(facts):
    """Return losses without a day, in a season whose clusters were counted."""
    harvest = facts["harvest"]
    if not (harvest["lost_pct"] > 0).any():
        return ()
    told = _by_event(facts) if "events" in facts else set()
    counts = facts["counts"]
    counted = counts[counts["clusters"].notna()].groupby(["block", "season"])["date"].max()
    lost = harvest[(harvest["lost_pct"] > 0) & (harvest["tonnes"] > 0)]
    found = {}
    for row in lost.drop_duplicates(KEYS).itertuples():
        key = (row.block, row.season)
        if key in counted.index and key not in told:
            found[row.Index] = (f"{counted[key]:%Y-%m-%d}",)
    return by_row(found, ["day"])


def _nothing_beside_weights(facts):
    """Return crops of 0 t without a loss in blocks whose clusters were weighed at harvest."""
    harvest, weights = facts["harvest"], facts["weights"]
    if not (harvest["tonnes"] == 0).any():
        return ()
    crops = harvest.groupby(KEYS)["tonnes"].sum()
    weighed = weights[weights["stage"] == "harvest"]
    weighed = set(zip(weighed["block"], weighed["season"], strict=True))
    rows = harvest[(harvest["tonnes"] == 0) & harvest["lost_pct"].isna()].drop_duplicates(KEYS)
    keep = [
        key in weighed and crops[key] == 0
        for key in zip(rows["block"], rows["season"], strict=True)
    ]
    return rows.index[keep]


def _after_picking(facts):
    """Return events after the last pick of a block that is picked whole, fruit left apart."""
    events, harvest = facts["events"], facts["harvest"]
    picks = harvest[(harvest["tonnes"] > 0) & harvest["date"].notna()]
    whole = picks[picks["picked_pct"].isna() | (picks["picked_pct"] >= 100)]
    last = whole.groupby(KEYS)["date"].max()
    rows = events[(events["kind"] != "fruit left") & events["date"].notna()]
    found = {}
    for row, season in zip(rows.itertuples(), seasons_of(facts, rows["date"]), strict=True):
        day = last.get((row.block, season))
        if day is not None and day < row.date:
            found[row.Index] = (f"{day:%Y-%m-%d}",)
    return by_row(found, ["day"])


PLAUSIBLE = [
    Rule(
        ("events",),
        "share_pct",
        _small,
        "is less than one percent, so it may be a fraction",
        "For 35 percent write 35 or 35 %, not 0.35.",
        name="events-share-fraction",
    ),
    Rule(
        ("events", "blocks"),
        "date",
        _unplanted,
        "is before the vines were planted ({year})",
        "Check the block, the day and year_planted of table blocks.",
        name="events-before-planting",
    ),
    Rule(
        ("events",),
        "share_pct",
        _all_lost,
        "says that all was lost, yet {told}",
        "Write the share that was lost, or check the block and the day.",
        name="events-all-lost",
    ),
    Rule(
        ("events",),
        "dead",
        _half_counted,
        "dead and living shoots tell a share together, and one of them is blank",
        "Write both: shoots found dead, and shoots found alive on the same vines.",
        name="events-dead-alone",
    ),
    Rule(
        ("events",),
        "date",
        _to_come,
        "lies after today ({today}), so it cannot have happened",
        "Check the year and the day; it counts from its date on.",
        name="events-to-come",
    ),
    Rule(
        ("events",),
        "share_pct",
        _told_twice,
        "stands beside shoots counted dead and alive",
        "The counts hold, and the share is not used: clear one of the two.",
        name="events-share-and-counts",
    ),
    Rule(
        ("events",),
        "date",
        _same_day,
        "is a day on which the block was counted or weighed; those numbers are taken as of "
        "{usual} it",
        "Write before or after into column counts_that_day.",
        name="events-same-day",
    ),
    Rule(
        ("events", "harvest"),
        "date",
        _after_picking,
        "is after the block was picked whole on {day}, so it takes nothing of that crop",
        "Check the day; fruit that was left hanging has the kind fruit left.",
        name="events-after-picking",
    ),
    Rule(
        ("harvest", "events"),
        "lost_pct",
        _loss_in_both,
        "is told by table events too, which holds",
        "Clear the cell, so that the loss is told once.",
        name="harvest-loss-twice",
    ),
    Rule(
        ("harvest", "counts"),
        "lost_pct",
        _loss_beside_counts,
        "is a loss without a day, beside clusters counted on {day}: it is taken to have come "
        "after them",
        "If it came before, those counts show it already: tell it in table events with its day, "
        "and clear the cell.",
        name="harvest-loss-beside-counts",
        of="season",
    ),
    Rule(
        ("harvest", "weights"),
        "tonnes",
        _nothing_beside_weights,
        "is a crop of nothing, beside clusters weighed at harvest",
        "If the tonnes are not known, take the row out; if the crop was lost, write the share "
        "into lost_pct.",
        name="harvest-nothing-beside-weights",
        of="season",
    ),
]
