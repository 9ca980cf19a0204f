"""Checks across tables, and doubts about values that are possible but rare."""

import pandas as pd

from cropload.errors import near
from cropload.records.doubts.across import contradictions
from cropload.records.doubts.blocks import impossible, misfits
from cropload.records.doubts.future import not_yet
from cropload.records.doubts.rules import crop_per_hectare, doubt, doubts, tell, value_told
from cropload.records.doubts.winter_picks import picked_in_winter
from cropload.records.known_varieties import unknown_varieties
from cropload.records.reading.faults import some_faults

_MOST_HINTS = 20
#: Varieties whose spelling is looked at.
_MOST_VARIETIES = 300
_STAGES = ("budburst", "flowering", "veraison", "harvest")


def cross_checks(parsed):
    """Check tables against each other and against what is plausible.

    Parameters
    ----------
    parsed : dict
        Table name -> ParsedTable.

    Returns
    -------
    (list of Fault, list of Fault)
        Faults and warnings.
    """
    faults, warnings = [], []
    late = picked_in_winter({name: table for name, table in parsed.items() if table.complete})
    blocks = parsed.get("blocks")
    names = _names(blocks, "block")
    if blocks is not None and any(column == "block" for _, column in blocks.bad):
        names = []
    for name, table in parsed.items():
        if name == "blocks" or not table.complete:
            continue
        if names and "block" in table.frame:
            faults += _unknown_blocks(table, names)
        if "season" in table.frame and "date" in table.frame:
            warnings += _season_dates(table, late)
    if "harvest" in parsed and parsed["harvest"].complete:
        faults += _pick_order(parsed["harvest"])
        if blocks is not None and blocks.complete and not blocks.frame.empty:
            faults += _other_unit(parsed["harvest"], blocks.frame)
    if "dates" in parsed and parsed["dates"].complete:
        faults += _stage_order(parsed["dates"])
    usable = {name: table for name, table in parsed.items() if table.complete}
    faults += impossible(usable)
    warnings += _after_picking(parsed)
    warnings += not_yet(usable)
    for column in ("block", "variety"):
        warnings += _twins(blocks, column)
    warnings += _misspelt(blocks)
    for name in ("prices", "capacity"):
        warnings += _strangers(parsed.get(name), "variety", _names(blocks, "variety"), "block")
    stations = _names(parsed.get("weather"), "station")
    warnings += _strangers(blocks, "station", stations, "row of table weather")
    if blocks is not None and blocks.complete and not blocks.frame.empty:
        warnings += doubts(parsed)
        warnings += misfits(usable, doubt)
        # Faults must be mended first; then the rest can be held together.
        if not faults and not any(table.faults for table in parsed.values()):
            warnings += contradictions(usable)
    return faults, warnings


def _names(table, column):
    """Return the different names of a column, or an empty list when there is no such table."""
    if table is None or not table.complete:
        return []
    return [name for name in pd.unique(table.frame[column]) if name]


def _unknown_blocks(table, names):
    cells = table.frame["block"]
    wrong = cells[~cells.isin([*names, ""])]
    # Looking for near names is slow among many, and nobody reads more than the first few.
    mends = {name: near(name, names) for name in pd.unique(wrong)[:_MOST_HINTS]}
    other = "Use a name of table blocks, or add the block there."
    rule = "is not a block of table blocks"
    return some_faults(
        wrong.index, lambda row: tell(table, row, "block", rule, mends.get(wrong[row]) or other)
    )


def _season_dates(table, late=()):
    year = table.frame["date"].dt.year
    season = table.frame["season"]
    wrong = year.notna() & season.notna() & ~((year == season) | (year == season - 1))
    if late:
        ripe = table.frame["stage"] == "harvest" if "stage" in table.frame else True
        keys = pd.MultiIndex.from_frame(table.frame[["season", "date"]])
        wrong &= ~(keys.isin(list(late)) & ripe)
    rule = "lies outside the season, which runs up to the calendar year of harvest"
    return some_faults(
        table.frame.index[wrong],
        lambda row: tell(
            table,
            row,
            "date",
            rule,
            "Check the date and the season; the row counts for its season, from its date on.",
            f"{table.text(row, 'date')} in season {season[row]:.0f}",
        ),
    )


def _after_picking(parsed):
    """Warn of shoots, clusters and unripe lots dated after their block was picked whole."""
    harvest = parsed.get("harvest")
    if harvest is None or not harvest.complete:
        return []
    picks = harvest.frame.dropna(subset=["date"])
    whole = picks[~(picks["picked_pct"] < 100)].groupby(["season", "block"])["date"].max()
    warnings = []
    for name in ("counts", "weights"):
        table = parsed.get(name)
        if table is None or not table.complete or whole.empty:
            continue
        frame = table.frame
        on_vine = (
            frame["stage"] != "harvest"
            if name == "weights"
            else frame[["shoots", "noncount_shoots", "clusters"]].notna().any(axis=1)
        )
        keys = pd.MultiIndex.from_frame(frame[["season", "block"]])
        picked = pd.Series(whole.reindex(keys).to_numpy(), index=frame.index)

        def fault(row, table=table, picked=picked):
            rule = f"is later than the picking of the block on {picked[row]:%Y-%m-%d}"
            mend = "Check both dates; the row is used as it stands."
            return tell(table, row, "date", rule, mend)

        warnings += some_faults(frame.index[on_vine & (frame["date"] > picked)], fault)
    return warnings


def _pick_order(table):
    """Refuse a share picked so far that falls from one pick to the next."""
    frame = table.frame.dropna(subset=["date"]).sort_values("date", kind="stable")
    before = frame["picked_pct"].fillna(100.0).groupby([frame["season"], frame["block"]]).shift()
    mend = "Write the share picked so far, this pick included; the last pick of a block is 100."
    return some_faults(
        sorted(frame.index[frame["picked_pct"] < before]),
        lambda row: tell(
            table,
            row,
            "picked_pct",
            f"falls below the {before[row]:g} % of the pick before",
            mend,
        ),
    )


def _other_unit(table, blocks):
    """Refuse a crop that no hectare can bear: a weight in kg, or vines that are not all there."""
    from cropload.handbook import entry

    limit = entry("plausible.t_ha").extra["refused_above"]
    crop = crop_per_hectare(table.frame, blocks)
    rule = f"comes to a crop above {limit:g} t/ha"
    mend = "Write tonnes, not kg, and check the vines and the spacing of the block."
    return some_faults(
        table.frame.index[crop > limit],
        lambda row: tell(
            table, row, "tonnes", rule, mend, value_told(table, row, "tonnes", crop[row])
        ),
    )


def _stage_order(table):
    place = {stage: order for order, stage in enumerate(_STAGES)}
    frame = table.frame.assign(order=table.frame["stage"].map(place))
    frame = frame.dropna(subset=["season", "date", "order"])
    frame = frame.sort_values(["season", "block", "order"], kind="stable")
    before = frame.shift()
    same = (frame["season"] == before["season"]) & (frame["block"] == before["block"])

    def fault(row):
        value = f"{frame.loc[row, 'stage']} on {table.text(row, 'date')}"
        rule = f"comes before {before.loc[row, 'stage']} of the same block and season"
        return tell(table, row, "date", rule, "Correct the dates or the stages.", value)

    return some_faults(sorted(frame.index[same & (frame["date"] < before["date"])]), fault)


def _twins(table, column):
    """Warn of names that differ only in case or blanks."""
    first, warnings = {}, []
    for name in _names(table, column):
        plain = " ".join(name.split()).casefold()
        other = first.setdefault(plain, name)
        if other != name:
            row = table.frame.index[table.frame[column] == name][0]
            rule = f"differs from '{other}' only in capitals or blanks"
            mend = "Write both the same if they are the same; they are kept apart as they stand."
            warnings.append(tell(table, row, column, rule, mend))
    return warnings


def _misspelt(blocks):
    """Warn of varieties unknown to the handbook that look like a misspelt one it knows."""
    warnings = []
    for name, likely in unknown_varieties(_names(blocks, "variety")[:_MOST_VARIETIES]).items():
        # What differs only in capitals or blanks is told apart.
        if likely and likely.casefold().split() != name.casefold().split():
            row = blocks.frame.index[blocks.frame["variety"] == name][0]
            rule = "is no variety of the handbook, so its figures for single varieties are not used"
            warnings.append(tell(blocks, row, "variety", rule, f"Did you mean '{likely}'?"))
    return warnings


def _strangers(table, column, names, owner):
    """Warn of names that stand in no row of the table they refer to."""
    if not names:
        return []
    warnings = []
    for name in _names(table, column):
        if name not in names:
            row = table.frame.index[table.frame[column] == name][0]
            hint = near(name, names) if len(warnings) < _MOST_HINTS else ""
            mend = hint or "Check the spelling."
            warnings.append(tell(table, row, column, f"is the {column} of no {owner}", mend))
    return warnings
