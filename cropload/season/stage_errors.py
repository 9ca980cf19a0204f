"""Errors of forecasts by stage on seasons already picked, beside errors that were published."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.answer import Answer
from cropload.beliefs.forecast import forecast, picked_so_far
from cropload.beliefs.history import learned_before
from cropload.beliefs.meant import check_draws
from cropload.errors import CroploadError
from cropload.season.season_days import season_days
from cropload.season.tables import errors_table, published
from cropload.units import METRIC

#: Stage of a forecast -> the handbook entry of an error published for that stage.
PUBLISHED = {
    "clusters": "error.stage.fruit_set",
    "lag": "error.stage.fruit_set",
    "veraison": "error.stage.veraison",
}
#: The same for the weight of a cluster.
PUBLISHED_WEIGHT = "error.stage.bunch_closure_cluster_weight"
#: Past seasons looked at, and the seasons of harvest needed before each of them.
_SEASONS, _BEFORE = 3, 2

COLUMNS = ["stage", "words", "of", "seasons", "cases", "error", "published", "published_text"]

YARDSTICK = "Published errors are of other vineyards and other methods: a yardstick, no contest."


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class ErrorsByStage(Answer):
    """How far off forecasts of past seasons were at each stage.

    Attributes
    ----------
    frame : DataFrame
        One row a stage (and one a stage for cluster weight): stage, words, of (``"crop"`` or
        ``"cluster weight"``), seasons and cases [1], error, the root mean square of the error
        relative to the truth [1], and the published error beside it [1], as number and text.
    seasons : list of int
        Seasons forecast again.
    """

    seasons: list

    def heading(self, units=METRIC):
        """Return nothing: the table says what it shows."""
        return ""

    def tables(self, units=METRIC):
        """Return the errors; the same in any units."""
        return [errors_table(self)]


def seasons_to_judge(records, most=_SEASONS):
    """Return the latest seasons that were picked after two others or more."""
    picked = sorted(int(season) for season in records.harvest["season"].unique())
    return picked[_BEFORE:][-most:]


def _published(key):
    entry = handbook.entry(key)
    if entry.value is not None:
        return entry.value, published(entry.value)
    return (entry.low + entry.high) / 2, published(entry.low, entry.high)


def _harvest_weights(records, season):
    weights = records.weights
    mine = weights[(weights["season"] == season) & (weights["stage"] == "harvest")]
    sums = mine.groupby("block")[["weight_g", "clusters"]].sum()
    return (sums["weight_g"] / sums["clusters"]).to_dict()


@arguments.check_arguments(
    records=arguments.records, progress=arguments.optional(arguments.calling)
)
def stage_errors(records, *, draws=2000, seed=0, progress=None):
    """Forecast past seasons again at each stage, and hold the middle against the scale.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    draws, seed : int
        As in ``forecast`` [1].
    progress : callable, optional
        Called with the number of forecasts made and the number wanted.

    Returns
    -------
    ErrorsByStage

    Raises
    ------
    CroploadError
        When fewer than three seasons have been picked.

    Notes
    -----
    Each forecast uses only what was known on its day, the seasons before included. A block whose
    picking had begun by that day is left out. Published errors are of other vineyards and other
    methods: a yardstick, no contest. Valid for seasons with a harvest on record; from fewer than
    three the means are little more than single misses.
    """
    check_draws(draws, seed)
    seasons = seasons_to_judge(records)
    if not seasons:
        raise CroploadError(
            f"Errors need at least {_BEFORE + 1} seasons with a harvest on record; there are fewer."
        )
    work = [
        (season, each)
        for season in seasons
        for each in season_days(records, season)
        if each.stage in PUBLISHED or each.stage in ("pruning", "shoots")
    ]
    found = {}
    for number, (season, each) in enumerate(work, start=1):
        made = forecast(
            records,
            season,
            each.day,
            draws=draws,
            seed=seed,
            learned=learned_before(records, season),
        )
        truth = picked_so_far(records, season, made.estate.facts)
        usable = (truth["share"] >= 1 - 1e-9) & (truth["tonnes"] > 0)
        usable = (usable & (made.picked["share"] <= 0)).to_numpy(bool)
        middle = np.median(made.draws, axis=1)
        errors = middle[usable] / truth["tonnes"].to_numpy(float)[usable] - 1
        found.setdefault(("crop", each.stage), []).append((season, each.words, errors))
        if each.stage in ("lag", "veraison"):
            weights = _harvest_weights(records, season)
            grams = np.median(made.growth.cluster_weight_g, axis=1)
            off = [
                grams[at] / weights[block] - 1
                for at, block in enumerate(made.blocks)
                if block in weights and usable[at]
            ]
            found.setdefault(("cluster weight", each.stage), []).append(
                (season, each.words, np.array(off))
            )
        if progress is not None:
            progress(number, len(work))
    rows = []
    for (of, stage), cases in found.items():
        errors = np.concatenate([each[2] for each in cases])
        if not len(errors):
            continue
        key = PUBLISHED_WEIGHT if of == "cluster weight" else PUBLISHED.get(stage)
        value, text = (np.nan, "none found") if key is None else _published(key)
        rows.append(
            {
                "stage": stage,
                "words": cases[-1][1],
                "of": of,
                "seasons": len(cases),
                "cases": len(errors),
                "error": float(np.sqrt(np.mean(errors**2))),
                "published": value,
                "published_text": text,
            }
        )
    table = pd.DataFrame(rows, columns=COLUMNS)
    order = ["pruning", "shoots", "clusters", "lag", "veraison"]
    table = table.assign(rank=table["stage"].map(order.index)).sort_values(
        ["of", "rank"], ascending=[False, True], kind="stable"
    )
    frame = table.drop(columns="rank").reset_index(drop=True)
    return ErrorsByStage(frame, (YARDSTICK,), seasons=seasons)


def published_sources():
    """Return the published errors in words with their sources, one sentence each."""
    found = []
    for key in dict.fromkeys([*PUBLISHED.values(), PUBLISHED_WEIGHT]):
        entry = handbook.entry(key)
        cited = " ".join(handbook.citation(source) for source in entry.sources)
        found.append(f"{_published(key)[1]}: {entry.note} ({cited} Grade: {entry.grade}.)")
    return found
