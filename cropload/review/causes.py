"""What made a season's crops and counts stray, looked for together: a line a cause.

Two things are held against each other over all seasons: what was counted and weighed against what
came over the scale, and each crop against its block's own level in the same weather.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.events import happened
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.measured import measurements
from cropload.beliefs.trend import crop_rows
from cropload.frost.harvest_doubts import frosts_not_told
from cropload.records.facts import block_facts, weighed_together
from cropload.review.counter_bias import lots_counted
from cropload.show import wording

#: Weight of the handbook's scatter beside what is left, in cells [1].
_WEIGHT = 2.0
#: Fewest blocks and seasons that tell a cause [1].
_BLOCKS, _SEASONS = 4, 3
#: Columns this alike, levels taken out, cannot be told apart; a chance below this is not told [1].
_ALIKE, _SLIGHT = 0.9, 0.1


@dataclass(frozen=True)
class Cause:
    """A cause that was found.

    kind : ``counter``, ``after count``, ``night``, ``own season``, ``trend`` or ``odd season``
    chance : that it is one, beside chance alone and the other causes [1]
    log : what it does to what was counted, or to the crop [ln], a year for a trend
    words, do : what it is, and what to do, in plain words
    """

    kind: str
    name: str
    chance: float
    log: float
    words: str
    do: str

    @property
    def line(self):
        """The cause in one line."""
        return f"{self.words} (chance {wording.chance(self.chance)}). {self.do}"


@dataclass(frozen=True, eq=False)
class _Tried:
    """A cause that may be one: its column over the cells, spread of its size, chance before."""

    kind: str
    name: str
    column: np.ndarray
    spread: float
    before: float


def find_causes(records, season):
    """Return what made a season's crops and counts stray, the surest first.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    season : int
        Year of harvest.

    Returns
    -------
    tuple of Cause
        Those that are likelier than ``causes.named``; empty where chance explains it.

    Notes
    -----
    Each set of up to two causes is weighed by how well it explains all cells beside a scatter that
    is not known (normal, scaled inverse chi-square), levels of blocks and seasons apart.
    Valid for four blocks and three seasons or more; fewer name nothing.
    """
    season, facts = int(season), block_facts(records)
    joint = weighed_together(records)
    estate = estate_before_season(records, season + 1)
    crops = crop_rows(estate)
    crops = crops[[pair not in joint for pair in zip(crops["block"], crops["season"], strict=True)]]
    events = happened(records, facts)
    counted = _counted(records, facts, season, joint)
    return tuple(_looked_for(records, season, crops.reset_index(drop=True), counted, events))


def _weighed(y, apart, tried):
    """Return the chance and the size of each of some causes, (causes,), and which look the same.

    ``y``: cells in units of their scatter before; ``apart``: columns of the levels, which say
    nothing.
    """
    count = len(tried)
    basis, values, _ = np.linalg.svd(apart, full_matrices=True)
    rank = int((values > 1e-9 * values.max()).sum())
    free = basis[:, rank:]
    if free.shape[1] < 4 or not count:
        return np.zeros(count), np.zeros(count), np.zeros((count, count), bool)
    x = free.T @ np.column_stack([each.column for each in tried])
    y = free.T @ y
    spread = np.array([each.spread for each in tried])
    odds = np.array([each.before / (1 - each.before) for each in tried])
    gram, along, whole = x.T @ x, x.T @ y, float(y @ y)
    power = (len(y) + _WEIGHT) / 2
    weights, sets, sizes = [], [], []
    for some in (s for n in range(3) for s in combinations(range(count), n)):
        at = list(some)
        precision = gram[np.ix_(at, at)] + np.diag(1 / spread[at] ** 2)
        size = np.linalg.solve(precision, along[at]) if at else np.zeros(0)
        left = whole - float(along[at] @ size)
        det = np.linalg.slogdet(precision * np.outer(spread[at], spread[at]))[1] if at else 0.0
        fit = -0.5 * det - power * np.log(_WEIGHT + left)
        weights.append(fit + np.log(odds[at]).sum())
        sets.append(at)
        sizes.append(size)
    weights = np.exp(np.array(weights) - max(weights))
    weights /= weights.sum()
    chance, total = np.zeros(count), np.zeros(count)
    for weight, at, size in zip(weights, sets, sizes, strict=True):
        chance[at] += weight
        total[at] += weight * size
    length = np.sqrt(np.maximum(np.diag(gram), 1e-12))
    alike = np.abs(gram) > _ALIKE * np.outer(length, length)
    return chance, total / np.maximum(chance, 1e-12), alike & ~np.eye(count, dtype=bool)


def _levels(*labels):
    """Return a column for each of the values of some labels."""
    return np.concatenate([pd.get_dummies(each, dtype=float).to_numpy() for each in labels], axis=1)


def _named(tried, chance, size, same, tell):
    """Return the causes whose chance is high, with what cannot be told from each."""
    least, found = handbook.value("causes.named"), []
    for at, each in enumerate(tried):
        # What looks the same over these cells shares its chance with the others like it.
        alike = np.flatnonzero(same[at] & (chance > _SLIGHT))
        together = chance[[at, *alike]].sum()
        if together < least or np.any(chance[alike] > chance[at]):
            continue
        words, do = tell(each, float(size[at]))
        others = [tell(tried[other], float(size[other]))[0] for other in alike]
        if others:
            words += f"; or {' or '.join(others)}: these records cannot tell them apart"
        share = float(min(together, 1.0))
        found.append(Cause(each.kind, each.name, share, float(size[at]), words, do))
    return found


def _counted(records, facts, season, joint):
    """Return what was counted against the scale, a row a block, season and counter.

    block, season, who, ``gap``: ln(counted and weighed / on the scale) [1].
    """
    found = measurements(records, facts)
    wide = found.pivot_table(index=["block", "season"], columns="stage", values="log_value")
    rows = lots_counted(records, facts, season, every=True)
    if rows.empty or not {"harvest", "weight_harvest"} <= set(wide):
        return pd.DataFrame(columns=["block", "season", "who", "gap"])
    there = (wide["harvest"] - wide["weight_harvest"] + np.log(1000.0)).rename("there")
    rows = rows.merge(there.dropna().reset_index(), on=["block", "season"])
    kept = [pair not in joint for pair in zip(rows["block"], rows["season"], strict=True)]
    rows = rows[kept]
    return rows.assign(gap=rows["log_mean"] - rows["there"]).reset_index(drop=True)


def _looked_for(records, season, crops, counted, events):
    """Return the causes in crops (of ``crop_rows``) and in counts (of ``_counted``)."""
    if crops["block"].nunique() < _BLOCKS or crops["season"].nunique() < _SEASONS:
        return ()
    crop_sd, gap_sd = (handbook.value(f"causes.{of}") for of in ("crop", "gap"))
    block, year = crops["block"].to_numpy(), crops["season"].to_numpy(float)
    now = year == season
    here = list(dict.fromkeys(block[now]))
    happened_now = events.of_season(season)
    # An event on record was put back; here it is what is looked for.
    y = np.log(crops["crop"].to_numpy(float)) + np.where(now, happened_now.log_left(block), 0.0)
    counts_now = (counted["season"] == season).to_numpy(bool)
    after = [name for name in here if (counts_now & (counted["block"] == name)).any()]
    counters = [who for who in sorted(set(counted["who"])) if who]
    nights = _nights(records, season, happened_now, here)
    hit = {name for names in nights.values() for name in names}
    options = []

    def option(kind, name, key, among, crop=0.0, gap=0.0):
        entry = handbook.entry(f"causes.{key}")
        column = np.concatenate([
            np.broadcast_to(crop, len(crops)) / crop_sd, np.broadcast_to(gap, len(counted)) / gap_sd
        ])  # fmt: skip
        options.append(_Tried(kind, name, column, entry.spread, entry.value / among))

    for words, names in nights.items():
        option("night", words, "night", 1, crop=1.0 * (now & np.isin(block, names)))
    for who in counters if len(set(counted["who"])) > 1 else ():
        mine = (counted["who"] == who).to_numpy(float)
        option("counter", who, "counter", max(len(counters), 2), gap=mine)
    for name in here:
        mine, seen = now & (block == name), counts_now & (counted["block"] == name).to_numpy(bool)
        if name in after:
            option("after count", name, "after_count", len(after), -1.0 * mine, 1.0 * seen)
        if name not in hit:
            option("own season", name, "own_season", len(here), 1.0 * mine)
    for name in dict.fromkeys(block):
        mine = block == name
        if mine.sum() > handbook.value("trend.least_seasons"):
            line = np.where(mine, year - year[mine].mean(), 0.0)
            option("trend", name, "trend", len(set(block)), line)
    values = np.concatenate([y / crop_sd, counted["gap"].to_numpy(float) / gap_sd])
    apart = [_levels(crops["block"], crops["season"])]
    if len(counted):
        apart.append(_levels(counted["season"]))
    weighed = _weighed(values, block_diagonal(apart), options)
    found = _named(options, *weighed, _Words(season, counted, nights, happened_now).of)
    return sorted([*found, *_odd_season(season, year, block, y, found)], key=lambda c: -c.chance)


def block_diagonal(parts):
    """Return some matrices along one diagonal."""
    out = np.zeros(np.sum([part.shape for part in parts], axis=0))
    row = column = 0
    for part in parts:
        out[row : row + part.shape[0], column : column + part.shape[1]] = part
        row, column = row + part.shape[0], column + part.shape[1]
    return out


@dataclass(frozen=True, eq=False)
class _Words:
    """How causes are said."""

    season: int
    counted: pd.DataFrame
    nights: dict
    events: object

    def of(self, each, log):
        """Return a cause, and what to do, in words."""
        share, less = wording.percent(abs(np.expm1(log))), log < 0
        name = each.name
        if each.kind == "counter":
            seen = self.counted[self.counted["who"] == name]
            return (
                f"{name} counts {share} too {'few' if less else 'many'} clusters, in "
                f"{seen['block'].nunique()} blocks over {seen['season'].nunique()} seasons",
                f"Accept counter:{name} to set counts right; count ten vines side by side.",
            )
        if each.kind == "after count" and less:
            more = wording.percent(np.expm1(-log))
            return (
                f"{name}: {more} more came over the scale than was counted and weighed",
                "Count more vines there, in every part of the block; look at the ticket.",
            )
        if each.kind == "after count":
            share = wording.percent(-np.expm1(-log))
            known = self.events.words(name)
            beyond = f", beyond the {known}" if known else ""
            return (
                f"{name}: {share} of what was counted did not reach the scale{beyond}: thinned, "
                "left or lost after the count",
                "Write it in table events, with its share.",
            )
        if each.kind == "night":
            took = "took" if less else "is on record, yet there was more of the crop by"
            return (
                f"{name} {took} {share} of the crop in {', '.join(self.nights[name])}",
                "No lesson for another year; see that table events tells its share.",
            )
        if each.kind == "trend":
            return (
                f"{name}: the crop {'falls' if less else 'rises'} by {share} a year beside the "
                "others",
                "Read what that means for the next winter's plan.",
            )
        asked = (
            "Frost, hail, thinning, fruit left? Write it in table events."
            if less
            else "Look at the ticket: is it this block's fruit alone?"
        )
        return f"{name} bore {share} {'less' if less else 'more'} than by its own seasons", asked


def _nights(records, season, happened_now, here):
    """Return {what happened: blocks} of a season, from events and from the weather."""
    found = {}
    for each in (*(taken.event for taken in happened_now.taken), *happened_now.untold):
        if each.block in here and each.kind in ("frost", "hail", "drought", "birds", "other"):
            names = found.setdefault(each.words[0].upper() + each.words[1:], [])
            names.extend([each.block] * (each.block not in names))
    told = {name for names in found.values() for name in names}
    cold = [b for b in frosts_not_told(records, season, here) if b not in told]
    if cold:
        found["Frost, by the weather,"] = cold
    return found


def _odd_season(season, year, block, y, found):
    """Return the season as a cause, where it strays from the others as they do not."""
    y = y.copy()
    for cause in found:
        if cause.kind == "night":
            return []
        if cause.kind == "own season":
            y[(block == cause.name) & (year == season)] -= cause.log
    level = pd.Series(y).groupby(block).transform("mean").to_numpy()
    mean = pd.Series(y - level).groupby(year).mean()
    others = mean.drop(season)
    if len(others) < 3:
        return []
    entry = handbook.entry("causes.odd_season")
    centre = float(others.mean())
    usual = entry.extra["usual"]
    free = len(others) - 1 + _WEIGHT
    spread = np.sqrt((_WEIGHT * usual**2 + float(((others - centre) ** 2).sum())) / free)
    log, spread = float(mean[season]) - centre, spread * np.sqrt(1 + 1 / len(others))
    wide = np.hypot(spread, entry.spread)
    power = (free + 1) / 2
    fit = [-np.log(s) - power * np.log1p((log / s) ** 2 / free) for s in (wide, spread)]
    odds = entry.value / (1 - entry.value) * np.exp(fit[0] - fit[1])
    chance = odds / (1 + odds)
    if chance < handbook.value("causes.named"):
        return []
    word = "less" if log < 0 else "more"
    words = (
        f"All blocks together bore {wording.percent(abs(np.expm1(log)))} {word} than in their "
        "other seasons: an odd season"
    )
    do = "Change no plan for it alone."
    return [Cause("odd season", str(season), chance, log, words, do)]


def why_lines(causes, season):
    """Return the causes of a season's misses in a line each, or that none stands out.

    Parameters
    ----------
    causes : sequence of Cause
        Of ``find_causes``.
    season : int
        Year of harvest.
    """
    if causes:
        return [cause.line for cause in causes]
    return [
        f"No cause stands out in {season}: chance, as these seasons scatter, is likelier than a "
        "counter, a loss, a trend or an odd season."
    ]
