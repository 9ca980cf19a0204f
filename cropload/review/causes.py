"""What made a season's crops and counts stray, looked for together: a line a cause.

Held against each other over all seasons: what was counted and weighed against what came over the
scale, lots of the lag phase against those of harvest, and each crop and pruning weight against the
block's own level in the same weather.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.events import Happened, happened
from cropload.beliefs.history import estate_before_season
from cropload.beliefs.lag_days import lag_days
from cropload.beliefs.measured import measurements
from cropload.beliefs.trend import crop_rows
from cropload.frost.harvest_doubts import frosts_not_told
from cropload.records.facts import block_facts, weighed_together
from cropload.review.cause_weights import Tried, weighed
from cropload.review.cause_words import CauseWords
from cropload.review.counter_bias import lots_counted
from cropload.show import wording

#: Weight of the handbook's scatter of seasons beside what is left [cells].
_WEIGHT = 2.0
#: Fewest blocks and seasons that tell a cause [1].
_BLOCKS, _SEASONS = 4, 3
#: Columns this alike, levels taken out, look the same, or much the same [1].
_SAME, _MUCH = 0.9, 0.55
#: A chance below this is not told beside another cause's [1].
_SLIGHT = 0.1
#: Events that take from a crop against the grower's will.
_LOSSES = ("frost", "hail", "drought", "birds", "other")
#: Causes that only take from a crop.
_TAKING = ("night", "after count")
_CELLS = ["of", "block", "season", "who", "y", "sd", "n", "variance"]


@dataclass(frozen=True)
class Cause:
    """A cause that was found.

    kind : ``counter``, ``method``, ``after count``, ``night``, ``own season``, ``trend`` or
        ``odd season``
    chance : that it is one, beside chance alone and the other causes [1]
    log : what it does to what was counted or weighed, or to the crop [ln], a year for a trend; of a
        night or a loss after the count, what it took
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
    is not known, levels of blocks and seasons apart. What cannot be is not offered: a loss only
    takes, and no more than all of the fruit comes over the scale.
    Valid for four blocks and three seasons or more; fewer name nothing.
    """
    season, facts = int(season), block_facts(records)
    joint = weighed_together(records)
    crops = crop_rows(estate_before_season(records, season + 1))
    crops = crops[[pair not in joint for pair in zip(crops["block"], crops["season"], strict=True)]]
    return _looked_for(records, season, crops.reset_index(drop=True), facts, joint)


def _looked_for(records, season, crops, facts, joint=frozenset()):
    """Return the causes in crops, as of ``crop_rows``, and in what the records hold beside."""
    if crops["block"].nunique() < _BLOCKS or crops["season"].nunique() < _SEASONS:
        return ()
    now = happened(records, facts).of_season(season)
    losses = Happened(tuple(each for each in now.taken if each.event.kind in _LOSSES))
    found = measurements(records, facts)
    cells = _cells(records, facts, season, crops, losses, found, joint)
    here = list(dict.fromkeys(crops.loc[crops["season"] == season, "block"]))
    nights = _nights(records, season, now, here)
    early = lag_days(records, facts, found[found["season"] == season], [season])[0]
    words = CauseWords(season, cells, nights, now, early[early < 0])
    return tuple(_named_of(season, cells, nights, here, words))


def _named_of(season, cells, nights, here, words):
    """Return the causes in some cells, the surest first."""
    tried = _tried(season, cells, nights, here)
    y, sd, kinds = (cells[name].to_numpy() for name in ("y", "sd", "of"))
    found = _named(tried, *weighed(y, sd, kinds, _levels(cells), tried), words.of)
    crop = cells[cells["of"] == "crop"]
    odd = _odd_season(season, *(crop[name].to_numpy() for name in ("season", "block", "y")), found)
    return sorted([*found, *odd], key=lambda cause: -cause.chance)


def _cells(records, facts, season, crops, losses, found, joint):
    """Return what was seen, a row a cell: what ``of``, of which block, season and counter, ...

    ... ``y``, its log, ``sd``, its scatter before the records speak [1], and of counts ``n`` vines
    and ``variance`` of their sampling [1].
    """
    y = np.log(crops["crop"].to_numpy(float))
    # An event on record was put back; here it is what is looked for.
    y = y + np.where(crops["season"] == season, losses.log_left(crops["block"]), 0.0)
    crop = crops.assign(of="crop", who="", y=y, sd=handbook.value("causes.crop"))
    found = found[found["season"] <= season]
    wide = found.pivot_table(index=["block", "season"], columns="stage", values="log_value")
    wide = wide.reindex(columns=["harvest", "weight_harvest", "weight_lag", "pruning_weight"])
    wood = wide["pruning_weight"].dropna().rename("y").reset_index()
    wood = wood[wood["block"].isin(crop["block"])]
    wood = wood.assign(of="wood", who="", sd=handbook.value("causes.wood"))
    gap = lots_counted(records, facts, season, every=True)
    there = (wide["harvest"] - wide["weight_harvest"] + np.log(1000.0)).rename("there")
    parts = [crop, wood]
    if len(gap):
        gap = gap.merge(there.dropna().reset_index(), on=["block", "season"])
        kept = [pair not in joint for pair in zip(gap["block"], gap["season"], strict=True)]
        gap = gap[kept].rename(columns={"log_variance": "variance"})
        gap = gap.assign(of="gap", y=gap["log_mean"] - gap["there"])
        gap = gap.assign(sd=handbook.value("causes.gap"))
        parts += [gap, _by_season(gap, "counts", "recovery")]
    lag = (wide["weight_lag"] - wide["weight_harvest"]).dropna().rename("y").reset_index()
    parts.append(_by_season(lag, "lag lots", "increase_factor"))
    parts = [part.reindex(columns=_CELLS) for part in parts if len(part)]
    return pd.concat(parts, ignore_index=True)


def _by_season(rows, of, component):
    """Return what all blocks did in each season beside their own seasons, a cell a season."""
    if rows.empty or rows["season"].nunique() < _SEASONS:
        return rows[:0]
    level = rows.groupby("block")["y"].transform("median")
    seasons = (rows["y"] - level).groupby(rows["season"]).agg(["median", "size"])
    seasons = seasons[seasons["size"] >= _BLOCKS]
    usual = handbook.value(f"sd.{component}.season")
    sd = np.hypot(usual, handbook.value("causes.gap") / np.sqrt(seasons["size"]))
    made = {"season": seasons.index, "y": seasons["median"], "sd": sd}
    return pd.DataFrame(made).assign(of=of, block="", who="")


def _levels(cells):
    """Return the columns of the levels of some cells: of blocks, of seasons, or one of all."""
    of, block, season = (cells[name].to_numpy() for name in ("of", "block", "season"))
    apart = [(of == each) * 1.0 for each in ("counts", "lag lots")]
    for each, labels in (("crop", block), ("crop", season), ("wood", block), ("wood", season)):
        apart += [(of == each) & (labels == label) for label in pd.unique(labels[of == each])]
    apart += [(of == "gap") & (season == year) for year in np.unique(season[of == "gap"])]
    return np.column_stack(apart).astype(float)


def _tried(season, cells, nights, here):
    """Return all the causes that may be."""
    of, block, year, who = (cells[name].to_numpy() for name in ("of", "block", "season", "who"))
    crop, gap, wood, now = of == "crop", of == "gap", of == "wood", year == season
    tried = []

    def option(kind, name, key, column, share=1.0, spread=0.0):
        entry = handbook.entry(f"causes.{key}")
        spread = np.hypot(entry.spread, spread)
        share, takes = entry.value * share, kind in _TAKING
        tried.append(Tried(kind, name, column * 1.0, spread, share, takes))

    for words, names in nights.items():
        option("night", words, "night", -1.0 * (crop & now & np.isin(block, names)))
    counters = [each for each in pd.unique(who[gap]) if each]
    for each in sorted(counters) if len(pd.unique(who[gap])) > 1 else ():
        option("counter", each, "counter", gap & (who == each), 1 / max(len(counters), 2))
    after = [name for name in here if (gap & now & (block == name)).any()]
    # A small sample strays more often than a large one, and further.
    variance = {name: cells["variance"][gap & now & (block == name)].mean() for name in after}
    hit = {name for names in nights.values() for name in names}
    for name in here:
        mine = block == name
        if name not in hit:
            option("own season", name, "own_season", crop & now & mine, 1 / len(here))
        if name in after:
            lost = 1.0 * (gap & now & mine) - (crop & now & mine)
            option("after count", name, "after_count", lost, 1 / len(after))
            share, spread = variance[name] / sum(variance.values()), np.sqrt(variance[name])
            option("method", f"count of {name}", "count", gap & now & mine, share, spread)
            if len(np.unique(year[gap & mine])) >= _SEASONS:
                option("method", f"vines of {name}", "vines", gap & mine, 1 / len(after))
    for each in ("counts", "lag lots"):
        if (now & (of == each)).any() and (of == each).sum() > _SEASONS:
            option("method", f"{each} of {season}", "season_method", now & (of == each))
    for name in pd.unique(block[crop]):
        mine, both = crop & (block == name), handbook.entry("causes.trend").extra["both"]
        if mine.sum() <= handbook.value("trend.least_seasons"):
            continue
        line = np.where(block == name, year - year[mine].mean(), 0.0)
        share = 1 / len(pd.unique(block[crop]))
        if (wood & (block == name)).sum() < _SEASONS:
            option("trend", name, "trend", np.where(crop, line, 0.0), share)
            continue
        option("trend", name, "trend", np.where(crop, line, 0.0), (1 - both) * share)
        option("trend", name, "trend", np.where(crop | wood, line, 0.0), both * share)
    return tried


def _named(tried, chance, size, alike, tell):
    """Return the causes whose chance is high, with what cannot be told from each."""
    least, found, ways, covered = handbook.value("causes.named"), [], {}, set()
    for at, each in enumerate(tried):
        ways.setdefault(each.key, []).append(at)
    whole = {key: float(chance[at].sum()) for key, at in ways.items()}
    likeliest = {key: at[int(np.argmax(chance[at]))] for key, at in ways.items()}
    for key in sorted(whole, key=lambda each: -whole[each]):
        at, others = likeliest[key], []
        for other in whole:
            # What looks much the same here shares its chance with it, both being seldom true.
            close = abs(alike[at, likeliest[other]])
            near = close > _SAME or (close > _MUCH and whole[other] < least)
            if near and other not in covered and whole[other] > _SLIGHT:
                others.append(other)
        together = whole[key] + sum(whole[other] for other in others)
        each = tried[at]
        if key in covered or together < least or (each.takes and size[at] <= 0):
            continue
        covered.update([key, *others])
        words, do = tell(each, float(size[at]))
        also = [tell(tried[likeliest[o]], float(size[likeliest[o]]))[0] for o in others]
        if also:
            words += f"; or {' or '.join(also)}: these records cannot tell them apart"
        share = float(min(together, 1.0))
        found.append(Cause(each.kind, each.name, share, float(size[at]), words, do))
    return found


def _nights(records, season, happened_now, here):
    """Return {what happened: blocks} of a season, from events and from the weather."""
    found = {}
    for each in (*(taken.event for taken in happened_now.taken), *happened_now.untold):
        if each.block in here and each.kind in _LOSSES:
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
        "counter, a way of counting, a loss, a trend or an odd season."
    ]
