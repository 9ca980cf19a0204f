"""Doubts about single values: beyond what the handbook finds plausible, or fractions as percent."""

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.reading.faults import Fault, some_faults

_MEND = "Possible, but rare: check the value and its unit."


def tell(table, row, column, rule, mend="", value=None):
    """Return the Fault of a cell, with what the user wrote there unless another value is given."""
    value = table.text(row, column) if value is None else value
    return Fault(table.file, int(row), table.written(column), value, rule, mend)


def made(table, rows, column, rule, mend):
    """Return a Fault for each row, in one column; ``rule`` may be a function of the row."""

    def fault(row):
        told = rule(row) if callable(rule) else rule
        return Fault(
            table.file, int(row), table.written(column), table.text(row, column), told, mend
        )

    return some_faults(rows, fault)


def crop_per_hectare(frame, blocks):
    """Return the season's crop per hectare at the last row of each block and season, else NaN."""
    blocks = blocks[~blocks["block"].duplicated()].set_index("block")
    planted = blocks["vines"] * blocks["row_spacing_m"] * blocks["vine_spacing_m"] / 10_000
    area = frame["block"].map(blocks["area_ha"].fillna(planted))
    season_crop = frame.groupby(["season", "block"])["tonnes"].transform("sum")
    return (season_crop / area).where(~frame.duplicated(["season", "block"], keep="last"))


def doubts(parsed):
    """Warn of values beyond the plausible limits of the handbook."""
    blocks = parsed["blocks"]
    warnings = []
    frame = blocks.frame
    for column in ("row_spacing_m", "vine_spacing_m", "missing_pct", "frost_offset_c"):
        warnings += doubt(blocks, column, column, frame[column], column)
    warnings += _fractions(blocks, "missing_pct")
    planted = frame["vines"] * frame["row_spacing_m"] * frame["vine_spacing_m"] / 10_000
    ratio = frame["area_ha"] / planted
    what = "the stated area over vines x both spacings"
    warnings += doubt(blocks, "area_ha", "area_ratio", ratio, what)
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
        for column in ("picked_pct", "lost_pct"):
            warnings += _fractions(usable["harvest"], column)
    if "weather" in usable:
        weather = usable["weather"]
        for column in ("tmin_c", "tmax_c"):
            values = weather.frame[column]
            warnings += doubt(weather, column, "air_temperature_c", values, "the temperature")
    return warnings


def doubt(table, column, key, values, what, mend=_MEND):
    """Warn of each row whose derived value lies beyond a plausible limit."""
    limits = entry(f"plausible.{key}")
    numbers = np.asarray(values, dtype=float)
    with np.errstate(invalid="ignore"):
        wrong = (numbers < limits.low) | (numbers > limits.high)
    unit = "" if limits.unit == "1" else f" {limits.unit}"
    rule = f"{what} lies outside {limits.low:g} to {limits.high:g}{unit}"
    found = dict(zip(table.frame.index[wrong], numbers[wrong], strict=True))
    return some_faults(
        found,
        lambda row: tell(
            table, row, column, rule, mend, value_told(table, row, column, found[row])
        ),
    )


#: What vines pruned to a hedge, or hardly at all, carry more of than others.
_HEDGED = ("buds_per_m", "shoots_per_m", "clusters_per_m")
_MEND_HEDGED = (
    "Vines pruned to a hedge or hardly at all may carry so many: else check the value, and the "
    "spacing of the vines."
)


def beside_others(values, block, season):
    """Return the median of the block's other seasons beside each value, NaN where there is none."""
    means = pd.DataFrame({"value": values, "block": block, "season": season}).dropna()
    usual = pd.Series(np.nan, index=values.index)
    for _, lot in means.groupby("block"):
        for year, rows in lot.groupby("season"):
            usual[rows.index] = lot["value"][lot["season"] != year].median()
    return usual


def doubt_hedged(table, column, key, values, what, usual):
    """Warn like ``doubt``, with more room above where the block's usual value lies there too.

    Parameters
    ----------
    usual : Series
        What the block usually has, beside each value; NaN where nothing else tells.
    """
    limits = entry(f"plausible.{key}")
    high = pd.Series(limits.high, index=values.index)
    high[usual > limits.high] = limits.extra["hedged_high"]
    high[usual.isna()] = limits.extra["alone_high"]
    fine = (values > limits.high) & (values <= high)
    low = doubt(table, column, key, values.where(values < limits.low), what)
    return low + doubt(
        table, column, key, values.where((values > limits.high) & ~fine), what, _MEND_HEDGED
    )


def _fractions(table, column):
    """Warn where all shares look like fractions: a workbook stores a cell shown as 5 % as 0.05."""
    values = table.frame[column]
    told = values[values > 0]
    if told.empty:
        return []
    if column == "missing_pct" and (told.max() == 1 or len(told) == 1):
        # A few empty places are common: 1 is one percent, and one small share tells of no slip.
        return []
    if told.max() > 1:
        # Among cells with the percent sign, a plain fraction is most often a lost format.
        small = told.index[told < 1]
        signed = any(table.text(row, column).endswith("%") for row in told.index)
        plain = [row for row in small if not table.text(row, column).endswith("%")]
        rule = "is a small number without the percent sign that other cells have"
        mend = "If it is a fraction, write it in percent: 35 for 0.35. It is read as percent."
        return some_faults(
            plain if signed else [], lambda row: tell(table, row, column, rule, mend)
        )
    row = told.index[0]
    rule = "no value is above 1, so they may be fractions instead of percent"
    return [tell(table, row, column, rule, "For five percent write 5 or 5 %, not 0.05.")]


def plain(number):
    """Return a number in four significant figures, without powers of ten where people write none.

    Examples
    --------
    >>> plain(12345.6), plain(0.00154), plain(4.5678e12)
    ('12,350', '0.00154', '4.568e+12')
    """
    if not 1e4 <= abs(number) < 1e10:
        return f"{number:.4g}"
    return f"{float(f'{number:.4g}'):,.0f}"


def value_told(table, row, column, number):
    """Return the text of a cell, with the derived number behind it where the two differ."""
    text, number = table.text(row, column), plain(number)
    return number if text in ("", number) else f"{text} (comes to {number})"


def _pruning_doubts(table, length):
    frame = table.frame
    metres = frame["block"].map(length)
    buds = {plan: _buds(plan) for plan in pd.unique(frame["plan"])}
    per_metre = frame["plan"].map(buds).astype(float) / metres
    weight = frame["pruning_weight_kg"] / metres
    hedged = beside_others(per_metre, frame["block"], frame["season"])
    return [
        *doubt_hedged(table, "plan", "buds_per_m", per_metre, "buds per metre of canopy", hedged),
        *doubt(
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
    found = []
    for column, key, values in derived:
        if key in _HEDGED:
            limit = entry(f"plausible.{key}").extra["vines"]
            lots = values.groupby(frame["block"])
            # A few vines do not tell what a block is like.
            usual = lots.transform("median").where(lots.transform("count") >= limit, 0.0)
            found += doubt_hedged(table, column, key, values, what[key], usual)
        else:
            found += doubt(table, column, key, values, what[key])
    return found


def _weight_doubts(table):
    frame = table.frame
    cluster = frame["weight_g"] / frame["clusters"]
    berry = frame["weight_g"] / frame["berries"]
    return [
        *doubt(table, "weight_g", "cluster_weight_g", cluster, "weight per cluster"),
        *doubt(table, "weight_g", "berry_weight_g", berry, "weight per berry"),
    ]


def _harvest_doubts(table, blocks):
    crop = crop_per_hectare(table.frame, blocks)
    # Nothing picked is a plain fact; a trace of fruit is doubtful.
    crop, low = crop.where(crop > 0), entry("plausible.t_ha").low
    what = "the season's crop per hectare"
    mend = "It counts as a lost crop, and is left out of the history: correct it if it was none."
    return [
        *doubt(table, "tonnes", "t_ha", crop.where(crop < low), what, mend),
        *doubt(table, "tonnes", "t_ha", crop.where(crop >= low), what),
    ]
