"""Picking dates as draws, and the tables that reduce them."""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from cropload.beliefs import ranges
from cropload.beliefs.dates import picking_dates
from cropload.beliefs.dates.stage_days import INTERVALS
from cropload.beliefs.estate import Beliefs


@dataclass(frozen=True, eq=False)
class HarvestDates:
    """When each block is picked, as draws.

    Attributes
    ----------
    season : int
        Year of harvest.
    as_of : Timestamp or None
        The day up to which records were used.
    hemisphere : str
        ``"north"`` or ``"south"``.
    blocks, varieties : tuple of str
        In the order of the draws.
    draws : ndarray, shape (blocks, draws)
        Day of the pick, or of the pick of the rest, in days since 1970-01-01 [d]; the rows of
        blocks without a date (``dated`` is False) mean nothing.
    dated : ndarray of bool, shape (blocks,)
        Whether anything says when the block is picked.
    came_from : tuple of str
        Where each block's date is known from, in words.
    entered : dict
        {block: ((day since 1970-01-01, share), ...)} for picking dates the user entered.
    picked : DataFrame
        What the scale has said already: block, day (days since 1970-01-01, NaN where no date is
        on record), tonnes [t].
    beliefs : Beliefs
        Of the day of budburst and the days between stages [d].
    """

    season: int
    as_of: pd.Timestamp | None
    hemisphere: str
    blocks: tuple
    varieties: tuple
    draws: np.ndarray = field(repr=False)
    dated: np.ndarray = field(repr=False)
    came_from: tuple = field(repr=False)
    entered: dict = field(repr=False)
    picked: pd.DataFrame = field(repr=False)
    beliefs: Beliefs = field(repr=False)
    seed: int = 0
    notes: tuple = ()

    def table(self):
        """Return the picking date of each block with its range.

        Returns
        -------
        DataFrame
            block, variety, date_p10, date_p50, date_p90 (NaT where no date is known), range_days
            [d], came_from.
        """
        ends = np.full((3, len(self.blocks)), np.nan)
        if self.dated.any():
            ends[:, self.dated] = ranges.whole_days(self.draws[self.dated])
        found = {"block": list(self.blocks), "variety": list(self.varieties)}
        for end, values in zip(ranges.ENDINGS, ends, strict=True):
            found[f"date_{end}"] = pd.to_datetime(values, unit="D").astype("datetime64[ns]")
        frame = pd.DataFrame(found)
        frame["range_days"] = ends[2] - ends[0]
        frame["came_from"] = list(self.came_from)
        frame.attrs = {"interval": ranges.label(), "season": self.season, "notes": self.notes}
        return frame

    def intervals(self):
        """Return the days between stages that are believed of each block this season.

        Returns
        -------
        DataFrame
            block, interval (``budburst`` is the day of the growth year), days [d], spread_days,
            one standard deviation [d].
        """
        spread = self.beliefs.spread()
        return pd.DataFrame(
            {
                "block": np.repeat(self.blocks, len(INTERVALS)),
                "interval": INTERVALS * len(self.blocks),
                "days": self.beliefs.centre.ravel(),
                "spread_days": spread.ravel(),
            }
        )

    def with_picks(self, picks):
        """Return these dates with picking dates entered for some blocks instead of the model's.

        Parameters
        ----------
        picks : dict
            {block: date}, or {block: [(date, share), ...]} for a pick split over days; None
            takes an entered date out again.

        Raises
        ------
        CroploadError
            For an unknown block, a date outside the season, or shares that do not add up to 1.
        """
        entered = {**self.entered, **picking_dates.read(picks, self.blocks, self.season)}
        entered = {block: parts for block, parts in entered.items() if parts is not None}
        return replace(self, entered=entered)
