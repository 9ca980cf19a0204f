"""A count planned for one block: how many vines, why so many, which, and the sheets to print."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from cropload import arguments, clock, handbook
from cropload.answer import Answer
from cropload.beliefs.meant import check_block, next_season
from cropload.clock import day
from cropload.errors import CroploadError
from cropload.records.facts import bearing_vines
from cropload.records.writing.gate import Result, write_results
from cropload.season.count_sheet import LABELS, count_sheet, count_sheet_csv
from cropload.season.crew_verdict import vines_to_check
from cropload.season.sampling import cv_of_counts, sample_size
from cropload.season.two_step import TwoStepPlan, two_step_plan
from cropload.season.vine_picking import PickedVines, block_of, pick_vines
from cropload.show import wording
from cropload.show.table import WHOLE, Column, Table
from cropload.units import METRIC, unit_system

CARE = (
    "Watch your footing, wires and machines in the rows, keep out of blocks under a spraying "
    "re-entry time, and follow local codes and product labels."
)


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class CountPlan(Answer):
    """The vines to count in a block, and the sheets.

    Attributes
    ----------
    frame : DataFrame
        The vines in walking order: stop, block, row, vine, weigh (whether clusters are weighed).
    block, measure : str
        What is counted where.
    vines : int
        Bearing vines wanted [1].
    cv : float
        Spread between vines [1].
    words : str
        The reasoning in plain words.
    picked : PickedVines
        How the vines were picked.
    two_step : TwoStepPlan or None
        The split between counting and weighing, where it was asked for.
    html, csv : str
        The sheets as text.
    """

    block: str
    measure: str
    vines: int
    cv: float
    words: str
    picked: PickedVines
    two_step: TwoStepPlan | None
    html: str = field(repr=False)
    csv: str = field(repr=False)

    def heading(self, units=METRIC):
        """Return how many vines, and why so many."""
        return self.words

    def tables(self, units=METRIC):
        """Return the walk, a line a row; the same in any units."""
        rows = [
            {"row": row, "vines": self._vines(mine)}
            for row, mine in self.frame.groupby("row", sort=False)
        ]
        columns = [(Column("row", WHOLE), "row"), (Column("vines"), "vines")]
        caption = "The walk, up one row and down the next"
        if self.two_step is not None:
            caption += "; * weigh clusters there too"
        return [Table.of("walk", caption, rows, columns)]

    def plot(self, ax=None, units=METRIC):
        """Draw the vines to count where they stand in the rows."""
        from cropload.season.charts import walk_panel

        return walk_panel(self).plot(ax)

    @staticmethod
    def _vines(mine):
        marks = mine["weigh"].map({True: "*", False: ""})
        return ", ".join(f"{vine}{mark}" for vine, mark in zip(mine["vine"], marks, strict=True))

    def walk(self):
        """Return the walk in one sentence, ``row:vine`` at each stop."""
        stops = ", ".join(
            f"{stop['row']}:{stop['vine']}{'*' * stop['weigh']}"
            for stop in self.frame.to_dict("records")
        )
        starred = " (* weigh clusters there too)" if self.two_step is not None else ""
        return f"The walk, row:vine{starred}: {stops}."

    def write(self, csv=None, html=None, replace=False):
        """Write the sheets that are asked for: all, or none.

        Returns
        -------
        list of (pathlib.Path, pathlib.Path or None)
            Each file, and where the version before it lies now.

        Raises
        ------
        CroploadError
            When one exists and may not be replaced, or cannot be written.
        """
        # The byte order mark lets spreadsheet programs read names in any alphabet.
        sheets = (
            Result(csv, (".csv",), self.csv.encode("utf-8-sig")),
            Result(html, (".html",), self.html.encode("utf-8")),
        )
        return write_results([sheet for sheet in sheets if sheet.path is not None], replace)


@arguments.check_arguments(
    records=arguments.records,
    block=arguments.block,
    measure=arguments.text,
    beside=arguments.each(arguments.text, least=0),
    season=arguments.optional(arguments.season),
    vines=arguments.optional(arguments.whole(1)),
    units=arguments.optional(arguments.any_of(arguments.kind("UnitSystem"), arguments.label)),
    two_step=arguments.flag,
)
def sample_vines(
    records,
    block,
    measure="clusters",
    *,
    beside=(),
    error=0.10,
    season=None,
    vines=None,
    rows=None,
    rows_to_walk=None,
    date=None,
    seed=0,
    units=None,
    two_step=False,
):
    """Plan a count: sample size, vines and sheets.

    Parameters
    ----------
    records, block : Records, str
        As read by ``read_records``, and the name of one of its blocks.
    measure : str
        Column of ``counts`` that sets the number of vines.
    beside : sequence of str
        Further columns to leave boxes for.
    error : float
        Wanted half range of the mean, relative [1]; for buds the difference from the plan that a
        check of the crew is to tell.
    season : int, optional
        Year of harvest; the next one when left out.
    vines : int, optional
        So many vines, whatever the error [1].
    rows : int, optional
        Rows of the block, where table ``blocks`` does not say [1].
    rows_to_walk : int, optional
        Visit only so many rows [1].
    date : str or date, optional
        Day of the visit; today when left out.
    seed : int
        Seed of the pick [1].
    units : UnitSystem or str, optional
        Units of prunings and leaf area on the sheet.
    two_step : bool
        Count clusters on many vines and weigh some on few of them, for the least crew time;
        ``error`` is then that of the crop of a vine, not of a count.

    Returns
    -------
    CountPlan

    Raises
    ------
    CroploadError
        For anything that cannot be, with the way to mend it.

    Notes
    -----
    The size is that of a mean, never of a share; see ``sample_size``. For buds it is that
    of a check of the crew; see ``vines_to_check``. In two steps it is that of ``two_step_plan``,
    with the block's own spread of clusters, and every so many-th vine of the walk is weighed.
    Valid for vines picked by rule, as here, not by eye.
    """
    units = unit_system(METRIC if units is None else units)
    block = check_block(records, block)
    facts = block_of(records, block)
    columns = list(dict.fromkeys([measure, *beside]))
    wrong = next((each for each in columns if each not in LABELS), None)
    if wrong is not None:
        raise CroploadError(f"'{wrong}' is not counted on vines. Choose from: {', '.join(LABELS)}.")
    if two_step and (measure != "clusters" or vines is not None):
        raise CroploadError(
            "Two steps are for clusters counted on many vines and weighed on few: leave out what "
            "else is counted, and a number of vines of your own."
        )
    season = next_season(records) if season is None else int(season)
    visit = day(date) if date is not None else pd.Timestamp(clock.today())
    spread = cv_of_counts(records, block, measure)
    bearing = int(bearing_vines(facts))
    confidence = handbook.value("interval.sample_confidence")
    name = LABELS[measure].lower()
    split = None
    if two_step:
        split = two_step_plan(error, confidence, max(bearing, 1), cv_clusters=spread.cv)
        number, why = split.vines_counted, split.heading()
    elif vines is not None:
        number = int(vines)
        why = f"{number} vines are asked for, to count {name} in block {block}"
    elif measure == "buds":
        number = vines_to_check(spread.cv, error, confidence, max(bearing, 1))
        power = wording.percent(handbook.value("sampling.crew_power"))
        why = (
            f"{number} vines in block {block} tell a crew on plan, and one that leaves "
            f"{100 * error:g} % more or less buds, each with a chance of {power}"
        )
    else:
        number = sample_size(spread.cv, error, confidence, max(bearing, 1))
        why = (
            f"{number} vines give the mean of {name} in block {block} within "
            f"±{100 * error:g} % at {100 * confidence:g} % confidence"
        )
    spread_words = f"the spread between vines is {wording.percent(spread.cv)}"
    why += f" {wording.capital(spread_words)}" if two_step else f": {spread_words}"
    words = (
        f"{why} ({spread.came_from}: "
        f"{spread.detail}), and the block has {bearing:,} bearing vines. That number is for a "
        "mean; a share, such as missing vines, needs another. Missing vines are counted apart, "
        "never as zeros."
    )
    picked = pick_vines(records, block, number, rows=rows, rows_to_walk=rows_to_walk, seed=seed)
    stops = picked.frame.assign(weigh=False)
    clusters = 0
    if split is not None:
        # As many more as there are places without a vine, evenly along the walk.
        few = -(-split.vines_weighed * len(stops) // number)
        at = ((np.arange(few) + 0.5) * len(stops) / few).astype(int)
        stops["weigh"] = np.isin(np.arange(len(stops)), at)
        clusters = split.clusters_weighed // split.vines_weighed
    plans = records.pruning
    plans = plans[(plans["block"] == block) & (plans["season"] == season)]["plan"]
    html = count_sheet(
        picked,
        season,
        columns,
        date=f"{visit:%Y-%m-%d}",
        variety=str(facts["variety"]),
        plan="" if plans.empty else str(plans.iloc[-1]),
        units=units,
        weigh=set(stops.loc[stops["weigh"], "stop"]),
        clusters=clusters,
    )
    csv = count_sheet_csv(picked, season, f"{visit:%Y-%m-%d}", columns, units=units)
    return CountPlan(
        stops,
        (*picked.notes, CARE),
        block=block,
        measure=measure,
        vines=number,
        cv=spread.cv,
        words=words,
        picked=picked,
        two_step=split,
        html=html,
        csv=csv,
    )
