"""Which component missed: the miss of each block's forecast, split so that the parts add up."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.events import happened
from cropload.beliefs.forecast import prepare
from cropload.beliefs.history import estate_of
from cropload.errors import CroploadError
from cropload.records.facts import block_facts
from cropload.review.picked import on_the_scale, sums
from cropload.show import wording
from cropload.units import METRIC
from cropload.vine.growth import COMPONENTS, STAGES

_AT = {name: place for place, name in enumerate(COMPONENTS)}
_CLUSTERS, _WEIGHT = STAGES.index("clusters"), STAGES.index("weight_harvest")
#: What makes the clusters of a vine, and the stage that measures it.
_BEARING = {
    "buds_left": "buds",
    "shoots_per_bud": "shoots",
    "clusters_per_shoot": "clusters",
    "noncount_shoots": "noncount_shoots",
}
#: Parts of a miss, in the order of the chain.
PARTS = (
    "plan",
    "buds_left",
    "shoots_per_bud",
    "noncount_shoots",
    "clusters_per_shoot",
    "beyond_count",
    "counting_bias",
    "cluster_weight_g",
    "recovery",
    "lost",
    "unexplained",
)
_COLUMNS = ["block", "component", "log_miss", "factor", "share", "miss_t", "rests_on"]
_COLUMNS += ["forecast_t", "picked_t"]


@dataclass(frozen=True, eq=False, repr=False)
class MissSplit(Answer):
    """The miss of a forecast by component, block by block.

    Attributes
    ----------
    frame : DataFrame
        One row a block and part of ``PARTS``. ``log_miss``: its part of ln(forecast / picked) [1],
        the forecast being the middle that every table shows; the parts of a block add up exactly.
        ``factor``: its exp [1], above 1 means forecast too high. ``share``: the same as a share of
        the crop picked [1], adding up to forecast / picked - 1. ``miss_t``: in tonnes [t].
        ``rests_on``: ``measured``; ``together``, when only its sum with another is known;
        ``capped``, the same with recovery at its most; or ``guess``, when it was not measured.
        ``forecast_t`` and ``picked_t``: the block's own [t].
    season : int
        Year of harvest.
    stage : str
        Where the season stood when the forecast was made.
    left_out : tuple of str
        Why other crops are not split, in sentences.
    """

    season: int = field(kw_only=True)
    stage: str = field(kw_only=True)
    left_out: tuple = field(kw_only=True)

    @property
    def blocks(self):
        """The blocks whose miss is split."""
        return list(dict.fromkeys(self["block"]))

    def heading(self, units=METRIC):
        """Return what missed in all blocks together, in a sentence."""
        from cropload.review.words import estate_sentence

        return estate_sentence(self) if len(self) else "No block's own miss can be split."

    def tables(self, units=METRIC):
        """Return the table of the parts of each block's miss, which add up."""
        from cropload.review.tables import parts_table

        return (parts_table(self),)

    def plot(self, ax=None, units=METRIC):
        """Draw what made each block's forecast miss, as stacked bars."""
        from cropload.review.charts import split_rows

        return split_rows(self.frame).plot(ax)


@dataclass(frozen=True)
class _Centres:
    """Logs believed of each block: clusters per vine, cluster weight, recovery, components [1]."""

    clusters: np.ndarray
    weight: np.ndarray
    recovery: np.ndarray
    components: np.ndarray
    rows: np.ndarray
    capped: np.ndarray


def _without_counts(records, season):
    """Return the records as if no cluster of the season had been counted."""
    counts = records.counts
    clusters = counts["clusters"].mask(counts["season"] == season)
    return replace(records, counts=counts.assign(clusters=clusters))


def _estate(records, season, as_of, learned=None):
    ground, learned, _ = prepare(records, season, as_of, learned=learned)
    return estate_of(ground, learned)


def _rows(estate):
    rows = estate.season_rows[:, _CLUSTERS].copy()
    # What was counted bears the counting bias, what hung there does not.
    rows[:, _AT["counting_bias"]] = 0.0
    return rows


def _truth(estate):
    """Return what is believed of each block once all is known.

    No more than all of the fruit reaches the scale. Where the middle says more, recovery is taken
    as 1, and the rest is moved as it goes with recovery: that is the mean of a normal, given one
    of its values.
    """
    rows, beliefs, at = _rows(estate), estate.beliefs, _AT["recovery"]
    x = estate.season_centre()
    capped = x[:, at] > 0
    for b in np.flatnonzero(capped):
        through = beliefs.covariance(b)[at]
        x[b] -= through / through[at] * x[b, at]
    clusters = np.einsum("bk,bk->b", rows, x) + estate.season_offset[:, _CLUSTERS]
    weight_rows = estate.season_rows[:, _WEIGHT]
    weight = np.einsum("bk,bk->b", weight_rows, x) + estate.season_offset[:, _WEIGHT]
    return _Centres(clusters, weight, x[:, at], x, rows, capped)


def _forecast(found):
    """Return what the forecast took: the middles of its own draws, which bend as the chain does."""
    return _Centres(
        found.growth.log_clusters.mean(1),
        found.growth.log_cluster_weight_g.mean(1),
        found.log_components[_AT["recovery"]].mean(1),
        found.estate.season_centre(),
        _rows(found.estate),
        np.zeros(len(found.blocks), bool),
    )


def _stages(measured, season):
    """Return {block: stages measured in the season}."""
    here = measured[measured["season"] == season]
    return here.groupby("block")["stage"].agg(set).to_dict()


def _cluster_parts(then, now, at, same_load):
    """Return the parts of what makes clusters, where none were counted yet [1]."""
    rows = (then.rows[at] + now.rows[at]) / 2
    moved = rows * (then.components[at] - now.components[at])
    parts = {name: moved[_AT[name]] for name in _BEARING}
    # What is left is another load, or the bend of the chain under the same one.
    rest = then.clusters[at] - now.clusters[at] - sum(parts.values())
    if same_load:
        return parts | {"clusters_per_shoot": parts["clusters_per_shoot"] + rest}
    return parts | {"plan": rest}


def _rest_on(stages, counted, capped):
    """Return {part: whether it was ``measured``, is known ``together`` with another, or a guess."""
    weighed = "weight_harvest" in stages
    known = {name: "measured" if stage in stages else "guess" for name, stage in _BEARING.items()}
    if "shoots" not in stages:
        known["clusters_per_shoot"] = "guess"
    both = ("capped" if capped else "together") if counted and weighed else "guess"
    return known | {
        "cluster_weight_g": "measured" if weighed else "guess",
        "counting_bias": both,
        "recovery": both,
    }


def log_mean(forecast, picked):
    """Return the mean that turns a part of ln(forecast / picked) into one of their difference.

    Parameters
    ----------
    forecast, picked : float
        Above 0 [t].

    Notes
    -----
    The logarithmic mean, (a - b) / ln(a / b).
    Valid for two crops above 0.
    """
    if np.isclose(forecast, picked, rtol=1e-12):
        return picked
    return (forecast - picked) / np.log(forecast / picked)


def _left_out(crops, found, middle):
    """Yield why some crops on the scale cannot be split, in sentences."""
    matrix, there = sums(crops, found.blocks)
    nothing, young = [], []
    for crop, here, members in zip(crops, there, matrix, strict=True):
        if not here:
            continue
        if len(crop.blocks) > 1:
            total = float(ranges.quantiles(members @ found.draws)[1])
            off = total / crop.tonnes - 1
            word = "high" if off > 0 else "low"
            yield (
                f"{crop.name} were weighed together: their forecast was "
                f"{wording.percent(abs(off))} too {word} in sum. Whose miss it was is not known, "
                "so it is not split and not in the sums here."
            )
        elif middle[crop.name] <= 0:
            barren = found.estate.young.barren[found.blocks.index(crop.name)]
            (young if barren else nothing).append(crop.name)
    if nothing:
        yield (
            f"{', '.join(nothing)}: the forecast was nothing, for none of the vines counted "
            "carried a cluster, yet the scale saw a crop. A miss from nothing cannot be split. "
            "Look at those zeros: were they counted, and on vines that stand for the block?"
        )
    if young:
        yield (
            f"{', '.join(young)}: the forecast was nothing, for the vines were too young to bear, "
            "yet the scale saw a crop. A miss from nothing cannot be split. Look at year_planted "
            "in table blocks."
        )


@arguments.check_arguments(
    records=arguments.records, season=arguments.season, forecast=arguments.forecast
)
def split_miss(records, season, forecast):
    """Split the miss of a forecast by component, block by block.

    Parameters
    ----------
    records : Records
        Everything on record, the season's harvest weights and tonnes included.
    season : int
        Year of harvest.
    forecast : Forecast
        The forecast under review, of that season.

    Returns
    -------
    MissSplit

    Raises
    ------
    CroploadError
        When no harvest of the season is on record, or the forecast is of another season.

    Notes
    -----
    crop = clusters x cluster weight x recovery. The truth of each is what is believed once
    everything is known, the harvest included; where it was measured it stands near that, and
    where it was not, the miss is shared out by how uncertain each component was.
    Once clusters are counted, their miss has two parts. ``counting_bias``: the count, corrected
    for the bias that was usual before it, against what truly hung there: counters and sample
    alike. ``beyond_count``: what the forecast held to besides the count.
    A count and the share of the fruit that reaches the scale cannot be told apart by weights and
    tonnes, but for one thing: that share is never above 1. What is more goes to the count.
    ``lost`` is what events took that the forecast did not know of (table ``events``, column
    ``lost_pct``). ``unexplained`` is the
    scale's own error, and the middle of a skew range.
    Blocks weighed together are left out: their own crop is not known. So are blocks of which
    nothing was forecast.
    Valid for blocks picked whole.
    """
    from cropload.review.words import COUNTED_NOTE, measured_sentence

    if forecast.season != season:
        raise CroploadError(
            f"The forecast is of {forecast.season}, so its miss cannot be split against the "
            f"harvest of {season}."
        )
    crops = on_the_scale(records, season).crops
    middle = dict(zip(forecast.blocks, ranges.quantiles(forecast.draws)[1], strict=True))
    events = happened(records, block_facts(records)).of_season(season)
    last = _estate(records, season, None)
    usual = _estate(
        _without_counts(records, season), season, forecast.as_of, forecast.estate.beliefs.learned
    )
    usual = usual.beliefs.centre[:, _AT["counting_bias"]]
    then, now = _forecast(forecast), _truth(last)
    measured = forecast.estate.measured
    counted = measured[(measured["season"] == season) & (measured["stage"] == "clusters")]
    counted = counted.set_index("block")["log_value"].to_dict()
    stages = _stages(last.measured, season)
    same_load = np.all(forecast.estate.load() == last.load(), axis=0)
    hanging = 1 - forecast.picked["share"].to_numpy(float)
    rows = []
    for crop in crops:
        block = crop.name
        if len(crop.blocks) > 1 or middle.get(block, 0) <= 0:
            continue
        at = forecast.blocks.index(block)
        if block in counted:
            # What the count says hung there.
            seen = counted[block] - usual[at]
            parts = {
                "beyond_count": then.clusters[at] - seen,
                "counting_bias": seen - now.clusters[at],
            }
        else:
            parts = _cluster_parts(then, now, at, same_load[at])
        parts["cluster_weight_g"] = then.weight[at] - now.weight[at]
        parts["recovery"] = then.recovery[at] - now.recovery[at]
        # What was picked by then is known: only the rest can miss.
        still = hanging[at] * np.exp(then.clusters[at] + then.weight[at] + then.recovery[at])
        left = still * forecast.bearing[at] / 1e6 / middle[block]
        still = min(left, 1.0) if hanging[at] < 1 else 1
        parts = {name: still * part for name, part in parts.items()}
        # What was known to be lost by then is in the forecast.
        parts["lost"] = forecast.log_left[at] - events.log_left([block])[0]
        miss = np.log(middle[block] / crop.tonnes)
        parts["unexplained"] = miss - sum(parts.values())
        mean = log_mean(middle[block], crop.tonnes)
        rests = _rest_on(stages.get(block, set()), block in counted, now.capped[at])
        for name in PARTS:
            part = parts.get(name, 0.0)
            miss_t = mean * part
            row = (block, name, part, np.exp(part), miss_t / crop.tonnes, miss_t)
            rows.append((*row, rests.get(name, "measured"), middle[block], crop.tonnes))
    frame = pd.DataFrame(rows, columns=_COLUMNS)
    left_out = notes = tuple(_left_out(crops, forecast, middle))
    blocks = list(dict.fromkeys(frame["block"]))
    if blocks:
        notes = (*left_out, measured_sentence(season, stages, blocks), COUNTED_NOTE)
    return MissSplit(
        frame,
        notes,
        sources=("prior.counting_bias", "prior.cluster_weight_g", "prior.recovery"),
        season=season,
        stage=forecast.stage,
        left_out=left_out,
    )
