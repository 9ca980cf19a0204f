"""Are the vines getting weaker, holding, or getting stronger?  One season never says so.

How a figure changes from year to year is estimated in ``beliefs.trend``; of the crop, that is the
very change that a forecast goes on with.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.groundwork import HISTORY_SEASONS
from cropload.beliefs.history import estate_before_season, learned_before
from cropload.beliefs.measured import measurements
from cropload.beliefs.trend import chances_beyond, crop_changes, named_changes, own_lines
from cropload.errors import CroploadError
from cropload.records.facts import block_facts
from cropload.units import METRIC
from cropload.vine.balance import ravaz_index

#: Figure -> words and unit.
FIGURES = {
    "pruning_weight": ("pruning weight per metre of canopy", "kg/m"),
    "ravaz": ("yield to pruning weight (Ravaz index)", "kg/kg"),
    "cane_weight": ("weight of one cane", "g"),
    "crop": ("crop per hectare", "t/ha"),
}
WEAKER, HOLDING, STRONGER = "getting weaker", "holding", "getting stronger"
FALLING, RISING = "falling", "rising"
NOT_CLEAR = "not clear"
TOO_FEW = "too few seasons to say"
#: Figure -> what its blocks weigh by when they are taken together; their prunings otherwise.
_WEIGHTS = {"crop": "yield_kg"}


@dataclass(frozen=True, eq=False, repr=False)
class VineTrend(Answer):
    """Whether each block's vines get weaker, hold, or get stronger, with the chances.

    Attributes
    ----------
    frame : DataFrame
        One row a block and figure (keys of ``FIGURES``), and one for the mean of all blocks
        (``"estate"``): block, figure, words, unit, seasons [1], first and last season,
        change_p10, _p50, _p90, the change in a year relative to the figure [1/year] by the block's
        own seasons (NaN where there is one alone), forecast_change, what a forecast goes on with
        of it (NaN for the wood, whose changes move no forecast), chance_weaker, chance_holding and
        chance_stronger (of the crop: falling, holding, rising) [1], and label.
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
        pruning_weight [kg/m], ravaz [kg/kg], cane_weight [g] and crop [t/ha]; NaN where it was not
        measured. Also
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
    hectares = blocks.map(dict(zip(facts.names, facts.area_ha, strict=True))).to_numpy(float)
    return frame.assign(
        pruning_weight=value["pruning_weight"].to_numpy(float),
        pruning_weight_variance=var["pruning_weight"],
        ravaz=per_vine / pruned,
        ravaz_variance=var["harvest"] + var["pruning_weight"],
        cane_weight=1000 * pruned / shoots,
        cane_weight_variance=var["pruning_weight"] + var["shoots"],
        crop=per_vine * vines / 1000 / hectares,
        crop_variance=var["harvest"],
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
        When no prunings and no crops were weighed.

    Notes
    -----
    Holding is a change of less than ``trend.holding`` in a year, said where its chance is above
    ``trend.chance``. A change is named where the chance that it is one at all is above
    ``trend.sure`` and it is past holding; else the trend is ``not clear``. With fewer than
    ``trend.least_seasons`` seasons there is no label. A falling pruning weight or cane weight, or
    a rising Ravaz index, is ``getting weaker``; a crop is ``falling`` or ``rising``.
    What all blocks do in a season is weather. A change is told by the block's own seasons beside
    those of the others, not drawn to them; a forecast uses it drawn. Of fewer than five blocks,
    and where all of them surely change, it is the whole change. Taken together blocks weigh by
    their prunings, of the crop by their crop, so that the index moves as the ratio of sums does
    when the wood changes. Of the crop the load and the age of
    the vines are taken out, of the wood they are not: after a heavier load less wood is an answer
    to the load, so read the trend beside the plans.
    Valid for levels that change by the same share each year.
    """
    figures = season_figures(records)
    if not (figures[["pruning_weight", "crop"]] > 0).any(axis=None):
        raise CroploadError(
            "No prunings and no crops are on record, so nothing tells how strong the vines are. "
            "Weigh the prunings of some vines in each block (table pruning or counts), and fill "
            "table harvest."
        )
    after = int(figures["season"].max()) + 1
    out = []
    for figure in FIGURES:
        rows = figures[figures[figure] > 0].reset_index(drop=True)
        if figure == "crop":
            rows = rows[rows["season"] >= after - HISTORY_SEASONS]
        if rows.empty:
            continue
        if figure == "crop":
            changes = crop_changes(estate_before_season(records, after))
        else:
            changes = own_lines(rows, figure, learned_before(records, after).spreads)
        out += _rows(figure, rows, changes)
    from cropload.review.lesson_words import crop_note, plan_lines, trend_note

    frame = pd.DataFrame(out)
    note = trend_note(*(handbook.value(f"trend.{of}") for of in ("holding", "chance")), _least())
    return VineTrend(
        frame,
        (*plan_lines(frame), *crop_note(frame), note),
        sources=(
            *(f"trend.{of}" for of in ("holding", "sure", "chance", "least_seasons")),
            "trend.strong_spread",
        ),
        figures=figures,
        blocks=tuple(block_facts(records).names),
    )


def _least():
    return int(handbook.value("trend.least_seasons"))


def _rows(figure, rows, changes):
    """Return the rows of one figure: of each block with any season of it, and of all blocks."""
    spans = rows.groupby("block")["season"].agg(["nunique", "min", "max"])
    weights = rows.groupby("block")[_WEIGHTS.get(figure, "pruning_kg")].mean()
    weights = weights.reindex(list(changes.blocks)).fillna(0.0).to_numpy(float)
    used = changes.used if figure == "crop" else np.full(len(changes.used), np.nan)
    # One season of a block says nothing of a change.
    told = np.where(spans["nunique"].reindex(list(changes.blocks)) > 1, changes.told, np.nan)
    place = {name: at for at, name in enumerate(changes.blocks)}
    lines = [
        (span.Index, *told[:, place[span.Index]], used[place[span.Index]], *span[1:])
        for span in spans.itertuples()
    ]
    middle, sd, uses = changes.together(weights)
    uses = uses if figure == "crop" else np.nan
    season = rows["season"]
    lines.append(("estate", middle, sd, uses, season.nunique(), season.min(), season.max()))
    return [_row(figure, *line) for line in lines]


def _row(figure, name, middle, sd, uses, seasons, first, last):
    words, unit = FIGURES[figure]
    down, up = chances_beyond(middle, sd)
    weaker, stronger = (up, down) if figure == "ravaz" else (down, up)
    chances = {"weaker": weaker, "holding": 1 - weaker - stronger, "stronger": stronger}
    names = (FALLING, HOLDING, RISING) if figure == "crop" else (WEAKER, HOLDING, STRONGER)
    labels = dict(zip(names, chances.values(), strict=True))
    fall, rise = named_changes(middle, sd)
    if figure == "ravaz":
        fall, rise = rise, fall
    if seasons < _least() or np.isnan(middle):
        label = TOO_FEW
    elif fall or rise:
        label = names[0] if fall else names[2]
    else:
        held = labels[HOLDING] > handbook.value("trend.chance")
        label = HOLDING if held else NOT_CLEAR
    reach = ranges.reach() * sd
    return {
        "block": name,
        "figure": figure,
        "words": words,
        "unit": unit,
        "seasons": int(seasons),
        "first": int(first),
        "last": int(last),
        "change_p10": np.expm1(middle - reach),
        "change_p50": np.expm1(middle),
        "change_p90": np.expm1(middle + reach),
        "forecast_change": np.expm1(uses),
        **{f"chance_{word}": chance for word, chance in chances.items()},
        "label": label,
    }
