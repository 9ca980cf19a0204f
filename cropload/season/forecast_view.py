"""How a forecast is told: its sentence, its tables, its drawing, and its rows in a file."""

from cropload.season.tables import crop_table
from cropload.season.words import heading as _heading
from cropload.show.result_units import in_units
from cropload.units import METRIC


def heading(forecast, units=METRIC):
    """Return where the season stands, and what each figure is; the same in any units."""
    return _heading(forecast)


def tables(forecast, units=METRIC):
    """Return the crop by block and by variety, each with the estate's; the same in any units."""
    return [crop_table(forecast), crop_table(forecast, "variety")]


def plot(forecast, ax=None, units=METRIC):
    """Draw the crop of each block with its range, the largest first."""
    from cropload.season.charts import ranking_rows
    from cropload.season.tables import ranked

    return ranking_rows(ranked(forecast.frame), "block", units).plot(ax)


def export(forecast, by="block", units=METRIC):
    """Return a forecast as it is written to a file: self-explaining rows, chosen units.

    Parameters
    ----------
    forecast, by : Forecast, str
        As it stands, and as in ``Forecast.frame_by``.
    units : UnitSystem
        Units of the figures.
    """
    rows, about = in_units(forecast.frame_by(by), units), forecast.attrs()
    if units.name == "us":
        rows["range_tons"] = units.convert("tonnes", rows.pop("range_t"))
        rows["area_ac"] = units.convert("area_ha", rows.pop("area_ha"))
    for name in ("interval", "draws", "seed"):
        rows[name] = about[name]
    for name in ("stage", "as_of", "season"):
        rows.insert(0, name, about[name])
    return rows
