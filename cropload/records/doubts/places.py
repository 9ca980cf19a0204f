"""Rules of places without a vine, and of shoots found dead and alive."""

import numpy as np

from cropload.handbook import entry
from cropload.records.doubts.rules import Rule, by_row, one_of_each
from cropload.records.tables import TABLES

#: What is counted or weighed on a vine, and cannot be where none stands.
ON_A_VINE = [
    column.name for column in TABLES["counts"].columns if column.unit and column.name != "missing"
]
_PLACE = ["season", "date", "block", "row", "vine"]


def _counted_missing(facts):
    """Return rows that count something at a place told to be without a vine that day."""
    frame = facts["counts"]
    if not (frame["missing"] == 1).any():
        return ()
    gone = frame["missing"].eq(1).groupby([frame[key] for key in _PLACE]).transform("max")
    return frame.index[gone & frame[ON_A_VINE].notna().any(axis=1)]


MISSING = Rule(
    ("counts",),
    "missing",
    _counted_missing,
    "no vine stands at the place (missing is 1), and something is counted on it",
    "Leave the counts blank where no vine stands, 0 included; else leave missing blank.",
)


def _missing_share(facts):
    """Return blocks whose places visited lack more or fewer vines than missing_pct, beyond chance.

    Only days from the first on which a missing place of the block was noted that season tell: who
    counted before may have passed over them.  Each place counts once.  Valid for places taken as
    they come, not for a walk along the gaps.
    """
    frame = facts["counts"]
    gone = frame[frame["missing"] == 1]
    if gone.empty:
        return ()
    from scipy.special import bdtr, bdtrc

    limits, found = entry("plausible.missing_share"), {}
    for (season, block), mine in gone.groupby(["season", "block"]):
        lot = frame[(frame["season"] == season) & (frame["block"] == block)]
        lot = lot[lot["date"] >= mine["date"].min()]
        lot = lot[lot[[*ON_A_VINE, "missing"]].notna().any(axis=1)]
        places = lot["missing"].eq(1).groupby([lot["row"], lot["vine"]]).max()
        told = float(facts.blocks["missing_pct"].fillna(0.0).get(block, np.nan))
        share, count, size = told / 100, int(places.sum()), len(places)
        tail = min(bdtr(count, size, share), bdtrc(count - 1, size, share))
        if tail < limits.value:
            row = mine.index[0]
            words = {"count": count, "size": size, "told": told, "share": 100 * count / size}
            found[row] = {"season": season, "block": block, **words}
    return by_row(found)


MISSING_SHARE = Rule(
    ("counts", "blocks"),
    "missing",
    _missing_share,
    "{count} of {size} places visited in {block} in season {season:.0f} have no vine "
    "({share:.0f} %), and table blocks has {told:g} %: more than chance alone makes likely",
    "Correct missing_pct of table blocks, which sets the bearing vines and so the tonnes; else "
    "check the column missing.",
    "1",
    name="counts-missing-share",
    of="season",
)

DEAD = Rule(
    ("counts",),
    "shoots_dead",
    lambda facts: one_of_each(
        facts["counts"][
            facts["counts"]["shoots_dead"].notna() ^ facts["counts"]["shoots_alive"].notna()
        ],
        ["season", "block"],
    ),
    "dead and living shoots are a pair, and one of the two is blank, so that no share comes of it",
    "Write both numbers of the vine, 0 where there is none.",
    name="counts-dead-alone",
    of="season",
)
