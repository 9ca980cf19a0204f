"""Doubts about what is dated after today: it cannot have been measured yet."""

import pandas as pd

from cropload import clock
from cropload.handbook import entry
from cropload.records.doubts.rules import tell
from cropload.records.reading.faults import some_faults


def not_yet(usable):
    """Return doubts about harvests, counts and weights of a day or season that is still to come.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there.

    Notes
    -----
    Valid for calendar days of the place where the program runs.  A plan may be written ahead, and
    intake limits are, so those tables are not asked about.
    """
    today, found = clock.today(), []
    far = today.year + int(entry("plausible.season_gap").high)
    for name, what in _DONE.items():
        if name not in usable:
            continue
        table, frame = usable[name], usable[name].frame
        # Seasons many years from today are asked about as such.
        near = ~(frame["season"] > far)
        late = (frame["date"] > pd.Timestamp(today)) & near
        if name == "counts":
            # A sheet filled in ahead, with places and no numbers, counts nothing yet.
            late &= frame[_COUNTED].notna().any(axis=1)
        found += some_faults(
            frame.index[late],
            lambda row, table=table, what=what: tell(table, row, "date", _rule(what), _MENDS[what]),
        )
        if name == "harvest":
            ahead = (frame["season"] > today.year) & near & ~late
            found += some_faults(
                frame.index[ahead],
                lambda row, table=table, what=what: tell(
                    table, row, "season", _rule(what), _MENDS[what]
                ),
            )
    return found


_COUNTED = [
    "buds",
    "shoots",
    "noncount_shoots",
    "clusters",
    "pruning_weight_kg",
    "leaf_area_m2",
]
#: Table -> what its rows are.
_DONE = {"counts": "count", "weights": "weighing", "harvest": "harvest"}
_ROW = "Check the year and the day; the row counts from its date on."
_MENDS = {
    "count": _ROW,
    "weighing": _ROW,
    "harvest": (
        "Check the year, or take the row out until the block is picked. Until then it does not "
        "change which season is meant when none is named; asked for its own season, it counts as "
        "picked."
    ),
}


def _rule(what):
    return f"lies after today ({clock.today():%Y-%m-%d}), so no such {what} can have been"
