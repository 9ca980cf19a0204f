"""Which counter of clusters counts more, and which fewer, than all of them at the same clusters."""

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.forecasting.log_means import grouped_log_means
from cropload.forecasting.measured import measurements
from cropload.vine.growth import COMPONENTS

#: Variance of the log of what is not known at all [1].
_UNKNOWN = 100.0
_STEPS, _SETTLED = 60, 1e-3


def _from_the_scale(found):
    """Return ln(clusters per vine) as scale and harvest weights have them, and its variance [1]."""
    keys = ["block", "season"]
    wide = found.pivot_table(index=keys, columns="stage", values=["log_value", "log_variance"])
    needed = ("harvest", "weight_harvest")
    if not all(("log_value", stage) in wide for stage in needed):
        return pd.DataFrame(columns=["log", "variance"])
    log, variance = wide["log_value"], wide["log_variance"]
    table = pd.DataFrame(
        {
            "log": np.log(1000.0) + log["harvest"] - log["weight_harvest"],
            "variance": variance["harvest"] + variance["weight_harvest"],
        }
    )
    return table.dropna()


def _lots(records, facts, through):
    """Return one row a block, season and counter: ln(clusters counted per vine), variance [1]."""
    counts = records.counts
    counts = counts[(counts["season"] <= through) & counts["clusters"].notna()]
    counts = counts.assign(who=counts["counter"].astype(str).str.strip())
    counts = counts[counts["who"] != ""]
    # Counters who count the same vine on its last day stand beside each other; an earlier visit
    # may have found more clusters than are left.
    vine = ["block", "season", "row", "vine"]
    last = counts.groupby(vine)["date"].transform("max")
    counts = counts[(counts["date"] == last) | last.isna()]
    counts = counts.drop_duplicates([*vine, "who"], keep="last")
    if counts.empty:
        return counts
    bearing = dict(zip(facts.names, facts.bearing, strict=True))
    table = grouped_log_means(counts, ["block", "season", "who"], "clusters", bearing)
    return table[~table["all_zero"]].reset_index()


def counter_effects(records, facts, through, spreads, measured=None):
    """Return each counter's bias, partially pooled.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    facts : BlockFacts
        Fixed facts of the blocks.
    through : int
        Year of the last harvest that speaks.
    spreads : Spreads
        Of the components, as learnt [1].
    measured : DataFrame, optional
        All that ``measurements`` makes of the records, where it is at hand.

    Returns
    -------
    DataFrame
        counter, log_bias and spread (of the log) [1], seasons [1]; attrs ``between``, the spread
        between counters [1]. Empty where fewer than two counters are told apart.

    Notes
    -----
    ``ln(counted) = ln(there) + variety + season + block and season + counter + sampling``, with
    ``ln(there)`` from the scale and the harvest weights where both are on record, and unknown
    elsewhere: then only counters beside each other in a block speak. All effects are normal; the
    spread between counters is estimated (expectation-maximisation) with the handbook's as its
    prior, so that counters who do not differ are pulled together.
    Valid for counters given by the same initials each time.
    """
    lots = _lots(records, facts, through)
    names = sorted(lots["who"].unique()) if len(lots) else []
    nothing = pd.DataFrame({"counter": [], "log_bias": [], "spread": [], "seasons": []})
    if len(names) < 2:
        return nothing
    scale = _from_the_scale(measurements(records, facts) if measured is None else measured)
    variety = dict(zip(facts.names, facts.varieties, strict=True))
    varieties = sorted(set(variety.values()))
    years = sorted(lots["season"].unique())
    bias, recovery = (COMPONENTS.index(n) for n in ("counting_bias", "recovery"))
    square = spreads.sd**2
    block, season, by_variety, rest = (square[:, [bias, recovery]].sum(1)[g] for g in range(4))
    own = block + by_variety + rest
    level = handbook.value("prior.counting_bias") / handbook.value("prior.recovery")
    wide = sum(handbook.entry(f"prior.{n}").spread ** 2 for n in ("counting_bias", "recovery"))

    size = len(varieties) + len(years) + len(names)
    information, right = np.zeros((size, size)), np.zeros(size)
    here = {name: at for at, name in enumerate(varieties)}
    when = {year: len(varieties) + at for at, year in enumerate(years)}
    who = {name: len(varieties) + len(years) + at for at, name in enumerate(names)}
    for (at, year), cell in lots.groupby(["block", "season"], sort=True):
        known = (at, year) in scale.index
        there = scale.loc[(at, year), "log"] if known else 0.0
        loose = own + scale.loc[(at, year), "variance"] if known else _UNKNOWN
        design = np.zeros((len(cell), size))
        design[:, here[variety[at]]] = design[:, when[year]] = 1.0
        design[np.arange(len(cell)), [who[name] for name in cell["who"]]] = 1.0
        y = cell["log_mean"].to_numpy(float) - there - np.log(level)
        weight = np.linalg.inv(np.diag(cell["log_variance"].to_numpy(float)) + loose)
        information += design.T @ weight @ design
        right += design.T @ weight @ y

    entry = handbook.entry("learning.counter")
    dof, between = float(entry.extra["dof"]), entry.value**2
    counters = slice(len(varieties) + len(years), size)
    for _ in range(_STEPS):
        prior = np.concatenate(
            [
                np.full(len(varieties), 1 / wide),
                np.full(len(years), 1 / season),
                np.full(len(names), 1 / between),
            ]
        )
        covariance = np.linalg.inv(information + np.diag(prior))
        mean = covariance @ right
        squares = (mean[counters] ** 2 + np.diag(covariance)[counters]).sum()
        new = (dof * entry.value**2 + squares) / (dof + len(names))
        settled = abs(new / between - 1) < _SETTLED
        between = new
        if settled:
            break
    variance = np.diag(covariance)[counters]
    said = 1 - variance / between
    seasons = lots.groupby("who")["season"].nunique()
    found = pd.DataFrame(
        {
            "counter": names,
            "log_bias": mean[counters],
            "spread": np.sqrt(variance),
            "seasons": [int(seasons[name]) for name in names],
        }
    )
    # Where nobody counted beside anybody, and nothing was weighed, the prior would speak alone.
    found = found[said > 0.05].reset_index(drop=True)
    found.attrs["between"] = float(np.sqrt(between))
    return found if len(found) > 1 else nothing
