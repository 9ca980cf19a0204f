"""Doubts about the picks of a block: entered twice, or a past season that ends half picked."""

import numpy as np

from cropload.handbook import entry
from cropload.records.doubts.rules import tell


def _picks(table):
    frame = table.frame.dropna(subset=["season", "tonnes"])
    return frame[(frame["block"] != "") & (frame["tonnes"] > 0)]


def entered_twice(table):
    """Doubt the same tonnes twice in one block and season.

    Parameters
    ----------
    table : ParsedTable
        Table harvest.

    Returns
    -------
    (list of Fault, set of (block, season))
        One doubt for a block and season, and the seasons they speak of.

    Notes
    -----
    Two loads on tickets of their own, and picks whose shares differ, may weigh the same.  Round
    weights meet by chance: with few digits they are doubted only where one has no date.  Loads of
    one machine on different days are alike, and doubted only where the season's crop is about
    twice the usual one of the block.
    """
    frame = _picks(table)
    digits = entry("plausible.same_tonnes").value
    same = frame[frame.duplicated(["season", "block", "tonnes"], keep=False)]
    found, doubled = [], set()
    for (season, block), lot in same.groupby(["season", "block"]):
        for tonnes, pair in lot.groupby("tonnes"):
            tickets = pair["ticket"]
            own_tickets = (tickets != "").all() and tickets.is_unique
            shares = pair["picked_pct"].dropna()
            if own_tickets or (len(shares) == len(pair) and shares.is_unique):
                continue
            text = np.format_float_positional(tonnes, trim="-").replace(".", "").strip("0")
            if len(text) < digits and pair["date"].notna().all():
                continue
            apart = pair["date"].notna().all() and pair["date"].is_unique
            if apart and not _about_twice(frame, season, block):
                continue
            first, last = int(pair.index[0]), int(pair.index[-1])
            rule = f"are the tonnes of row {first} again, for the same block and season"
            mend = (
                "Take one of the rows out if the pick was entered twice. If both were picked, give "
                "each its ticket or the share picked so far. As it stands, the two are added up."
            )
            found.append(tell(table, last, "tonnes", rule, mend))
            doubled.add((block, int(season)))
            break
    return found, doubled


def _about_twice(frame, season, block):
    """Whether the season's tonnes are about twice, or more than, those of the block's others."""
    crops = frame[frame["block"] == block].groupby("season")["tonnes"].sum()
    others = crops.drop(season)
    return bool(crops[season] >= entry("plausible.same_tonnes").extra["twice"] * others.median())


def ended_below_whole(usable):
    """Doubt a past season that ends with less than all picked, or shares given for each pick.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable; ``harvest`` is among them.

    Returns
    -------
    list of Fault
        One for a block and season.
    """
    table = usable["harvest"]
    frame = _picks(table)
    latest = _latest_seasons(usable)
    found = []
    part = frame[frame["picked_pct"] < 100]
    for (season, block), lot in part.groupby(["season", "block"]):
        rows = frame[(frame["season"] == season) & (frame["block"] == block)]
        shares = rows["picked_pct"].fillna(100.0)
        if shares.max() >= 100:
            continue
        row = int(lot.index[-1])
        if len(shares) > 1 and abs(shares.sum() - 100) <= entry("plausible.picks_sum").value:
            rule = (
                f"the picks of the season add up to 100 %, so each may be a share of its own; "
                f"read as the share picked so far, only {shares.max():g} % is picked"
            )
            mend = "Write the share picked so far, this pick included: 100 at the last pick."
            found.append(tell(table, row, "picked_pct", rule, mend))
        elif latest.get(block, 0) > season:
            rule = f"the season ends at {shares.max():g} % picked, and a later season is on record"
            mend = (
                "Add the row of the last pick, or write 100 there. If fruit was left hanging or "
                "lost, write 100 here and the share into column lost_pct."
            )
            found.append(tell(table, row, "picked_pct", rule, mend))
    return found


def _latest_seasons(usable):
    """Return the last season that a block has rows of, or that any block was picked in."""
    latest = {}
    for name in ("pruning", "counts", "weights", "dates"):
        if name in usable:
            frame = usable[name].frame
            for block, season in frame.groupby("block")["season"].max().dropna().items():
                latest[block] = max(latest.get(block, 0), season)
    picks = usable["harvest"].frame
    picked = picks.loc[picks["tonnes"] > 0, "season"].max()
    return {
        block: max(latest.get(block, 0), picked if picked == picked else 0)
        for block in picks["block"].unique()
    }
