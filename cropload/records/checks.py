"""Checks across tables, and doubts about values that are possible but rare."""

import numpy as np
import pandas as pd

from cropload.errors import near
from cropload.records.block_doubts import impossible, misfits
from cropload.records.known_varieties import unknown_varieties
from cropload.records.messages import Fault, some_faults

_MOST_HINTS = 20
#: Varieties whose spelling is looked at.
_MOST_VARIETIES = 300
_MEND = "Possible, but rare: check the value and its unit."
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
            warnings += _season_dates(table)
    if "harvest" in parsed and parsed["harvest"].complete:
        faults += _pick_order(parsed["harvest"])
        if blocks is not None and blocks.complete and not blocks.frame.empty:
            faults += _other_unit(parsed["harvest"], blocks.frame)
    if "dates" in parsed and parsed["dates"].complete:
        faults += _stage_order(parsed["dates"])
    usable = {name: table for name, table in parsed.items() if table.complete}
    faults += impossible(usable)
    warnings += _after_picking(parsed)
    for column in ("block", "variety"):
        warnings += _twins(blocks, column)
    warnings += _misspelt(blocks)
    for name in ("prices", "capacity"):
        warnings += _strangers(parsed.get(name), "variety", _names(blocks, "variety"), "block")
    stations = _names(parsed.get("weather"), "station")
    warnings += _strangers(blocks, "station", stations, "row of table weather")
    if blocks is not None and blocks.complete and not blocks.frame.empty:
        warnings += _doubts(parsed)
        warnings += misfits(usable, _doubt)
    return faults, warnings


def _names(table, column):
    """Return the different names of a column, or an empty list when there is no such table."""
    if table is None or not table.complete:
        return []
    return [name for name in pd.unique(table.frame[column]) if name]


def _fault(table, row, column, rule, mend="", value=None):
    value = table.text(row, column) if value is None else value
    return Fault(table.file, int(row), table.written(column), value, rule, mend)


def _unknown_blocks(table, names):
    cells = table.frame["block"]
    wrong = cells[~cells.isin([*names, ""])]
    # Looking for near names is slow among many, and nobody reads more than the first few.
    mends = {name: near(name, names) for name in pd.unique(wrong)[:_MOST_HINTS]}
    other = "Use a name of table blocks, or add the block there."
    rule = "is not a block of table blocks"
    return some_faults(
        wrong.index, lambda row: _fault(table, row, "block", rule, mends.get(wrong[row]) or other)
    )


def _season_dates(table):
    year = table.frame["date"].dt.year
    season = table.frame["season"]
    wrong = year.notna() & season.notna() & ~((year == season) | (year == season - 1))
    rule = "lies outside the season, which runs up to the calendar year of harvest"
    return some_faults(
        table.frame.index[wrong],
        lambda row: _fault(
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
            return _fault(table, row, "date", rule, mend)

        warnings += some_faults(frame.index[on_vine & (frame["date"] > picked)], fault)
    return warnings


def _pick_order(table):
    """Refuse a share picked so far that falls from one pick to the next."""
    frame = table.frame.dropna(subset=["date"]).sort_values("date", kind="stable")
    before = frame["picked_pct"].fillna(100.0).groupby([frame["season"], frame["block"]]).shift()
    mend = "Write the share picked so far, this pick included; the last pick of a block is 100."
    return some_faults(
        sorted(frame.index[frame["picked_pct"] < before]),
        lambda row: _fault(
            table,
            row,
            "picked_pct",
            f"falls below the {before[row]:g} % of the pick before",
            mend,
        ),
    )


def _crop_per_hectare(frame, blocks):
    """Return the season's crop per hectare at the last row of each block and season, else NaN."""
    blocks = blocks[~blocks["block"].duplicated()].set_index("block")
    planted = blocks["vines"] * blocks["row_spacing_m"] * blocks["vine_spacing_m"] / 10_000
    area = frame["block"].map(blocks["area_ha"].fillna(planted))
    season_crop = frame.groupby(["season", "block"])["tonnes"].transform("sum")
    return (season_crop / area).where(~frame.duplicated(["season", "block"], keep="last"))


def _other_unit(table, blocks):
    """Refuse a crop that no hectare can bear: a weight in kg, or vines that are not all there."""
    from cropload.handbook import entry

    limit = entry("plausible.t_ha").extra["refused_above"]
    crop = _crop_per_hectare(table.frame, blocks)
    rule = f"comes to a crop above {limit:g} t/ha"
    mend = "Write tonnes, not kg, and check the vines and the spacing of the block."
    return some_faults(
        table.frame.index[crop > limit],
        lambda row: _fault(
            table, row, "tonnes", rule, mend, _value(table, row, "tonnes", crop[row])
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
        return _fault(table, row, "date", rule, "Correct the dates or the stages.", value)

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
            warnings.append(_fault(table, row, column, rule, mend))
    return warnings


def _misspelt(blocks):
    """Warn of varieties unknown to the handbook that look like a misspelt one it knows."""
    warnings = []
    for name, likely in unknown_varieties(_names(blocks, "variety")[:_MOST_VARIETIES]).items():
        # What differs only in capitals or blanks is told apart.
        if likely and likely.casefold().split() != name.casefold().split():
            row = blocks.frame.index[blocks.frame["variety"] == name][0]
            rule = "is no variety of the handbook, so its figures for single varieties are not used"
            warnings.append(_fault(blocks, row, "variety", rule, f"Did you mean '{likely}'?"))
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
            warnings.append(_fault(table, row, column, f"is the {column} of no {owner}", mend))
    return warnings


def _doubts(parsed):
    """Warn of values beyond the plausible limits of the handbook."""
    blocks = parsed["blocks"]
    warnings = []
    frame = blocks.frame
    for column in ("row_spacing_m", "vine_spacing_m", "missing_pct", "frost_offset_c"):
        warnings += _doubt(blocks, column, column, frame[column], column)
    warnings += _fractions(blocks, "missing_pct")
    planted = frame["vines"] * frame["row_spacing_m"] * frame["vine_spacing_m"] / 10_000
    ratio = frame["area_ha"] / planted
    what = "the stated area over vines x both spacings"
    warnings += _doubt(blocks, "area_ha", "area_ratio", ratio, what)
    frame = frame[~frame["block"].duplicated()].set_index("block")
    length = frame["vine_spacing_m"] * frame["canopies"].fillna(1.0)
    usable = {name: table for name, table in parsed.items() if table.complete}
    if "pruning" in usable:
        warnings += _pruning_doubts(usable["pruning"], length)
    if "counts" in usable:
        warnings += _count_doubts(usable["counts"], length)
    if "weights" in usable:
        warnings += _weight_doubts(usable["weights"])
    if "harvest" in usable:
        warnings += _harvest_doubts(usable["harvest"], blocks.frame)
        warnings += _fractions(usable["harvest"], "picked_pct")
    if "weather" in usable:
        weather = usable["weather"]
        for column in ("tmin_c", "tmax_c"):
            values = weather.frame[column]
            warnings += _doubt(weather, column, "air_temperature_c", values, "the temperature")
    return warnings


def _doubt(table, column, key, values, what, mend=_MEND):
    """Warn of each row whose derived value lies beyond a plausible limit."""
    from cropload.handbook import entry

    limits = entry(f"plausible.{key}")
    numbers = np.asarray(values, dtype=float)
    with np.errstate(invalid="ignore"):
        wrong = (numbers < limits.low) | (numbers > limits.high)
    unit = "" if limits.unit == "1" else f" {limits.unit}"
    rule = f"{what} lies outside {limits.low:g} to {limits.high:g}{unit}"
    found = dict(zip(table.frame.index[wrong], numbers[wrong], strict=True))
    return some_faults(
        found,
        lambda row: _fault(table, row, column, rule, mend, _value(table, row, column, found[row])),
    )


def _fractions(table, column):
    """Warn where all shares look like fractions: a workbook stores a cell shown as 5 % as 0.05."""
    values = table.frame[column]
    told = values[values > 0]
    if told.empty:
        return []
    if told.max() > 1:
        # Among cells with the percent sign, a plain fraction is most often a lost format.
        small = told.index[told < 1]
        signed = any(table.text(row, column).endswith("%") for row in told.index)
        plain = [row for row in small if not table.text(row, column).endswith("%")]
        rule = "is a small number without the percent sign that other cells have"
        mend = "If it is a fraction, write it in percent: 35 for 0.35. It is read as percent."
        return some_faults(
            plain if signed else [], lambda row: _fault(table, row, column, rule, mend)
        )
    row = told.index[0]
    rule = "no value is above 1, so they may be fractions instead of percent"
    return [_fault(table, row, column, rule, "For five percent write 5 or 5 %, not 0.05.")]


def _value(table, row, column, number):
    """Return the text of a cell, with the derived number behind it where the two differ."""
    text, number = table.text(row, column), f"{number:.4g}"
    return number if text in ("", number) else f"{text} (comes to {number})"


def _pruning_doubts(table, length):
    frame = table.frame
    metres = frame["block"].map(length)
    buds = {plan: _buds(plan) for plan in pd.unique(frame["plan"])}
    per_metre = frame["plan"].map(buds).astype(float) / metres
    weight = frame["pruning_weight_kg"] / metres
    return [
        *_doubt(table, "plan", "buds_per_m", per_metre, "buds per metre of canopy"),
        *_doubt(
            table,
            "pruning_weight_kg",
            "pruning_weight_kg_per_m",
            weight,
            "pruning weight per metre of canopy",
        ),
    ]


def _buds(plan):
    pieces = [piece.split("x") for piece in plan.split("+")] if plan else []
    return sum(int(pieces) * int(buds) for pieces, buds in pieces) or np.nan


def _count_doubts(table, length):
    frame = table.frame
    metres = frame["block"].map(length)
    shoots = frame["shoots"] + frame["noncount_shoots"].fillna(0)
    bearing = shoots.where(shoots > 0)
    derived = (
        ("buds", "buds_per_m", frame["buds"].where(frame["buds"] > 0) / metres),
        ("shoots", "shoots_per_m", bearing / metres),
        ("clusters", "clusters_per_shoot", frame["clusters"] / bearing),
        ("clusters", "clusters_per_m", frame["clusters"] / metres),
        (
            "pruning_weight_kg",
            "pruning_weight_kg_per_m",
            frame["pruning_weight_kg"].where(frame["pruning_weight_kg"] > 0) / metres,
        ),
        (
            "leaf_area_m2",
            "leaf_area_m2_per_m",
            frame["leaf_area_m2"].where(frame["leaf_area_m2"] > 0) / metres,
        ),
    )
    what = {
        "buds_per_m": "buds per metre of canopy",
        "shoots_per_m": "shoots per metre of canopy",
        "clusters_per_shoot": "clusters per shoot",
        "clusters_per_m": "clusters per metre of canopy",
        "pruning_weight_kg_per_m": "pruning weight per metre of canopy",
        "leaf_area_m2_per_m": "leaf area per metre of canopy",
    }
    return [
        doubt
        for column, key, values in derived
        for doubt in _doubt(table, column, key, values, what[key])
    ]


def _weight_doubts(table):
    frame = table.frame
    cluster = frame["weight_g"] / frame["clusters"]
    berry = frame["weight_g"] / frame["berries"]
    return [
        *_doubt(table, "weight_g", "cluster_weight_g", cluster, "weight per cluster"),
        *_doubt(table, "weight_g", "berry_weight_g", berry, "weight per berry"),
    ]


def _harvest_doubts(table, blocks):
    from cropload.handbook import entry

    crop = _crop_per_hectare(table.frame, blocks)
    # Nothing picked is a plain fact; a trace of fruit is doubtful.
    crop, low = crop.where(crop > 0), entry("plausible.t_ha").low
    what = "the season's crop per hectare"
    mend = "It counts as a lost crop, and is left out of the history: correct it if it was none."
    return [
        *_doubt(table, "tonnes", "t_ha", crop.where(crop < low), what, mend),
        *_doubt(table, "tonnes", "t_ha", crop.where(crop >= low), what),
    ]
