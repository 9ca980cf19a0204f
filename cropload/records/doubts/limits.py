"""Faults of values that nothing in a vineyard can have: another unit, or a thousands sign."""

import numpy as np
import pandas as pd

from cropload.handbook import entry
from cropload.records.doubts.rules import Rule, beyond, named, plausible


def _refused(table, column, key, values, what, mend):
    """Return the rule of numbers beyond what the handbook says can be.

    Valid for grapevines of every kind: each end lies a few times beyond the smallest or largest
    berry, cluster or vine.  What is only rare is a doubt.
    """

    def condition(facts):
        limits = entry(f"plausible.{key}")
        low = limits.extra.get("refused_below", -np.inf)
        high = limits.extra.get("refused_above", np.inf)
        high = high if limits.value is None else limits.value
        hits = beyond(values(facts), low, high)
        if hits.empty:
            return hits
        less = hits["number"] < low
        ends = np.where(less, f"less than {low:,g}", f"more than {high:,g}")
        told = mend(facts) if callable(mend) else mend
        return hits.assign(end=ends, unit=limits.unit, mend=told)

    words = what + " {end} {unit}, which cannot be"
    return Rule((table,), column, condition, words, "{mend}", "{told}")


def _each(facts, part):
    """Return the weight of one cluster or berry of each lot [g]."""
    frame = facts["weights"]
    # A weight or a number that is none is a fault of its own cell.
    whole, number = (frame[name].where(frame[name] > 0) for name in ("weight_g", part))
    each = whole / number
    if part == "berries":
        # One fault a lot: that of its clusters comes first.
        limits = entry("plausible.cluster_weight_g").extra
        ends = limits["refused_below"], limits["refused_above"]
        each = each.drop(beyond(_each(facts, "clusters"), *ends).index)
    return each


def _weight_mend(part):
    def mend(facts):
        if facts.us("weights", "weight_g"):
            told = "Write the weight of the whole lot in pounds, as the header says."
        else:
            told = (
                "Write the weight of the whole lot in grams, not in kg (2045 for 2.045 kg), and no "
                "dot between thousands (2045, not 2.045)."
            )
        return f"{told} Check the {part} too."

    return mend


def _prunings(table):
    def mend(facts):
        if facts.us(table, "pruning_weight_kg"):
            return "Write pounds for one vine, not ounces, and not the weight of a row."
        return "Write kg for one vine (0.289, not 289 g), and not the weight of a row."

    column = "pruning_weight_kg"
    what = "the prunings of one vine come to"
    return _refused(table, column, column, lambda facts: facts[table][column], what, mend)


def _spacing(column):
    def mend(facts):
        unit = "feet, not inches" if facts.us("blocks", column) else "metres, not cm"
        return f"Write {unit}: a dot is the decimal sign, and none stands between thousands."

    return _refused(
        "blocks", column, column, lambda facts: facts["blocks"][column], "the distance is", mend
    )


def _where(frame, test):
    return frame.index[test(frame)]


#: Table, column, key of what is plausible, and what it is; the figures of contracts and intake.
_MONEY = (
    ("prices", "price_per_t", "price_per_t", "the price of a tonne"),
    ("prices", "price_above_cap", "price_per_t", "the price of a tonne"),
    ("prices", "cap_t", "contract_t", "the weight"),
    ("prices", "cap_t_ha", "cap_t_ha", "the most the contract takes from a hectare"),
    ("contracts", "price_per_t", "price_per_t", "the price of a tonne"),
    ("contracts", "price_beyond", "price_per_t", "the price of a tonne"),
    ("contracts", "least_t", "contract_t", "the weight"),
    ("contracts", "most_t", "contract_t", "the weight"),
    ("contracts", "most_t_ha", "cap_t_ha", "the most the contract takes from a hectare"),
    ("capacity", "limit_t", "contract_t", "the weight"),
)


def _too_much(table, column, key):
    def condition(facts):
        limits, parsed = entry(f"plausible.{key}"), facts.parsed[table]
        worst, blank = limits.extra["refused_above"], not parsed.table[column].required
        values = facts[table][column]
        if not (values > worst).any():
            return ()
        return pd.DataFrame(
            {
                "limit": f"{worst:,.0f} {limits.unit}",
                "blank": "; leave the cell blank where there is none" if blank else "",
            },
            values.index[values > worst],
        )

    rule = "is more than {limit}, which cannot be"
    return Rule((table,), column, condition, rule, "Check the digits{blank}.")


def _other_unit(facts):
    """Return crops that no hectare can bear: weights in kg, or vines that are not all there."""
    if facts["blocks"].empty:
        return ()
    limit = entry("plausible.t_ha").extra["refused_above"]
    return beyond(facts.crop_t_ha, -np.inf, limit).assign(limit=limit)


CROP = Rule(
    ("harvest", "blocks"),
    "tonnes",
    _other_unit,
    "comes to a crop above {limit:g} t/ha",
    "Write tonnes, not kg, and check the vines and the spacing of the block.",
    "{told}",
)


def _no_limit(facts):
    """Return rows of table capacity without the limit they are to have; not those misread."""
    frame, table = facts["capacity"], facts.parsed["capacity"]
    rows = frame.index[frame["limit_t"].isna() & _limited(frame)]
    return [row for row in rows if not table.text(row, "limit_t")]


def _limited(frame):
    """Return which rows of table capacity are to have a limit."""
    return frame["intake"].isin(["", "limit"])


IMPOSSIBLE = [
    Rule(
        ("capacity",),
        "limit_t",
        _no_limit,
        "must be filled in where column intake says neither closed nor no limit",
        "Write the most that is taken in, or closed or no limit in column intake.",
    ),
    Rule(
        ("capacity",),
        "limit_t",
        lambda facts: _where(facts["capacity"], lambda row: (row["limit_t"] > 0) & ~_limited(row)),
        "is a limit, where column intake says that there is none or that it is closed",
        "Keep one of the two.",
    ),
    Rule(
        ("blocks",),
        "rows",
        lambda facts: _where(facts["blocks"], lambda lot: lot["rows"] > lot["vines"]),
        "there are more rows than vines",
        "Correct the number of rows, or of vines.",
    ),
    Rule(
        ("fertility",),
        "clusters",
        lambda facts: _where(
            facts["fertility"], lambda lot: (lot["clusters"] > 0) & (lot["shoots"] == 0)
        ),
        "there are clusters, and no shoot that could bear them",
        "Correct the shoots or the clusters of this node.",
    ),
    *(
        _refused(
            "weights",
            "weight_g",
            f"{one}_weight_g",
            lambda facts, part=part: _each(facts, part),
            f"the weight of a {one} comes to",
            _weight_mend(part),
        )
        for one, part in (("cluster", "clusters"), ("berry", "berries"))
    ),
    _prunings("pruning"),
    _prunings("counts"),
    _prunings("strips"),
    _spacing("row_spacing_m"),
    _spacing("vine_spacing_m"),
    *(_too_much(table, column, key) for table, column, key, _ in _MONEY),
]


def _above_nothing(table, column):
    return lambda facts: facts[table][column].where(facts[table][column] > 0)


_KILOGRAM = (
    "Is it the price of a kilogram? Write that of a tonne, a thousand times as much; else check "
    "the value and its unit."
)


def _over_median(table):
    def values(facts):
        prices = _above_nothing(table, "price_per_t")(facts)
        return prices / prices[prices > 0].median()

    return values


def _overlaps(facts):
    """Return limits of one variety whose periods share days."""
    frame = facts["capacity"].dropna(subset=["period_start", "period_end"])
    # Closed days lie inside the periods that they shut.
    frame = frame[(frame["period_start"] <= frame["period_end"]) & _limited(frame)]
    frame = frame.sort_values(["variety", "period_start", "period_end"], kind="stable")
    last = frame.groupby("variety")["period_end"].cummax().groupby(frame["variety"]).shift()
    hits = frame.assign(last=last)[frame["period_start"] <= last].sort_index()
    whose = [f" of {variety}" if variety else "" for variety in hits["variety"]]
    return hits[["last"]].assign(whose=whose)


def _beside_crops(table, column):
    """Doubt limits and caps many times the largest crop on record that they could be for: kg."""

    def condition(facts):
        picks, frame = facts["harvest"], facts[table]
        if frame[column].isna().all():
            return ()
        kinds = facts.blocks["variety"]
        seasons = [picks["season"], picks["block"].map(kinds)]
        by_kind = picks.groupby(seasons[::-1])["tonnes"].sum().groupby(level=0).max()
        largest = by_kind.to_dict()
        largest = {"": picks.groupby("season")["tonnes"].sum().max(), **largest}
        crop = frame["variety"].map(largest)
        if table == "prices":
            sums = picks.groupby(["block", "season"])["tonnes"].sum().groupby(level=0).max()
            crop = frame["block"].map(sums).fillna(crop)
        ratio = (frame[column] / crop.where(crop > 0)).astype(float)
        return beyond(ratio, -np.inf, entry("plausible.limit_of_crop").high)

    return Rule(
        (table, "harvest", "blocks"),
        column,
        condition,
        "is {number:,.0f} times the largest crop on record that it could be for",
        "Is it in kilograms? Write tonnes: divide by 1,000. If it is what is taken from all "
        "growers together, write what is taken from these blocks.",
        name=named(table, column, "beside-crops"),
    )


MONEY = [
    _beside_crops("capacity", "limit_t"),
    _beside_crops("prices", "cap_t"),
    _beside_crops("contracts", "least_t"),
    _beside_crops("contracts", "most_t"),
    *(
        plausible(
            table,
            column,
            key,
            _above_nothing(table, column),
            what,
            **({"mend": _KILOGRAM} if key == "price_per_t" else {}),
            name=named(table, column),
        )
        for table, column, key, what in _MONEY
    ),
    *(
        plausible(
            table,
            "price_per_t",
            "price_ratio",
            _over_median(table),
            "the price over the median of all prices",
        )
        for table in ("prices", "contracts")
    ),
    Rule(
        ("capacity",),
        "period_start",
        _overlaps,
        "overlaps an earlier period{whose}, which runs to {last:%Y-%m-%d}",
        "Correct the days; else fruit of the days they share counts against each limit.",
        name="capacity-overlap",
    ),
]
