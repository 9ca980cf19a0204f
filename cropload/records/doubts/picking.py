"""Faults of wanted picks: passes that do not make a crop, pickers that no table has."""

import pandas as pd

from cropload.errors import near
from cropload.records.doubts.rules import Rule, by_row


def _passes(facts):
    """Return the last row of blocks whose passes do not make the whole of what is to be picked."""
    found = {}
    for (_, block), rows in facts["picking"].groupby(["season", "block"]):
        blank, told = rows["share_pct"].isna().sum(), rows["share_pct"].sum()
        if blank > 1 or (told >= 100 if blank else abs(told - 100) > 0.1):
            found[rows.index[-1]] = {"block": block, "told": f"{told:g}"}
    return by_row(found)


def _no_picker(facts):
    """Return rows whose picker no row of table pickers names."""
    known = set(facts["pickers"]["picker"]) if "pickers" in facts else set()
    names = facts["picking"]["picker"]
    return by_row(
        {
            row: {"name": name, "mend": near(name, known) or "Write its row there."}
            for row, name in names[(names != "") & ~names.isin(known)].items()
        }
    )


def _other_year(facts):
    """Return rows whose days are not of the season, nor of the January after it."""
    picking = facts["picking"]
    last = picking["last_day"].fillna(picking["first_day"])
    end = pd.to_datetime(
        pd.DataFrame({"year": picking["season"] + 1, "month": 1, "day": 31}), errors="coerce"
    )
    wrong = (picking["first_day"].dt.year != picking["season"]) | (last > end)
    return picking.index[wrong]


REFUSED = [
    Rule(
        ("picking",),
        "share_pct",
        _passes,
        "the shares of the passes of {block} come to {told} % and must make 100 %",
        "Write the share of each pass; one of them may be left blank for the rest.",
        "{text}",
    ),
    Rule(("picking",), "picker", _no_picker, "'{name}' is in no row of table pickers", "{mend}"),
    Rule(
        ("picking",),
        "first_day",
        _other_year,
        "is not in the season, the calendar year of harvest",
        "Correct the days or the season.",
    ),
]
