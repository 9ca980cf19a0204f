"""Which counter of clusters counts more, and which fewer, than all of them at the same clusters."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs import ranges
from cropload.beliefs.log_means import grouped_log_means
from cropload.beliefs.measured import measurements
from cropload.vine.growth import COMPONENTS

#: Variance of the log of what is not known at all [1].
_UNKNOWN = 100.0
#: Spreads between counters that are tried: so many, from 1/8 to 8 times the handbook's.
_STEPS, _REACH = 41, 8.0
#: Values at which a counter's distribution is looked up.
_PLACES = 801
#: Share of the prior's variance that counts must take away, to be told at all [1].
_LEAST_TOLD = 0.05


@dataclass(frozen=True, eq=False)
class CounterEffects:
    """Biases of counters, partially pooled.

    frame : counter, log_bias and spread (of the log) [1], seasons [1]; empty where fewer than two
        counters are told apart.
    between : spread between counters [1], or None. share : {counter: share in all the vines} [1].
    """

    frame: pd.DataFrame
    between: float | None = None
    share: dict = field(default_factory=dict)


def _from_the_scale(found):
    """Return {(block, season): ln(clusters per vine) as the scale has it, its variance} [1]."""
    keys = ["block", "season"]
    wide = found.pivot_table(index=keys, columns="stage", values=["log_value", "log_variance"])
    needed = ("harvest", "weight_harvest")
    if not all(("log_value", stage) in wide for stage in needed):
        return {}
    log, variance = wide["log_value"], wide["log_variance"]
    table = pd.DataFrame(
        {
            "log": np.log(1000.0) + log["harvest"] - log["weight_harvest"],
            "variance": variance["harvest"] + variance["weight_harvest"],
        }
    )
    table = table.dropna()
    return dict(zip(table.index, zip(table["log"], table["variance"], strict=True), strict=True))


def lots_counted(records, facts, through, every=False):
    """Return one row a block, season and counter: ln(clusters counted per vine), variance [1].

    ``every`` : also of counts without a counter, whose ``who`` is "".
    """
    counts = records.counts
    counts = counts[(counts["season"] <= through) & counts["clusters"].notna()]
    counts = counts.assign(who=counts["counter"].astype(str).str.strip())
    counts = counts if every else counts[counts["who"] != ""]
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
    CounterEffects

    Notes
    -----
    ``ln(counted) = ln(there) + variety + season + block and season + counter + sampling``, with
    ``ln(there)`` from the scale and the harvest weights where both are on record, and unknown
    elsewhere: then only counters beside each other in a block speak. All effects are normal. The
    spread between counters is not known either: all that the handbook allows are weighed by how
    well they fit, so that counters who do not differ are pulled together, and few counters do not
    pretend to know how much counters differ. ``log_bias`` is the median, about the mean of all the
    counts: what all have in common is the counting bias, and told apart from it.
    Valid for counters given by the same initials each time.
    """
    lots = lots_counted(records, facts, through)
    names = sorted(lots["who"].unique()) if len(lots) else []
    columns = ["counter", "log_bias", "spread", "seasons"]
    nothing = CounterEffects(pd.DataFrame(columns=columns))
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
    log, variance = (lots[name].to_numpy(float) for name in ("log_mean", "log_variance"))
    counted_by = lots["who"].map(who).to_numpy(int)
    for (at, year), cell in lots.groupby(["block", "season"], sort=True).indices.items():
        there, loose = scale.get((at, year), (0.0, _UNKNOWN - own))
        places = np.array([here[variety[at]], when[year], *counted_by[cell]])
        design = np.zeros((len(cell), len(places)))
        design[:, :2], design[:, 2:] = 1.0, np.eye(len(cell))
        weight = np.linalg.inv(np.diag(variance[cell]) + own + loose)
        information[np.ix_(places, places)] += design.T @ weight @ design
        right[places] += design.T @ weight @ (log[cell] - there - np.log(level))

    counters = slice(len(varieties) + len(years), size)
    plain = [np.full(len(varieties), wide), np.full(len(years), season)]
    vines = lots.groupby("who")["n"].sum().reindex(names).to_numpy(float)
    share = vines / vines.sum()
    found, between, told = _pooled(information, right, counters, np.concatenate(plain), share)
    seasons = lots.groupby("who")["season"].nunique()
    found = pd.DataFrame(found, columns=["log_bias", "spread"])
    found.insert(0, "counter", names)
    found["seasons"] = [int(seasons[name]) for name in names]
    # Where nobody counted beside anybody, and nothing was weighed, the prior would speak alone.
    found = found[told > _LEAST_TOLD].reset_index(drop=True)
    share = dict(zip(names, share, strict=True))
    return CounterEffects(found, between, share) if len(found) > 1 else nothing


def _pooled(information, right, counters, plain, share):
    """Return (middle, spread) of each counter, the spread between them, and how much is told [1].

    ``information`` and ``right``: of all effects, from the counts; ``plain``: prior variances of
    the effects before the counters' [1]; ``share``: of each counter in all the vines [1].
    """
    from scipy.special import logsumexp, ndtr, ndtri

    entry = handbook.entry("learning.counter")
    dof = float(entry.extra["dof"])
    spreads = entry.value * np.geomspace(1 / _REACH, _REACH, _STEPS)
    many = len(share)
    about = np.eye(many) - share
    weight, mean, variance = np.empty(_STEPS), np.empty((_STEPS, many)), np.empty((_STEPS, many))
    for at, spread in enumerate(spreads):
        prior = 1 / np.concatenate([plain, np.full(many, spread**2)])
        whole = information + np.diag(prior)
        covariance = np.linalg.inv(whole)
        middle = covariance @ right
        weight[at] = (np.log(prior).sum() - np.linalg.slogdet(whole)[1] + right @ middle) / 2
        # About the mean of all the counts: that one is the bias which all have in common.
        mean[at] = about @ middle[counters]
        variance[at] = np.diag(about @ covariance[counters, counters] @ about.T)
    # Scaled inverse chi-square of the variance, on the log of the spread.
    weight -= dof * (np.log(spreads) + (entry.value / spreads) ** 2 / 2)
    weight = np.exp(weight - logsumexp(weight))
    # The range that is told, of the mixture over all spreads, and the normal that has it.
    shares = (1 + np.array([-1, 0, 1]) * ranges.level()) / 2
    half, pooled = float(ndtri(shares[2])), []
    for m, v in zip(mean.T, np.sqrt(variance.T), strict=True):
        places = np.linspace((m - 6 * v).min(), (m + 6 * v).max(), _PLACES)
        below = ndtr((places[:, None] - m) / v) @ weight
        low, centre, high = np.interp(shares, below, places)
        pooled.append((centre, (high - low) / (2 * half)))
    plainly = spreads[:, None] ** 2 * (about**2).sum(1)
    told = weight @ (1 - variance / plainly)
    return pooled, float(np.exp(weight @ np.log(spreads))), told
