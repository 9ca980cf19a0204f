"""A count planned for one block: how many vines, why so many, which, and the sheets to print."""

from dataclasses import dataclass, field

import pandas as pd

from cropload import clock, handbook
from cropload.beliefs.meant import check_block, next_season
from cropload.clock import day
from cropload.errors import CroploadError
from cropload.records.facts import bearing_vines
from cropload.records.writing.gate import Result, write_results
from cropload.season.count_sheet import LABELS, count_sheet, count_sheet_csv
from cropload.season.crew_verdict import vines_to_check
from cropload.season.sampling import cv_of_counts, sample_size
from cropload.season.vine_picking import block_of, pick_vines

CARE = (
    "Watch your footing, wires and machines in the rows, keep out of blocks under a spraying "
    "re-entry time, and follow local codes and product labels."
)


@dataclass(frozen=True, eq=False)
class CountPlan:
    """The vines to count in a block, and the sheets.

    block, measure : what is counted where; vines : bearing vines wanted [1]; cv : spread between
    vines [1]; words : the reasoning in plain words; picked : the vines in walking order; html,
    csv : the sheets as text; care : the caution.
    """

    block: str
    measure: str
    vines: int
    cv: float
    words: str
    picked: pd.DataFrame = field(repr=False)
    html: str = field(repr=False)
    csv: str = field(repr=False)
    care: str = CARE

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


def plan_count(
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
):
    """Plan a count: sample size, vines and sheets.

    Parameters
    ----------
    records : Records
        As read by ``read_records``.
    block : str
        Name of the block.
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
    of a check of the crew; see ``vines_to_check``.
    """
    block = check_block(records, block)
    facts = block_of(records, block)
    columns = list(dict.fromkeys([measure, *beside]))
    if measure not in LABELS:
        raise CroploadError(
            f"'{measure}' is not counted on vines. Choose from: {', '.join(LABELS)}."
        )
    season = next_season(records) if season is None else int(season)
    visit = day(date) if date is not None else pd.Timestamp(clock.today())
    spread = cv_of_counts(records, block, measure)
    bearing = int(bearing_vines(facts))
    confidence = handbook.value("interval.sample_confidence")
    name = LABELS[measure].lower()
    came = (
        f"the spread between vines is {100 * spread.cv:.0f} % ({spread.came_from}: {spread.detail})"
    )
    if vines is None:
        sized = vines_to_check if measure == "buds" else sample_size
        number = sized(spread.cv, error, confidence, max(bearing, 1))
        why = (
            f"{number} vines give the mean of {name} in block {block} within "
            f"±{100 * error:g} % at {100 * confidence:g} % confidence"
        )
        if measure == "buds":
            power = 100 * handbook.value("sampling.crew_power")
            why = (
                f"{number} vines in block {block} tell a crew on plan, and one that leaves "
                f"{100 * error:g} % more or less buds, each with a chance of {power:.0f} %"
            )
    else:
        number = int(vines)
        why = f"{number} vines are asked for, to count {name} in block {block}"
    words = (
        f"{why}: {came}, and the block has {bearing:,} bearing vines. That number is for a "
        "mean; a share, such as missing vines, needs "
        "another. Missing vines are counted apart, never as zeros."
    )
    picked = pick_vines(records, block, number, rows=rows, rows_to_walk=rows_to_walk, seed=seed)
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
    )
    csv = count_sheet_csv(picked, season, f"{visit:%Y-%m-%d}", columns, units=units)
    return CountPlan(block, measure, number, spread.cv, words, picked, html, csv)
