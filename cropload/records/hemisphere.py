"""On which side of the equator the records were written, and so which season a day belongs to."""

import pandas as pd

from cropload.errors import CroploadError


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
    dates = records.dates.dropna(subset=["date"])
    month = dates["date"].dt.month
    spring = dates["stage"].isin(["budburst", "flowering"])
    picked = pd.concat(
        [dates.loc[dates["stage"] == "harvest", "date"], records.harvest["date"].dropna()]
    ).dt.month
    autumn_of_south = picked.between(1, 5).sum()
    south = (spring & month.between(8, 12)).sum() + autumn_of_south
    north = (spring & month.between(2, 7)).sum() + picked.between(7, 12).sum()
    if south and north:
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


def _picked_in_spring(records):
    """Return whether most picks on record fall into the first months of a year."""
    month = records.harvest["date"].dropna().dt.month
    return bool((month <= 5).mean() > 0.5) if len(month) else False


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
    Where nothing tells the hemisphere, the northern one is taken. What happens in the last months
    of a year belongs to the crop of that year in the north, and to the next one in the south.
    """
    try:
        south = hemisphere_of_dates(records) == "south"
    except CroploadError:
        # Told where dates are asked about; one wrong date keeps no event from being read.
        south = _picked_in_spring(records)
    return (dates.dt.year + (south & (dates.dt.month > 6))).to_numpy(int)
