"""On which side of the equator the records were written, and so which season a day belongs to."""

import pandas as pd

from cropload.errors import CroploadError

#: Stages of table dates that fall into spring.
_OF_SPRING = ["budburst", "flowering"]


def season_origin(season, hemisphere):
    """Return the day before the first day of a season's growth year, as a Timestamp.

    Notes
    -----
    31 December in the northern hemisphere, 30 June of the year before harvest in the southern.
    """
    year = int(season) - 1
    return pd.Timestamp(year, 12, 31) if hemisphere == "north" else pd.Timestamp(year, 6, 30)


def hemisphere_of_dates(records):
    """Return ``"north"`` or ``"south"`` by the months of the stages on record, or None.

    Raises
    ------
    CroploadError
        When some stages speak for one hemisphere and some for the other.
    """
    north, south = _dates_of_each(records)
    if south and north:
        dates = records.dates.dropna(subset=["date"])
        month = dates["date"].dt.month
        spring = dates["stage"].isin(_OF_SPRING)
        few = "south" if south < north else "north"
        months = (8, 12, 1, 5) if few == "south" else (2, 7, 7, 12)
        odd = spring & month.between(*months[:2])
        odd |= (dates["stage"] == "harvest") & month.between(*months[2:])
        such = ""
        if odd.any():
            row = dates[odd].iloc[0]
            such = f" (such as {row['stage']} of {row['block']} on {row['date']:%Y-%m-%d})"
        raise CroploadError(
            f"{max(north, south)} of the dates on record belong to one hemisphere and "
            f"{min(north, south)}{such} to the other: budburst and flowering fall from February "
            "to July in the north and from August to December in the south, picking from July on "
            "in the north and up to May in "
            "the south. Correct the dates, or their season (the calendar year of harvest)."
        )
    return "south" if south else "north" if north else None


def _dates_of_each(records):
    """Return how many dates on record speak for the north, and how many for the south [1]."""
    dates = records.dates.dropna(subset=["date"])
    burst = dates.loc[dates["stage"].isin(_OF_SPRING), "date"].dt.month
    picked = pd.concat(
        [dates.loc[dates["stage"] == "harvest", "date"], records.harvest["date"].dropna()]
    ).dt.month
    north = burst.between(2, 7).sum() + picked.between(7, 12).sum()
    south = burst.between(8, 12).sum() + picked.between(1, 5).sum()
    return int(north), int(south)


def season_of(records, dates):
    """Return the year of harvest that each of some days belongs to, as an array of int.

    Parameters
    ----------
    records : Records
        As read by ``read_records``; their stages and picking days tell the hemisphere.
    dates : Series of datetime64
        The days, none of them blank.

    Notes
    -----
    Most dates tell, so that one wrong date moves nothing; where none does, the north is taken.
    What happens in the last months of a year belongs to the crop of that year in the north, and to
    the next one in the south.
    """
    north, south = _dates_of_each(records)
    return (dates.dt.year + ((south > north) & (dates.dt.month > 6))).to_numpy(int)
