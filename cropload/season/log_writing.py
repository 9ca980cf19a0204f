"""Keep a forecast: one line a block with the centre and spread of every component."""

import numpy as np

from cropload import __version__, clock
from cropload.beliefs import ranges
from cropload.season.forecast_log import append_log
from cropload.vine.growth import COMPONENTS


def log_forecast(forecast, path):
    """Append a forecast to the log of the season folder.

    Parameters
    ----------
    forecast : Forecast
        What to keep.
    path : path-like
        The season folder, or the workbook of the records.

    Returns
    -------
    pathlib.Path
        The log.

    Raises
    ------
    CroploadError
        When the log cannot be written.

    Notes
    -----
    Components are kept as their centre [own unit] and their spread on the log scale [1], so that
    a later review can tell which of them missed.
    """
    table = forecast.table()
    centre = forecast.estate.beliefs.centre
    spread = forecast.estate.beliefs.spread()
    tonnes = forecast.centre_tonnes()
    now = clock.now()
    rows = []
    for at, block in enumerate(forecast.blocks):
        row = {
            "logged_at": now,
            "version": __version__,
            "season": forecast.season,
            "as_of": forecast.attrs()["as_of"],
            "stage": forecast.stage,
            "seed": forecast.seed,
            "draws": int(forecast.draws.shape[1]),
            "interval": forecast.attrs()["interval"],
            "block": block,
            "plan": forecast.plans[at],
            "tonnes_centre": float(tonnes[at]),
            "picked_tonnes": float(forecast.picked["tonnes"].iloc[at]),
            "picked_share": float(forecast.picked["share"].iloc[at]),
        }
        for end in ranges.ENDINGS:
            row[f"tonnes_{end}"] = float(table[f"tonnes_{end}"].iloc[at])
        for place, name in enumerate(COMPONENTS):
            row[f"{name}_centre"] = float(np.exp(centre[at, place]))
            row[f"{name}_spread"] = float(spread[at, place])
        rows.append(row)
    extra = [f"{name}_{what}" for name in COMPONENTS for what in ("centre", "spread")]
    return append_log(path, rows, extra)
