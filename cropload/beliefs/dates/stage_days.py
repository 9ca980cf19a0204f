"""Days between stages: the dates on record, with the handbook's priors, in days.

The same model as for the crop, in days instead of logs: a mean for the variety, the block's own
part, a part of the season that all blocks share, one that the variety shares, and a rest.
The components are the day of budburst and the days from each stage to the next; a recorded date is
the sum of those up to its stage, so a stage nobody wrote down is no gap.
"""

import weakref
from dataclasses import replace

import numpy as np
import pandas as pd

from cropload import handbook
from cropload.beliefs.dates.heat_days import SeasonsOfStations, heat_sums, usual_days
from cropload.beliefs.estate import believe
from cropload.beliefs.groundwork import HISTORY_SEASONS
from cropload.beliefs.learn_spreads import learn_spreads
from cropload.beliefs.measurements import Measurements
from cropload.beliefs.spreads import Spreads
from cropload.records.hemisphere import season_origin
from cropload.vine.weather.station_offset import station_of_block

#: Stages in their order, and the handbook's name of the days that lead to each.
STAGES = ("budburst", "flowering", "veraison", "harvest")
INTERVALS = (
    "budburst",
    "budburst_to_flowering",
    "flowering_to_veraison",
    "veraison_to_harvest",
)
_EXTRA = ("block_sd_days", "season_sd_days", "variety_season_sd_days", "residual_sd_days")
_KEPT = weakref.WeakKeyDictionary()


def stage_dates(records):
    """Return the stages on record: season, block, stage, date; picking from both its tables.

    Notes
    -----
    Table dates comes first; where it has no harvest row, the first pick of table harvest stands.
    """
    dates = records.dates[["season", "block", "stage", "date"]].dropna(subset=["date"])
    picks = records.harvest.dropna(subset=["date"])
    picks = picks.groupby(["season", "block"], as_index=False)["date"].min()
    picks["stage"] = "harvest"
    both = pd.concat([dates, picks[["season", "block", "stage", "date"]]], ignore_index=True)
    return both.drop_duplicates(["season", "block", "stage"], keep="first")


def _by_heat(records, season, hemisphere, names, varieties, stages):
    """Return {variety: {step: usual days}} by published heat, for those without dates of their own.

    A variety that the estate has dates of keeps to them. Budburst is taken on its usual day.
    """
    if not len(records.weather):
        return {}
    of = dict(zip(names, varieties, strict=True))
    own = {of.get(b) for b in stages.loc[stages["stage"].isin(STAGES[1:3]), "block"]}
    bursts = stages[stages["stage"] == "budburst"]
    seasons, found = SeasonsOfStations(records.weather, hemisphere), {}
    for block, variety in of.items():
        if variety in own or variety in found or heat_sums(variety) is None:
            continue
        station, _ = station_of_block(records, block)
        past = seasons.before(station, season)
        begin = handbook.value(f"dates.budburst.{hemisphere}")
        if len(bursts):
            begun = [season_origin(s, hemisphere) for s in bursts["season"]]
            begin = float(np.mean((bursts["date"] - pd.DatetimeIndex(begun)).dt.days))
        # Days on record count from the day before the season's first.
        found[variety] = usual_days(past, begin - 0.5, variety)
    return found


def _priors(varieties, hemisphere, by_heat):
    """Return prior means (blocks, 4), spread of a variety's mean (varieties, 4), sd and dof."""
    general = [handbook.entry(f"dates.budburst.{hemisphere}")]
    general += [handbook.entry(f"dates.{name}") for name in INTERVALS[1:]]
    known = {key.split(".")[1] for key in handbook.keys("days.")}
    names = list(dict.fromkeys(varieties))
    mean, spread = {}, []
    for variety in names:
        slug = str(variety).casefold().replace(" ", "_").replace("-", "_")
        own = [float(entry.value) for entry in general]
        sd = [float(entry.extra["sd_days"]) for entry in general]
        if slug in known:
            for place, name in enumerate(INTERVALS[1:], start=1):
                own[place] = handbook.value(f"days.{slug}.{name}")
                sd[place] = handbook.value("dates.variety_sd_days")
        for name, days in by_heat.get(variety, {}).items():
            own[INTERVALS.index(name)] = days
            sd[INTERVALS.index(name)] = handbook.value("dates.variety_sd_days")
        mean[variety], _ = own, spread.append(sd)
    sd = np.array([[entry.extra[name] for entry in general] for name in _EXTRA], float)
    dof = np.array([[entry.extra["dof"] for entry in general]] * len(_EXTRA), float)
    places = np.array([names.index(variety) for variety in varieties])
    spreads = Spreads(sd, dof, np.array(spread, float))
    return np.array([mean[variety] for variety in varieties]), places, spreads


def _laid_out(stages, names, seasons, origin, mean, variety):
    """Lay recorded dates out as blocks x seasons x stages for the engine [d]."""
    shape = (len(names), len(seasons), len(STAGES))
    values, precision = np.zeros(shape), np.zeros(shape)
    place = {name: at for at, name in enumerate(names)}
    rows = stages[stages["block"].isin(place) & stages["season"].isin(seasons)]
    if len(rows):
        b = rows["block"].map(place).to_numpy(int)
        t = rows["season"].map({s: at for at, s in enumerate(seasons)}).to_numpy(int)
        s = rows["stage"].map({stage: at for at, stage in enumerate(STAGES)}).to_numpy(int)
        begin = pd.to_datetime([origin[season] for season in rows["season"]])
        values[b, t, s] = (pd.DatetimeIndex(rows["date"]) - begin).days
        precision[b, t, s] = handbook.value("dates.recorded_within_days") ** -2
    matrix = np.broadcast_to(np.tril(np.ones((4, 4))), (*shape, 4))
    return Measurements(matrix, values, precision, mean, variety)


def _learn(records, measured, spreads, key):
    """Learn the spreads in days from the past seasons, once for each set of records."""
    kept = _KEPT.setdefault(records, {})
    if key not in kept:
        past = replace(measured, precision=measured.precision.copy())
        past.precision[:, -1] = 0.0
        kept[key] = learn_spreads(past, spreads)
    return kept[key]


def believe_days(records, season, hemisphere, keep_with=None):
    """Return what is believed of the days between stages in a season, and the dates behind it.

    Parameters
    ----------
    records : Records
        As known on the day.
    season : int
        Year of harvest.
    hemisphere : {"north", "south"}
        Where the vines stand.
    keep_with : Records, optional
        Records to keep the learnt spreads with, so that they are learnt once for all days.

    Returns
    -------
    beliefs : Beliefs
        Of ``INTERVALS`` in the season; the first is the day of the growth year [d].
    stages : DataFrame
        As from ``stage_dates``, up to the season.

    Notes
    -----
    The spreads are learnt from the seasons before; this season's stages only move and narrow the
    days, as a count does for the crop. A variety without a flowering or veraison on record starts
    from its published heat in the weather of past seasons (``heat_days``), where it has both.
    """
    names = [str(name) for name in records.blocks["block"]]
    varieties = [str(name) for name in records.blocks["variety"]]
    stages = stage_dates(records)
    stages = stages[stages["season"] <= season]
    seasons = sorted({int(s) for s in stages.loc[stages["season"] < season, "season"]})
    seasons = [*seasons[-HISTORY_SEASONS:], season]
    origin = {s: season_origin(s, hemisphere) for s in seasons}
    by_heat = _by_heat(records, season, hemisphere, names, varieties, stages)
    mean, variety, spreads = _priors(varieties, hemisphere, by_heat)
    measured = _laid_out(stages, names, seasons, origin, mean, variety)
    key = (season, hemisphere, measured.precision[:, :-1].tobytes(), mean.tobytes())
    return believe(measured, names, _learn(keep_with or records, measured, spreads, key)), stages
