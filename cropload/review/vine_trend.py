"""Are the vines getting weaker, holding, or getting stronger?  One season never says so."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.history import learned_before
from cropload.beliefs.measured import measurements
from cropload.errors import CroploadError
from cropload.records.facts import block_facts
from cropload.units import METRIC
from cropload.vine.balance import ravaz_index
from cropload.vine.growth import COMPONENTS

#: Figure -> words and unit.
FIGURES = {
    "pruning_weight": ("pruning weight per metre of canopy", "kg/m"),
    "ravaz": ("yield to pruning weight (Ravaz index)", "kg/kg"),
    "cane_weight": ("weight of one cane", "g"),
}
WEAKER, HOLDING, STRONGER = "getting weaker", "holding", "getting stronger"
NOT_CLEAR = "not clear"
TOO_FEW = "too few seasons to say"
#: Variance of the log of a level of which nothing is known [1].
_UNKNOWN = 100.0


@dataclass(frozen=True, eq=False, repr=False)
class VineTrend(Answer):
    """Whether each block's vines get weaker, hold, or get stronger, with the chances.

    Attributes
    ----------
    frame : DataFrame
        One row a block and figure (keys of ``FIGURES``), and one for the mean of all blocks
        (``"estate"``): block, figure, words, unit, seasons [1], first and last season,
        change_p10, _p50, _p90, the change in a year relative to the figure [1/year],
        chance_weaker, chance_holding and chance_stronger [1], and label.
    figures : DataFrame
        Of ``season_figures``.
    blocks : tuple of str
        All blocks, in the order of the records.
    """

    figures: pd.DataFrame = field(kw_only=True)
    blocks: tuple = field(kw_only=True)

    def of(self, figure):
        """Return the rows of one figure."""
        return self.frame[self["figure"] == figure].reset_index(drop=True)

    def heading(self, units=METRIC):
        """Return what is asked."""
        return "Are the vines getting weaker?"

    def tables(self, units=METRIC):
        """Return every block's trend in few words, then the yearly change of each figure."""
        from cropload.review import tables

        each = (tables.change_table(self, figure) for figure in dict.fromkeys(self["figure"]))
        return (tables.trend_table(self), *each)

    def plot(self, ax=None, units=METRIC, figure="pruning_weight", block=None):
        """Draw a figure of the vines over the seasons: of every block, or on axes of one block."""
        from cropload.review.vine_charts import plot_trend, trend_panels

        if ax is None and block is None:
            return plot_trend(self.figures, self.frame, figure, self.blocks, units)
        blocks = self.blocks if block is None else [block]
        return trend_panels(self.figures, self.frame, figure, blocks, units)[0].plot(ax)


def season_figures(records):
    """Return pruning weight, Ravaz index and cane weight of each block and season.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.

    Returns
    -------
    DataFrame
        block, variety, season, then by figure its value and the variance of its log:
        pruning_weight [kg/m], ravaz [kg/kg], cane_weight [g]; NaN where it was not measured. Also
        yield_kg and pruning_kg of the whole block [kg], from which indices are summed.

    Notes
    -----
    The prunings of a pruning row grew in the season before it, so they are set against the crop
    and the shoots of that season. Shoots are those from count buds and, where counted, others.
    """
    facts = block_facts(records)
    found = measurements(records, facts)
    keys = ["block", "season"]
    wide = found.pivot_table(index=keys, columns="stage", values=["value", "log_variance"])
    value, variance = (
        wide[part].reindex(columns=["pruning_weight", "harvest", "shoots", "noncount_shoots"])
        if part in wide
        else pd.DataFrame(columns=["pruning_weight", "harvest", "shoots", "noncount_shoots"])
        for part in ("value", "log_variance")
    )
    length = dict(zip(facts.names, facts.canopy_length_m, strict=True))
    bearing = dict(zip(facts.names, facts.bearing, strict=True))
    variety = dict(zip(facts.names, facts.varieties, strict=True))
    frame = value.index.to_frame(index=False)
    frame = frame.reindex(columns=keys)
    blocks = frame["block"].astype(str)
    frame.insert(1, "variety", blocks.map(variety))
    pruned = value["pruning_weight"].to_numpy(float) * blocks.map(length).to_numpy(float)
    shoots = value["shoots"].to_numpy(float) + value["noncount_shoots"].fillna(0).to_numpy(float)
    per_vine = value["harvest"].to_numpy(float)
    var = {name: variance[name].to_numpy(float) for name in ("pruning_weight", "harvest", "shoots")}
    vines = blocks.map(bearing).to_numpy(float)
    return frame.assign(
        pruning_weight=value["pruning_weight"].to_numpy(float),
        pruning_weight_variance=var["pruning_weight"],
        ravaz=per_vine / pruned,
        ravaz_variance=var["harvest"] + var["pruning_weight"],
        cane_weight=1000 * pruned / shoots,
        cane_weight_variance=var["pruning_weight"] + var["shoots"],
        yield_kg=per_vine * vines,
        pruning_kg=pruned * vines,
    )


def ravaz_of(figures, by="variety"):
    """Return the Ravaz index of varieties or the estate by season, as a ratio of sums.

    Parameters
    ----------
    figures : DataFrame
        Of ``season_figures``.
    by : str
        ``"variety"`` or ``"estate"``.

    Returns
    -------
    DataFrame
        ``by``, season, ravaz [kg/kg], blocks [1]. Only blocks with both crop and prunings count,
        on both sides, for a mean of the blocks' own indices can exceed it by a quarter.
    """
    if by not in ("variety", "estate"):
        raise CroploadError(f"The index is summed by variety or estate, not by '{by}'.")
    both = figures[figures["ravaz"].notna()]
    both = both.assign(estate="estate")
    sums = both.groupby([by, "season"], sort=True).agg(
        yield_kg=("yield_kg", "sum"), pruning_kg=("pruning_kg", "sum"), blocks=("block", "size")
    )
    pairs = zip(sums["yield_kg"], sums["pruning_kg"], strict=True)
    sums["ravaz"] = [ravaz_index(crop, wood) for crop, wood in pairs]
    return sums.reset_index()[[by, "season", "ravaz", "blocks"]]


def _noise(figure, spreads):
    """Return variances of season and of block-and-season effects on the log of a figure [1]."""
    parts = {
        "pruning_weight": ("pruning_weight_kg_per_m",),
        "cane_weight": ("pruning_weight_kg_per_m", "shoots_per_bud"),
        "ravaz": (
            "pruning_weight_kg_per_m",
            "shoots_per_bud",
            "clusters_per_shoot",
            "cluster_weight_g",
        ),
    }[figure]
    square = (spreads.sd[:, [COMPONENTS.index(name) for name in parts]] ** 2).sum(1)
    return square[1], square[2], square[3]


def _slopes(rows, column, spreads):
    """Return the posterior mean and covariance of each block's yearly change [1/year].

    Level of a block: unknown. Change: one that all blocks share plus the block's own. Noise: the
    season's effect on all, the variety's in the season, the block's own, and sampling.
    """
    blocks = list(dict.fromkeys(rows["block"]))
    season_var, variety_var, own_var = _noise(column, spreads)
    y = np.log(rows[column].to_numpy(float))
    year = rows["season"].to_numpy(float)
    year = year - year.mean()
    here, there = rows["block"].map({n: i for i, n in enumerate(blocks)}).to_numpy(int), len(blocks)
    sampling = np.nan_to_num(rows[f"{column}_variance"].to_numpy(float))
    weight = 1 / (own_var + sampling)
    # The mean log is taken out, so that a wide prior about 0 is a wide prior about it.
    y = y - y.mean()
    # Level and change of each block: their information is two by two ...
    design = np.stack([np.ones_like(year), year], axis=-1)
    products = weight[:, None, None] * design[:, :, None] * design[:, None, :]
    information = np.zeros((2, there, 2, there))
    for i, j in np.ndindex(2, 2):
        diagonal = np.bincount(here, products[:, i, j], minlength=there)
        information[i, range(there), j, range(there)] = diagonal
    right = np.stack([np.bincount(here, weight * part * y, minlength=there) for part in design.T])
    # ... but for what blocks share: each season, and each variety in a season (Woodbury).
    effects = [
        rows.groupby(by).ngroup().to_numpy(int) for by in (["season"], ["season", "variety"])
    ]
    counts = [int(effect.max()) + 1 for effect in effects]
    effects[1] = effects[1] + counts[0]  # pandas may lend its arrays read-only
    shared = np.repeat(1 / np.maximum([season_var, variety_var], 1e-12), counts)
    shared, seen = np.diag(shared), np.zeros((2, there, sum(counts)))
    told = np.zeros(sum(counts))
    for one in effects:
        np.add.at(told, one, weight * y)
        for i in range(2):
            np.add.at(seen[i], (here, one), weight * design[:, i])
        for other in effects:
            np.add.at(shared, (one, other), weight)
    seen = seen.reshape(2 * there, -1)
    gain = np.linalg.solve(shared, np.column_stack([seen.T, told]))
    information = information.reshape(2 * there, -1) - seen @ gain[:, :-1]
    right = right.ravel() - seen @ gain[:, -1]
    change = handbook.value("trend.block") ** 2 * np.eye(there)
    change += handbook.value("trend.estate") ** 2
    information[:there, :there] += np.eye(there) / _UNKNOWN
    information[there:, there:] += np.linalg.inv(change)
    found = np.linalg.inv(information)
    mean = found @ right
    at = slice(len(blocks), None)
    return blocks, mean[at], found[at, at]


@arguments.check_arguments(records=arguments.records)
def vine_trend(records):
    """Return whether each block's vines get weaker, hold, or get stronger, with the chances.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.

    Returns
    -------
    VineTrend

    Raises
    ------
    CroploadError
        When no prunings were weighed.

    Notes
    -----
    Holding is a change of less than ``trend.holding`` in a year. A label is the word whose chance
    is above ``trend.chance``; where none is, the trend is ``not clear``. With fewer than
    ``trend.least_seasons`` seasons there is no label. A falling pruning weight or cane weight, or
    a rising Ravaz index, is ``getting weaker``.
    Blocks are partially pooled: what all of them do in a season is weather, and a block's own
    change is pulled towards theirs. The load is not taken out: after a heavier load less wood
    is an answer to the load, so read the trend beside the plans.
    Valid for levels that change by the same share each year.
    """
    from scipy.special import ndtr

    figures = season_figures(records)
    if figures["pruning_weight"].notna().sum() == 0:
        raise CroploadError(
            "No prunings were weighed, so nothing tells how strong the vines are. Weigh the "
            "prunings of some vines in each block (table pruning or counts)."
        )
    spreads = learned_before(records, int(figures["season"].max()) + 1).spreads
    least, band = int(handbook.value("trend.least_seasons")), handbook.value("trend.holding")
    sure = handbook.value("trend.chance")
    z = ranges.reach()
    out = []
    for figure, (words, unit) in FIGURES.items():
        rows = figures[figures[figure] > 0].reset_index(drop=True)
        if rows.empty:
            continue
        blocks, mean, covariance = _slopes(rows, figure, spreads)
        spans = rows.groupby("block")["season"].agg(["nunique", "min", "max"])
        share = np.full(len(blocks), 1 / len(blocks))
        lines = [
            (name, mean[at], covariance[at, at], *spans.loc[name]) for at, name in enumerate(blocks)
        ]
        lines.append(
            (
                "estate",
                share @ mean,
                share @ covariance @ share,
                rows["season"].nunique(),
                rows["season"].min(),
                rows["season"].max(),
            )
        )
        for name, middle, variance, seasons, first, last in lines:
            sd = np.sqrt(variance)
            down = float(ndtr((np.log1p(-band) - middle) / sd))
            up = float(1 - ndtr((np.log1p(band) - middle) / sd))
            weaker, stronger = (up, down) if figure == "ravaz" else (down, up)
            chances = {WEAKER: weaker, HOLDING: 1 - weaker - stronger, STRONGER: stronger}
            label = max(chances, key=chances.get)
            if seasons < least:
                label = TOO_FEW
            elif not chances[label] > sure:
                label = NOT_CLEAR
            out.append(
                {
                    "block": name,
                    "figure": figure,
                    "words": words,
                    "unit": unit,
                    "seasons": int(seasons),
                    "first": int(first),
                    "last": int(last),
                    "change_p10": np.expm1(middle - z * sd),
                    "change_p50": np.expm1(middle),
                    "change_p90": np.expm1(middle + z * sd),
                    "chance_weaker": weaker,
                    "chance_holding": 1 - weaker - stronger,
                    "chance_stronger": stronger,
                    "label": label,
                }
            )
    from cropload.review.lesson_words import trend_note

    return VineTrend(
        pd.DataFrame(out),
        (trend_note(band, sure, least),),
        sources=("trend.holding", "trend.chance", "trend.least_seasons", "trend.block"),
        figures=figures,
        blocks=tuple(block_facts(records).names),
    )
