"""How much colder a block is at night than its weather station."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.errors import CroploadError, near


@dataclass(frozen=True)
class StationOffset:
    """The block's night minimum less the station's.

    Attributes
    ----------
    mean_c : float
        Mean difference [C]; below 0 in a frost hollow.
    spread_c : float
        Standard deviation of the difference from night to night [C].
    standard_error_c : float
        Standard error of the mean [C]; 0 when entered.
    nights : int
        Nights it was estimated from; 0 when entered [1].
    note : str
        Where it comes from.
    """

    mean_c: float
    spread_c: float
    standard_error_c: float = 0.0
    nights: int = 0
    note: str = ""

    def __post_init__(self):
        numbers = (self.mean_c, self.spread_c, self.standard_error_c)
        if not np.isfinite(numbers).all() or min(numbers[1:]) < 0:
            raise CroploadError(
                "an offset needs a temperature difference, and spreads of 0 C or "
                f"more; got {numbers}."
            )
        if abs(self.mean_c) > 15:
            raise CroploadError(
                f"an offset of {self.mean_c:g} C between block and station is more "
                "than a cold hollow makes: check the units."
            )

    @classmethod
    def none(cls):
        """Return no offset: the weather was measured in the block."""
        return cls(0.0, 0.0, note="weather taken as the block's own")

    @classmethod
    def entered(cls, mean_c, spread_c=None):
        """Take an offset the user knows [C]; its spread [C] falls back on the handbook's."""
        mean_c = arguments.number(unit="C")("offset", mean_c)
        if spread_c is None or np.isnan(spread_c):
            spread_c = handbook.value("frost.offset_spread_c")
        return cls(float(mean_c), float(spread_c), note=f"offset of {mean_c:+.3g} C entered")

    @classmethod
    def of(cls, offset):
        """Take a StationOffset, a number of degrees [C], or None for no offset."""
        if offset is None:
            return cls.none()
        return offset if isinstance(offset, cls) else cls.entered(offset)


def estimate_offset(logger, station, *, cold_c=None):
    """Estimate how much colder a block is than its station from nights that both recorded.

    Parameters
    ----------
    logger, station : DataFrame
        The block's own logger and the station: columns date and tmin_c [C].
    cold_c : float, optional
        Nights on which the station falls below this count [C]; the handbook's when not given.

    Returns
    -------
    StationOffset
        Mean, spread from night to night and standard error.

    Raises
    ------
    CroploadError
        With fewer than three nights in common.

    Notes
    -----
    Valid for the season it was measured in.
    Cold nights are used when there are enough (see `handbook`, ``frost.offset_nights``), because
    a hollow differs most on clear cold nights; else all nights, and the note says so.
    Nights in a row are alike: the standard error counts only as many nights as their correlation
    from one to the next leaves independent.
    """
    cold_c = handbook.value("frost.offset_cold_c") if cold_c is None else cold_c
    both = []
    for name, frame in (("logger", logger), ("station", station)):
        lows = frame[["date", "tmin_c"]].dropna()
        if lows["date"].duplicated().any():
            raise CroploadError(f"the {name} holds a day twice: give one row a day.")
        both.append(lows.set_index(pd.to_datetime(lows["date"]).dt.normalize())["tmin_c"])
    pair = pd.concat(both, axis=1, join="inner", keys=["logger", "station"]).sort_index()
    if len(pair) < 3:
        raise CroploadError(
            f"logger and station have {len(pair)} night(s) in common; three or more "
            "are needed. Enter an offset instead, or log longer."
        )
    cold = pair[pair["station"] < cold_c]
    enough = len(cold) >= handbook.value("frost.offset_nights")
    used = cold if enough else pair
    gap = (used["logger"] - used["station"]).to_numpy()
    spread = float(gap.std(ddof=1))
    steady = gap - gap.mean()
    alike = float((steady[1:] @ steady[:-1]) / max(steady @ steady, 1e-12))
    independent = len(gap) * (1 - max(alike, 0.0)) / (1 + max(alike, 0.0))
    kind = (
        f"station nights below {cold_c:g} C"
        if enough
        else f"all nights, as only {len(cold)} of them fell below {cold_c:g} C at the station"
    )
    note = (
        f"offset {gap.mean():+.1f} C (sd {spread:.1f} C from night to night) from {len(gap)} {kind}"
    )
    return StationOffset(
        float(gap.mean()), spread, spread / np.sqrt(max(independent, 2.0)), len(gap), note
    )


def station_of_block(records, block):
    """Return the station a block's row names, and the offset that stands beside it.

    Parameters
    ----------
    records : Records
        The season's records.
    block : str
        Name of the block.

    Returns
    -------
    tuple
        Station (str, or None when the row names none) and StationOffset.

    Raises
    ------
    CroploadError
        When there is no such block.
    """
    names = list(records.blocks["block"].astype(str))
    if block not in names:
        raise CroploadError(f"there is no block '{block}'. " + near(block, names))
    row = records.blocks.iloc[names.index(block)]
    offset = row.get("frost_offset_c", np.nan)
    station = str(row.get("station", "") or "") or None
    if pd.isna(offset):
        return station, StationOffset.of(None if station is None else 0.0)
    return station, StationOffset.entered(offset, row.get("frost_offset_spread_c", np.nan))
