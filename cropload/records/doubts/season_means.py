"""What the tables say of each block and season, side by side, so that they can be held together."""

import re

import numpy as np
import pandas as pd

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.handbook import entry, value, variety

COUNTED = ("buds", "shoots", "clusters")
STAGES = ("lag", "veraison", "harvest")


def season_means(usable):
    """Return a row for each block and season that any table speaks of.

    Parameters
    ----------
    usable : dict
        Name -> ParsedTable, of the tables whose columns are all there; ``blocks`` is among them.

    Returns
    -------
    pandas.DataFrame
        Indexed by block and season: ``plan`` [buds per vine]; ``buds``, ``shoots``, ``clusters``
        [1 per vine]; the vines behind each as ``buds_vines`` [1] and so on; ``lag_g``,
        ``veraison_g``, ``harvest_g`` [g per cluster]; ``tonnes`` [t], those of a part picked
        scaled up to the whole; ``lost`` [1]; ``expected`` [t], what clusters x weight x bearing
        vines come to.

    Notes
    -----
    Valid for any records; what no table says is NaN.
    """
    parts = [_plans(usable), _counts(usable), _weights(usable), _harvest(usable)]
    names = pd.MultiIndex.from_tuples([], names=["block", "season"])
    found = [part for part in parts if part is not None]
    for part in found:
        names = names.union(part.index)
    means = pd.DataFrame(index=names.sort_values())
    means = means.join(found)
    wanted = ["plan", *COUNTED, *(f"{name}_vines" for name in COUNTED)]
    wanted += [*(f"{stage}_g" for stage in STAGES), "tonnes", "lost"]
    means = means.reindex(columns=wanted).astype(float)
    facts = block_facts(usable)
    means = means[means.index.isin(facts.index, level="block")]
    block = means.index.get_level_values("block")
    weight = means["harvest_g"].fillna(means["lag_g"] * facts["factor"].reindex(block).to_numpy())
    vines = facts["bearing"].reindex(block).to_numpy()
    expected = means["clusters"] * weight * vines / 1e6
    means = means.assign(expected=expected.where(expected > 0))
    # Absurd numbers are told elsewhere; they have no place in a mean.
    return means.where(np.isfinite(means))


def block_facts(usable):
    """Return area [ha], bearing vines [1], variety and usual weight gain [1] of each block."""
    frame = usable["blocks"].frame
    frame = frame[~frame["block"].duplicated() & (frame["block"] != "")].set_index("block")
    planted = frame["vines"] * frame["row_spacing_m"] * frame["vine_spacing_m"] / 10_000
    factors = {name: _factor(name) for name in frame["variety"].unique()}
    return frame.assign(
        planted=frame["year_planted"],
        area=frame["area_ha"].fillna(planted),
        bearing=frame["vines"] * (1 - frame["missing_pct"].fillna(0.0) / 100),
        factor=frame["variety"].map(factors).astype(float),
    )


def others_median(values):
    """Return the median over the block's other seasons, and how many there are.

    Parameters
    ----------
    values : pandas.Series
        Indexed by block and season.

    Returns
    -------
    (pandas.Series, pandas.Series)
        The median of the others, NaN where there are none; their number [1].
    """
    values = values.where(np.isfinite(values))
    usual = pd.Series(np.nan, index=values.index)
    count = pd.Series(0, index=values.index)
    for _, lot in values.dropna().groupby(level="block"):
        numbers = lot.to_numpy(float)
        rest = [np.delete(numbers, at) for at in range(len(numbers))]
        usual[lot.index] = [np.median(one) if len(one) else np.nan for one in rest]
        count[lot.index] = len(numbers) - 1
    return usual, count


def moves(logs, seasons):
    """Return how far each block's season lies from its others, alone and beside other blocks.

    Parameters
    ----------
    logs : pandas.Series
        ln(measured), indexed by block and season.
    seasons : int
        Other seasons that a block must have [1].

    Returns
    -------
    (pandas.Series, pandas.Series)
        ln(season / the block's usual) [1], and the same less the median of the other blocks of
        the season, so that a good or a bad year of the whole estate drops out.
    """
    usual, count = others_median(logs)
    own = (logs - usual).where(count >= seasons)
    beside = own.copy()
    for _, lot in own.dropna().groupby(level="season"):
        numbers = lot.to_numpy()
        if len(numbers) > 1:
            rest = [np.median(np.delete(numbers, at)) for at in range(len(numbers))]
            beside[lot.index] = numbers - np.array(rest)
    return own, beside


def milder(own, beside):
    """Return of two moves the one nearer to none, and none where they point apart [1]."""
    same = np.sign(own) == np.sign(beside)
    size = np.minimum(np.abs(own), np.abs(beside))
    return pd.Series(np.where(own.isna(), np.nan, np.sign(own) * size * same), own.index)


def scale_moves(means):
    """Return ln(tonnes / expected) [1], and the same less the block's usual over other seasons."""
    logs = np.log((means["tonnes"] / means["expected"]).where(means["expected"] > 0))
    return logs, logs - others_median(logs)[0].fillna(0.0)


def agrees(logs):
    """Return where the scale agrees with clusters x weight x vines, so that both stand."""
    limits = entry("plausible.scale_of_counts")
    return logs.between(np.log(limits.low), np.log(limits.high))


def against_the_scale(move, beyond):
    """Return where a move [1] is what sets the scale of the season apart from the counts."""
    limits = entry("plausible.against_the_scale")
    off = beyond.abs() > np.log(limits.value)
    return (
        off
        & (move.abs() > np.log(limits.extra["move"]))
        & ((move + beyond).abs() < limits.extra["rest"])
    )


def plan_buds(plan):
    """Return the buds of a plan's text [1], or NaN for none."""
    return float(sum(int(a) * int(b) for a, b in re.findall(r"(\d+)x(\d+)", plan))) or np.nan


def _factor(name):
    own = variety(name).get("increase_factor")
    return value("prior.increase_factor") if own is None else float(own.value)


def dated(frame):
    """Return the rows with a day and a season that a calendar has."""
    years = frame["date"].dt.year.between(FIRST_YEAR, LAST_YEAR)
    return frame[years & frame["season"].between(FIRST_YEAR, LAST_YEAR)]


def _by_season(frame):
    known = frame["season"].between(FIRST_YEAR, LAST_YEAR) & (frame["block"] != "")
    return frame[known].assign(season=lambda lot: lot["season"].astype("int64"))


def _plans(usable):
    if "pruning" not in usable:
        return None
    frame = _by_season(usable["pruning"].frame)
    frame = frame[frame["plan"] != ""]
    texts = {plan: plan_buds(plan) for plan in frame["plan"].unique()}
    buds = frame.assign(plan=frame["plan"].map(texts).astype(float))
    return buds.groupby(["block", "season"])[["plan"]].first()


def _counts(usable):
    if "counts" not in usable:
        return None
    groups = _by_season(usable["counts"].frame).groupby(["block", "season"])[list(COUNTED)]
    return groups.mean().join(groups.count().add_suffix("_vines"))


def _weights(usable):
    if "weights" not in usable:
        return None
    frame = _by_season(usable["weights"].frame)
    frame = frame[frame["stage"].isin(STAGES)]
    grams = {}
    for stage in STAGES:
        lots = frame[frame["stage"] == stage].groupby(["block", "season"])
        sums = lots[["weight_g", "clusters"]].sum()
        grams[f"{stage}_g"] = sums["weight_g"] / sums["clusters"].where(sums["clusters"] > 0)
    return pd.DataFrame(grams)


def _harvest(usable):
    if "harvest" not in usable:
        return None
    frame = _by_season(usable["harvest"].frame)
    frame = frame.assign(
        share=frame["picked_pct"].fillna(100.0) / 100, lost=frame["lost_pct"].fillna(0.0) / 100
    )
    crops = frame.groupby(["block", "season"]).agg(
        tonnes=("tonnes", "sum"), share=("share", "max"), lost=("lost", "max")
    )
    tonnes = (crops["tonnes"] / crops["share"]).where(crops["tonnes"] > 0)
    return pd.DataFrame({"tonnes": tonnes, "lost": crops["lost"]})
