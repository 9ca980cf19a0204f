"""Facts of a read that rules are held against: each is worked out when first asked for, once."""

import re
from functools import cached_property

import numpy as np
import pandas as pd

from cropload.clock import FIRST_YEAR, LAST_YEAR
from cropload.handbook import entry, value, variety
from cropload.records.facts import area_ha, bearing_vines, season_crops
from cropload.records.later_rows import in_order

COUNTED = ("buds", "shoots", "clusters")
STAGES = ("lag", "veraison", "harvest")
KEYS = ["block", "season"]
#: More than any year.
_YEARS = 10_000
#: Buds of each cane of a plan; a piece of up to 3 buds is a spur.
_CANE = r"^[1-9]\d*x(\d\d+|[4-9])"
_NOTHING = pd.MultiIndex.from_arrays([[], []], names=KEYS)


class Facts:
    """What all tables of a read say, side by side.

    Parameters
    ----------
    parsed : dict
        Name -> ParsedTable; those whose columns are not all there are left out.
    """

    def __init__(self, parsed):
        self.parsed = {name: table for name, table in parsed.items() if table.complete}
        self._known = {}

    def __contains__(self, name):
        return name in self.parsed

    def __getitem__(self, name):
        return self.parsed[name].frame

    def us(self, name, column):
        """Whether a column of a table is given in US units."""
        table = self.parsed[name]
        return table.us(table.table[column])

    def once(self, fact, *names):
        """Return what a function finds in these facts; it is asked once."""
        if (fact, names) not in self._known:
            self._known[fact, names] = fact(self, *names)
        return self._known[fact, names]

    def rows(self, name, key):
        """Return the rows of a table of one block and season."""
        return self[name].iloc[self.places(name, *([part] for part in key))[0]]

    def places(self, name, blocks, seasons=None):
        """Return the places of the rows of each block, or each block and season, in a table."""
        order, keys = self.once(_in_order, name, seasons is not None)
        wanted = _numbers(self, blocks, seasons)
        first, end = (np.searchsorted(keys, wanted, side) for side in ("left", "right"))
        end[wanted < 0] = 0
        return [order[start:stop] for start, stop in zip(first, end, strict=True)]

    def beside(self, name, values, before=0):
        """Return what is known of the block and season of each row of a table, else NaN or NaT.

        Parameters
        ----------
        name : str
            The table.
        values : Series
            What is known, indexed by block and season.
        before : int
            By how many seasons earlier [1].
        """
        keys, own = (
            self.once(_keys, name),
            _numbers(self, *map(values.index.get_level_values, KEYS)),
        )
        at = pd.Index(own).get_indexer(keys - before)
        at[keys < 0] = -1
        return _taken(values, at, self[name].index)

    @cached_property
    def blocks(self):
        """Table blocks by name, with area [ha], bearing vines [1], canopy length [m] a vine and
        usual gain of weight from lag to harvest [1]."""
        frame = self["blocks"]
        frame = frame[~frame["block"].duplicated()].set_index("block")
        factors = {name: _factor(name) for name in frame["variety"].unique()}
        return frame.assign(
            area=area_ha(frame),
            bearing=bearing_vines(frame),
            metres=frame["vine_spacing_m"] * frame["canopies"].fillna(1.0),
            factor=frame["variety"].map(factors).astype(float),
        )

    def of_block(self, name, fact):
        """Return a fact of the block beside each row of a table."""
        return self.once(_of_block, name, fact)

    @cached_property
    def crop_t_ha(self):
        """The season's crop [t/ha] at the last row of each block and season, else NaN."""
        frame = self["harvest"]
        crop = frame.groupby(["season", "block"])["tonnes"].transform("sum")
        crop = crop / self.of_block("harvest", "area")
        return crop.where(~frame.duplicated(["season", "block"], keep="last"))

    @cached_property
    def plan_buds(self):
        """The buds of each plan [1 per vine], by row of table pruning; NaN for none."""
        plans = self["pruning"]["plan"]
        buds = {text: _buds(text) for text in plans.unique()}
        return plans.map(buds).astype(float)

    @cached_property
    def plans_held(self):
        """The rows of table pruning whose plan holds, one a block and season, with its ``buds``."""
        rows = in_order(self["pruning"].assign(buds=self.plan_buds), KEYS)
        return rows[rows["plan"] != ""].drop_duplicates(KEYS, keep="last")

    @cached_property
    def cane_m(self):
        """The least length of a cane of each plan [m], by row of table pruning; NaN for spurs."""
        buds = self["pruning"]["plan"].str.extract(_CANE, expand=False).astype(float)
        return buds * entry("layout.internode_mm").low / 1000

    @cached_property
    def crops(self):
        """The crop of each block and season: ``season_crops`` with shares of 1, the last ``row``,
        the last row that tells a loss ``lost_row``, and ``whole`` [t], what hung there."""
        frame = self["harvest"].dropna(subset=["season", "tonnes"])
        crops = season_crops(frame)
        row = frame.index.to_series()
        crops["row"] = row.groupby([frame[key] for key in KEYS]).max()
        told = frame[frame["lost_pct"] > 0]
        crops["lost_row"] = told.index.to_series().groupby([told[key] for key in KEYS]).max()
        share, lost = crops["picked_pct"] / 100, crops["lost_pct"] / 100
        whole = crops["tonnes"] / share / (1 - lost).where(lost < 1)
        return crops.assign(share=share, lost=lost, whole=whole)

    def days(self, name, stage=None, what="min"):
        """Return the first or last day of each block and season in a table, or in a stage of it."""
        return self.once(_days, name, stage, what)

    @cached_property
    def picked(self):
        """The first day that each block was picked in each season, from harvest and dates."""
        days = [self.days("harvest"), self.days("dates", "harvest")]
        days = pd.concat([each for each in days if len(each)] or days[:1])
        return days.groupby(level=[0, 1]).min()

    @cached_property
    def means(self):
        """A row for each block and season that a table speaks of, for records without faults.

        ``plan`` [buds per vine]; ``buds``, ``shoots``, ``clusters`` [1 per vine]; the vines behind
        each as ``buds_vines`` [1] and so on; ``lag_g``, ``veraison_g``, ``harvest_g`` [g per
        cluster]; ``tonnes`` [t], those of a part picked scaled up to the whole; ``lost`` [1];
        ``expected`` [t], what clusters x weight x bearing vines come to.  What no table says is
        NaN.
        """
        parts = []
        if "pruning" in self:
            plans = self.plans_held.dropna(subset=["buds"]).set_index(KEYS)["buds"]
            parts.append(plans.rename("plan").to_frame())
        if "counts" in self:
            groups = self["counts"].groupby(KEYS)[list(COUNTED)]
            parts.append(groups.mean().join(groups.count().add_suffix("_vines")))
        if "weights" in self:
            lots = self["weights"].groupby([*KEYS, "stage"])[["weight_g", "clusters"]].sum()
            grams = lots["weight_g"] / lots["clusters"]
            stages = grams.index.get_level_values("stage")
            parts += [
                grams[stages == stage].droplevel("stage").rename(f"{stage}_g") for stage in STAGES
            ]
        if "harvest" in self:
            crops = self.crops
            tonnes = (crops["tonnes"] / crops["share"]).where(crops["tonnes"] > 0)
            parts.append(pd.DataFrame({"tonnes": tonnes, "lost": crops["lost"]}))
        wanted = ["plan", *COUNTED, *(f"{name}_vines" for name in COUNTED)]
        wanted += [*(f"{stage}_g" for stage in STAGES), "tonnes", "lost"]
        parts = [part for part in parts if len(part)] or [pd.DataFrame(index=_NOTHING)]
        means = pd.concat(parts, axis=1).sort_index().reindex(columns=wanted).astype(float)
        block = means.index.get_level_values("block")
        means.index = pd.MultiIndex.from_arrays(
            [block, means.index.get_level_values("season").astype("int64")], names=KEYS
        )
        of = self.blocks.reindex(block)
        weight = means["harvest_g"].fillna(means["lag_g"] * of["factor"].to_numpy())
        expected = means["clusters"] * weight * of["bearing"].to_numpy() / 1e6
        means = means.assign(expected=expected.where(expected > 0))
        # Absurd numbers are told elsewhere; they have no place in a mean.
        return means.where(np.isfinite(means))


def _of_block(facts, name, fact):
    return _taken(facts.blocks[fact], facts.once(_owners, name), facts[name].index)


def _owners(facts, name):
    return facts.blocks.index.get_indexer(facts[name]["block"])


def _taken(values, at, index):
    """Return the values at some places, blank where the place is -1."""
    return pd.Series(values.array.take(at, allow_fill=True), index)


def _names(facts):
    """Return the names of blocks that stand in any table."""
    told = [facts[name]["block"] for name in facts.parsed if "block" in facts[name]]
    return pd.Index(pd.concat(told).unique()) if told else pd.Index([])


def _keys(facts, name, seasons=True):
    frame = facts[name]
    return _numbers(facts, frame["block"], frame["season"] if seasons else None)


def _in_order(facts, name, seasons):
    keys = facts.once(_keys, name, seasons)
    order = np.argsort(keys, kind="stable")
    return order, keys[order]


def _numbers(facts, blocks, seasons=None):
    """Return one whole number for each block and season, -1 where one of the two is not known."""
    at = facts.once(_names).get_indexer(blocks)
    years = np.asarray(1 if seasons is None else seasons, float)
    known = (at >= 0) & (years > 0) & (years < _YEARS)
    return np.where(known, at * _YEARS + np.where(known, years, 0), -1).astype("int64")


def _days(facts, name, stage, what):
    if name not in facts:
        return pd.Series(index=_NOTHING, dtype="datetime64[ns]")
    frame = facts[name]
    frame = frame if stage is None else frame[frame["stage"] == stage]
    return frame.dropna(subset=["date"]).groupby(KEYS)["date"].agg(what)


def _factor(name):
    own = variety(name).get("increase_factor")
    return value("prior.increase_factor") if own is None else float(own.value)


def _buds(plan):
    return float(sum(int(a) * int(b) for a, b in re.findall(r"(\d+)x(\d+)", plan))) or np.nan


def others_median(values, groups, members=True):
    """Return the median of the other members of each value's group, and how many there are.

    Parameters
    ----------
    values : Series
        Numbers; those that are not finite are left out.
    groups : array-like
        The group of each value.
    members : array of bool
        Which values count among the others of the rest.

    Returns
    -------
    (Series, Series)
        The median, NaN where there are no others or no value; their number [1].
    """
    numbers, codes = values.to_numpy(float), pd.factorize(groups)[0]
    known = np.isfinite(numbers) & (codes >= 0)
    kept = np.flatnonzero(known & members)
    kept = kept[np.lexsort((numbers[kept], codes[kept]))]
    first, end = (np.searchsorted(codes[kept], codes, side) for side in ("left", "right"))
    rank = np.full(len(numbers), len(numbers))
    rank[kept] = np.arange(len(kept)) - first[kept]
    left = np.where(known, end - first - (rank < len(numbers)), 0)
    median = np.full(len(numbers), np.nan)
    some = np.flatnonzero(left > 0)
    places = [(left[some] - 1) // 2, left[some] // 2]
    # What lies behind a value in its group moves up by one when the value itself is left out.
    middle = [numbers[kept[first[some] + at + (at >= rank[some])]] for at in places]
    median[some] = (middle[0] + middle[1]) / 2
    return pd.Series(median, values.index), pd.Series(left, values.index)


def other_seasons(values):
    """Return ``others_median`` over the other seasons of the block, for a Series by both."""
    return others_median(values, values.index.get_level_values("block"))


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
    usual, count = other_seasons(logs)
    own = (logs - usual).where(count >= seasons)
    return own, own - others_median(own, own.index.get_level_values("season"))[0].fillna(0.0)


def milder(own, beside):
    """Return of two moves the one nearer to none, and none where they point apart [1]."""
    same = np.sign(own) == np.sign(beside)
    size = np.minimum(np.abs(own), np.abs(beside))
    return pd.Series(np.where(own.isna(), np.nan, np.sign(own) * size * same), own.index)


def scale_moves(means):
    """Return ln(tonnes / expected) [1], and the same less the block's usual over other seasons."""
    logs = np.log((means["tonnes"] / means["expected"]).where(means["expected"] > 0))
    return logs, logs - other_seasons(logs)[0].fillna(0.0)


def agrees(logs):
    """Return where the scale agrees with clusters x weight x vines, so that both stand."""
    limits = entry("plausible.scale_of_counts")
    return logs.between(np.log(limits.low), np.log(limits.high))


def against_the_scale(move, off):
    """Return where a move [1] is what sets the scale of the season apart from the counts."""
    limits = entry("plausible.against_the_scale")
    return (
        (off.abs() > np.log(limits.value))
        & (move.abs() > np.log(limits.extra["move"]))
        & ((move + off).abs() < limits.extra["rest"])
    )


def day_of_season(frame):
    """Return the days of rows counted from the first of January of their season [1]."""
    years = frame["season"].to_numpy(float)
    known = (years >= FIRST_YEAR) & (years <= LAST_YEAR)
    first = (np.where(known, years, 1970) - 1970).astype("datetime64[Y]").astype("datetime64[D]")
    days = (frame["date"].to_numpy("datetime64[D]") - first) / np.timedelta64(1, "D")
    return pd.Series(np.where(known, days, np.nan), frame.index)
