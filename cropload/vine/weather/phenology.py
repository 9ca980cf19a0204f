"""When vines reach a stage: the date of budburst, and the stage by the leaves since then."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from cropload import arguments, handbook
from cropload.errors import CroploadError
from cropload.vine.weather.heat import HEMISPHERES, METHODS, one_of, season_days, seasons_left_out

#: Months in which a vine can burst, by hemisphere.
_BURST_MONTHS = {"north": (2, 6), "south": (8, 12)}
#: Modified E-L stage against separated leaves (Coombe 1995, from memory).
_LEAVES = np.array([0.0, 1.0, 2.0, 4.0, 5.0, 8.0, 10.0, 12.0, 14.0, 16.0])
_STAGES = np.array([4.0, 7.0, 9.0, 11.0, 12.0, 15.0, 16.0, 17.0, 18.0, 19.0])


@dataclass(frozen=True)
class BudburstSum:
    """The heat a block needs from the start of summing until budburst.

    Attributes
    ----------
    value : float
        Degree days [C d].
    spread : float
        Standard deviation of one season's sum about it [C d].
    base_c : float
        Base temperature [C].
    method : str
        Degree-day method.
    seasons : tuple of int
        Seasons it was fitted on; empty when the user entered it.
    error_days : float
        Root mean square error of the date when each season is left out in turn [d]; nan if entered.
    notes : tuple of str
        What a reader must know.
    """

    value: float
    spread: float
    base_c: float
    method: str = "single_sine"
    seasons: tuple = ()
    error_days: float = float("nan")
    notes: tuple = ()

    @classmethod
    def entered(cls, value, spread=None, base_c=None, method="single_sine"):
        """Take a sum the user knows [C d]; its spread [C d] falls back on the handbook's."""
        value = arguments.plain_number(value)
        if not np.isfinite(value) or value <= 0:
            raise CroploadError(f"a budburst sum of {value} C d is not a positive number.")
        if spread is None:
            spread = handbook.value("phenology.budburst_sum_spread") * value
        base_c = handbook.value("phenology.budburst_base_c") if base_c is None else base_c
        one_of(method, METHODS, "degree-day method")
        return cls(
            float(value),
            float(spread),
            float(base_c),
            method,
            notes=(f"budburst sum of {value:g} C d above {base_c:g} C entered by the user",),
        )


def _recorded(dates, block=None):
    """Return {season: budburst date} from a mapping or a ``dates`` table."""
    if isinstance(dates, Mapping):
        return {
            arguments.season("season", season): arguments.day("budburst", date)
            for season, date in dates.items()
        }
    rows = dates
    missing = [name for name in ("season", "date") if name not in rows]
    if missing:
        raise CroploadError(f"The table of budburst dates has no column {' and '.join(missing)}.")
    if "stage" in rows:
        rows = rows[rows["stage"] == "budburst"]
    if block is not None and "block" in rows:
        rows = rows[rows["block"] == block]
    rows = rows.dropna(subset=["date"])
    twice = sorted(set(rows.loc[rows["season"].duplicated(), "season"]))
    if twice:
        raise CroploadError(
            f"season {twice[0]} has more than one budburst date: name the block, "
            "or keep one row a season."
        )
    return {int(s): pd.Timestamp(d) for s, d in zip(rows["season"], rows["date"], strict=True)}


def recorded_budburst(dates, hemisphere="north", block=None):
    """Return the recorded budburst dates by season, each checked against its hemisphere.

    Parameters
    ----------
    dates : mapping or DataFrame
        Season -> date, or a table with season, date and maybe block and stage.
    hemisphere : {"north", "south"}
        Where the vines stand.
    block : str, optional
        Keep this block only.

    Returns
    -------
    dict
        Season -> Timestamp.

    Raises
    ------
    CroploadError
        When a date lies outside the spring of its season, so that hemisphere or season is wrong.
    """
    one_of(hemisphere, HEMISPHERES, "hemisphere")
    recorded = _recorded(dates, block)
    first, last = _BURST_MONTHS[hemisphere]
    for season, date in recorded.items():
        year = season - 1 if hemisphere == "south" else season
        if not (date.year == year and first <= date.month <= last):
            raise CroploadError(
                f"budburst on {date:%Y-%m-%d} in season {season} is outside the spring of the "
                f"{hemisphere}ern hemisphere (months {first} to {last} of {year}): mend the date, "
                "the season (year of harvest) or the hemisphere."
            )
    return recorded


def fit_budburst_sum(
    weather, dates, *, hemisphere="north", block=None, base_c=None, method="single_sine"
):
    """Fit the heat sum to budburst on a block's own dates.

    Parameters
    ----------
    weather : DataFrame
        Columns date, tmin_c, tmax_c [C].
    dates : mapping or DataFrame
        Season -> budburst date, or the ``dates`` table.
    hemisphere : {"north", "south"}
        Where the vines stand.
    block : str, optional
        Keep this block's rows only.
    base_c : float, optional
        Base temperature [C]; the handbook's 5 C when not given.
    method : {"single_sine", "mean"}
        Degree-day method.

    Returns
    -------
    BudburstSum
        Mean sum, the spread of a season about it [C d], and the error of the date [d].

    Raises
    ------
    CroploadError
        With fewer usable seasons than the handbook asks for (three).

    Notes
    -----
    Valid for the block and the station it was fitted on: the sum takes in the distance between
    both.  Base 10 errs by 9 to 21 days, hence base 5 (Garcia de Cortazar-Atauri et al. 2009).
    The spread of a few seasons is drawn towards the handbook's, so that three like seasons do not
    pretend to know it.
    """
    base_c = handbook.value("phenology.budburst_base_c") if base_c is None else float(base_c)
    wanted = int(handbook.value("phenology.fit_seasons"))
    sums, used, notes = [], [], []
    cut, lost = {}, {}
    for season, date in sorted(recorded_budburst(dates, hemisphere, block).items()):
        try:
            days = season_days(weather, season, hemisphere, method)
        except CroploadError as fault:
            lost[season] = fault
            continue
        if not days.complete(date):
            lost[season] = f"weather is missing before {date:%Y-%m-%d}"
            continue
        cut[season] = days
        used.append(season)
        # The burst day is taken at its middle, here and wherever a date becomes a sum.
        sums.append(float(days.heat_at(days.index(date) + 0.5, base_c)))
    notes += seasons_left_out(lost)
    if len(used) < wanted:
        raise CroploadError(
            f"{len(used)} season(s) have both a budburst date and complete weather; {wanted} are "
            "needed to fit a sum. Enter a sum, or give the budburst date of each season."
            + "".join("\n  " + note for note in notes)
        )
    sums, n = np.array(sums), len(sums)
    mean = float(sums.mean())
    prior = handbook.value("phenology.budburst_sum_spread") * mean
    dof = handbook.entry("phenology.budburst_sum_spread").extra.get("dof", 4)
    variance = (dof * prior**2 + ((sums - mean) ** 2).sum()) / (dof + n - 1)
    of_others = (sums.sum() - sums) / (n - 1)
    errors = [
        float(cut[s].day_of(total, base_c)) - float(cut[s].day_of(own, base_c))
        for s, total, own in zip(used, of_others, sums, strict=True)
    ]
    notes.insert(0, f"budburst sum {mean:.0f} C d above {base_c:g} C ({method}) from {n} seasons")
    return BudburstSum(
        mean,
        float(np.sqrt(variance * (1 + 1 / n))),
        base_c,
        method,
        tuple(used),
        float(np.sqrt(np.mean(np.square(errors)))),
        tuple(notes),
    )


def stage_from_leaves(leaves):
    """Return the modified E-L stage of a shoot with so many separated leaves.

    Parameters
    ----------
    leaves : array_like
        Separated leaves since burst [1]; parts of a leaf allowed.

    Returns
    -------
    ndarray
        Stage on the modified E-L scale [1], read as a continuous one.

    Notes
    -----
    Valid from budburst (4) to the start of flowering (19).
    One leaf is 7, two are 9, four are 11, eight are 15 (Coombe 1995, from memory).
    """
    return np.interp(leaves, _LEAVES, _STAGES)
