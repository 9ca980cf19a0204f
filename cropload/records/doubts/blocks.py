"""Faults and doubts where numbers must fit: rows and vines, buds and shoots, crops, money."""

from dataclasses import replace

import numpy as np
import pandas as pd

from cropload import clock
from cropload.handbook import entry
from cropload.records.doubts.crops import crop_doubts
from cropload.records.doubts.impossible import impossible_values
from cropload.records.doubts.rules import made, tell
from cropload.records.doubts.sites import still_air, swapped_spacing
from cropload.records.doubts.winery import limits_beside_crops


def impossible(usable):
    """Return faults of rows that cannot be: more rows than vines, clusters without a shoot, money.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there.
    """
    faults = []
    if "blocks" in usable:
        frame = usable["blocks"].frame
        rule = "there are more rows than vines"
        mend = "Correct the number of rows, or of vines."
        rows = frame.index[frame["rows"] > frame["vines"]]
        faults += made(usable["blocks"], rows, "rows", rule, mend)
    if "fertility" in usable:
        frame = usable["fertility"].frame
        rule = "there are clusters, and no shoot that could bear them"
        rows = frame.index[(frame["clusters"] > 0) & (frame["shoots"] == 0)]
        mend = "Correct the shoots or the clusters of this node."
        faults += made(usable["fertility"], rows, "clusters", rule, mend)
    faults += impossible_values(usable)
    for table, columns in _MONEY.items():
        for column, key in columns.items() if table in usable else ():
            limits = entry(f"plausible.{key}")
            worst = limits.extra["refused_above"]
            values = usable[table].frame[column]
            rule = f"is more than {worst:,.0f} {limits.unit}, which cannot be"
            mend = "Check the digits."
            if not usable[table].table[column].required:
                mend = "Check the digits; leave the cell blank where there is none."
            faults += made(usable[table], values.index[values > worst], column, rule, mend)
    return faults


#: Table -> column -> key of what is plausible; the figures of contracts and intake.
_MONEY = {
    "prices": {
        "price_per_t": "price_per_t",
        "price_above_cap": "price_per_t",
        "cap_t": "contract_t",
        "cap_t_ha": "cap_t_ha",
    },
    "capacity": {"limit_t": "contract_t"},
}


def misfits(usable, doubt):
    """Return doubts about numbers that hardly fit each other.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there; ``blocks`` is among them.
    doubt : callable
        Returns doubts of a table, column, handbook key, values and what they are.
    """
    blocks = usable["blocks"]
    found = _headlands(blocks)
    facts = blocks.frame[~blocks.frame["block"].duplicated()].set_index("block")
    if "counts" in usable:
        found += _places(usable["counts"], facts)
        found += _shoots(usable, doubt)
    if "fertility" in usable:
        table, frame = usable["fertility"], usable["fertility"].frame
        per_bud = frame["shoots"] / frame["buds"].where(frame["buds"] > 0)
        per_shoot = frame["clusters"] / frame["shoots"].where(frame["shoots"] > 0)
        found += doubt(table, "shoots", "shoots_per_bud", per_bud, "shoots per bud")
        found += doubt(table, "clusters", "clusters_per_shoot", per_shoot, "clusters per shoot")
    if "harvest" in usable:
        found += crop_doubts(usable["harvest"], blocks.frame)
    if "weather" in usable:
        found += still_air(usable["weather"])
    found += swapped_spacing(blocks)
    found += limits_beside_crops(usable)
    for table, columns in _MONEY.items():
        for column, key in columns.items() if table in usable else ():
            values = usable[table].frame[column]
            values = values.where(values > 0)
            what, mend = _MONEY_WORDS[key], _MONEY_MENDS.get(key, ())
            found += doubt(usable[table], column, key, values, what, *mend)
    if "prices" in usable:
        prices = usable["prices"].frame["price_per_t"]
        prices = prices.where(prices > 0)
        what = "the price over the median of all prices"
        found += doubt(
            usable["prices"], "price_per_t", "price_ratio", prices / prices.median(), what
        )
    if "capacity" in usable:
        found += _overlaps(usable["capacity"])
    return found + _lone_seasons(usable)


_MONEY_MENDS = {
    "price_per_t": (
        "Is it the price of a kilogram? Write that of a tonne, a thousand times as much; else "
        "check the value and its unit.",
    )
}
_MONEY_WORDS = {
    "price_per_t": "the price of a tonne",
    "contract_t": "the weight",
    "cap_t_ha": "the most the contract takes from a hectare",
}


def _headlands(table):
    """Doubt headlands that leave no vine of an average row."""
    frame = table.frame
    row = frame["vines"] / frame["rows"].fillna(1)
    rows = frame.index[(frame["headlands"] > 0) & (2 * frame["headlands"] >= row)]
    return made(
        table,
        rows,
        "headlands",
        lambda at: (
            f"at both ends of a row of about {row[at]:,.0f} vines, they leave no vine to sample"
        ),
        "Write the vines at one end of a row that samples leave out, often 1 to 3.",
    )


def _places(table, facts):
    """Doubt a row or a vine whose number the block does not have."""
    frame, found = table.frame, []
    vines = frame["block"].map(facts["vines"])
    rows = frame["block"].map(facts["rows"])
    for column, most, what in (
        ("row", rows.fillna(vines), "rows"),
        ("vine", vines, "vines"),
    ):
        number = pd.to_numeric(frame[column], errors="coerce")
        for block, lot in number[number > most].groupby(frame["block"]):
            here, held = number[frame["block"] == block].dropna(), most[lot.index[0]]
            # Numbers of rows may run through the estate: the block's own then lie in one run.
            if column == "row" and 0 < here.max() - here.min() < held:
                continue
            rule = f"is beyond the {held:,.0f} {what} of the block"
            mend = "Check the number and the block; the row is used as it stands."
            fault = tell(table, lot.index[0], column, rule, mend)
            found.append(replace(fault, more=len(lot) - 1))
    return found


def _shoots(usable, doubt):
    """Doubt far more shoots from count buds than the vine, or the block's plan, has buds."""
    frame = usable["counts"].frame
    buds = frame["buds"].where(frame["buds"] > 0)
    # The buds of a vine are often counted in winter, on a row of their own.
    if buds.notna().any() and (buds.isna() & frame["shoots"].notna()).any():
        vine = [frame[key] for key in ("season", "block", "row", "vine")]
        buds = buds.fillna(buds.groupby(vine).transform("max"))
    if "pruning" in usable:
        plans = usable["pruning"].frame
        plans = plans[plans["plan"] != ""].drop_duplicates(["season", "block"])
        total = {
            text: sum(int(a) * int(b) for a, b in (piece.split("x") for piece in text.split("+")))
            for text in plans["plan"].unique()
        }
        planned = plans.set_index(["season", "block"])["plan"].map(total)
        keys = pd.MultiIndex.from_frame(frame[["season", "block"]])
        buds = buds.fillna(pd.Series(planned.reindex(keys).to_numpy(float), index=frame.index))
    values = frame["shoots"] / buds
    return doubt(usable["counts"], "shoots", "shoots_per_bud", values, "shoots per bud of the vine")


def _overlaps(table):
    """Doubt limits of one variety whose periods share days."""
    frame = table.frame.dropna(subset=["period_start", "period_end"])
    frame = frame[frame["period_start"] <= frame["period_end"]]
    found = {}
    for variety, lot in frame.groupby("variety"):
        lot = lot.sort_values(["period_start", "period_end"], kind="stable")
        last = lot["period_end"].cummax().shift()
        for row in lot.index[(lot["period_start"] <= last).to_numpy()]:
            whose = f" of {variety}" if variety else ""
            found[row] = f"overlaps an earlier period{whose}, which runs to {last[row]:%Y-%m-%d}"
    mend = "Correct the days; else fruit of the days they share counts against each limit."
    return made(table, sorted(found), "period_start", lambda row: found[row], mend)


def _lone_seasons(usable):
    """Doubt seasons many years from all the others, or from today."""
    limits, this_year = entry("plausible.season_gap"), clock.today().year
    gap = int(limits.high)
    counted = {}
    for table in usable.values():
        if "season" in table.frame:
            for year, rows in table.frame["season"].dropna().value_counts().items():
                counted[int(year)] = counted.get(int(year), 0) + int(rows)
    years = np.array(sorted(counted))
    lone = {year: "today" for year in counted if year > this_year + gap}
    runs = np.split(years, np.flatnonzero(np.diff(years) > gap) + 1)
    if len(runs) > 1:
        # A block may have rested, or its books be lost: several seasons before are a history.
        several = limits.extra["seasons"]
        long = [run for run in runs if len(run) >= several and run[0] <= this_year]
        main = min(long or runs, key=lambda run: abs(run - this_year).min())
        rest = set(counted) - {int(year) for run in (main, *long) for year in run}
        span = f"{main[0]} to {main[-1]}" if len(main) > 1 else f"{main[0]}"
        lone |= dict.fromkeys(rest, f"the records of {span}")
    found = []
    for table in usable.values():
        if "season" not in table.frame or not lone:
            continue
        season = table.frame["season"]
        found += made(
            table,
            season.index[season.isin(list(lone))],
            "season",
            lambda row, season=season: f"lies more than {gap} years from {lone[int(season[row])]}",
            "Check the year; the row is used as it stands.",
        )
    return found
