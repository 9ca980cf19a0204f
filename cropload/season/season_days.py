"""The days of a season on which a forecast is worth making, and the forecasts made on them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments
from cropload.answer import Answer
from cropload.beliefs import ranges
from cropload.beliefs.calendar import MOMENTS, stage_days
from cropload.beliefs.forecast import picked_so_far as picked_by_block
from cropload.beliefs.meant import next_season
from cropload.errors import CroploadError
from cropload.season.tables import fan_table
from cropload.season.words import total_words
from cropload.show import wording
from cropload.units import METRIC


@dataclass(frozen=True)
class SeasonDay:
    """A day of the season: the stage it stands for, words for it, and the day itself."""

    stage: str
    words: str
    day: pd.Timestamp


@arguments.check_arguments(records=arguments.records, season=arguments.season)
def season_days(records, season):
    """Return the days of a season at which its records say more than before.

    Parameters
    ----------
    records, season : Records, int
        As read by ``read_records``, and the year of harvest.

    Returns
    -------
    list of SeasonDay
        In order of time; stages that are not on record are left out.

    Notes
    -----
    A stage counts as done on the day the last block was first measured at it; see
    ``cropload.beliefs.calendar.stage_days``.
    Valid for any season with counts, weights or picks on record.
    """
    days = [
        SeasonDay(stage, MOMENTS[stage], day) for stage, day in stage_days(records, season).items()
    ]
    return sorted(days, key=lambda each: each.day)


def seasons_on_record(records):
    """Return the seasons a view can show, latest first, the next one included."""
    seen = {next_season(records)}
    for table in (records.pruning, records.counts, records.weights, records.harvest):
        seen.update(int(season) for season in table["season"].unique())
    return sorted(seen, reverse=True)


def opening_season(records):
    """Return the season a view opens with: the latest in which buds, shoots or clusters are known.

    Notes
    -----
    Between picking and the first count of the next season that is the season just picked.
    """
    counts = records.counts
    told = counts[counts[["buds", "shoots", "clusters"]].notna().any(axis=1)]
    return int(told["season"].max()) if len(told) else next_season(records)


def opening_day(records, season):
    """Return the day a view opens with, or None for everything on record.

    Notes
    -----
    A season that has been picked is looked at from the day its clusters had been counted, so that
    there is something left to forecast; any other from today's records.
    """
    if not (records.harvest["season"] == season).any():
        return None
    days = season_days(records, season)
    clusters = [each.day for each in days if each.stage == "clusters"]
    if clusters:
        return clusters[0]
    return days[0].day if days else None


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Fan(Answer):
    """How a total's range narrows over the days of a season.

    Attributes
    ----------
    frame : DataFrame
        One row a day: words, day, stage (in words, as the forecast says), tonnes_p10, _p50, _p90
        and range_t [t], harvest (below, inside or above the range; empty while not known).
    season : int
        Year of harvest.
    by, name : str
        The total: ``"estate"``, or a variety or a block by name.
    harvest : Harvested or None
        What the scale said.
    """

    season: int
    by: str
    name: str
    harvest: "Harvested | None" = None

    def heading(self, units=METRIC):
        """Return the total, and what the scale said of it."""
        text = f"{wording.capital(total_words(self.by, self.name))}, season {self.season}. "
        if self.harvest is None:
            return text + "The harvest is not known yet."
        text += f"Harvest on record: {wording.amount('tonnes', self.harvest.tonnes, units)}."
        if self.harvest.missing:
            text += (
                f" Not in it, for want of a harvest on record: {', '.join(self.harvest.missing)}; "
                "the harvest is held against the range of the other blocks."
            )
        return text

    def tables(self, units=METRIC):
        """Return the range day by day; the same in any units."""
        return [fan_table(self)]

    def plot(self, ax=None, units=METRIC):
        """Draw the range that narrows."""
        from cropload.season.charts import fan_panel

        return fan_panel(self, self.harvest, units).plot(ax)


@arguments.check_arguments(
    made=arguments.each(
        arguments.pair(arguments.present, "pairs of a day of season_days and the forecast of it")
    ),
    by=arguments.one_of("estate", "variety", "block"),
    name=arguments.block,
    records=arguments.optional(arguments.records),
)
def forecast_fan(made, by="estate", name="estate", records=None):
    """Return how a total's range narrows.

    Parameters
    ----------
    made : list of (SeasonDay, Forecast)
        Days, each with the forecast made on it.
    by, name : str
        The total: ``"estate"``, or a variety or a block by name.
    records : Records, optional
        Everything on record, to hold the harvest against the ranges.

    Returns
    -------
    Fan

    Raises
    ------
    CroploadError
        When there is no such total.

    Notes
    -----
    Valid for forecasts of one season on rising days, all made from the same records.
    """
    season = made[0][1].season
    rows = []
    for each, forecast in made:
        totals = forecast.frame_by(by)
        mine = totals[totals[by] == name]
        if mine.empty:
            raise CroploadError(f"There is no {by} '{name}' in this forecast.")
        row = mine.iloc[0]
        kept = ("tonnes_p10", "tonnes_p50", "tonnes_p90", "range_t")
        rows.append(
            {"words": each.words, "day": each.day, "stage": forecast.stage}
            | {key: float(row[key]) for key in kept}
        )
    known = None if records is None else harvested(records, season, made[0][1], by, name)
    frame = pd.DataFrame(rows)
    frame["harvest"] = [""] * len(made) if known is None else harvest_words(made, known)
    return Fan(frame, season=season, by=by, name=name, harvest=known)


def harvest_words(made, known):
    """Return for each day whether the harvest lies ``below``, ``inside`` or ``above`` the range.

    Parameters
    ----------
    made : list of (SeasonDay, Forecast)
        Days, each with the forecast made on it.
    known : Harvested
        What the scale said.

    Notes
    -----
    Like is held against like: only blocks that have been picked are summed.
    """
    found = []
    for _, each in made:
        inside = np.isin(np.array(each.blocks, dtype=object), list(known.picked))
        low, _, high = ranges.quantiles(each.draws[inside].sum(0))
        found.append(
            "below" if known.tonnes < low else "above" if known.tonnes > high else "inside"
        )
    return found


@dataclass(frozen=True)
class Harvested:
    """What the scale said of a total: tonnes [t], the blocks picked, and those not yet picked."""

    tonnes: float
    picked: tuple
    missing: tuple


def harvested(records, season, forecast, by="estate", name="estate"):
    """Return the harvest of a total when it is on record, else None.

    Parameters
    ----------
    records : Records
        Everything on record, later picks included.
    season : int
        Year of harvest.
    forecast : Forecast
        Tells which blocks belong to the total.
    by, name : str
        As in ``forecast_fan``.

    Notes
    -----
    Blocks picked in part count as not yet picked.
    """
    labels = {"block": forecast.blocks, "variety": forecast.varieties}.get(by)
    inside = np.array([labels is None or label == name for label in labels or forecast.blocks])
    told = picked_by_block(records, season, forecast.estate.facts)
    whole = told["share"].to_numpy(float) >= 1 - 1e-9
    blocks = np.array(forecast.blocks, dtype=object)
    if not (inside & whole).any():
        return None
    return Harvested(
        float(told["tonnes"].to_numpy(float)[inside & whole].sum()),
        tuple(blocks[inside & whole]),
        tuple(blocks[inside & ~whole]),
    )
