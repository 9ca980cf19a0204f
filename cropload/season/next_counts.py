"""What to count next: the tonnes of range that one more crew hour would remove."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.result import Forecast
from cropload.errors import CroploadError, choose
from cropload.season.tables import counts_table
from cropload.season.words import next_sentence
from cropload.units import METRIC
from cropload.vine.growth import STAGES

_HARVEST = STAGES.index("harvest")

#: What a crew can measure, in the order of the season, with the words for it.
COUNTABLE = {
    "buds": "count buds",
    "shoots": "count shoots",
    "clusters": "count clusters",
    "weight_lag": "weigh clusters at lag phase",
    "weight_veraison": "weigh clusters at veraison",
    "weight_harvest": "weigh clusters before picking",
}


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class NextCounts(Answer):
    """What a crew could count next, best first.

    Attributes
    ----------
    frame : DataFrame
        block, what, words, vines [1], hours [h], range_now_t, range_after_t and removed_t [t],
        removed_t_per_hour [t/h], counted, vines already measured [1].
    forecast : Forecast
        The forecast as it stands.
    of : str
        The total whose range matters.
    hours : float
        Crew hours asked for [h].
    """

    forecast: Forecast
    of: str
    hours: float

    def heading(self, units=METRIC):
        """Return how wide the range is, and the best count."""
        return next_sentence(self, units)

    def tables(self, units=METRIC):
        """Return the ranking; the same in any units."""
        return [counts_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw what the best counts take off the range."""
        from cropload.season.charts import counts_rows

        return counts_rows(self, units).plot(ax)


def vine_minutes(stage):
    """Return the crew's minutes for one vine at a stage [min], from the handbook."""
    if stage.startswith("weight_"):
        each = handbook.value("sampling.clusters_weighed_a_vine")
        return handbook.value("sampling.minutes_weigh_vine") + each * handbook.value(
            "sampling.minutes_weigh_cluster"
        )
    return handbook.value(f"sampling.minutes_{stage}")


def vine_variance(stage):
    """Return the sampling variance of the log of a mean, for one vine [1]."""
    if stage.startswith("weight_"):
        each = handbook.value("sampling.clusters_weighed_a_vine")
        between = handbook.value("sampling.weight_cv_between_vines")
        return between**2 + handbook.value("sampling.cv_cluster_weight_g") ** 2 / each
    return handbook.value(f"sampling.cv_{stage}") ** 2


def _stages_open(forecast, block):
    """Return the stages a crew could measure in a block now: where the season is, and the next."""
    order = list(COUNTABLE)
    here = forecast.estate.measured
    here = here[here["season"] == forecast.season]
    seen = [order.index(stage) for stage in set(here["stage"]) if stage in order]
    if not seen:
        return order[:2]
    at = max(seen)
    done = set(here[here["block"] == block]["stage"])
    current = order[at : at + 2]
    # Weights say little of a block whose clusters nobody has counted.
    if at > order.index("clusters") and "clusters" not in done:
        current = ["clusters", *current]
    return current


@arguments.check_arguments(
    forecast=arguments.forecast,
    hours=arguments.number(0, above=True, unit="h"),
    of=arguments.text,
    what=arguments.optional(arguments.each(arguments.text)),
)
def next_counts(forecast, *, hours=1.0, of="estate", what=None):
    """Rank what a crew could count next by the range it would take off a total.

    Parameters
    ----------
    forecast : Forecast
        The forecast as it stands.
    hours : float
        Crew hours to spend on one block and measure [h].
    of : str
        The total whose range matters: ``"estate"``, or the name of a variety.
    what : sequence of str, optional
        Measures to consider, keys of ``COUNTABLE``; those that the season has reached, and the
        next one, when left out.

    Returns
    -------
    NextCounts

    Raises
    ------
    CroploadError
        For hours, a total or a measure that cannot be.

    Notes
    -----
    The effect is computed exactly from the update, without waiting for the count: how much a
    Gaussian observation of that precision narrows the total, whatever it turns out to be. The
    total is taken straight in the logs, block by block at its centre.
    Blocks that have been picked or are too young to bear, and vines beyond those that bear, are
    left out.
    Valid for ranges up to about a factor of two either way.
    """
    if not np.isfinite(hours) or hours <= 0:
        raise CroploadError(f"Crew hours must be above 0, not {hours!r}.")
    wanted = list(COUNTABLE) if what is None else [what] if isinstance(what, str) else list(what)
    for word in wanted:
        if word not in COUNTABLE:
            raise CroploadError(f"'{word}' cannot be counted. {choose(word, COUNTABLE)}")
    estate, beliefs = forecast.estate, forecast.estate.beliefs
    varieties = np.array(forecast.varieties, dtype=object)
    if of == "estate":
        inside = np.ones(len(varieties), bool)
    elif of in set(forecast.varieties):
        inside = varieties == of
    else:
        known = ["estate", *dict.fromkeys(forecast.varieties)]
        raise CroploadError(f"There is no total of '{of}'. {choose(of, known)}")
    open_share = 1 - forecast.picked["share"].to_numpy(float)
    tonnes = np.where(inside, forecast.centre_tonnes() * open_share, 0.0)
    crop = estate.season_rows[:, _HARVEST]
    weight = tonnes[:, None] * crop

    # The total's loading on what blocks share, and on each block's own part.
    size = beliefs.root.shape[0]
    shared = np.zeros(size)
    places = {v: beliefs.shared.places(v) for v in np.unique(beliefs.variety)}
    load = beliefs.load.copy()
    ends = beliefs.shared.local * beliefs.shared.components
    # What is measured, and the crop, also bear the load response; components alone do not.
    load[:, :, ends:] += estate.season_shift
    for v, at in places.items():
        members = beliefs.variety == v
        np.add.at(shared, at, np.einsum("bk,bkq->q", weight[members], load[members]))
    through = beliefs.root.T @ shared
    own = np.einsum("bk,bkj->bj", weight, beliefs.own_covariance)
    variance = through @ through + np.einsum("bj,bj->", own, weight)
    wide = 2 * ranges.reach()
    now = wide * np.sqrt(variance)

    here = estate.measured[estate.measured["season"] == forecast.season]
    counted = here.set_index(["block", "stage"])["n"]
    rows = []
    for b, block in enumerate(forecast.blocks):
        if open_share[b] <= 0 or estate.young.barren[b]:
            continue
        for stage in _stages_open(forecast, block) if what is None else wanted:
            done = float(counted.get((block, stage), 0.0))
            each = handbook.value("sampling.clusters_weighed_a_vine")
            done_vines = done / each if stage.startswith("weight_") else done
            vines = int(hours * 60 // vine_minutes(stage))
            vines = int(min(vines, max(forecast.bearing[b] - done_vines, 0)))
            if vines < 1:
                continue
            line = estate.season_rows[b, STAGES.index(stage)]
            root = beliefs.root[places[beliefs.variety[b]]]
            seen = (line @ load[b]) @ root
            spread = seen @ seen + line @ beliefs.own_covariance[b] @ line
            tie = seen @ through + line @ own[b]
            noise = vine_variance(stage) / vines
            after = wide * np.sqrt(max(variance - tie**2 / (spread + noise), 0.0))
            spent = vines * vine_minutes(stage) / 60
            rows.append(
                {
                    "block": block,
                    "what": stage,
                    "words": COUNTABLE[stage],
                    "vines": vines,
                    "hours": spent,
                    "range_now_t": now,
                    "range_after_t": after,
                    "removed_t": now - after,
                    "removed_t_per_hour": (now - after) / spent,
                    "counted": round(done_vines),
                }
            )
    columns = ["block", "what", "words", "vines", "hours", "range_now_t", "range_after_t"]
    columns += ["removed_t", "removed_t_per_hour", "counted"]
    frame = pd.DataFrame(rows, columns=columns).sort_values(
        ["removed_t_per_hour", "block", "what"], ascending=[False, True, True], kind="stable"
    )
    return NextCounts(
        frame.reset_index(drop=True), forecast.notes, forecast=forecast, of=of, hours=hours
    )
