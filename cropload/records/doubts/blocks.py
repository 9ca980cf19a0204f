"""Rules of blocks, their names and spacings, and of the days of their weather stations."""

import re
import unicodedata

import numpy as np
import pandas as pd

from cropload.errors import near
from cropload.handbook import entry
from cropload.records.doubts.rules import Rule, by_row, named, plausible
from cropload.records.facts import area_ha, planted_ha
from cropload.records.known_varieties import unknown_varieties

_MOST_HINTS = 20
#: Varieties whose spelling is looked at.
_MOST_VARIETIES = 300


def _names(facts, table, column):
    """Return the different names of a column with the first row of each."""
    cells = facts[table][column]
    cells = cells[(cells != "") & ~cells.duplicated()]
    return dict(zip(cells, cells.index, strict=True))


def _unknown_block(table):
    def condition(facts):
        names = list(_names(facts, "blocks", "block"))
        if not names or any(column == "block" for _, column in facts.parsed["blocks"].bad):
            return ()
        cells = facts[table]["block"]
        wrong = cells[~cells.isin([*names, ""])]
        # Looking for near names is slow among many, and nobody reads more than the first few.
        mends = {name: near(name, names) for name in pd.unique(wrong)[:_MOST_HINTS]}
        other = "Use a name of table blocks, or add the block there."
        return pd.DataFrame({"mend": [mends.get(name) or other for name in wrong]}, wrong.index)

    rule = "is not a block of table blocks"
    return Rule((table, "blocks"), "block", condition, rule, "{mend}")


UNKNOWN = [
    _unknown_block(table)
    for table in (
        "pruning",
        "parts",
        "counts",
        "fertility",
        "weights",
        "harvest",
        "events",
        "estimates",
        "strips",
        "dates",
        "prices",
        "picking",
        "scenarios",
    )
]


def _parts_vines(facts):
    """Return the first row of each block whose parts have other vines than the block."""
    parts, blocks = facts["parts"], facts["blocks"]
    whole = dict(zip(blocks["block"], blocks["vines"], strict=True))
    found = {}
    for block, rows in parts.groupby("block"):
        total, vines = rows["vines"].sum(), whole.get(block)
        if rows["vines"].notna().all() and vines == vines and vines not in (None, total):
            words = {"block": block, "total": f"{total:,.0f}", "vines": f"{vines:,.0f}"}
            found[rows.index[0]] = words
    return by_row(found)


PARTS = Rule(
    ("parts", "blocks"),
    "vines",
    _parts_vines,
    "the parts of {block} have {total} vines together, and table blocks has {vines}",
    "Correct the vines of a part, or of the block, so that the parts make the block.",
)


def _twins(column):
    """Doubt names that differ only in case or blanks."""

    def condition(facts):
        first, found = {}, {}
        for name, row in _names(facts, "blocks", column).items():
            other = first.setdefault(_spaced(name), name)
            if other != name:
                found[row] = {"other": other}
        return by_row(found)

    rule = "differs from '{other}' only in capitals or blanks"
    mend = "Write both the same if they are the same; they are kept apart as they stand."
    return Rule(("blocks",), column, condition, rule, mend, name=f"blocks-same-{column}")


def _misspelt(facts):
    """Return varieties unknown to the handbook that look like a misspelt one it knows."""
    names = _names(facts, "blocks", "variety")
    found = {}
    for name, likely in unknown_varieties(list(names)[:_MOST_VARIETIES]).items():
        # What differs only in capitals or blanks is told apart.
        if likely and likely.casefold().split() != name.casefold().split():
            found[names[name]] = {"likely": likely}
    return by_row(found)


def _stranger(table, column, owner, place, what):
    """Doubt names that stand in no row of the table they refer to."""

    def condition(facts):
        names, found = _names(facts, owner, place), {}
        for name, row in _names(facts, table, column).items() if names else ():
            if name not in names:
                hint = near(name, names) if len(found) < _MOST_HINTS else ""
                found[row] = {"mend": hint or "Check the spelling."}
        return by_row(found)

    rule, name = f"is the {column} of no {what}", f"{table}-unknown-{column}"
    return Rule((table, owner), column, condition, rule, "{mend}", name=name)


NAMES = [
    _twins("block"),
    _twins("variety"),
    Rule(
        ("blocks",),
        "variety",
        _misspelt,
        "is no variety of the handbook, so its figures for single varieties are not used",
        "Did you mean '{likely}'?",
        name="blocks-unknown-variety",
    ),
    _stranger("prices", "variety", "blocks", "variety", "block"),
    *(
        _stranger(table, "variety", "blocks", "variety", "block")
        for table in ("capacity", "tanks", "presses")
    ),
    _stranger("blocks", "station", "weather", "station", "row of table weather"),
]


def fractions(table, column):
    """Return the rule of shares that look like fractions: a cell shown as 5 % is stored as 0.05."""

    def condition(facts):
        values, text = facts[table][column], facts.parsed[table].text
        told = values[values > 0]
        # A few empty places are common: 1 is one percent, and one small share tells of no slip.
        few = column == "missing_pct" and (told.max() == 1 or len(told) == 1)
        if told.empty or few:
            return ()
        if told.max() <= 1:
            rule = "no value is above 1, so they may be fractions instead of percent"
            mend = "For five percent write 5 or 5 %, not 0.05."
            return pd.DataFrame({"rule": rule, "mend": mend}, told.index[:1])
        # Among cells with the percent sign, a plain fraction is most often a lost format.
        small = told.index[told < 1]
        if not len(small) or not any(text(row, column).endswith("%") for row in told.index):
            return ()
        rule = "is a small number without the percent sign that other cells have"
        mend = "If it is a fraction, write it in percent: 35 for 0.35. It is read as percent."
        rows = [row for row in small if not text(row, column).endswith("%")]
        return pd.DataFrame({"rule": rule, "mend": mend}, rows)

    name = named(table, column, "fraction")
    return Rule((table,), column, condition, "{rule}", "{mend}", name=name)


PLAUSIBLE = [
    *(
        plausible(
            "blocks", column, column, lambda facts, column=column: facts["blocks"][column], column
        )
        for column in ("row_spacing_m", "vine_spacing_m", "missing_pct", "frost_offset_c")
    ),
    fractions("blocks", "missing_pct"),
    plausible(
        "blocks",
        "area_ha",
        "area_ratio",
        lambda facts: facts["blocks"]["area_ha"] / planted_ha(facts["blocks"]),
        "the stated area over vines x both spacings",
    ),
]

TEMPERATURES = [
    plausible(
        "weather",
        column,
        "air_temperature_c",
        lambda facts, column=column: facts["weather"][column],
        "the temperature",
        name=named("weather", column),
    )
    for column in ("tmin_c", "tmax_c")
]


def _headlands(facts):
    """Return headlands that leave no vine of an average row."""
    frame = facts["blocks"]
    row = frame["vines"] / frame["rows"].fillna(1)
    return pd.DataFrame({"vines": row})[(frame["headlands"] > 0) & (2 * frame["headlands"] >= row)]


HEADLANDS = Rule(
    ("blocks",),
    "headlands",
    _headlands,
    "at both ends of a row of about {vines:,.0f} vines, they leave no vine to sample",
    "Write the vines at one end of a row that samples leave out, often 1 to 3.",
    name="blocks-headlands",
)


def _swapped_spacing(facts):
    """Return rows that stand closer than the vines in them; on wide pergolas they can."""
    frame, table = facts["blocks"], facts.parsed["blocks"]
    limits, between = entry("plausible.row_over_vine"), frame["row_spacing_m"]
    close = between < limits.low * frame["vine_spacing_m"]
    rows = frame.index[close & (between < limits.extra["wide"])]
    texts = [table.text(row, "vine_spacing_m") for row in rows]
    return pd.DataFrame({"vine": table.written("vine_spacing_m"), "other": texts}, rows)


SPACING = Rule(
    ("blocks",),
    "row_spacing_m",
    _swapped_spacing,
    "is less than {vine}, {other}",
    "Are the two swapped? Then change them over: shoots per metre of canopy hang on it. On "
    "pergolas and other wide training it can be so; then leave it.",
    name="blocks-spacings-swapped",
)


def _still_air(facts):
    """Return days whose lowest and highest temperature are one, or the same for days on end."""
    frame = facts["weather"].dropna(subset=["date", "tmin_c", "tmax_c"])
    if frame.empty:
        return ()
    limits = entry("plausible.still_days")
    frame = frame.sort_values(["station", "date"], kind="stable")
    low, high = frame["tmin_c"], frame["tmax_c"]
    equal = low == high
    near = (frame["station"] == frame["station"].shift()) & (frame["date"].diff().dt.days == 1)
    again = near & (low == low.shift()) & (high == high.shift())
    found, told = {}, set()
    for first, days in _runs(frame, equal, near & equal.shift(fill_value=False)):
        if len(days) >= limits.extra["equal"]:
            found[first] = f"is the same as the highest {_running(days)}"
            told.update(days.index)
    held = again | again.shift(-1, fill_value=False)
    for first, days in _runs(frame, held & ~frame.index.isin(list(told)), again):
        if len(days) >= limits.high:
            found[first] = f"repeats, like the highest, {_running(days)}"
            told.update(days.index)
    for row in equal.index[equal]:
        if row not in told and facts.parsed["weather"].text(row, "tmin_c") in _ZEROS:
            found[int(row)] = "is 0, like the highest"
    rows = sorted(found)
    return pd.DataFrame({"rule": [found[row] for row in rows]}, rows)


#: How a zero is written.
_ZEROS = ("0", "0.0", "0,0")


def _runs(frame, which, joined):
    """Yield the first row and the days of each run of marked days; joined ones follow a day."""
    if not which.any():
        return
    run = (~(which & joined)).cumsum()
    for _, days in frame[which].groupby(run[which]):
        yield int(days.index[0]), days


def _running(days):
    return f"on {len(days)} days running, to {days['date'].iloc[-1]:%Y-%m-%d}"


STILL_AIR = Rule(
    ("weather",),
    "tmin_c",
    _still_air,
    "{rule}",
    "If a gap was filled with zeros or with a value before it, take those rows out: a gap is "
    "known as one, made-up nights count as measured.",
    name="weather-still-air",
)

#: What growers write before a sum, in the languages of the trade.
_TOTAL = frozenset(
    (
        *("total", "totals", "sum", "all", "estate", "overall", "gesamt", "summe", "alle"),
        *("insgesamt", "totale", "tutti", "totaal", "som", "alles", "tous", "ensemble"),
        *("somme", "suma", "todos", "todas", "soma", "osszesen", "celkem", "skupaj", "ukupno"),
    )
)


def _totals(facts):
    """Return rows that add up the others."""
    frame, limits = facts["blocks"], entry("plausible.total_row")
    vines, area = frame["vines"], area_ha(frame)
    found = {}
    for row in frame.index[_near_a_sum(frame, limits)] if len(frame) > 2 else ():
        words = set(re.findall(r"\w+", _bare(f"{frame['block'][row]} {frame['variety'][row]}")))
        named = bool(words & _TOTAL)
        kin = (frame["variety"] == frame["variety"][row]) & (frame.index != row)
        for rest in (frame.index != row, kin.to_numpy()):
            others = int(np.sum(rest))
            if others < 2 or (others < limits.extra["other_blocks"] and not named):
                continue
            # A block may well have as many vines as two or three others have together.
            close = limits.extra["named"] if named else limits.value
            off = [abs(column[row] / column[rest].sum() - 1) for column in (vines, area)]
            if off[0] <= close and (named or off[1] <= limits.extra["area"]):
                found[row] = {"others": others}
                break
    return by_row(found)


def _near_a_sum(frame, limits):
    """Return which blocks have about as many vines as all others, or those of their variety."""
    vines = frame["vines"]
    whole = [vines.sum(), vines.groupby(frame["variety"]).transform("sum")]
    close = 1.01 * max(limits.value, limits.extra["named"])
    near = [(vines / (total - vines) - 1).abs() <= close for total in whole]
    return (vines > vines.median()) & (near[0] | near[1])


def _alike(facts):
    """Return names that differ only in accents, points, hyphens or blanks, of blocks alike.

    Names that differ only in capitals or in the number of blanks are told elsewhere, and blocks of
    another variety or of other vines are not one block.
    """
    first, found, frame = {}, {}, facts["blocks"]
    for name, row in _names(facts, "blocks", "block").items():
        kin = first.setdefault(_plain(name), [])
        for other, at in kin:
            same = all(frame[name][at] == frame[name][row] for name in ("variety", "vines"))
            if same and _spaced(other) != _spaced(name):
                found[row] = {"other": other}
                break
        kin.append((name, row))
    return by_row(found)


def _spaced(name):
    return " ".join(name.split()).casefold()


def _bare(name):
    if name.isascii():
        return name.casefold()
    parts = unicodedata.normalize("NFKD", name.casefold())
    return "".join(sign for sign in parts if not unicodedata.combining(sign))


def _plain(name):
    """Return what is left of a name without accents and signs; numbers stay apart."""
    text = re.sub(r"[\s.,;:_()'’`´\"-]+", " ", _bare(name)).strip()
    return re.sub(r"(?<![0-9]) | (?![0-9])", "", text) or name


TWICE = [
    Rule(
        ("blocks",),
        "block",
        _totals,
        "has as many vines as {others} other blocks together, so it may be a total",
        "Take the row out if it is a sum: else its vines count twice on the estate.",
        name="blocks-total",
    ),
    Rule(
        ("blocks",),
        "block",
        _alike,
        "differs from '{other}' only in accents, points, hyphens or blanks",
        "Keep one of the two rows if they are the same block: else its vines count twice.",
        name="blocks-alike",
    ),
]
